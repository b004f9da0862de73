// Package noisetest holds the check of noise ledgers by noise that is made without them: every
// source of noise of every element is played through its circuit over time, and left out in turn.
// Only checks import it.
//
// Start reading at Compare.
package noisetest

import (
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/parallel"
	"drywire/dsp/section"
)

// Chains is random chains as chain files, each with a detector or much gain: conditions that the
// ledger was not developed on.
func Chains(seed uint64, count int) []string {
	r := rand.New(rand.NewPCG(seed, 0))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	gains := []func() string{
		func() string { return fmt.Sprintf("{kind: op-amp-fuzz, sustain: %.1f}", between(5, 10)) },
		func() string { return fmt.Sprintf("{kind: distortion, distortion: %.1f}", between(5, 10)) },
		func() string { return fmt.Sprintf("{kind: overdrive, drive: %.1f}", between(5, 10)) },
		func() string {
			return fmt.Sprintf("{kind: fuzz, device: %s, fuzz: %.1f}", []string{"silicon", "germanium"}[r.IntN(2)], between(2, 10))
		},
		func() string { return "{kind: treble-boost}" },
		func() string { return fmt.Sprintf("{kind: boost, gain: %.0f dB}", between(6, 30)) },
	}
	others := []func() string{
		func() string { return fmt.Sprintf("{kind: gate, threshold: %.0f dBV}", between(-75, -35)) },
		func() string {
			return fmt.Sprintf("{kind: gate, threshold: %.0f dBV, range: 40 dB}", between(-75, -35))
		},
		func() string {
			return fmt.Sprintf("{kind: compressor, threshold: %.0f dBV, ratio: %.0f, level: %.0f dB}", between(-60, -30), between(2, 12), between(0, 20))
		},
		func() string { return fmt.Sprintf("{kind: wah, mode: envelope, sense: %.1f}", between(6, 10)) },
		func() string {
			return fmt.Sprintf("{kind: eq, high: %.0f dB, low: %.0f dB}", between(-12, 12), between(-12, 12))
		},
		func() string { return "{kind: buffer}" },
	}
	var list []string
	for range count {
		var names, lines []string
		add := func(text string) {
			name := fmt.Sprintf("b%d", len(names)+1)
			names, lines = append(names, name), append(lines, "  "+name+": "+text)
		}
		for range 1 + r.IntN(3) {
			add(gains[r.IntN(len(gains))]())
		}
		for range 1 + r.IntN(2) {
			add(others[r.IntN(len(others))]())
		}
		if r.IntN(3) == 0 { // else detectors come last
			r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		}
		pickup := []string{"single-coil", "humbucker"}[r.IntN(2)]
		list = append(list, fmt.Sprintf("drywire: 1\ntitle: noise\nrecording: {file: none.wav, full_scale: 1 V, load: none}\nguitar: {pickup: %s, volume: %.1f}\nblocks:\n%s\norder: [%s]\ntakes: [{name: only}]\n",
			pickup, between(5, 10), strings.Join(lines, "\n"), strings.Join(names, ", ")))
	}
	return list
}

// Bounds of the check, in dB.
const (
	Total = 1.0 // of the A-weighted total
	Tie   = 1.0 // causes that lie within it may come in either order
)

// Result is a ledger against injected noise.
type Result struct {
	Ledger   *noise.Ledger
	Injected float64 // V RMS, A-weighted
	Off      float64 // dB, of the ledger's total
	Wrong    string  // what is wrong about the first three causes; "" nothing
}

// Compare holds the ledger of a chain at out against noise that is played through its circuits,
// source by source, and against what is gone of it when one is left out: every source that is among
// the ledger's first six, and three others by chance.
func Compare(ctx context.Context, c *board.Chain, rate dsp.Hertz, seed uint64) (*Result, error) {
	l, err := noise.At(c, rate, "out")
	if err != nil {
		return nil, err
	}
	in, err := inject(c, rate)
	if err != nil {
		return nil, err
	}
	res := &Result{Ledger: l}
	whole, err := in.hear(ctx, seed, -1)
	if err != nil {
		return nil, err
	}
	res.Injected = math.Sqrt(whole)
	res.Off = dsp.ToDB(l.RMS(noise.AWeighted) / res.Injected)

	// said is by how much the ledger has it that noise falls without a source.
	said := func(s source) float64 {
		for k, x := range l.Shares {
			if x.Element == s.element && x.Cause == s.cause {
				return l.Power(k, noise.AWeighted)
			}
		}
		return 0
	}
	var chosen []int
	pick := func(k int) {
		if k >= 0 && !slices.Contains(chosen, k) {
			chosen = append(chosen, k)
		}
	}
	for _, x := range l.Shares[:min(6, len(l.Shares))] {
		pick(slices.IndexFunc(in.sources, func(s source) bool { return s.element == x.Element && s.cause == x.Cause }))
	}
	if len(chosen) == 0 {
		return nil, fmt.Errorf("no share of the ledger is a source of the circuit")
	}
	chance := rand.New(rand.NewPCG(seed, 1))
	for range 3 {
		pick(chance.IntN(len(in.sources)))
	}
	order := make([]int, len(chosen))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case said(in.sources[chosen[a]]) > said(in.sources[chosen[b]]):
			return -1
		case said(in.sources[chosen[a]]) < said(in.sources[chosen[b]]):
			return 1
		}
		return 0
	})
	res.Wrong, err = in.misplaced(ctx, seed, chosen, order)
	if err != nil || res.Wrong == "" {
		return res, err
	}
	// A gate that noise just opens now and then opens for one draw and not for the other.
	again, err := in.misplaced(ctx, seed+1, chosen, order)
	if again == "" {
		res.Wrong = ""
	}
	return res, err
}

// misplaced says which source, of those chosen and in that order, is more than a tie above one of
// the first three that comes before it; "" none. What is under a hundredth of the whole does not
// count.
func (in *injected) misplaced(ctx context.Context, seed uint64, chosen, order []int) (string, error) {
	whole, err := in.hear(ctx, seed, -1)
	if err != nil {
		return "", err
	}
	gone, faults := make([]float64, len(chosen)), make([]error, len(chosen))
	parallel.For(len(chosen), func(k int) {
		rest, err := in.hear(ctx, seed, chosen[k])
		gone[k], faults[k] = whole-rest, err
	})
	for _, err := range faults {
		if err != nil {
			return "", err
		}
	}
	for i := range min(3, len(order)) {
		for _, later := range order[i+1:] {
			a, b := gone[order[i]], gone[later]
			if b > whole/100 && 10*math.Log10(b/max(a, 1e-30)) > Tie {
				s, x := in.sources[chosen[order[i]]], in.sources[chosen[later]]
				return fmt.Sprintf("%s (%s) before %s (%s): without them %.2f and %.2f dB less", s.element, s.cause, x.element, x.cause, less(whole, a), less(whole, b)), nil
			}
		}
	}
	return "", nil
}

func less(whole, gone float64) float64 { return -10 * math.Log10(max(1e-9, 1-gone/whole)) }

// source is one source of noise.
type source struct {
	element, cause string
	outputs        []string // where it is added
	density        float64  // V²/Hz there, white; of hum, V
	flicker        float64  // V², of 1/f
}

// injected is a chain whose noise is played.
type injected struct {
	plan    *render.Plan
	sources []source
}

func inject(c *board.Chain, rate dsp.Hertz) (*injected, error) {
	plain := *c
	plain.Recording.Load = nil
	w := *wiring.Of(&plain, rate, section.Draft)
	in := &injected{}
	w.Sections = slices.Clone(w.Sections)
	for k, n := range w.Sections {
		noisy, inputs, err := n.Noisy()
		if err != nil {
			return nil, err
		}
		w.Sections[k] = noisy
		for _, x := range inputs {
			at := slices.IndexFunc(in.sources, func(s source) bool { return s.element == x.Element && s.cause == x.Cause })
			if at >= 0 { // two currents of one cause in one element: the ledger has them together
				in.sources[at].outputs = append(in.sources[at].outputs, x.Input)
				if x.Density != in.sources[at].density {
					in.sources = append(in.sources, source{x.Element, x.Cause, []string{x.Input}, x.Density, x.Flicker})
					in.sources[at].outputs = in.sources[at].outputs[:len(in.sources[at].outputs)-1]
				}
				continue
			}
			in.sources = append(in.sources, source{x.Element, x.Cause, []string{x.Input}, x.Density, x.Flicker})
		}
	}
	for _, s := range w.Stages {
		if s.Noise > 0 {
			in.sources = append(in.sources, source{s.Name, "stage", s.Drive, s.Noise * s.Noise, 0})
		}
		if s.Converter > 0 {
			in.sources = append(in.sources, source{s.Name, "converter", s.Drive, s.Converter * s.Converter, 0})
		}
	}
	if c.Guitar.Hum > 0 {
		in.sources = append(in.sources, source{"guitar.pickup", "hum", []string{wiring.Source}, float64(c.Guitar.Hum), 0})
	}
	in.plan = render.NewPlan(&w)
	return in, nil
}

// hear is the A-weighted power at out, 20 Hz to 20 kHz, in V², with all sources but those that are
// called as the one of that index.
func (in *injected) hear(ctx context.Context, seed uint64, without int) (float64, error) {
	r, err := in.plan.Renderer("out")
	if err != nil {
		return 0, err
	}
	all := map[string]adders{}
	for _, s := range in.sources {
		if without >= 0 && s.element == in.sources[without].element && s.cause == in.sources[without].cause {
			continue
		}
		for _, o := range s.outputs {
			h := fnv.New64a()
			h.Write([]byte(o + " " + s.cause))
			rng := rand.New(rand.NewPCG(seed+1000, h.Sum64()))
			if s.cause == "hum" {
				all[o] = append(all[o], newHum(s.density, float64(in.plan.Rate)))
			} else {
				all[o] = append(all[o], &white{rng, math.Sqrt(s.density * float64(in.plan.Rate) / 2)})
				if s.flicker > 0 {
					all[o] = append(all[o], newFlicker(rng, s.flicker, float64(in.plan.Rate)))
				}
			}
		}
	}
	for o, a := range all {
		r.Add(o, a)
	}
	const length = 4.0 // s
	settle := int(float64(in.plan.Rate) * (1 + float64(r.Tail())))
	var x []float64
	err = r.Run(ctx, render.Volts(make([]float64, settle+int(length*float64(in.plan.Rate)))), 0, func(taps [][]float64) error {
		x = append(x, taps[0]...)
		return nil
	})
	if err != nil {
		return 0, err
	}
	spectrum, err := measure.Welch(x[settle:], float64(in.plan.Rate), 1<<15)
	if err != nil {
		return 0, err
	}
	power := 0.0
	for k, d := range spectrum.Density {
		if f := float64(k) * spectrum.Step; f >= measure.BandLow && f <= measure.BandHigh {
			power += d * spectrum.Step * math.Pow(10, measure.AWeightingDB(f)/10)
		}
	}
	return power, nil
}

// white is a white Gaussian noise.
type white struct {
	rng *rand.Rand
	rms float64 // V
}

// Add implements render.Adder.
func (w *white) Add(x []float64) {
	for k := range x {
		x[k] += w.rms * w.rng.NormFloat64()
	}
}

// flicker is noise of a density of k/f, in V²: a sum of low-passed noises with a corner in every
// octave, for the integral of c/(f² + c²) over ln c is π/(2f).
type flicker struct {
	rng   *rand.Rand
	state [17]float64
	keep  [17]float64
	fresh [17]float64
}

func newFlicker(rng *rand.Rand, k, rate float64) *flicker {
	f := &flicker{rng: rng}
	for n := range f.state {
		f.keep[n] = math.Exp(-2 * math.Pi * math.Pow(2, float64(n)-1) / rate)
		f.fresh[n] = math.Sqrt(k * math.Ln2 * (1 - f.keep[n]*f.keep[n]))
	}
	return f
}

// Add implements render.Adder.
func (f *flicker) Add(x []float64) {
	for k := range x {
		for n, s := range f.state {
			s = f.keep[n]*s + f.fresh[n]*f.rng.NormFloat64()
			f.state[n] = s
			x[k] += s
		}
	}
}

// hum is 50 Hz and its multiples to the tenth, each as many times softer as its number, all from
// zero upwards: what of it clips depends on that.
type hum struct {
	peak [10]float64
	step float64 // rad a sample, of the first
	at   float64
}

func newHum(rms, rate float64) *hum {
	h := &hum{step: 2 * math.Pi * 50 / rate}
	sum := 0.0
	for n := range h.peak {
		sum += 1 / float64((n+1)*(n+1))
	}
	for n := range h.peak {
		h.peak[n] = rms * math.Sqrt(2/sum) / float64(n+1)
	}
	return h
}

// Add implements render.Adder.
func (h *hum) Add(x []float64) {
	for k := range x {
		for n, p := range h.peak {
			x[k] += p * math.Sin(float64(n+1)*h.step*h.at)
		}
		h.at++
	}
}

type adders []render.Adder

// Add implements render.Adder.
func (a adders) Add(x []float64) {
	for _, one := range a {
		one.Add(x)
	}
}
