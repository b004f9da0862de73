package board

import (
	"drywire/dsp"
)

// pickups is the presets. Inductance, resistance and capacitance of the windings lie in the ranges
// of published notes (2.3 to 2.8 H for a single coil, 4.4 to 4.7 H for a humbucker, 80 to 200 pF).
// The eddy resistance is chosen so that the resonance of a loaded pickup stays in the published 0
// to 12 dB and an unloaded one does not ring like an ideal coil; no source for its value.
var pickups = []Pickup{
	{Name: "humbucker", Resistance: 8e3, Inductance: 4.4, Capacitance: 130e-12, Eddy: 300e3},
	{Name: "single-coil", Resistance: 6e3, Inductance: 2.4, Capacitance: 110e-12, Eddy: 300e3},
}

// DefaultPickup is that of a guitar of which nothing is said.
const DefaultPickup = "humbucker"

// FindPickup is the pickup of that name.
func FindPickup(name string) (Pickup, bool) {
	for _, p := range pickups {
		if p.Name == name {
			return p, true
		}
	}
	return Pickup{}, false
}

// PickupNames is the names of the pickups that need no values.
func PickupNames() []string {
	var names []string
	for _, p := range pickups {
		names = append(names, p.Name)
	}
	return names
}

// usualPot is the resistance of the pots that go with a pickup: common practice, no source.
func usualPot(p Pickup) dsp.Ohm {
	if p.Name == "single-coil" {
		return 250e3
	}
	return 500e3
}

// usualHum is the mains hum that goes with a pickup, RMS in series with its winding: some 50 dB
// under a chord for a single coil in a room with transformers and dimmers, none for two coils that
// cancel it. Common practice, no source: it changes by tens of dB with where one stands and how one
// turns.
func usualHum(p Pickup) dsp.Volt {
	if p.Name == "single-coil" {
		return 0.3e-3
	}
	return 0
}
