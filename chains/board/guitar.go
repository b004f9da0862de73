package board

import (
	"math"

	"drywire/dsp"
)

// pickups is the presets. Inductance, resistance and capacitance of the windings lie in the ranges
// of published notes (2.3 to 2.8 H for a single coil, 4.4 to 4.7 H for a humbucker, 80 to 200 pF).
// The eddy resistance is chosen so that the resonance of a loaded pickup stays in the published 0
// to 12 dB and an unloaded one does not ring like an ideal coil; no source for its value.
var pickups = []Pickup{
	{Name: "humbucker", Resistance: 8e3, Inductance: 4.4, Capacitance: 130e-12, Eddy: 300e3, Coils: 2},
	{Name: "single-coil", Resistance: 6e3, Inductance: 2.4, Capacitance: 110e-12, Eddy: 300e3, Coils: 1},
}

// Over is how many times the voltage of another pickup this one gives for the same playing. A
// coil's voltage goes with its turns (Faraday's law), its inductance with their square where coils
// have one form (closed form), and coils in series add: magnet·√(coils·inductance). A single coil
// is then 5.6 dB softer than a humbucker; players find 3 to 8 dB, by magnet, height and winding:
// common practice, no source. What a magnet does, a file may say.
func (p Pickup) Over(other Pickup) float64 {
	if p.Coils == 0 {
		p.Coils = max(other.Coils, 1)
	}
	if other.Coils == 0 {
		other.Coils = p.Coils
	}
	ratio := float64(p.Coils) * float64(p.Inductance) / (float64(other.Coils) * float64(other.Inductance))
	return math.Sqrt(ratio) * dsp.FromDB(p.Magnet-other.Magnet)
}

// GuitarLevel is how many times the recording's voltage the guitar of a chain gives for what was
// played: 1 for the pickup that the recording was played on.
func (c *Chain) GuitarLevel() float64 {
	if c.Recording.Pickup == nil {
		return 1
	}
	return c.Guitar.Pickup.Over(*c.Recording.Pickup)
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
