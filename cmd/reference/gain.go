package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// gainBlock is a gain block with the knobs that matter: a number is drawn from a range, a word from
// a list.
type gainBlock struct {
	kind  string
	knobs []gainKnob
}

type gainKnob struct {
	name   string
	lo, hi float64
	unit   string
	words  []string
}

// draw is the knob at a random place, as in a chain file.
func (k gainKnob) draw(r *rand.Rand) string {
	if k.words != nil {
		return k.name + ": " + k.words[r.IntN(len(k.words))]
	}
	return strings.TrimSpace(fmt.Sprintf("%s: %.4g %s", k.name, k.lo+(k.hi-k.lo)*r.Float64(), k.unit))
}

func dials(names ...string) (list []gainKnob) {
	for _, n := range names {
		list = append(list, gainKnob{name: n, hi: 10})
	}
	return list
}

// gainBlocks is the blocks with a non-linear gain, but for the fuzz, which has a suite of its own.
var gainBlocks = []gainBlock{
	{"boost", []gainKnob{{name: "gain", hi: 30, unit: "dB"}}},
	{"distortion", dials("distortion", "tone")},
	{"op-amp-fuzz", dials("sustain", "tone")},
	{"overdrive", append(dials("drive", "tone"), gainKnob{name: "clipping", words: []string{"symmetric", "asymmetric"}})},
	{"preamp", dials("gain", "treble", "middle", "bass")},
	{"treble-boost", append(dials("boost"), gainKnob{name: "device", words: []string{"germanium", "silicon"}})},
	{"wah", dials("position")},
}

// gainCase is one gain block behind a guitar. Knobs are as in a chain file: "drive: 7, tone: 5".
func gainCase(kind, knobs string, volume, rate, length float64, d Drive) Case {
	return Case{
		Name: strings.Join([]string{kind, strings.NewReplacer(": ", " ", ",", "").Replace(knobs), fmt.Sprintf("vol %.3g", volume), fmt.Sprintf("%.3gk", rate/1e3), d.String()}, " "),
		Text: fmt.Sprintf(`drywire: 1
title: reference
recording: {file: none.wav, full_scale: 1 V, load: none}
guitar: {pickup: humbucker, volume: %.6g, tone: 10, cable: 5 m}
blocks:
  block: {kind: %s, %s}
order: [block]
takes: [{name: only}]
`, volume, kind, knobs),
		Jack: "out", Rate: rate, Length: length, Drive: d,
	}
}

// gainStored is the cases whose references are kept with the tests: each block soft or hard, two of
// each that has diodes or valves.
func gainStored(length float64) []Case {
	return []Case{
		gainCase("boost", "gain: 26 dB", 10, 48000, length, Tones(1244.5, 0.6)),
		gainCase("distortion", "distortion: 10, tone: 8", 10, 48000, length, Tones(880, 0.3)),
		gainCase("distortion", "distortion: 5, tone: 4", 10, 44100, length, Tones(330, 0.05, 441, 0.05)),
		gainCase("op-amp-fuzz", "sustain: 10, tone: 6", 10, 48000, length, Tones(1661.2, 0.3)),
		gainCase("op-amp-fuzz", "sustain: 6, tone: 3", 10, 44100, length, Pluck(196, 0.2)),
		gainCase("overdrive", "drive: 10, tone: 8, clipping: asymmetric", 10, 48000, length, Tones(1244.5, 0.4)),
		gainCase("overdrive", "drive: 6, tone: 5", 10, 96000, length, Tones(622, 0.05, 831, 0.05)),
		gainCase("preamp", "gain: 10, treble: 7", 10, 48000, length, Tones(659.3, 0.4)),
		gainCase("preamp", "gain: 5, middle: 2, bass: 8", 10, 44100, length, Tones(330, 0.1, 441, 0.1)),
		gainCase("treble-boost", "device: germanium", 10, 48000, length, Tones(1244.5, 0.3)),
		gainCase("treble-boost", "device: silicon", 7, 48000, length, Tones(880, 0.1, 1175, 0.1)),
		gainCase("wah", "position: 4", 10, 48000, length, Pluck(330, 0.3)),
	}
}

// gainRandom is random conditions, which were not used in development, for gain blocks.
func gainRandom(seed uint64, count int) []Case {
	r := rand.New(rand.NewPCG(seed, 1))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	var list []Case
	for n := range count {
		b := gainBlocks[n%len(gainBlocks)]
		var knobs []string
		for _, k := range b.knobs {
			knobs = append(knobs, k.draw(r))
		}
		d := drawn(r, between(5e-3, 0.8))
		list = append(list, gainCase(b.kind, strings.Join(knobs, ", "), 3+7*r.Float64(), []float64{44100, 48000, 96000}[r.IntN(3)], 0.1, d))
	}
	return list
}
