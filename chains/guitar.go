package chains

import (
	"drywire/blocks"
	"drywire/dsp/circuit"
)

// pickups is the presets. Inductance, resistance and capacitance of the windings lie in the ranges of published notes (2.3 to 2.8 H
// for a single coil, 4.4 to 4.7 H for a humbucker, 80 to 200 pF). The eddy resistance is chosen so that the resonance of a loaded
// pickup stays in the published 0 to 12 dB and an unloaded one does not ring like an ideal coil; no source for its value.
var pickups = []Pickup{
	{Name: "humbucker", Resistance: 8e3, Inductance: 4.4, Capacitance: 130e-12, Eddy: 300e3},
	{Name: "single-coil", Resistance: 6e3, Inductance: 2.4, Capacitance: 110e-12, Eddy: 300e3},
}

// defaultPickup is that of a guitar of which nothing is said.
const defaultPickup = "humbucker"

// presetPickup is the pickup of that name.
func presetPickup(name string) (Pickup, bool) {
	for _, p := range pickups {
		if p.Name == name {
			return p, true
		}
	}
	return Pickup{}, false
}

// presetNames is the names of the pickups that need no values.
func presetNames() []string {
	var names []string
	for _, p := range pickups {
		names = append(names, p.Name)
	}
	return names
}

// eddyShare is the part of a pickup's inductance that its iron gives and that eddy currents dampen: 40 to 50 % by a published note.
const eddyShare = 0.5

// source is the name of the element that plays the recording, in every deck and every circuit.
const source = "Vdry"

// wireGuitar lays the guitar from its pickup to its jack.
//
// Without a load, the recording is the pickup's open-circuit voltage and drives its winding.
//
// With one, the recording is the voltage v that the guitar's jack had while it fed that load. The pickup is linear, so its hot end is at
// v + Z·(what the load drew - what is drawn now), where Z is the impedance of its winding: the winding hangs from the recorded voltage, and a
// copy of the guitar's pots and the load, at the same voltage, tells the current that was drawn. What is plugged in now may be
// anything; where it equals the load, the two currents cancel and the jack has the recorded voltage again. No filter is inverted.
func wireGuitar(b *blocks.Bench, g Guitar, load *Load) {
	defer b.Own("guitar")()
	const hot = "guitar.hot"
	b.Circuit.Input(source, "dry", circuit.Ground)
	ground := circuit.Ground // the cold end of the winding's capacitance
	if load != nil {
		ground = "dry"
	}
	p := g.Pickup
	b.R("guitar.winding", "dry", "guitar.l1", p.Resistance)
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
	b.V("recorded.drawn", "dry", copied, 0)
	b.ColdR("recorded.volume", copied, circuit.Ground, g.VolumePot)
	b.ColdR("recorded.tone", copied, "recorded.cap", g.TonePot)
	b.C("recorded.tonecap", "recorded.cap", circuit.Ground, g.ToneCapacitor)
	r, c := blocks.CableParts(load.Cable)
	b.ColdR("recorded.cable.r", copied, "recorded.input", r)
	b.C("recorded.cable.c", "recorded.input", circuit.Ground, c)
	b.ColdR("recorded.load", "recorded.input", circuit.Ground, load.Resistance)
	b.Circuit.F("recorded.again", circuit.Ground, hot, "recorded.drawn", 1)
}
