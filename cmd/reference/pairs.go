package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
)

// pairLength is how long a pair is simulated, in seconds: long enough for the low E to go round
// three times under the window.
const pairLength = 0.06

// pairHalf is one of two blocks in a row with its knobs, as in a chain file.
type pairHalf struct{ kind, knobs string }

func (h pairHalf) String() string {
	return strings.TrimSpace(h.kind + " " + strings.NewReplacer(": ", " ", ",", "").Replace(h.knobs))
}

// settings is what stands between the braces of a chain file.
func (h pairHalf) settings() string {
	if h.knobs == "" {
		return "kind: " + h.kind
	}
	return "kind: " + h.kind + ", " + h.knobs
}

// pairCase is two blocks in a row behind a guitar: what the first makes above half the recording's
// rate is there when the second begins.
func pairCase(first, second pairHalf, rate float64, d Drive) Case {
	return Case{
		Name: strings.Join([]string{first.String(), ">", second.String(), fmt.Sprintf("%.3gk", rate/1e3), d.String()}, " "),
		Text: fmt.Sprintf(`drywire: 1
title: reference
recording: {file: none.wav, full_scale: 1 V, load: none}
guitar: {pickup: humbucker, volume: 10, tone: 10, cable: 5 m}
blocks:
  first: {%s}
  second: {%s}
order: [first, second]
takes: [{name: only}]
`, first.settings(), second.settings()),
		Jack: "out", Rate: rate, Length: pairLength, Drive: d,
	}
}

// pairRates is the rates at which pairs are checked: those at which there is least above the band.
var pairRates = []float64{44100, 48000}

// runs is what the simulator made of decks, for cases that differ only in the recording's rate.
type runs struct {
	mu    sync.Mutex
	known map[string]*deckRun
}

type deckRun struct {
	once sync.Once
	w    *Waveforms
	err  error
}

// simulate is Simulate, once for decks that differ only in their title.
func (r *runs) simulate(ctx context.Context, deck string) (*Waveforms, error) {
	if r == nil {
		return Simulate(ctx, deck)
	}
	_, key, _ := strings.Cut(deck, "\n")
	r.mu.Lock()
	if r.known == nil {
		r.known = map[string]*deckRun{}
	}
	one := r.known[key]
	if one == nil {
		one = &deckRun{}
		r.known[key] = one
	}
	r.mu.Unlock()
	one.once.Do(func() { one.w, one.err = Simulate(ctx, deck) })
	return one.w, one.err
}

// Pairs is the pairs that are known to be hard, each at both rates, with as many random ones after
// them, dealt out to the rates in turn.
func Pairs(seed uint64, count int) []Case {
	var list []Case
	for _, p := range []struct {
		first, second pairHalf
		drive         Drive
	}{
		{pairHalf{"distortion", "distortion: 10, tone: 10, level: 10"}, pairHalf{"op-amp-fuzz", "sustain: 10"}, Tones(3520, 0.3)},
		{pairHalf{"treble-boost", ""}, pairHalf{"overdrive", "drive: 10, tone: 10"}, Tones(4186, 0.5)},
		{pairHalf{"treble-boost", ""}, pairHalf{"preamp", "gain: 10"}, Tones(4186, 0.5)},
		{pairHalf{"op-amp-fuzz", "sustain: 10, tone: 10, volume: 10"}, pairHalf{"distortion", "distortion: 10, tone: 10"}, Pluck(82.4, 0.3)},
		{pairHalf{"overdrive", "drive: 10, tone: 10, level: 10"}, pairHalf{"preamp", "gain: 10"}, Tones(1661.2, 0.3)},
	} {
		shared := &runs{}
		for _, rate := range pairRates {
			c := pairCase(p.first, p.second, rate, p.drive)
			c.runs = shared
			list = append(list, c)
		}
	}
	return append(list, pairsRandom(seed, count)...)
}

// pairBlocks is what random pairs are made of: the gain blocks and the fuzz.
var pairBlocks = append([]gainBlock{{"fuzz", append(dials("fuzz"), gainKnob{name: "device", words: []string{"silicon", "germanium"}})}}, gainBlocks...)

// pairsRandom is random conditions, which were not used in development, for two blocks in a row.
func pairsRandom(seed uint64, count int) []Case {
	r := rand.New(rand.NewPCG(seed, 2))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	half := func() pairHalf {
		b := pairBlocks[r.IntN(len(pairBlocks))]
		var knobs []string
		for _, k := range b.knobs {
			knobs = append(knobs, k.draw(r))
		}
		return pairHalf{b.kind, strings.Join(knobs, ", ")}
	}
	var list []Case
	for n := range count {
		first, second := half(), half()
		d := drawn(r, between(5e-3, 0.8))
		list = append(list, pairCase(first, second, pairRates[n%len(pairRates)], d))
	}
	return list
}
