package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// volume is a passive volume pedal: two resistors, and therefore a load before it and a source
// impedance after it.
var volume = Kind{
	Name:            "volume",
	Brief:           "passive volume pedal: a potentiometer between the jacks",
	Models:          []string{"A potentiometer with an audio taper: it loads what is before it, and its wiper is a source impedance for what follows."},
	Ignores:         []string{"Scratch and wear of the track, and the pedal's travel."},
	Sources:         []string{"250 kΩ for a passive instrument, audio taper with 15 % at the middle: common practice, no source."},
	InputImpedance:  "10 kΩ to 1 MΩ: the track, with what follows beside a part of it",
	OutputImpedance: "1 Ω to 253 kΩ: the wiper, highest a little above the middle of the travel",
	Knobs: []Knob{
		dial("volume", "position of the pedal", "audio", 10),
		{Name: "track", Brief: "resistance of the track", Unit: dsp.Ohms, Min: 10e3, Max: 1e6, Default: 250e3, Still: stillPart},
	},
	Build: func(b *Bench, s Settings) {
		b.Pot("pot", "in", "out", "0", dsp.Ohm(s.Number("track")), circuit.Audio.Wiper(s.Number("volume")/10))
	},
}
