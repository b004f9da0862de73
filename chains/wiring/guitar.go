package wiring

import (
	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// eddyShare is the part of a pickup's inductance that its iron gives and that eddy currents dampen:
// 40 to 50 % by a published note.
const eddyShare = 0.5

// Source is the name of the element that plays the recording, in every deck and every circuit.
const Source = "Vdry"

// addGuitar adds the guitar to the circuit, from its pickup to its jack.
//
// Without a load, the recording is the pickup's open-circuit voltage and drives its winding.
//
// With one, the recording is the voltage v that the guitar's jack had while it fed that load. The
// pickup is linear, so its hot end is at v + Z·(what the load drew - what is drawn now), where Z is
// the impedance of its winding: the winding hangs from the recorded voltage, and a copy of the
// guitar's pots and the load, at the same voltage, tells the current that was drawn. What is
// plugged in now may be anything; where it equals the load, the two currents cancel and the jack
// has the recorded voltage again. No filter is inverted.
//
// A pickup that is not the one that was recorded plays the same at another level:
// board.GuitarLevel.
func addGuitar(b *blocks.Bench, chain *board.Chain) {
	g, load := chain.Guitar, chain.Recording.Load
	defer b.Own("guitar")()
	b.Circuit.Input(Source, "dry", circuit.Ground)
	strings := "dry"
	if level := chain.GuitarLevel(); level != 1 {
		strings = "strings"
		b.Circuit.E("guitar.strings", strings, circuit.Ground, "dry", circuit.Ground, level)
	}
	if g.Second.Resistance > 0 {
		addTwoPickups(b, g, load, strings)
		addControls(b, g)
		return
	}
	ground := circuit.Ground // the cold end of the winding's capacitance
	if load != nil {
		ground = strings
	}
	addWinding(b, "guitar.", g.Pickup, strings, hot, ground, b.R)
	addControls(b, g)
	if load != nil {
		addRecordedLoad(b, g, *load, strings)
		b.Circuit.F("recorded.again", circuit.Ground, hot, "recorded.drawn", 1)
	}
}

// hot is the pickup's end of the guitar's controls.
const hot = "guitar.hot"

// addWinding adds a pickup between the voltage of its strings and its hot end, with its capacitance
// to cold; r adds its resistances.
func addWinding(b *blocks.Bench, name string, p board.Pickup, strings, hot, cold string, r func(name, n1, n2 string, r dsp.Ohm)) {
	r(name+"winding", strings, name+"l1", p.Resistance)
	if p.Eddy > 0 {
		b.L(name+"l1", name+"l1", name+"l2", p.Inductance*(1-eddyShare))
		b.L(name+"l2", name+"l2", hot, p.Inductance*eddyShare)
		r(name+"eddy", name+"l2", hot, p.Eddy)
	} else {
		b.L(name+"l1", name+"l1", hot, p.Inductance)
	}
	b.C(name+"capacitance", hot, cold, p.Capacitance)
}

// addTwoPickups adds two pickups up to the node hot, each with a source of its own: the open-circuit
// voltage of the first, and that times what the second gives of the same playing.
//
// Of a recording that was made into a load, the open-circuit voltage is the recorded one and what
// the load drew, over the first winding; the windings hang from that, and so do their capacitances,
// as that of one pickup does.
func addTwoPickups(b *blocks.Bench, g board.Guitar, load *board.Load, strings string) {
	open := strings
	if load != nil {
		open = "recorded.open"
		addRecordedLoad(b, g, *load, strings)
		addWinding(b, "recorded.", g.Pickup, strings, open, strings, b.ColdR)
		b.Circuit.F("recorded.again", circuit.Ground, open, "recorded.drawn", 1)
	}
	level := g.Second.Over(g.Pickup)
	if g.Second.Out {
		level = -level
	}
	const first, second = "guitar.first", "second.strings"
	foot, end := circuit.Ground, hot // the first one's cold end, and the second one's hot end
	if g.Second.Series {
		foot, end = "guitar.foot", "guitar.foot"
	}
	b.Circuit.E(second, second, circuit.Ground, open, circuit.Ground, level)
	b.Circuit.E(first, first, foot, open, circuit.Ground, 1)
	cold := [2]string{foot, circuit.Ground}
	if load != nil {
		cold = [2]string{first, second}
	}
	addWinding(b, "second.", g.Second.Pickup, second, end, cold[1], b.R)
	addWinding(b, "guitar.", g.Pickup, first, hot, cold[0], b.R)
}

// addControls adds what is between the pickups and the jack: the volume with its treble bleed, and
// the tone at either end of it.
func addControls(b *blocks.Bench, g board.Guitar) {
	b.Pot("guitar.volume", hot, "guitar", circuit.Ground, g.VolumePot, circuit.Audio.Wiper(g.Volume/10))
	b.TrebleBleed("guitar.bleed", hot, "guitar", g.Bleed)
	at := hot
	if g.ToneAfter {
		at = "guitar"
	}
	b.Circuit.Rheostat("guitar.tone", at, "guitar.cap", g.TonePot, circuit.Audio.Wiper(g.Tone/10))
	b.C("guitar.tonecap", "guitar.cap", circuit.Ground, g.ToneCapacitor)
}

// addRecordedLoad adds what the recording's load drew, with the guitar's volume and tone full: the
// current through "recorded.drawn".
func addRecordedLoad(b *blocks.Bench, g board.Guitar, load board.Load, strings string) {
	const copied = "recorded"
	b.V("recorded.drawn", strings, copied, 0)
	b.ColdR("recorded.volume", copied, circuit.Ground, g.VolumePot)
	b.ColdR("recorded.tone", copied, "recorded.cap", g.TonePot)
	b.C("recorded.tonecap", "recorded.cap", circuit.Ground, g.ToneCapacitor)
	r, c := blocks.CableParts(load.Cord())
	b.ColdR("recorded.cable.r", copied, "recorded.input", r)
	b.C("recorded.cable.c", "recorded.input", circuit.Ground, c)
	b.ColdR("recorded.load", "recorded.input", circuit.Ground, load.Resistance)
}
