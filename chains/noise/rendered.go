package noise

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/blocks"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/parallel"
)

// AddNoise makes the renderer noisy, before it runs: every section adds to each node that is read from it a Gaussian noise with the spectrum
// that its own elements make there at rest, every stage its white noise. The seed decides all of it, whatever the length of the calls. Mains hum
// is not in it.
//
// The noises of two nodes of one section are made apart; in truth they are partly the same. And what a section makes itself is added at its output, so that
// it does not change with the signal.
func AddNoise(r *render.Renderer, seed uint64) error {
	rate := float64(r.Plan.Rate)
	for _, out := range r.Signals() {
		density, err := ownDensity(r.Plan.Wiring, out.Stage, out.Name)
		if err != nil {
			return err
		}
		h := fnv.New64a()
		h.Write([]byte(out.Name))
		r.Add(out.Name, newHiss(rand.New(rand.NewPCG(seed, h.Sum64())), rate, density))
	}
	return nil
}

// ownDensity is the spectral density, in V²/Hz, of what a stage makes itself at its output, or a section at a node.
func ownDensity(w *wiring.Wiring, stage bool, name string) (func(f float64) float64, error) {
	if stage {
		at := slices.IndexFunc(w.Stages, func(s blocks.Stage) bool { return slices.Contains(s.Drive, name) })
		s := w.Stages[at]
		density := s.Noise*s.Noise + s.Converter*s.Converter
		return func(float64) float64 { return density }, nil
	}
	ac, err := w.Section(name).AC()
	if err != nil {
		return nil, fmt.Errorf("take %q: noise at %s: %w", w.Chain.Take, name, err)
	}
	return func(f float64) float64 {
		sum := 0.0
		for _, n := range ac.Noise(name, dsp.Hertz(f)) {
			sum += n.Density
		}
		return sum
	}, nil
}

// hissTaps is the length of the filter that shapes a noise: 5.9 Hz from one point of the spectrum to the next at 48 kHz.
const hissTaps = 8192

// hiss is a coloured Gaussian noise: white, through a symmetric filter that was sampled in frequency, by overlapping and adding transforms.
type hiss struct {
	rng    *rand.Rand
	fft    *fourier.FFT
	filter []complex128
	block  []float64 // twice as long as the filter
	lines  []complex128
	rest   []float64 // of the block before, that goes on into the next
	ready  []float64 // what has not been taken yet
}

func newHiss(rng *rand.Rand, rate float64, density func(f float64) float64) *hiss {
	// A white noise of unit variance has the density 2/rate.
	amplitude := make([]complex128, hissTaps/2+1)
	points := make([]float64, len(amplitude))
	parallel.For(len(points), func(k int) {
		f := math.Max(1, float64(k)*rate/hissTaps) // at 0 Hz nothing need be defined
		points[k] = math.Sqrt(density(f) * rate / 2)
	})
	for k, p := range points {
		amplitude[k] = complex(p, 0)
	}
	taps := fourier.NewFFT(hissTaps).Sequence(nil, amplitude)
	h := &hiss{
		rng: rng, fft: fourier.NewFFT(2 * hissTaps),
		block: make([]float64, 2*hissTaps), lines: make([]complex128, hissTaps+1), rest: make([]float64, hissTaps),
	}
	for k := range hissTaps { // the middle of the symmetric filter to the middle of a Hann window
		window := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/hissTaps)
		h.block[k] = window * taps[(k+hissTaps/2)%hissTaps] / hissTaps
	}
	h.filter = h.fft.Coefficients(nil, h.block)
	h.next() // the first block swells
	h.ready = nil
	return h
}

// next makes another block of noise.
func (h *hiss) next() {
	for k := range hissTaps {
		h.block[k], h.block[hissTaps+k] = h.rng.NormFloat64(), 0
	}
	h.fft.Coefficients(h.lines, h.block)
	for k, z := range h.filter {
		h.lines[k] *= z
	}
	h.fft.Sequence(h.block, h.lines)
	for k := range hissTaps {
		x := h.block[k]/(2*hissTaps) + h.rest[k]
		h.rest[k] = h.block[hissTaps+k] / (2 * hissTaps)
		h.block[k] = x
	}
	h.ready = h.block[:hissTaps]
}

// Add implements render.Adder.
func (h *hiss) Add(x []float64) {
	for len(x) > 0 {
		if len(h.ready) == 0 {
			h.next()
		}
		n := min(len(x), len(h.ready))
		for k, e := range h.ready[:n] {
			x[k] += e
		}
		x, h.ready = x[n:], h.ready[n:]
	}
}
