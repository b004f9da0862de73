package noise

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/parallel"
)

// AddNoise makes the renderer noisy, before it runs: with the noise of every element, of every
// stage, the guitar's mains hum and the ripple of supplies, as a Ledger has them. The seed decides
// all of it, whatever the length of the calls, and each source's draw goes by its own name: takes
// of other orders differ by the order and not by the draw. The error is of a section without an
// operating point.
//
// What the guitar makes is in series with its pickup, and so is played through the circuit. What
// the other elements of a section make is added to each node that is read of it, with the spectrum
// that it has there at rest, and to several nodes as far as it is the same noise; so it does not
// change with the signal in that section, only in those behind it.
func AddNoise(r *render.Renderer, seed uint64) error {
	for _, part := range r.Parts() {
		s, err := soundOf(part.Plan, sectionNodes(part), 24)
		if err != nil {
			return err
		}
		s.apart = true
		s.addTo(part, seed, nil, func(_ string, made func() []voice) []voice { return made() })
	}
	return nil
}

// sound is what makes a chain noisy, computed once for any number of renderings.
type sound struct {
	plan     *render.Plan
	apart    bool // a draw for each block of a section, not one for all of it
	rate     float64
	grid     []float64      // Hz
	sections []sectionSound // those that make noise
	// from hum in series with the winding to the recording's source; nil: 1
	hum func(line int) complex128
}

// sectionSound is the noise of a section's elements at the nodes that are read of it.
type sectionSound struct {
	nodes []string
	// per frequency of the grid; what the guitar makes is seen at its source, as the gain to every
	// node
	at     [][]circuit.NoiseSource
	guitar bool         // whether the section holds it
	direct []complex128 // per frequency: from the guitar's source to its jack
	ripple []ripples
}

// ripples is the ripple of a supply in a section: its source's gains to the nodes, per line.
type ripples struct {
	block string
	volts dsp.Volt // RMS, of the supply
	gains [][]complex128
}

// sectionNodes is the nodes that a renderer reads, those of one section together.
func sectionNodes(r *render.Renderer) [][]string {
	var all [][]string
	of := map[*circuit.Netlist]int{}
	for _, s := range r.Signals() {
		if s.Stage {
			continue
		}
		n := r.Plan.Section(s.Name)
		k, ok := of[n]
		if !ok {
			k = len(all)
			of[n], all = k, append(all, nil)
		}
		all[k] = append(all[k], s.Name)
	}
	return all
}

// guitarJack is where what the guitar makes is seen by all that follows.
const guitarJack = "guitar"

// soundOf computes the spectra, at the given number of frequencies per octave.
func soundOf(plan *render.Plan, sections [][]string, perOctave float64) (*sound, error) {
	s := &sound{plan: plan, rate: float64(plan.Rate)}
	for f := 1.0; f < s.rate/2; f *= math.Pow(2, 1/perOctave) {
		s.grid = append(s.grid, f)
	}
	s.grid = append(s.grid, s.rate/2)
	for _, nodes := range sections {
		n := plan.Section(nodes[0])
		ac, err := n.AC()
		if err != nil {
			return nil, fmt.Errorf("take %q: noise at %s: %w", plan.Chain.Take, nodes[0], err)
		}
		e := sectionSound{nodes: nodes, at: make([][]circuit.NoiseSource, len(s.grid)), direct: make([]complex128, len(s.grid))}
		e.guitar = slices.Contains(n.Inputs(), wiring.Source)
		read := nodes
		if e.guitar {
			read = append(slices.Clone(nodes), guitarJack)
		}
		parallel.For(len(s.grid), func(k int) {
			f := dsp.Hertz(s.grid[k])
			e.at[k] = ac.NoiseSources(f, read...)
			if e.guitar {
				e.direct[k] = ac.Transfer(wiring.Source, f, guitarJack)[0]
			}
		})
		// the winding hangs from the voltage into that load
		if e.guitar && plan.Chain.Recording.Load != nil {
			var gains []complex128
			for _, l := range humLines(plan.Chain) {
				f := dsp.Hertz(l.Frequency)
				sources := ac.NoiseSources(f, guitarJack)
				w := sources[slices.IndexFunc(sources, func(n circuit.NoiseSource) bool { return n.Element == "guitar.winding" })]
				// 1 V in series is a current of 1/R; the lines are those of the source already
				volt := complex(w.Density/(4*circuit.Boltzmann*circuit.Temperature)*plan.Chain.GuitarLevel(), 0)
				gains = append(gains, w.Gains[0]*volt/ac.Transfer(wiring.Source, f, guitarJack)[0])
			}
			s.hum = func(line int) complex128 { return gains[line] }
		}
		for _, source := range n.Supplies() {
			if p, volts := rippling(plan.Chain, source.Owner); p != nil {
				x := ripples{block: p.Name, volts: volts}
				for _, l := range rippleLines(volts) {
					x.gains = append(x.gains, ac.Transfer(source.Name, dsp.Hertz(l.Frequency), nodes...))
				}
				e.ripple = append(e.ripple, x)
			}
		}
		s.sections = append(s.sections, e)
	}
	return s, nil
}

// source names a share of the noise.
type source struct{ element, cause string }

// addTo makes the renderer noisy with all sources but some; nil leaves none out. share is asked for
// what draws on chance, by a key of what that is beside the sound and the seed.
func (s *sound) addTo(r *render.Renderer, seed uint64, without func(x source) bool, share func(key string, made func() []voice) []voice) {
	left := func(element, cause string) bool { return without != nil && without(source{element, cause}) }
	adders := map[string]adders{}
	add := func(node string, a render.Adder) { adders[node] = append(adders[node], a) }
	if hum := humLines(s.plan.Chain); len(hum) > 0 && !left(humElement, "hum") {
		add(wiring.Source, newTones(hum, s.rate, -math.Pi/2, s.hum))
	}
	for k := range s.sections {
		e := &s.sections[k]
		e.addRipple(s, left, add)
		var out []int
		for i, n := range e.at[0] {
			if left(n.Element, n.Cause) {
				out = append(out, i)
			}
		}
		for _, v := range share(fmt.Sprint("section ", k, " without ", out), func() []voice { return e.voices(s, seed, out) }) {
			add(v.node, v.Adder)
		}
	}
	for _, st := range s.plan.Stages {
		density := 0.0
		if !left(st.Name, "stage") {
			density += st.Noise * st.Noise
		}
		if !left(st.Name, "converter") {
			density += st.Converter * st.Converter
		}
		p, volts := rippleAtStage(s.plan.Wiring, st)
		for _, d := range st.Drive {
			if density > 0 {
				for _, v := range share(fmt.Sprint("stage ", d, " of ", density), func() []voice {
					return []voice{{d, newWhite(stream(seed, d), math.Sqrt(density*s.rate/2))}}
				}) {
					add(v.node, v.Adder)
				}
			}
			if p != nil && !left(p.Name+".supply", "ripple") {
				rejected := complex(math.Pow(10, -p.Kind.Rejection/20), 0)
				add(d, newTones(rippleLines(volts), s.rate, 0, func(int) complex128 { return rejected }))
			}
		}
	}
	for node, a := range adders {
		r.Add(node, a)
	}
}

// addRipple adds what supplies make in a section.
func (e *sectionSound) addRipple(s *sound, left func(element, cause string) bool, add func(string, render.Adder)) {
	for _, x := range e.ripple {
		if left(x.block+".supply", "ripple") {
			continue
		}
		for j, node := range e.nodes {
			add(node, newTones(rippleLines(x.volts), s.rate, 0, func(l int) complex128 { return x.gains[l][j] }))
		}
	}
}

// voices is what the elements of a section make, but those of some numbers.
func (e *sectionSound) voices(s *sound, seed uint64, without []int) (list []voice) {
	// One draw, or as many as there are nodes, for all that a block makes in the section; or all
	// but the guitar.
	groups := map[string][]int{}
	var owners []string
	names := map[string]string{}
	for k, n := range e.at[0] {
		if !s.apart && !(e.guitar && n.Owner == guitarJack) {
			n.Owner = ""
		}
		if names[n.Owner] == "" {
			names[n.Owner] = n.Owner + " " + n.Element
			owners = append(owners, n.Owner)
		}
		if !slices.Contains(without, k) {
			groups[n.Owner] = append(groups[n.Owner], k)
		}
	}
	made := make([]*hiss, len(e.nodes))
	for _, owner := range owners {
		members, name := groups[owner], names[owner]
		if e.guitar && owner == guitarJack {
			amplitude := make([]complex128, len(s.grid))
			for k, list := range e.at {
				sum := 0.0
				for _, m := range members {
					sum += list[m].Density * dsp.Abs2(list[m].Gains[len(e.nodes)])
				}
				amplitude[k] = complex(math.Sqrt(sum)/cmplx.Abs(e.direct[k]), 0)
			}
			h := &hiss{}
			h.draw(newBlank(stream(seed, name)), s.filter(amplitude))
			h.start()
			list = append(list, voice{wiring.Source, h})
			continue
		}
		whites := map[int]*blank{}
		for j, row := range s.factors(e, members) {
			if made[j] == nil {
				made[j] = &hiss{}
			}
			for i, gain := range row {
				if !slices.ContainsFunc(gain, func(z complex128) bool { return z != 0 }) {
					continue // it is not heard there
				}
				if whites[i] == nil {
					whites[i] = newBlank(stream(seed, fmt.Sprint(name, " ", i)))
				}
				made[j].draw(whites[i], s.filter(gain))
			}
		}
	}
	for j, h := range made {
		if h != nil {
			h.start()
			list = append(list, voice{e.nodes[j], h})
		}
	}
	return list
}

// factors is, for each node j, the amplitudes of as many white noises i up to j that make of them
// what the sources make at the nodes: the rows of the Cholesky factor of their cross-spectral
// density, in V/√Hz per frequency of the grid.
func (s *sound) factors(e *sectionSound, members []int) [][][]complex128 {
	n := len(e.nodes)
	rows := make([][][]complex128, n)
	for j := range rows {
		rows[j] = make([][]complex128, j+1)
		for i := range rows[j] {
			rows[j][i] = make([]complex128, len(s.grid))
		}
	}
	for k, list := range e.at {
		for j := range n {
			for i := 0; i <= j; i++ {
				var sum complex128
				for _, m := range members {
					sum += complex(list[m].Density, 0) * list[m].Gains[j] * cmplx.Conj(list[m].Gains[i])
				}
				whole := real(sum)
				for c := range i {
					sum -= rows[j][c][k] * cmplx.Conj(rows[i][c][k])
				}
				switch {
				case i == j && real(sum) > 1e-9*whole: // else it is one noise at both
					rows[j][j][k] = complex(math.Sqrt(real(sum)), 0)
				case i < j && rows[i][i][k] != 0:
					rows[j][i][k] = sum / rows[i][i][k]
				}
			}
		}
	}
	return rows
}

// stream is a source of chance of its own for every name.
func stream(seed uint64, name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// hissTaps is the length of the filter that shapes a noise: 5.9 Hz from one point of the spectrum
// to the next at 48 kHz.
const hissTaps = 8192

// hissBlock is how many samples are drawn at once, and hissFade those of them that two share.
const (
	hissBlock = 2 * hissTaps
	hissFade  = hissTaps / 2
)

// filter is the transform, over two lengths, of the filter that shapes a white noise of unit
// variance one of that spectral amplitude, in V/√Hz at the frequencies of the grid.
func (s *sound) filter(amplitude []complex128) []complex128 {
	points := make([]complex128, hissTaps/2+1)
	at := 0
	for k := range points {
		f := max(float64(k)*s.rate/hissTaps, s.grid[0])
		for at+2 < len(s.grid) && s.grid[at+1] < f {
			at++
		}
		x := complex((f-s.grid[at])/(s.grid[at+1]-s.grid[at]), 0)
		// A white noise of unit variance has the density 2/rate.
		points[k] = ((1-x)*amplitude[at] + x*amplitude[at+1]) * complex(math.Sqrt(s.rate/2), 0)
	}
	points[len(points)-1] = complex(real(points[len(points)-1]), 0)
	taps := fourier.NewFFT(hissTaps).Sequence(nil, points)
	block := make([]float64, hissBlock)
	for k := range hissTaps { // the middle of the filter to the middle of a Hann window
		window := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/hissTaps)
		block[k] = window * taps[(k+hissTaps/2)%hissTaps] / hissTaps
	}
	return fourier.NewFFT(hissBlock).Coefficients(nil, block)
}

// fadeIn is the gains by which a block begins; backwards, those by which the one before it ends.
var fadeIn = func() (gains [hissFade]float64) {
	for k := range gains {
		gains[k] = math.Sin(math.Pi / 2 * (float64(k) + 0.5) / hissFade)
	}
	return gains
}()

// blank is a white Gaussian noise of unit variance, as the transforms of its blocks, for all nodes
// that hear it. The transform of such a noise is one as well, so it is drawn there.
type blank struct {
	rng    *rand.Rand
	lines  [][]complex128 // of blocks that not all have taken
	first  int            // number of the first of them
	taken  []int          // how many blocks each node has taken
	unused [][]complex128
}

func newBlank(rng *rand.Rand) *blank { return &blank{rng: rng} }

// take is the next block of one who hears it, until that one takes another.
func (b *blank) take(who int) []complex128 {
	b.taken[who]++
	for last := slices.Min(b.taken); b.first < last-1; b.first++ {
		b.unused, b.lines = append(b.unused, b.lines[0]), b.lines[1:]
	}
	k := b.taken[who] - 1 - b.first
	if k == len(b.lines) {
		b.lines = append(b.lines, b.next())
	}
	return b.lines[k]
}

func (b *blank) next() []complex128 {
	lines := make([]complex128, hissBlock/2+1)
	if last := len(b.unused) - 1; last >= 0 {
		lines, b.unused = b.unused[last], b.unused[:last]
	}
	part := math.Sqrt(hissBlock / 2.0) // of a line, real and imaginary; those at the ends are real
	for k := range lines {
		lines[k] = complex(part*b.rng.NormFloat64(), part*b.rng.NormFloat64())
	}
	for _, k := range []int{0, hissBlock / 2} {
		lines[k] = complex(math.Sqrt2*real(lines[k]), 0)
	}
	return lines
}

// drawn is a white noise through a filter.
type drawn struct {
	white  *blank
	who    int // of those who hear it
	filter []complex128
}

// hiss is a coloured Gaussian noise: white ones, each through a filter, block by block. A block
// goes over into the next one with gains whose squares add up to one, so that the power of the two,
// which are independent, does not change; what is lost is the correlation across that place over
// times longer than it, which blurs the spectrum by as little as a hertz or two.
type hiss struct {
	draws []drawn
	fft   *fourier.FFT
	block []float64
	sum   []complex128
	rest  []float64 // of the block before, that fades
	ready []float64 // what has not been taken yet
}

func (h *hiss) draw(white *blank, filter []complex128) {
	h.draws = append(h.draws, drawn{white, len(white.taken), filter})
	white.taken = append(white.taken, 0)
}

func (h *hiss) start() {
	h.fft = fourier.NewFFT(hissBlock)
	h.block, h.rest = make([]float64, hissBlock), make([]float64, hissFade)
	h.sum = make([]complex128, hissBlock/2+1)
	h.next() // the first block swells
	h.ready = nil
}

// next makes another block of noise.
func (h *hiss) next() {
	clear(h.sum)
	for _, d := range h.draws {
		lines := d.white.take(d.who)
		for k, z := range d.filter {
			h.sum[k] += lines[k] * z
		}
	}
	h.fft.Sequence(h.block, h.sum)
	for k := range h.block {
		h.block[k] /= hissBlock
	}
	for k, old := range h.rest {
		h.block[k] = fadeIn[k]*h.block[k] + fadeIn[hissFade-1-k]*old
	}
	h.ready = h.block[:hissBlock-hissFade]
	copy(h.rest, h.block[hissBlock-hissFade:])
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

// white is a white Gaussian noise.
type white struct {
	rng *rand.Rand
	rms float64 // V
}

func newWhite(rng *rand.Rand, rms float64) *white { return &white{rng, rms} }

// Add implements render.Adder.
func (w *white) Add(x []float64) {
	for k := range x {
		x[k] += w.rms * w.rng.NormFloat64()
	}
}

// tones is hum: each line a phasor that turns by a step from sample to sample.
type tones struct{ now, step []complex128 }

// newTones is lines that begin at a phase in radians, each through a gain, which may be nil.
func newTones(lines []Line, rate, phase float64, gain func(line int) complex128) *tones {
	t := &tones{}
	for k, l := range lines {
		z := cmplx.Rect(math.Sqrt(2*l.Power), phase)
		if gain != nil {
			z *= gain(k)
		}
		t.now, t.step = append(t.now, z), append(t.step, cmplx.Rect(1, 2*math.Pi*l.Frequency/rate))
	}
	return t
}

// Add implements render.Adder.
func (t *tones) Add(x []float64) {
	for l, z := range t.now {
		step := t.step[l]
		for k := range x {
			x[k] += real(z)
			z *= step
		}
		t.now[l] = z
	}
}

// adders is several at one place.
type adders []render.Adder

// Add implements render.Adder.
func (a adders) Add(x []float64) {
	for _, one := range a {
		one.Add(x)
	}
}
