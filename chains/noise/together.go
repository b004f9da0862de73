package noise

import (
	"context"
	"errors"
	"iter"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains/render"
	"drywire/dsp/parallel"
)

// Renderings of one chain at rest that differ by the sources that are left out of them go side by
// side, a stretch at a time: the noise that they have in common is made once for all of them.

// stretch is how many samples all of them get before any gets more: a multiple of what a renderer
// reads at a time.
const stretch = hissTaps

// voice is a noise that is added to a node.
type voice struct {
	node string
	render.Adder
}

// tapes is the noise that renderings have in common: a stretch of each voice, by what it is. The
// voices of one key are made together.
type tapes map[string][]*tape

type tape struct {
	voice
	samples []float64
}

// share is the voices of a key, made where they are asked for first, for one more rendering.
func (t tapes) share(key string, made func() []voice) (list []voice) {
	all, ok := t[key]
	if !ok {
		for _, v := range made() {
			all = append(all, &tape{v, make([]float64, stretch)})
		}
		t[key] = all
	}
	for _, one := range all {
		list = append(list, voice{one.node, &playback{tape: one}})
	}
	return list
}

// wind goes on to the next stretch.
func (t tapes) wind() {
	var all [][]*tape
	for _, list := range t {
		all = append(all, list)
	}
	parallel.For(len(all), func(k int) {
		for _, one := range all[k] {
			clear(one.samples)
			one.Add(one.samples)
		}
	})
}

// playback is where a rendering is on a tape.
type playback struct {
	*tape
	at int
}

// Add implements render.Adder.
func (p *playback) Add(x []float64) {
	for k, v := range p.samples[p.at : p.at+len(x)] {
		x[k] += v
	}
	p.at = (p.at + len(x)) % stretch
}

// atRest is a rendering of silence that stops before every stretch.
type atRest struct {
	next func() (struct{}, bool) // false at its end
	stop func()
	out  [][]float64 // of each tap, what comes after settling
	err  error
}

var errHeard = errors.New("noise: enough was heard")

// listen begins a rendering, of which it keeps length samples after those that it takes to settle.
func listen(r *render.Renderer, settle, length int) *atRest {
	p := &atRest{out: make([][]float64, len(r.Taps))}
	for k := range p.out {
		p.out[k] = make([]float64, 0, length)
	}
	p.next, p.stop = iter.Pull(func(yield func(struct{}) bool) {
		written := 0
		p.err = r.Run(context.Background(), &silence{pause: func() bool { return yield(struct{}{}) }}, 0, func(taps [][]float64) error {
			from := min(len(taps[0]), max(0, settle-written))
			to := min(len(taps[0]), settle+length-written)
			for k, x := range taps {
				p.out[k] = append(p.out[k], x[from:to]...)
			}
			if written += len(taps[0]); written >= settle+length {
				return errHeard
			}
			return nil
		})
		if errors.Is(p.err, errHeard) {
			p.err = nil
		}
	})
	return p
}

// silence is a recording of nothing that never ends.
type silence struct {
	at    int
	pause func() bool // false: no more is wanted
}

// Read implements render.Source.
func (s *silence) Read(dst []float64) (int, error) {
	if s.at%stretch == 0 && !s.pause() {
		return 0, errHeard
	}
	n := min(len(dst), stretch-s.at%stretch)
	clear(dst[:n])
	s.at += n
	return n, nil
}

// nearlyAll is the share of an echo's energy that a rendering at rest waits for. What is missing is
// a hundredth of the amplitude, and so much does a tone that all repeats add up to miss: 0.09 dB.
const nearlyAll = 0.9999

// filled is after how many seconds of noise the echoes of a chain's stages have nearly the power
// that they keep, one stage behind the other: by when their responses to an impulse have had that
// share of their energy.
func (m *noiseMeter) filled(plan *render.Plan) float64 {
	m.setLines(plan.Tail())
	samples := 0
	for _, s := range plan.Stages {
		if m.smooth(s) || s.Shape().Tail() == 0 {
			continue
		}
		most := 0
		for in := range s.Sense {
			for out := range s.Drive {
				h := m.combOf(s, in, out).at(0, make([]complex128, m.lines/2+1))
				most = max(most, reached(fourier.NewFFT(m.lines).Sequence(nil, h), nearlyAll))
			}
		}
		samples += most
	}
	return float64(samples) / float64(m.rate)
}

// reached is after how many samples a response has had a share of its energy. Its second half is
// what came before the time that its latency was taken for.
func reached(x []float64, share float64) int {
	before, after := 0.0, 0.0
	for k, v := range x {
		if k < len(x)/2 {
			after += v * v
		} else {
			before += v * v
		}
	}
	sum := before
	for k, v := range x[:len(x)/2] {
		if sum += v * v; sum >= share*(before+after) {
			return k + 1
		}
	}
	return len(x) / 2
}

// hear renders the chain at rest, once for each of some choices of sources that are left out, and
// takes the spectrum of the powers of the jacks of each list; no jack is in two of them.
func (m *noiseMeter) hear(s *sound, read [][]string, how hearing, without ...func(x source) bool) ([][]*heard, error) {
	var jacks []string
	for _, list := range read {
		jacks = append(jacks, list...)
	}
	renderers := make([]*render.Renderer, len(without))
	faults := make([]error, len(without))
	parallel.For(len(without), func(k int) { renderers[k], faults[k] = s.plan.Renderer(jacks...) })
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	common := tapes{}
	all := make([]*atRest, len(without))
	for k, r := range renderers {
		s.addTo(r, noiseSeed, without[k], common.share)
		settle := how.settle
		if how.waits {
			settle += min(3, m.filled(s.plan))
		}
		all[k] = listen(r, int(float64(m.rate)*settle), int(how.length*float64(m.rate)))
		defer all[k].stop()
	}
	for going := true; going; {
		more := make([]bool, len(all))
		parallel.For(len(all), func(k int) { _, more[k] = all[k].next() })
		for k, p := range all {
			if p.err != nil {
				return nil, p.err
			}
			going = going && more[k]
		}
		if going {
			common.wind()
		}
	}
	spectra := make([][]*heard, len(all))
	parallel.For(len(all), func(k int) {
		out := all[k].out
		for _, list := range read {
			spectra[k] = append(spectra[k], m.spectrum(out[:len(list)]...))
			out = out[len(list):]
		}
	})
	return spectra, nil
}
