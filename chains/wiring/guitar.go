package wiring

import (
	"drywire/blocks"
	"drywire/chains/board"
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
	const hot = "guitar.hot"
	b.Circuit.Input(Source, "dry", circuit.Ground)
	strings := "dry"
	if level := chain.GuitarLevel(); level != 1 {
		strings = "strings"
		b.Circuit.E("guitar.strings", strings, circuit.Ground, "dry", circuit.Ground, level)
	}
	ground := circuit.Ground // the cold end of the winding's capacitance
	if load != nil {
		ground = strings
	}
	p := g.Pickup
	b.R("guitar.winding", strings, "guitar.l1", p.Resistance)
	if p.Eddy > 0 {
		b.L("guitar.l1", "guitar.l1", "guitar.l2", p.Inductance*(1-eddyShare))
		b.L("guitar.l2", "guitar.l2", hot, p.Inductance*eddyShare)
		b.R("guitar.eddy", "guitar.l2", hot, p.Eddy)
	} else {
		b.L("guitar.l1", "guitar.l1", hot, p.Inductance)
	}
	b.C("guitar.capacitance", hot, ground, p.Capacitance)

	b.Pot("guitar.volume", hot, "guitar", circuit.Ground, g.VolumePot, circuit.Audio.Wiper(g.Volume/10))
	b.Circuit.Rheostat("guitar.tone", hot, "guitar.cap", g.TonePot, circuit.Audio.Wiper(g.Tone/10))
	b.C("guitar.tonecap", "guitar.cap", circuit.Ground, g.ToneCapacitor)

	if load == nil {
		return
	}
	// What the recording's load drew, with the guitar's volume and tone full.
	const copied = "recorded"
	b.V("recorded.drawn", strings, copied, 0)
	b.ColdR("recorded.volume", copied, circuit.Ground, g.VolumePot)
	b.ColdR("recorded.tone", copied, "recorded.cap", g.TonePot)
	b.C("recorded.tonecap", "recorded.cap", circuit.Ground, g.ToneCapacitor)
	r, c := blocks.CableParts(load.Cord())
	b.ColdR("recorded.cable.r", copied, "recorded.input", r)
	b.C("recorded.cable.c", "recorded.input", circuit.Ground, c)
	b.ColdR("recorded.load", "recorded.input", circuit.Ground, load.Resistance)
	b.Circuit.F("recorded.again", circuit.Ground, hot, "recorded.drawn", 1)
}
