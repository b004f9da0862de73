package blocks

import (
	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/divider"
	"drywire/dsp/filter"
	"drywire/dsp/oversample"
)

// octaveDown adds one and two octaves below a single note.
var octaveDown = Kind{
	Name:  "octave-down",
	Brief: "octave divider: one and two octaves below a single note; mistracks on chords",
	Models: []string{
		"1 MΩ in, an input amplifier, a divider, a mixer, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"Tracking: a low-pass of second order at 200 Hz, two peak detectors that decay in 60 ms, a comparator at half of the detected peaks, two flip-flops.",
		"The first octave is the filtered note, inverted at every flip; the second a square wave as high as the filtered note's peaks; both go through a low-pass of first order at 400 Hz.",
		"Two notes at once, or harmonics stronger than the fundamental, flip it at the wrong moments. Peaks under 2 mV do not flip it.",
		"Of a low E at the bridge pickup, picked 7 to 10 cm from the bridge, it loses the octave for 14 to 37 % of two seconds clean and for 45 to 78 % behind the fuzz: the partials of a stiff string run out of step, and the fuzz makes second peaks of that; picked at 16 cm it keeps both. Behind the op-amp fuzz, whose notch takes the fundamental, it loses a low E anyhow, for 36 to 74 %. From 165 Hz on it keeps one clean note, and one behind either fuzz for nine tenths of the time or more. Of a power chord it loses some three quarters, clean or fuzzed.",
		"Levels from 0 to 10 are gains from 0 to 2 in proportion: 5 is as loud as it came in.",
		"Switching without aliasing: each jump is a step of limited band.",
		"The noise of the amplifiers.",
	},
	Ignores: []string{
		"The noise that comes through the filter: under 400 Hz, and only what the two octaves are turned up to.",
		"Spread of the comparator's and the switches' voltages, and clicks of the switches.",
		"The limits of the divider's own amplifiers.",
	},
	Sources: []string{
		"Comparator, flip-flops and a note turned upside down by them; 200 Hz, 400 Hz, 60 ms, one half, 2 mV, gains: common practice, no source.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            10e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       50,
	Knobs: []Knob{
		dial("direct", "level of the note itself", "linear", 5),
		dial("octave", "level of the octave below", "linear", 5),
		dial("two_octaves", "level of the second octave below", "linear", 0),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		level := func(knob string) float64 { return s.Number(knob) / 5 }
		divide := func() Core {
			d := &dividing{
				in: b.rails(supply), out: b.rails(supply),
				divider: divider.New(b.Rate),
				soft:    filter.OnePoleLow(400, b.Rate),
				direct:  level("direct"), one: level("octave"), two: level("two_octaves"),
			}
			d.line = delayline.New(d.divider.Latency() + loopChunk)
			return d
		}
		b.highInput()
		b.output(Stage{Name: "divider", New: divide, Noise: root(level("direct")*opAmpNoise, opAmpNoise), Ceiling: swing(supply)})
	},
}

// dividing is the core: amplifier, divider, mixer, amplifier.
type dividing struct {
	in, out          *oversample.Clip
	divider          *divider.Divider
	soft             *filter.Biquad
	line             *delayline.Line // holds the note back until the divider is done
	direct, one, two float64
	below, second    [loopChunk]float64
}

// Process implements Core.
func (d *dividing) Process(out, in [][]float64) {
	y := out[0]
	d.in.Process(y, in[0])
	for at := 0; at < len(y); at += loopChunk {
		x := y[at:min(at+loopChunk, len(y))]
		below, second := d.below[:len(x)], d.second[:len(x)]
		d.divider.Process(below, second, x)
		for k := range below {
			below[k] = d.one*below[k] + d.two*second[k]
		}
		d.soft.Process(below, below)
		d.line.WriteBlock(x)
		d.line.ReadBlock(x, d.divider.Latency())
		for k := range x {
			x[k] = d.direct*x[k] + below[k]
		}
	}
	d.out.Process(y, y)
}

// Quiet implements Detecting: no peak switches the comparator.
func (d *dividing) Quiet() dsp.Volt { return divider.Threshold / noisePeak }

// Latency implements Core.
func (d *dividing) Latency() int { return d.in.Latency() + d.divider.Latency() + d.out.Latency() }

// Tail implements Core: until the detectors, and with them the second octave, are 60 dB down; and
// the filters.
func (d *dividing) Tail() dsp.Second { return d.divider.Tail() + d.soft.Tail() }

// Reset implements Core.
func (d *dividing) Reset() {
	d.in.Reset()
	d.divider.Reset()
	d.soft.Reset()
	d.line.Reset()
	d.out.Reset()
}
