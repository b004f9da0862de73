package noise

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/parallel"
	"drywire/dsp/section"
)

// A threshold is a place where noise, carried there by small-signal responses, is so large that
// these do not hold behind it.
type threshold struct {
	block string
	node  string // where the noise comes in
}

// What is near.
const (
	// peak of noise against its RMS that a limiter is met with: a Gaussian noise passes it 1 time
	// in 16 000 (the error function)
	clipPeak   = 4
	mostStrain = 0.02 // of the power that an element passes on: 0.09 dB
)

// near adds to the list the thresholds on the way to the jack that the walk came by. It goes from
// the guitar on, takes what comes on several paths for one noise, which is the most that it can be,
// and hum for a noise.
func (n *noiseWalk) near(list []threshold) ([]threshold, error) {
	m := n.m
	stride := max(1, len(m.centres)/(noiseCells/4))
	var cells []int
	width := map[int]float64{}
	for k := 0; k < len(m.centres); k += stride {
		cells = append(cells, k)
		for j := k; j < min(k+stride, len(m.centres)); j++ {
			width[k] += m.widths[j]
		}
	}
	rms := func(density []float64) float64 {
		sum := 0.0
		for i, k := range cells {
			sum += density[i] * width[k]
		}
		return math.Sqrt(sum)
	}
	driven := map[string][]float64{wiring.Source: make([]float64, len(cells))}
	for _, l := range humLines(n.w.Chain) {
		k := m.cell(l.Frequency) / stride
		driven[wiring.Source][k] += l.Power / width[cells[k]]
	}
	sensed := map[string][]float64{}
	add := func(owner, node string) {
		block := blockOf(n.w.Chain, owner)
		if !slices.ContainsFunc(list, func(t threshold) bool { return t.block == block }) {
			list = append(list, threshold{block, node})
		}
	}
	for _, part := range n.w.Sections {
		if len(n.wanted[part]) == 0 {
			continue
		}
		inputs := part.Inputs()
		for _, s := range n.w.Stages {
			if !slices.ContainsFunc(s.Drive, func(d string) bool { return slices.Contains(inputs, d) }) || driven[s.Drive[0]] != nil {
				continue
			}
			if n.stageNear(s, cells, sensed, driven, rms) {
				add(s.Owner, s.Sense[0])
			}
		}
		rest, err := n.q.section(part)
		if err != nil {
			return nil, err
		}
		ac := rest.ac
		var nodes []string
		for _, v := range n.wanted[part] {
			if !slices.Contains(nodes, v.node) {
				nodes = append(nodes, v.node)
			}
		}
		at, ports := make([][]float64, len(cells)), make([][]float64, len(cells))
		parallel.For(len(cells), func(i int) {
			in := map[string]float64{}
			for _, name := range inputs {
				if d := driven[name]; d != nil {
					in[name] = d[i]
				}
			}
			at[i], ports[i] = ac.Densities(dsp.Hertz(m.centres[cells[i]]), in, nodes...)
		})
		turned := func(x [][]float64, j int) []float64 {
			row := make([]float64, len(x))
			for i := range x {
				row[i] = x[i][j]
			}
			return row
		}
		for j, node := range nodes {
			sensed[node] = turned(at, j)
		}
		if len(ports[0]) > 0 {
			across := make([]float64, len(ports[0]))
			for j := range across {
				across[j] = rms(turned(ports, j))
			}
			if strain, port := ac.Strain(across); strain > mostStrain {
				add(port.Owner, nodes[0])
			}
		}
	}
	return list, nil
}

// stageNear carries noise through a stage and says whether it is too much for it.
func (n *noiseWalk) stageNear(s blocks.Stage, cells []int, sensed, driven map[string][]float64, rms func([]float64) float64) bool {
	near, peak := false, s.Ceiling/clipPeak
	core := s.Shape()
	_, follower := core.(*blocks.Follower)
	for c, d := range s.Drive {
		out := make([]float64, len(cells)) // V/√Hz
		for in, node := range s.Sense {
			x := sensed[node]
			if x == nil {
				continue
			}
			if level := rms(x); s.Ceiling > 0 && !follower && level > peak {
				near = true
			} else if q, ok := core.(blocks.Detecting); ok && level > float64(q.Quiet()) {
				near = true
			}
			var power []float64
			if core.Tail() > 0 && !n.m.smooth(s) {
				own := n.m.combOf(s, in, c)
				for _, p := range n.m.cross(own, own) {
					power = append(power, real(p))
				}
			} else {
				for _, h := range n.m.responses(s, in)[c] {
					power = append(power, dsp.Abs2(h))
				}
			}
			for i, k := range cells {
				out[i] += math.Sqrt(x[i] * power[k])
			}
		}
		for i, x := range out {
			out[i] = x*x + s.Noise*s.Noise + s.Converter*s.Converter
		}
		if s.Ceiling > 0 && rms(out) > peak {
			near = true
		}
		driven[d] = out
	}
	return near
}

// How long a ledger is rendered, in seconds behind what it takes to settle, and how many sources
// are left out, of the largest before every threshold and of the largest at the jack.
const (
	renderedFine   = 3.0
	renderedCoarse = 1.0
	leftOut        = 5
	noiseSeed      = 1
)

// hearing is how a rendering at rest is listened to.
type hearing struct {
	settle float64 // s
	waits  bool    // and until echoes have filled
	length float64 // s
}

// How it is: the last is for what is compared with its like.
var (
	finely   = hearing{1, true, renderedFine} // detectors, coupling capacitors, echoes
	coarsely = hearing{1, true, renderedCoarse}
	briefly  = hearing{0.5, false, 0.3}
)

// render replaces a ledger by small-signal responses by one from rendering. Where its axis is
// coarse, only the whole is computed.
func (m *noiseMeter) render(w *render.Plan, l *Ledger, ends []string, near []threshold, how hearing) error {
	coarse, perOctave := len(m.centres) < noiseCells, 24.0
	if coarse {
		perOctave = 12
	}
	r, err := w.Renderer(ends...)
	if err != nil {
		return err
	}
	s, err := soundOf(w, sectionNodes(r), perOctave)
	if err != nil {
		return err
	}
	candidates := []source{}
	for _, t := range near {
		l.Near = append(l.Near, t.block)
		if coarse {
			continue
		}
		meter := newNoiseMeter(m.rate, noiseCells/4)
		before, _, err := meter.linear(meter.quiet(w.Chain), []string{t.node}, false)
		if err != nil {
			return err
		}
		candidates = append(candidates, before.largest(leftOut)...)
	}
	candidates = append(candidates, l.largest(leftOut)...)
	var list []source
	for _, c := range candidates {
		if !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	if coarse {
		list = nil
	}
	apart := l.apart()
	list = slices.DeleteFunc(list, func(c source) bool { return apart[c] })
	without := []func(source) bool{func(x source) bool { return apart[x] }}
	for _, c := range list {
		without = append(without, func(x source) bool { return apart[x] || x == c })
	}
	spectra, err := m.hear(s, [][]string{ends}, how, without...)
	if err != nil {
		return fmt.Errorf("take %q: noise at %s: %w", w.Chain.Take, l.Jack, err)
	}
	l.Whole, l.Centres = spectra[0][0].density, spectra[0][0].centres
	owners := map[source]string{}
	for _, x := range l.Shares {
		owners[source{x.Element, x.Cause}] = x.Block
	}
	l.Shares = nil
	for k, c := range list {
		share := Share{Block: owners[c], Element: c.element, Cause: c.cause, Density: make([]float64, len(l.Whole))}
		for i, whole := range l.Whole {
			share.Density[i] = whole - spectra[k+1][0].density[i]
		}
		if share.power(l, AWeighted) > 0 {
			l.Shares = append(l.Shares, share)
		}
	}
	l.sort(l.Shares)
	return nil
}

// apart is the sources that are not heard in the room (microphone, its input), by their names.
func (l *Ledger) apart() map[source]bool {
	apart := map[source]bool{}
	for _, x := range l.Apart {
		apart[source{x.Element, x.Cause}] = true
	}
	return apart
}

// wholes makes of ledgers by small-signal responses what one rendering has at their jacks. What
// nobody in the room hears makes no noise in front of a loudspeaker: it is left out at all of them.
func (m *noiseMeter) wholes(w *render.Plan, list []*Ledger, read [][]string) error {
	r, err := w.Renderer(slices.Concat(read...)...)
	if err != nil {
		return err
	}
	s, err := soundOf(w, sectionNodes(r), 24)
	if err != nil {
		return err
	}
	apart := map[source]bool{}
	for _, l := range list {
		maps.Copy(apart, l.apart())
	}
	heard, err := m.hear(s, read, finely, func(x source) bool { return apart[x] })
	if err != nil {
		return fmt.Errorf("take %q: noise: %w", w.Chain.Take, err)
	}
	for k, l := range list {
		l.Whole, l.Centres, l.Shares = heard[0][k].density, heard[0][k].centres, nil
	}
	return nil
}

// withoutTones is the noise at the chain's first end, rendered without hum and ripple, as one
// share.
func (m *noiseMeter) withoutTones(c *board.Chain, how hearing) ([]Share, error) {
	plain := *c
	plain.Recording.Load, plain.Changes = nil, nil
	w, end := render.PlanOf(&plain, m.rate, section.Draft), c.Ends()[0]
	r, err := w.Renderer(end)
	if err != nil {
		return nil, err
	}
	s, err := soundOf(w, sectionNodes(r), 12)
	if err != nil {
		return nil, err
	}
	h, err := m.hear(s, [][]string{{end}}, how, func(x source) bool { return x.cause == "hum" || x.cause == "ripple" })
	if err != nil {
		return nil, err
	}
	return []Share{{Density: h[0][0].density}}, nil
}

// largest is the largest shares.
func (l *Ledger) largest(count int) (list []source) {
	for _, s := range l.Shares[:min(count, len(l.Shares))] {
		list = append(list, source{s.Element, s.Cause})
	}
	return list
}

// heard is a spectrum of a rendering.
type heard struct {
	density []float64 // V²/Hz per cell
	// Hz: where the power of a cell lies, so that a tone in it is weighted as what it is
	centres []float64
}

// spectrum is the power of signals, added up, per cell, under a Hann window. It writes over them.
func (m *noiseMeter) spectrum(signals ...[]float64) *heard {
	h := &heard{make([]float64, len(m.centres)), slices.Clone(m.centres)}
	moments := make([]float64, len(m.centres))
	for _, x := range signals {
		n, mean := len(x), 0.0
		for _, v := range x {
			mean += v / float64(n)
		}
		power := 0.0
		for k := range x {
			w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(n))
			x[k] = w * (x[k] - mean)
			power += w * w
		}
		step := float64(m.rate) / float64(n)
		for k, z := range fourier.NewFFT(n).Coefficients(nil, x) {
			f := float64(k) * step
			if f < m.edges[0] || f >= m.edges[len(m.edges)-1] {
				continue
			}
			cell := m.cell(f)
			p := 2 * dsp.Abs2(z) / power / float64(n) // V²
			h.density[cell] += p / m.widths[cell]
			moments[cell] += p * f
		}
	}
	for k, d := range h.density {
		if d > 0 {
			h.centres[k] = moments[k] / (d * m.widths[k])
		}
	}
	return h
}
