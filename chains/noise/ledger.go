// Package noise computes the noise of a chain at rest and the contribution of every source to it:
// the ledger, from the small-signal responses of circuits and stages, and the same noise as a
// signal for a renderer.
//
// Start reading at Ledger, then At.
package noise

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/blocks"
	"drywire/chains/arrange"
	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/measure"
	"drywire/dsp/parallel"
	"drywire/dsp/section"
)

// A Ledger is the noise at one jack of a chain at rest, split by what makes it. What each source
// makes is carried to the jack by the small-signal response of all that lies between: circuits by
// AC analysis about the operating point, stages by the response that they state, those that state
// none (a reverb) by the power spectrum of their impulse response; the comb ripple of an echo is
// averaged over each cell of the frequency axis. Sources are uncorrelated, so that powers add.
// Where noise comes near a threshold that does not hold; see Near.
//
// Mains hum is in series with the pickup's winding: tones at 50 Hz and its multiples to the tenth,
// each as many times softer as its number (common practice, no source), together of the voltage
// that the guitar has for it. Where it clips, so that its shape counts, all begin at zero upwards:
// a sawtooth.
//
// It is the noise of a chain that nobody plays through. It leaves out the noise that is in the
// recording itself, and what playing does to noise: a clipping stage lets less of it through, a
// compressor changes it with its gain. The ripple of supplies is in it as Supply says; a block that
// is plugged into none has an ideal one.
type Ledger struct {
	Jack    string
	Centres []float64 // Hz: the middle of each cell of the frequency axis
	Widths  []float64 // Hz
	Shares  []Share   // loudest first, by A-weighted power
	// noise that is not heard in the room: of the microphone before a loudspeaker, or of what that
	// is plugged into
	Apart []Share
	Gain  []float64 // power gain per cell, from the pickup's open-circuit voltage to the jack
	// Near is the blocks at whose thresholds the noise is, so that it is not what small-signal
	// responses say: a detector that it reaches, a limiter that it meets, a circuit that it drives.
	// Where there are any, the ledger was computed by rendering the noise of every source: Whole
	// is what was heard, and a share is what is gone of it when one source is left out, so that
	// shares need not add up to it. Those of the largest few sources are there.
	Near  []string
	Whole []float64 // V²/Hz, hum and ripple in it; nil where shares add up
}

// Share is what one source adds to the noise at the jack.
type Share struct {
	Block   string // the block's name, "guitar", "cables" or "load"
	Element string // the part of it, by its name in the circuit, or the stage
	// "thermal", "shot", "flicker", "input" and "current" (of an amplifier in the circuit), "stage"
	// (amplifiers inside a stage), "converter" (of a stage, or its line of charges), "hum" or
	// "ripple" (of a supply)
	Cause   string
	Density []float64 // V²/Hz at the jack, the mean over each cell
	Lines   []Line    // what is no noise but tones: hum and ripple
}

// Line is a tone.
type Line struct {
	Frequency float64 // Hz
	Power     float64 // V², mean square
}

// The band of a ledger is that of the meters: 20 Hz to 20 kHz.
const (
	noiseLow  = measure.BandLow
	noiseHigh = measure.BandHigh
	// noiseCells is how many cells, of equal width on a logarithmic axis, the band has: 24 to the
	// octave. A test shows that the total is then right.
	noiseCells = 240
)

// Flat and AWeighted are the weightings of powers, in dB by frequency.
func Flat(float64) float64 { return 0 }

// AWeighted is the A weighting of IEC 61672-1, in dB, at f in Hz.
func AWeighted(f float64) float64 { return measure.AWeightingDB(f) }

// Power is the mean square of the share in V² from 20 Hz to 20 kHz, weighted.
func (s *Share) power(l *Ledger, weightingDB func(float64) float64) float64 {
	sum := 0.0
	for k, d := range s.Density {
		if d != 0 {
			sum += d * l.Widths[k] * math.Pow(10, weightingDB(l.Centres[k])/10)
		}
	}
	for _, line := range s.Lines {
		sum += line.Power * math.Pow(10, weightingDB(line.Frequency)/10)
	}
	return sum
}

// ApartRMS is the RMS voltage of the noise that is not heard in the room, 20 Hz to 20 kHz,
// weighted.
func (l *Ledger) ApartRMS(weightingDB func(float64) float64) float64 {
	sum := 0.0
	for k := range l.Apart {
		sum += l.Apart[k].power(l, weightingDB)
	}
	return math.Sqrt(sum)
}

// Power is the mean square, in V² from 20 Hz to 20 kHz, of the share of that index.
func (l *Ledger) Power(share int, weightingDB func(float64) float64) float64 {
	return l.Shares[share].power(l, weightingDB)
}

// RMS is the whole noise in V, from 20 Hz to 20 kHz, weighted.
func (l *Ledger) RMS(weightingDB func(float64) float64) float64 {
	if l.Whole != nil {
		s := Share{Density: l.Whole}
		return math.Sqrt(s.power(l, weightingDB))
	}
	sum := 0.0
	for k := range l.Shares {
		sum += l.Power(k, weightingDB)
	}
	return math.Sqrt(sum)
}

// Density is the whole noise per cell, in V²/Hz; without its tones, unless it was rendered.
func (l *Ledger) Density() []float64 {
	if l.Whole != nil {
		return l.Whole
	}
	sum := make([]float64, len(l.Centres))
	for _, s := range l.Shares {
		for k, d := range s.Density {
			sum[k] += d
		}
	}
	return sum
}

// At is the ledger of the noise at a jack, for recordings of that rate. Of a chain that ends in
// two, out is both of its ends, whose powers add up, as those of two loudspeakers in a room. The
// error is of a jack that is not there, a section without an operating point, or a render.
func At(c *board.Chain, rate dsp.Hertz, jack string) (*Ledger, error) {
	return newNoiseMeter(rate, noiseCells).ledger(c, jack)
}

// Gain is the power gain from the pickup's open-circuit voltage to a jack, with the frequencies in
// Hz that it is at: those of At's ledger, without the noise. The errors are At's.
func Gain(c *board.Chain, rate dsp.Hertz, jack string) (centres, gain []float64, err error) {
	l, err := newNoiseMeter(rate, noiseCells).small(c, jack)
	if err != nil {
		return nil, nil, err
	}
	return l.Centres, l.Gain, nil
}

// Totals is the ledgers of several jacks, where only the totals are wanted: those that need a
// rendering share one, and are not split by source. The errors are At's.
func Totals(c *board.Chain, rate dsp.Hertz, jacks ...string) ([]*Ledger, error) {
	m := newNoiseMeter(rate, noiseCells)
	list := make([]*Ledger, len(jacks))
	var rendered []*Ledger
	var read [][]string
	q := m.quiet(c)
	for k, j := range jacks {
		ends, err := endsAt(c, j)
		if err != nil {
			return nil, err
		}
		l, near, err := m.linear(q, ends, true)
		if err != nil {
			return nil, err
		}
		if list[k] = l; len(near) > 0 {
			for _, t := range near {
				l.Near = append(l.Near, t.block)
			}
			rendered, read = append(rendered, l), append(read, ends)
		}
	}
	if rendered == nil {
		return list, nil
	}
	return list, m.wholes(q.plan, rendered, read)
}

// Move is what the noise at the chain's end would be if a block or a switcher stood elsewhere.
type Move struct {
	arrange.Move
	NoiseDB float64 // by how much the A-weighted noise changes
	// change of the small-signal gain at 1 kHz, from the pickup, with gates open: noise
	// that falls with it is no gain
	GainDB float64
}

// Moves is every move of board.Chain.Moves with what it does to the noise at out. The errors are
// At's.
func Moves(c *board.Chain, rate dsp.Hertz) ([]Move, error) {
	m := newNoiseMeter(rate, noiseCells/4) // a move of under 0.05 dB is of no interest
	look := func(c *board.Chain) (noise, gain float64, err error) {
		l, err := m.ledger(c, "out")
		if err != nil {
			return 0, 0, err
		}
		played := l
		if open, gates := c.Opened(); gates {
			if played, err = m.small(open, "out"); err != nil {
				return 0, 0, err
			}
		}
		at, _ := slices.BinarySearch(l.Centres, 1000)
		return l.RMS(AWeighted), math.Sqrt(played.Gain[at]), nil
	}
	noise, gain, err := look(c)
	if err != nil {
		return nil, err
	}
	if noise == 0 || gain == 0 {
		return nil, nil // nothing comes through, and so nothing less or more of it
	}
	var moves []Move
	for _, move := range arrange.Moves(c) {
		n, g, err := look(c.Arranged(move.Result))
		if err != nil {
			return nil, err
		}
		if n > 0 && g > 0 {
			moves = append(moves, Move{move, dsp.ToDB(n / noise), dsp.ToDB(g / gain)})
		}
	}
	return moves, nil
}

// noiseMeter computes ledgers on one frequency axis, and remembers what stages with memory do.
type noiseMeter struct {
	rate    dsp.Hertz
	edges   []float64
	centres []float64
	widths  []float64
	lines   int              // length of the impulse responses, a power of two
	combs   map[string]*comb // by their keys
	pairs   map[[2]*comb][]complex128
}

// comb is the product of the responses of stages with memory, whose comb ripple is finer than a
// cell. nil is that of none.
type comb struct {
	keys []string // of the stages, sorted
	// of each stage, at the lines of the transform; in single precision, since a minute of echo has
	// two million of them
	of [][]complex64
}

// at is what it is at some lines, from one on.
func (c *comb) at(from int, to []complex128) []complex128 {
	for k := range to {
		to[k] = 1
	}
	if c == nil {
		return to
	}
	for _, h := range c.of {
		for k, x := range h[from : from+len(to)] {
			to[k] *= complex128(x)
		}
	}
	return to
}

func newNoiseMeter(rate dsp.Hertz, cells int) *noiseMeter {
	m := &noiseMeter{rate: rate, combs: map[string]*comb{}, pairs: map[[2]*comb][]complex128{}}
	ratio := noiseHigh / noiseLow
	for k := 0; k <= cells; k++ {
		m.edges = append(m.edges, noiseLow*math.Pow(ratio, float64(k)/float64(cells)))
	}
	for k := range cells {
		m.centres = append(m.centres, math.Sqrt(m.edges[k]*m.edges[k+1]))
		m.widths = append(m.widths, m.edges[k+1]-m.edges[k])
	}
	return m
}

// ledger works on a wiring of its own. In it the guitar's source is the pickup's open-circuit
// voltage: what the recording was made into cancels at rest.
func (m *noiseMeter) ledger(c *board.Chain, jack string) (*Ledger, error) {
	ends, err := endsAt(c, jack)
	if err != nil {
		return nil, err
	}
	q := m.quiet(c)
	l, near, err := m.linear(q, ends, true)
	if err != nil || len(near) == 0 {
		return l, err
	}
	how := finely
	if len(m.centres) < noiseCells {
		how = coarsely
	}
	return l, m.render(q.plan, l, ends, near, how)
}

// TakesRendering reports whether the noise at a jack meets a threshold, so that At renders it. It
// returns the errors of At.
func TakesRendering(c *board.Chain, rate dsp.Hertz, jack string) (bool, error) {
	ends, err := endsAt(c, jack)
	if err != nil {
		return false, err
	}
	m := newNoiseMeter(rate, noiseCells/4)
	_, near, err := m.linear(m.quiet(c), ends, true)
	return len(near) > 0, err
}

// small is a ledger by small-signal responses alone.
func (m *noiseMeter) small(c *board.Chain, jack string) (*Ledger, error) {
	ends, err := endsAt(c, jack)
	if err != nil {
		return nil, err
	}
	l, _, err := m.linear(m.quiet(c), ends, false)
	return l, err
}

// endsAt is the jack, or where it is out what the chain ends in.
func endsAt(c *board.Chain, jack string) ([]string, error) {
	ends := []string{jack}
	if jack == "out" {
		ends = c.Ends()
	}
	for _, end := range ends {
		if err := c.Jack(end); err != nil {
			return nil, err
		}
	}
	return ends, nil
}

// quiet is a chain at rest, wired once for all jacks that are asked about.
type quiet struct {
	chain    *board.Chain
	plan     *render.Plan
	sections map[*circuit.Netlist]*resting
}

// resting is a section at rest, with what has been asked of it, per cell.
type resting struct {
	ac      *circuit.AC
	sources map[string][][]circuit.NoiseSource // by the node that hears them
	gains   map[[2]string][]complex128         // from a driven source to a node
}

func (m *noiseMeter) quiet(c *board.Chain) *quiet {
	plain := *c
	plain.Recording.Load, plain.Changes = nil, nil
	q := &quiet{c, render.PlanOf(&plain, m.rate, section.Draft), map[*circuit.Netlist]*resting{}}
	m.setLines(q.plan.Tail())
	return q
}

func (q *quiet) section(part *circuit.Netlist) (*resting, error) {
	if s := q.sections[part]; s != nil {
		return s, nil
	}
	ac, err := part.AC()
	if err != nil {
		return nil, err
	}
	s := &resting{ac, map[string][][]circuit.NoiseSource{}, map[[2]string][]complex128{}}
	q.sections[part] = s
	return s, nil
}

// at is what the sources of a section make at a node, per cell, and their gains to it.
func (s *resting) at(node string, centres []float64) [][]circuit.NoiseSource {
	if known := s.sources[node]; known != nil {
		return known
	}
	list := make([][]circuit.NoiseSource, len(centres))
	parallel.For(len(list), func(k int) { list[k] = s.ac.NoiseSources(dsp.Hertz(centres[k]), node) })
	s.sources[node] = list
	return list
}

// gain is that from a driven source to a node, per cell.
func (s *resting) gain(input, node string, centres []float64) []complex128 {
	key := [2]string{input, node}
	if known := s.gains[key]; known != nil {
		return known
	}
	list := make([]complex128, len(centres))
	parallel.For(len(list), func(k int) { list[k] = s.ac.Transfer(input, dsp.Hertz(centres[k]), node)[0] })
	s.gains[key] = list
	return list
}

// linear works the ledger out by small-signal responses, and says, if that is wanted, where they do
// not hold.
func (m *noiseMeter) linear(q *quiet, ends []string, thresholds bool) (*Ledger, []threshold, error) {
	c, w := q.chain, q.plan
	ones := make([]complex128, len(m.centres))
	for k := range ones {
		ones[k] = 1
	}
	walk := &noiseWalk{m: m, q: q, w: w, shares: map[[3]string]*Share{}, gain: make([]float64, len(m.centres))}
	var near []threshold
	for _, end := range ends {
		walk.wanted, walk.driven, walk.done = map[*circuit.Netlist][]wanted{}, map[string]paths{}, map[string]bool{}
		walk.want(wanted{end, ones, nil})
		if err := walk.back(); err != nil {
			return nil, nil, fmt.Errorf("take %q: noise at %s: %w", c.Take, end, err)
		}
		if !thresholds {
			continue
		}
		var err error
		if near, err = walk.near(near); err != nil {
			return nil, nil, err
		}
	}
	l := &Ledger{Jack: strings.Join(ends, " and "), Centres: m.centres, Widths: m.widths, Gain: walk.gain}
	studio := studio(c)
	for _, s := range walk.shares {
		if studio(s) {
			l.Apart = append(l.Apart, *s)
		} else {
			l.Shares = append(l.Shares, *s)
		}
	}
	l.sort(l.Shares)
	l.sort(l.Apart)
	return l, near, nil
}

// sort puts the loudest of a list first.
func (l *Ledger) sort(list []Share) {
	type weighed struct {
		Share
		power float64
	}
	all := make([]weighed, len(list))
	for k, s := range list {
		all[k] = weighed{s, s.power(l, AWeighted)}
	}
	slices.SortFunc(all, func(a, b weighed) int {
		return cmp.Or(cmp.Compare(b.power, a.power), cmp.Compare(a.Element, b.Element), cmp.Compare(a.Cause, b.Cause))
	})
	for k, w := range all {
		list[k] = w.Share
	}
}

// studio says what stands behind a loudspeaker: the microphone, which is all that a loudspeaker's
// block makes noise with, what follows it, and the load.
func studio(c *board.Chain) func(s *Share) bool {
	blocks, ends := map[string]bool{}, map[string]bool{}
	walk := func(line []board.Placed, behind bool) bool {
		for _, p := range line {
			behind = behind || p.Kind.Name == "speaker" && !p.Off
			if behind {
				blocks[p.Name] = true
			}
		}
		return behind
	}
	behind := walk(c.Blocks, false)
	ends["out"] = behind
	if c.Split != nil {
		left, right := walk(c.Split.Left, behind), walk(c.Split.Right, behind)
		ends["out.left"], ends["out.right"], ends["out"] = left, right, left && right
	}
	return func(s *Share) bool {
		if s.Block == "load" { // load, load.left, load.right
			return ends["out"+strings.TrimPrefix(s.Element, "load")]
		}
		if name, ok := strings.CutPrefix(s.Element, "cable."); ok && s.Block == "cables" {
			name = strings.TrimSuffix(strings.TrimSuffix(name, ".r"), ".c")
			// The cable into a loudspeaker is in the room, with the loudspeaker first of what is
			// behind.
			return ends[name] || blocks[name] && !speaker(c, name)
		}
		return blocks[s.Block]
	}
}

func speaker(c *board.Chain, name string) bool {
	return slices.ContainsFunc(c.Every(), func(p board.Placed) bool { return p.Name == name && p.Kind.Name == "speaker" })
}

// setLines chooses the length of impulse responses: twice that of all tails, since a power spectrum
// has the bandwidth of a signal of twice the length. At least 2^18, so that the lowest cell
// holds lines at any rate; at most 2^22, a minute at 48 kHz.
func (m *noiseMeter) setLines(tail dsp.Second) {
	n := 1 << 18
	for n < 1<<22 && float64(n) < 2*float64(tail)*float64(m.rate) {
		n *= 2
	}
	if n != m.lines {
		m.lines = n
		clear(m.combs)
		clear(m.pairs)
	}
}

// Bytes is about how much memory the noise of a plan is worked out in, at most: two transforms, and
// of every stage that echoes its response.
func Bytes(plan *render.Plan) int {
	m := newNoiseMeter(dsp.Hertz(plan.Rate), noiseCells)
	m.setLines(plan.Tail())
	echoes := 0
	for _, s := range plan.Stages {
		if s.Shape().Tail() > 0 {
			echoes += len(s.Sense) * len(s.Drive)
		}
	}
	return m.lines * (4*echoes + 32)
}

// wanted is a node voltage with its transfer to the jack.
type wanted struct {
	node string       // or the name of a driven source
	gain []complex128 // from there to the jack per cell, without the stages with memory on the way
	comb *comb        // these
}

// noiseWalk goes from the jack back to the guitar and gathers shares.
type noiseWalk struct {
	m      *noiseMeter
	q      *quiet
	w      *render.Plan
	wanted map[*circuit.Netlist][]wanted // the wanted voltages of each section
	driven map[string]paths              // and of each driven source, apart by their comb responses
	done   map[string]bool               // stages by their names
	shares map[[3]string]*Share
	gain   []float64
}

func (n *noiseWalk) want(v wanted) {
	part := n.w.Section(v.node)
	n.wanted[part] = append(n.wanted[part], v)
}

// back takes the sections from the last to the first. By the time that it comes to one, all that
// lies behind it is done, so that what a source makes on several paths is added before it is
// squared.
func (n *noiseWalk) back() error {
	for _, part := range slices.Backward(n.w.Sections) {
		for _, s := range slices.Backward(n.w.Stages) {
			if !n.done[s.Name] && slices.ContainsFunc(s.Sense, part.HasNode) {
				n.done[s.Name] = true
				if err := n.stage(s); err != nil {
					return err
				}
			}
		}
		if len(n.wanted[part]) > 0 {
			if err := n.section(part, n.wanted[part]); err != nil {
				return err
			}
		}
	}
	return nil
}

// cross is the mean over each cell of the product of a and the conjugate of b.
func (m *noiseMeter) cross(a, b *comb) []complex128 {
	key := [2]*comb{a, b}
	if m.pairs[key] == nil {
		m.means([]*comb{a, b})
	}
	return m.pairs[key]
}

// means works out cross for all pairs of these, cell by cell, so that of products no more is there
// than a cell holds.
func (m *noiseMeter) means(list []*comb) {
	var wanted [][2]int
	for i, a := range list {
		for j, b := range list[:i+1] {
			if m.pairs[[2]*comb{a, b}] == nil {
				m.pairs[[2]*comb{a, b}] = make([]complex128, len(m.centres))
				m.pairs[[2]*comb{b, a}] = make([]complex128, len(m.centres))
				wanted = append(wanted, [2]int{i, j})
			}
		}
	}
	if len(wanted) == 0 {
		return
	}
	step := float64(m.rate) / float64(m.lines)
	most := m.lines/2 + 1
	parallel.For(len(m.centres), func(k int) {
		from, to := int(math.Ceil(m.edges[k]/step)), int(math.Ceil(m.edges[k+1]/step))
		from, to = min(from, most-1), min(to, most)
		to = max(to, from+1)
		h := make([][]complex128, len(list))
		for i, c := range list {
			h[i] = c.at(from, make([]complex128, to-from))
		}
		for _, at := range wanted {
			var sum complex128
			y := h[at[1]]
			for l, x := range h[at[0]] {
				sum += x * cmplx.Conj(y[l])
			}
			sum /= complex(float64(to-from), 0)
			a, b := list[at[0]], list[at[1]]
			m.pairs[[2]*comb{b, a}][k] = cmplx.Conj(sum)
			m.pairs[[2]*comb{a, b}][k] = sum
		}
	})
}

// added is how what comes on paths with different comb responses adds up in a cell. With gains g(i)
// and the Hermitian matrix M of means of the products of their comb responses, the mean power is g
// M g*; M = L L* (Cholesky, Golub & Van Loan, Matrix Computations, section 4.2, from memory), so
// that it is the sum over columns r of |Σ g(i) L(i,r)|². Of one path, L is the root of its mean
// power.
func (m *noiseMeter) added(list []wanted) (l [][][]complex128) {
	n := len(list)
	var combs []*comb
	for _, v := range list {
		if !slices.Contains(combs, v.comb) {
			combs = append(combs, v.comb)
		}
	}
	m.means(combs)
	l = make([][][]complex128, len(m.centres)) // per cell, row and column
	for k := range l {
		l[k] = make([][]complex128, n)
		for i := range n {
			l[k][i] = make([]complex128, n)
			for j := range i + 1 {
				sum := m.cross(list[i].comb, list[j].comb)[k]
				for r := range j {
					sum -= l[k][i][r] * cmplx.Conj(l[k][j][r])
				}
				const rounding = 1e-12 // of the mean power: what is under it is nothing of its own
				switch own := real(m.cross(list[j].comb, list[j].comb)[k]); {
				case i == j && real(sum) > rounding*own:
					l[k][i][i] = complex(math.Sqrt(real(sum)), 0)
				case i > j && l[k][j][j] != 0:
					l[k][i][j] = sum / l[k][j][j]
				}
			}
		}
	}
	return l
}

// power is the mean power gain of paths from one place, per cell.
func (m *noiseMeter) power(list []wanted) []float64 {
	l := m.added(list)
	sum := make([]float64, len(m.centres))
	for k := range sum {
		for r := range list {
			var z complex128
			for i, v := range list {
				z += v.gain[k] * l[k][i][r]
			}
			sum[k] += dsp.Abs2(z)
		}
	}
	return sum
}

// section adds what is made in a section.
func (n *noiseWalk) section(part *circuit.Netlist, list []wanted) error {
	rest, err := n.q.section(part)
	if err != nil {
		return err
	}
	var nodes []string
	for _, v := range list {
		nodes = append(nodes, v.node)
	}
	l := n.m.added(list)
	cells := len(n.m.centres)
	weights := make([][][]complex128, cells) // per cell and column of l, of each node
	for k := range weights {
		for r := range list {
			var w []complex128
			for i, v := range list {
				w = append(w, v.gain[k]*l[k][i][r])
			}
			if slices.ContainsFunc(w, func(z complex128) bool { return z != 0 }) {
				weights[k] = append(weights[k], w)
			}
		}
	}
	// transfer is the power gain from a driven source to the jack, at a frequency.
	transfer := func(input string, f float64) (sum float64) {
		h := rest.ac.Transfer(input, dsp.Hertz(f), nodes...)
		for _, w := range weights[n.m.cell(f)] {
			var z complex128
			for i := range h {
				z += w[i] * h[i]
			}
			sum += dsp.Abs2(z)
		}
		return sum
	}
	inputs := part.Inputs()
	at := make([][][]circuit.NoiseSource, len(nodes))
	for j, node := range nodes {
		at[j] = rest.at(node, n.m.centres)
	}
	for k := range cells {
		for _, w := range weights[k] {
			for e, source := range at[0][k] {
				var gain complex128 // what one makes at several nodes is added before it is squared
				for j := range nodes {
					gain += w[j] * at[j][k][e].Gains[0]
				}
				n.add(source.Owner, source.Element, source.Cause, k, source.Density*dsp.Abs2(gain))
			}
		}
	}
	for _, in := range inputs {
		var heard paths
		for _, v := range list {
			gain, through := make([]complex128, cells), rest.gain(in, v.node, n.m.centres)
			for k, g := range v.gain {
				gain[k] = g * through[k]
			}
			heard.add(wanted{in, gain, v.comb})
		}
		if in != wiring.Source {
			n.driven[in] = heard
			continue
		}
		for k, p := range n.m.power(heard) {
			n.gain[k] += p
		}
		n.hum(func(f float64) float64 { return transfer(in, f) })
	}
	n.rippleIn(part, transfer)
	return nil
}

// paths is the transfers of one node to the jack, separated by the comb response on the way.
type paths []wanted

func (p *paths) add(v wanted) {
	for k := range *p {
		if q := &(*p)[k]; q.comb == v.comb && q.node == v.node {
			for k, g := range v.gain {
				q.gain[k] += g
			}
			return
		}
	}
	*p = append(*p, v)
}

// cell is the cell of the frequency axis that holds a frequency.
func (m *noiseMeter) cell(f float64) int {
	at, _ := slices.BinarySearch(m.edges, f)
	return min(max(0, at-1), len(m.centres)-1)
}

// stage adds the noise of a stage, and carries the transfer of its output back to what it senses.
func (n *noiseWalk) stage(s blocks.Stage) error {
	silent := true
	inputs := make([]paths, len(s.Sense))
	for channel, d := range s.Drive {
		heard := n.driven[d]
		if len(heard) == 0 {
			continue
		}
		silent = false
		power := n.m.power(heard) // every channel makes its own noise
		n.rippleOf(s, func(f float64) float64 { return power[n.m.cell(f)] })
		for k, p := range power {
			if s.Noise > 0 {
				n.add(s.Owner, s.Name, "stage", k, s.Noise*s.Noise*p)
			}
			if s.Converter > 0 {
				n.add(s.Owner, s.Name, "converter", k, s.Converter*s.Converter*p)
			}
		}
		for in, node := range s.Sense {
			if s.Shape().Tail() > 0 && !n.m.smooth(s) {
				own := n.m.combOf(s, in, channel)
				for _, v := range heard {
					inputs[in].add(wanted{node, slices.Clone(v.gain), n.m.product(v.comb, own)})
				}
				continue
			}
			response := n.m.responses(s, in)[channel]
			for _, v := range heard {
				gain := make([]complex128, len(v.gain))
				for k, g := range v.gain {
					gain[k] = g * response[k]
				}
				inputs[in].add(wanted{node, gain, v.comb})
			}
		}
	}
	if silent {
		return nil
	}
	for _, list := range inputs {
		for _, v := range list {
			n.want(v)
		}
	}
	return nil
}

// smooth reports whether a stage states a response that hardly changes within a cell: an equaliser
// does, an echo does not.
func (m *noiseMeter) smooth(s blocks.Stage) bool {
	core, ok := s.Shape().(blocks.Responder)
	if !ok || len(s.Sense) != 1 || len(s.Drive) != 1 {
		return false
	}
	// of the response, from one edge of a cell to the other; so that its middle stands for all of
	// it
	const most = 0.1
	for k, f := range m.centres {
		low, high := core.Response(dsp.Hertz(m.edges[k])), core.Response(dsp.Hertz(m.edges[k+1]))
		if !(cmplx.Abs(high-low) <= most*cmplx.Abs(core.Response(dsp.Hertz(f)))) {
			return false
		}
	}
	return true
}

// responses is the response of a stage from one of its inputs to all of its outputs, per cell: by
// what its core states, or else from its response to a small impulse, with the latency taken back.
func (m *noiseMeter) responses(s blocks.Stage, input int) [][]complex128 {
	all := make([][]complex128, len(s.Drive))
	for c := range all {
		all[c] = make([]complex128, len(m.centres))
	}
	if core, ok := s.Shape().(blocks.Responder); ok && len(s.Sense) == 1 && len(s.Drive) == 1 {
		for k, f := range m.centres {
			all[0][k] = core.Response(dsp.Hertz(f))
		}
		return all
	}
	in, out := make([][]float64, len(s.Sense)), make([][]float64, len(s.Drive))
	core := s.New()
	length := impulseBlock + 2*core.Latency()
	for k := range in {
		in[k] = make([]float64, length)
	}
	for k := range out {
		out[k] = make([]float64, length)
	}
	in[input][0] = impulse
	core.Process(out, in)
	for c, x := range out {
		parallel.For(len(m.centres), func(k int) {
			for t, v := range x {
				if v != 0 {
					angle := -2 * math.Pi * m.centres[k] / float64(m.rate) * float64(t-core.Latency())
					all[c][k] += cmplx.Rect(v/impulse, angle)
				}
			}
		})
	}
	return all
}

// impulseBlock is how many samples of an impulse response are computed at a time, and how many of
// a stage without memory.
const impulseBlock = 512

// impulse is a voltage so small that every core's limits leave it alone.
const impulse = 1e-3

// What mains hum is made of.
const (
	mains        = 50.0 // Hz
	humHarmonics = 10
)

// humElement is what picks hum up.
const humElement = "guitar.pickup"

// humLines is the tones in series with the pickup's winding, as volts of the recording's source that
// give them: a pickup that gives less of what was played does not give less hum.
func humLines(c *board.Chain) []Line {
	volts := float64(c.Guitar.Hum) / c.GuitarLevel()
	if volts <= 0 {
		return nil
	}
	sum := 0.0
	for k := 1.0; k <= humHarmonics; k++ {
		sum += 1 / (k * k)
	}
	var lines []Line
	for k := 1.0; k <= humHarmonics; k++ {
		lines = append(lines, Line{k * mains, volts * volts / (k * k) / sum})
	}
	return lines
}

// hum adds the mains hum, given the power gain from the source.
func (n *noiseWalk) hum(gain func(f float64) float64) {
	for _, l := range humLines(n.w.Chain) {
		s := n.share("guitar", humElement, "hum")
		s.Lines = append(s.Lines, Line{l.Frequency, l.Power * gain(l.Frequency)})
	}
}

// share is what a source of an owner's adds, so far.
func (n *noiseWalk) share(owner, element, cause string) *Share {
	key := [3]string{owner, element, cause}
	s := n.shares[key]
	if s == nil {
		s = &Share{Block: blockOf(n.w.Chain, owner), Element: element, Cause: cause, Density: make([]float64, len(n.m.centres))}
		n.shares[key] = s
	}
	return s
}

func (n *noiseWalk) add(owner, element, cause string, cell int, density float64) {
	n.share(owner, element, cause).Density[cell] += density
}

// blockOf is the block that an owner is or, where it is a piece of a switcher, belongs to.
func blockOf(c *board.Chain, owner string) string {
	for _, p := range c.Every() {
		if p.Name == owner && p.Piece != nil {
			return p.Switcher
		}
	}
	return owner
}

// product is two comb responses in series.
func (m *noiseMeter) product(a, b *comb) *comb {
	if a == nil {
		return b
	}
	keys := slices.Sorted(slices.Values(slices.Concat(a.keys, b.keys)))
	key := strings.Join(keys, "\n")
	if r := m.combs[key]; r != nil {
		return r
	}
	r := &comb{keys, slices.Concat(a.of, b.of)}
	m.combs[key] = r
	return r
}

// combOf is the response of a stage's core from one of its inputs to one of its outputs, line by
// line: by what it states, or else from the response to an impulse small enough to be left alone by
// any limit, with the latency taken back.
func (m *noiseMeter) combOf(s blocks.Stage, input, channel int) *comb {
	key := fmt.Sprintf("%s %d %d", s.Key, input, channel)
	if r := m.combs[key]; r != nil {
		return r
	}
	h := make([]complex64, m.lines/2+1)
	r := &comb{[]string{key}, [][]complex64{h}}
	m.combs[key] = r
	step := float64(m.rate) / float64(m.lines)
	// laid is the transform of an impulse response that comes so many samples late
	laid := func(x []float64, scale float64, late int) *comb {
		for k, z := range fourier.NewFFT(m.lines).Coefficients(nil, x) {
			h[k] = complex64(z / complex(scale, 0) * cmplx.Rect(1, 2*math.Pi*float64(k)*float64(late)/float64(m.lines)))
		}
		return r
	}
	if core, ok := s.Shape().(blocks.Finite); ok {
		x := make([]float64, m.lines)
		taps, lead := core.Impulse()
		copy(x, taps)
		return laid(x, 1, lead)
	}
	if core, ok := s.Shape().(blocks.Responder); ok && len(s.Sense) == 1 && len(s.Drive) == 1 {
		parallel.For(len(h), func(k int) { h[k] = complex64(core.Response(dsp.Hertz(float64(k) * step))) })
		return r
	}
	core := s.New()
	x := make([]float64, m.lines)
	out, in := make([][]float64, len(s.Drive)), make([][]float64, len(s.Sense))
	for c := range out {
		out[c] = make([]float64, impulseBlock)
	}
	for c := range in {
		in[c] = make([]float64, impulseBlock)
	}
	in[input][0] = impulse
	for at := 0; at < len(x); at += impulseBlock {
		core.Process(out, in)
		in[input][0] = 0
		copy(x[at:], out[channel])
	}
	return laid(x, impulse, core.Latency())
}
