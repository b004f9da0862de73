// Package noise says what a chain at rest sounds like, and which part of it makes how much of that: the ledger, worked out from the small-signal
// responses of circuits and stages, and the same noise as a signal for a renderer.
//
// Start reading at Ledger, then At.
package noise

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/measure"
	"drywire/dsp/parallel"
	"drywire/dsp/section"
)

// A Ledger is the noise at one jack of a chain at rest, split by what makes it. What each source makes is carried to the jack by the small-signal
// response of all that lies between: circuits by AC analysis about the operating point, stages by the response that they state, those that
// state none (a reverb) by the power spectrum of their impulse response; the teeth of an echo are averaged over each cell of the frequency axis.
// Sources know nothing of each other, so that powers add.
//
// Mains hum is in series with the pickup's winding: tones at 50 Hz and its multiples to the tenth, each as many times softer as its number (common practice,
// no source), together of the voltage that the guitar has for it.
//
// It is the noise of a chain that nobody plays through. It leaves out the noise that is in the recording itself, and what playing does to noise: a clipping
// stage lets less of it through, a compressor changes it with its gain. The ripple of supplies is in it as Supply
// says; a block that is plugged into none has an ideal one.
type Ledger struct {
	Jack    string
	Centres []float64 // Hz: the middle of each cell of the frequency axis
	Widths  []float64 // Hz
	Shares  []Share   // loudest first, by A-weighted power
	Gain    []float64 // power gain per cell, from the pickup's open-circuit voltage to the jack
}

// Share is what one source adds to the noise at the jack.
type Share struct {
	Block   string    // the block's name, "guitar", "cables" or "load"
	Element string    // the part of it, by its name in the circuit, or the stage
	Cause   string    // "thermal", "shot", "input" (an amplifier in the circuit), "stage" (amplifiers inside a stage), "converter" (of a stage, or its line of charges), "hum" or "ripple" (of a supply)
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
	// noiseCells is how many cells, of equal width on a logarithmic axis, the band has: 24 to the octave. A test shows that the total is then right.
	noiseCells = 240
)

// Flat and AWeighted are the weightings of powers, in dB by frequency.
func Flat(float64) float64 { return 0 }

// AWeighted is the A weighting of IEC 61672-1.
func AWeighted(f float64) float64 { return measure.AWeightingDB(f) }

// Power is the mean square of the share in V² from 20 Hz to 20 kHz, weighted.
func (s *Share) power(l *Ledger, weightingDB func(float64) float64) float64 {
	sum := 0.0
	for k, d := range s.Density {
		sum += d * l.Widths[k] * math.Pow(10, weightingDB(l.Centres[k])/10)
	}
	for _, line := range s.Lines {
		sum += line.Power * math.Pow(10, weightingDB(line.Frequency)/10)
	}
	return sum
}

// Power is the mean square, in V² from 20 Hz to 20 kHz, of the share of that index.
func (l *Ledger) Power(share int, weightingDB func(float64) float64) float64 {
	return l.Shares[share].power(l, weightingDB)
}

// RMS is the whole noise in V, from 20 Hz to 20 kHz, weighted.
func (l *Ledger) RMS(weightingDB func(float64) float64) float64 {
	sum := 0.0
	for k := range l.Shares {
		sum += l.Power(k, weightingDB)
	}
	return math.Sqrt(sum)
}

// Density is the whole noise per cell, in V²/Hz, without its tones.
func (l *Ledger) Density() []float64 {
	sum := make([]float64, len(l.Centres))
	for _, s := range l.Shares {
		for k, d := range s.Density {
			sum[k] += d
		}
	}
	return sum
}

// At is the ledger of the noise at a jack, for recordings of that rate.
func At(c *board.Chain, rate dsp.Hertz, jack string) (*Ledger, error) {
	return newNoiseMeter(rate, noiseCells).ledger(c, jack)
}

// ErrNoLedger is returned where a ledger cannot be drawn up yet: where noise comes on two paths, of which one leads through an echo or a reverb.
var ErrNoLedger = errors.New("no noise ledger where paths meet again behind an echo or a reverb")

// AtAll is the ledgers of several jacks.
func AtAll(c *board.Chain, rate dsp.Hertz, jacks ...string) ([]*Ledger, error) {
	m := newNoiseMeter(rate, noiseCells)
	list := make([]*Ledger, 0, len(jacks))
	for _, j := range jacks {
		l, err := m.ledger(c, j)
		if err != nil {
			return nil, err
		}
		list = append(list, l)
	}
	return list, nil
}

// Move is what the noise at the last jack would be with one block at another place in the order.
type Move struct {
	Block    string
	From, To int     // places, from 0
	Behind   string  // the block that it would stand behind; "guitar" for none
	NoiseDB  float64 // by how much the A-weighted noise changes
	GainDB   float64 // by how much the small-signal gain at 1 kHz changes, from the pickup: noise that falls with it is no gain
}

// Moves is every move of one block that is on to any other place, in the order of the chain: what it does to the noise at the jack out, or at
// out.left where the chain ends in two. Parts of an amplifier stay where they are, and nothing moves behind its power.
func Moves(c *board.Chain, rate dsp.Hertz) ([]Move, error) {
	m := newNoiseMeter(rate, noiseCells/4) // a move of under 0.05 dB is of no interest
	type outcome struct{ noise, gain float64 }
	seen := map[string]outcome{}
	look := func(order []board.Placed) (outcome, error) {
		var names []string
		for _, b := range order {
			names = append(names, b.Name)
		}
		key := strings.Join(names, " ")
		if o, ok := seen[key]; ok {
			return o, nil
		}
		other := *c
		other.Blocks = order
		l, err := m.ledger(&other, c.Ends()[0])
		if err != nil {
			return outcome{}, err
		}
		at, _ := slices.BinarySearch(l.Centres, 1000)
		o := outcome{l.RMS(AWeighted), math.Sqrt(l.Gain[at])}
		seen[key] = o
		return o, nil
	}
	now, err := look(c.Blocks)
	if err != nil {
		return nil, err
	}
	if now.gain == 0 || now.noise == 0 {
		return nil, nil // nothing comes through, and so nothing less or more of it
	}
	var moves []Move
	for from, b := range c.Blocks {
		for to := range c.Blocks {
			if b.Off || to == from || b.Switcher != "" || b.Kind.Place != blocks.OnTheBoard {
				continue
			}
			order := slices.Insert(slices.Delete(slices.Clone(c.Blocks), from, from+1), to, b)
			if 0 < to && to < len(order)-1 && order[to-1].Switcher != "" && order[to-1].Switcher == order[to+1].Switcher {
				continue // inside a switcher
			}
			if board.Reordered(c.Blocks, order) != "" {
				continue
			}
			behind := "guitar"
			if to > 0 {
				behind = cmp.Or(order[to-1].Switcher, order[to-1].Name)
			}
			then, err := look(order)
			if err != nil {
				return nil, err
			}
			if then.gain == 0 || then.noise == 0 {
				continue
			}
			moves = append(moves, Move{b.Name, from, to, behind, dsp.ToDB(then.noise / now.noise), dsp.ToDB(then.gain / now.gain)})
		}
	}
	return moves, nil
}

// noiseMeter works out ledgers on one frequency axis, and remembers what stages with memory do.
type noiseMeter struct {
	rate    dsp.Hertz
	edges   []float64
	centres []float64
	widths  []float64
	lines   int                  // length of the impulse responses, a power of two
	rough   map[string][]float64 // power response of a stage's core by its key, at the lines of the transform
}

func newNoiseMeter(rate dsp.Hertz, cells int) *noiseMeter {
	m := &noiseMeter{rate: rate, rough: map[string][]float64{}}
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

// ledger works on a wiring of its own. In it the guitar's source is the pickup's open-circuit voltage: what the
// recording was made into cancels at rest.
func (m *noiseMeter) ledger(c *board.Chain, jack string) (*Ledger, error) {
	if err := c.Jack(jack); err != nil {
		return nil, err
	}
	plain := *c
	plain.Recording.Load = nil
	w := render.PlanOf(&plain, m.rate, section.Draft)
	m.setLines(w.Tail())
	walk := &noiseWalk{
		m: m, w: w, shares: map[[3]string]*Share{}, gain: make([]float64, len(m.centres)),
		wanted: map[*circuit.Netlist][]wanted{}, driven: map[string]wanted{}, done: map[string]bool{},
	}
	ones := make([]complex128, len(m.centres))
	for k := range ones {
		ones[k] = 1
	}
	walk.want(wanted{jack, ones, nil})
	if err := walk.back(); err != nil {
		return nil, fmt.Errorf("take %q: noise at %s: %w", c.Take, jack, err)
	}
	l := &Ledger{Jack: jack, Centres: m.centres, Widths: m.widths, Gain: walk.gain}
	for _, s := range walk.shares {
		l.Shares = append(l.Shares, *s)
	}
	slices.SortFunc(l.Shares, func(a, b Share) int {
		return cmp.Or(cmp.Compare(b.power(l, AWeighted), a.power(l, AWeighted)), cmp.Compare(a.Element, b.Element), cmp.Compare(a.Cause, b.Cause))
	})
	return l, nil
}

// setLines chooses the length of impulse responses: twice all that sounds on, since a power spectrum is as rough as a signal of twice the length. At
// least 2^18, so that the lowest cell holds lines at any rate; at most 2^22, a minute at 48 kHz.
func (m *noiseMeter) setLines(tail dsp.Second) {
	n := 1 << 18
	for n < 1<<22 && float64(n) < 2*float64(tail)*float64(m.rate) {
		n *= 2
	}
	if n != m.lines {
		m.lines = n
		clear(m.rough)
	}
}

// wanted is a voltage that the jack hears.
type wanted struct {
	node  string       // or the name of a driven source
	gain  []complex128 // from there to the jack per cell, without the stages with memory on the way
	rough []float64    // the product of the power responses of those, nil where there are none
}

// noiseWalk goes from the jack back to the guitar and gathers shares.
type noiseWalk struct {
	m      *noiseMeter
	w      *render.Plan
	wanted map[*circuit.Netlist][]wanted // what is heard of each section
	driven map[string]wanted             // and of each driven source
	done   map[string]bool               // stages by their names
	shares map[[3]string]*Share
	gain   []float64
}

func (n *noiseWalk) want(v wanted) {
	part := n.w.Section(v.node)
	n.wanted[part] = append(n.wanted[part], v)
}

// back takes the sections from the last to the first. By the time that it comes to one, all that lies behind it is done, so that what a source makes on several
// paths is added before it is squared.
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

// together is the rough part that several wanted voltages have in common. Where a stage with memory lies on one path only, nothing is known of how
// what comes on the paths adds up within a cell.
func together(list []wanted) ([]float64, error) {
	for _, v := range list[1:] {
		same := len(v.rough) == len(list[0].rough) && (v.rough == nil || &v.rough[0] == &list[0].rough[0])
		if !same {
			return nil, fmt.Errorf("%s and %s: %w", list[0].node, v.node, ErrNoLedger)
		}
	}
	return list[0].rough, nil
}

// mean is the mean of a rough part over each cell.
func (n *noiseWalk) mean(rough []float64) []float64 {
	if rough != nil {
		return n.m.means(rough)
	}
	ones := make([]float64, len(n.m.centres))
	for k := range ones {
		ones[k] = 1
	}
	return ones
}

// section adds what is made in a section.
func (n *noiseWalk) section(part *circuit.Netlist, list []wanted) error {
	ac, err := part.AC()
	if err != nil {
		return err
	}
	rough, err := together(list)
	if err != nil {
		return err
	}
	mean := n.mean(rough)
	var nodes []string
	weights := make([][]complex128, len(mean)) // per cell, of each node
	for _, v := range list {
		nodes = append(nodes, v.node)
		for k, g := range v.gain {
			weights[k] = append(weights[k], g)
		}
	}
	// transfer is the gain from a driven source to the jack, at a frequency in a cell.
	transfer := func(input string, f float64, cell int) complex128 {
		var sum complex128
		for i, h := range ac.Transfer(input, dsp.Hertz(f), nodes...) {
			sum += weights[cell][i] * h
		}
		return sum
	}
	inputs := part.Inputs()
	own := make([][]circuit.Noise, len(mean))
	through := make([][]complex128, len(inputs))
	for i := range through {
		through[i] = make([]complex128, len(mean))
	}
	parallel.For(len(mean), func(k int) {
		f := n.m.centres[k]
		own[k] = ac.NoiseOfSum(nodes, weights[k], dsp.Hertz(f))
		for i, in := range inputs {
			through[i][k] = transfer(in, f, k)
		}
	})
	for k, made := range own {
		for _, e := range made {
			n.add(e.Owner, e.Element, e.Cause, k, e.Density*mean[k])
		}
	}
	for i, in := range inputs {
		if in != wiring.Source {
			n.driven[in] = wanted{in, through[i], rough}
			continue
		}
		for k, h := range through[i] {
			n.gain[k] += dsp.Abs2(h) * mean[k]
		}
		n.hum(func(f float64) float64 {
			cell := n.m.cell(f)
			return dsp.Abs2(transfer(in, f, cell)) * mean[cell]
		})
	}
	n.rippleIn(part, func(input string, f float64) complex128 {
		cell := n.m.cell(f)
		return transfer(input, f, cell) * complex(math.Sqrt(mean[cell]), 0)
	})
	return nil
}

// cell is the cell of the frequency axis that holds a frequency.
func (m *noiseMeter) cell(f float64) int {
	at, _ := slices.BinarySearch(m.edges, f)
	return min(max(0, at-1), len(m.centres)-1)
}

// stage adds what is made in a stage, and hands on what is heard of it to what it senses.
func (n *noiseWalk) stage(s blocks.Stage) error {
	var heard []wanted
	var channels []int
	for c, d := range s.Drive {
		if v, ok := n.driven[d]; ok {
			heard, channels = append(heard, v), append(channels, c)
		}
	}
	if len(heard) == 0 {
		return nil
	}
	for _, v := range heard { // every channel makes its own noise
		mean := n.mean(v.rough)
		n.rippleOf(s, func(f float64) float64 { cell := n.m.cell(f); return dsp.Abs2(v.gain[cell]) * mean[cell] })
		for k, g := range v.gain {
			if s.Noise > 0 {
				n.add(s.Owner, s.Name, "stage", k, s.Noise*s.Noise*dsp.Abs2(g)*mean[k])
			}
			if s.Converter > 0 {
				n.add(s.Owner, s.Name, "converter", k, s.Converter*s.Converter*dsp.Abs2(g)*mean[k])
			}
		}
	}
	if s.Shape().Tail() > 0 && !n.m.smooth(s) {
		if len(heard) != 1 || len(s.Sense) != 1 {
			return fmt.Errorf("%s has memory and several channels: %w", s.Name, ErrNoLedger)
		}
		rough := n.m.powerOf(s, channels[0])
		if before := heard[0].rough; before != nil {
			both := make([]float64, len(rough))
			for k, p := range rough {
				both[k] = p * before[k]
			}
			rough = both
		}
		n.want(wanted{s.Sense[0], heard[0].gain, rough})
		return nil
	}
	rough, err := together(heard)
	if err != nil {
		return err
	}
	for in, node := range s.Sense {
		gain := make([]complex128, len(n.m.centres))
		response := n.m.responses(s, in)
		for i, v := range heard {
			for k, g := range v.gain {
				gain[k] += g * response[channels[i]][k]
			}
		}
		n.want(wanted{node, gain, rough})
	}
	return nil
}

// smooth says whether a stage states a response that hardly changes within a cell: an equaliser does, an echo does not.
func (m *noiseMeter) smooth(s blocks.Stage) bool {
	core, ok := s.Shape().(blocks.Responder)
	if !ok || len(s.Sense) != 1 || len(s.Drive) != 1 {
		return false
	}
	const most = 0.1 // of the response, from one edge of a cell to the other; so that its middle stands for all of it
	for k, f := range m.centres {
		low, high := core.Response(dsp.Hertz(m.edges[k])), core.Response(dsp.Hertz(m.edges[k+1]))
		if !(cmplx.Abs(high-low) <= most*cmplx.Abs(core.Response(dsp.Hertz(f)))) {
			return false
		}
	}
	return true
}

// responses is the response of a stage from one of its inputs to all of its outputs, per cell: by what its core states, or else from its
// response to a small impulse, with the latency taken back.
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

// impulseBlock is how many samples of an impulse response are worked out at a time, and how many of a stage without memory.
const impulseBlock = 512

// impulse is a voltage so small that every core's limits leave it alone.
const impulse = 1e-3

// What mains hum is made of.
const (
	mains        = 50.0 // Hz
	humHarmonics = 10
)

// hum adds the mains hum, given the power gain from the source.
func (n *noiseWalk) hum(gain func(f float64) float64) {
	volts := float64(n.w.Chain.Guitar.Hum)
	if volts <= 0 {
		return
	}
	sum := 0.0
	for k := 1.0; k <= humHarmonics; k++ {
		sum += 1 / (k * k)
	}
	s := n.share("guitar", "guitar.pickup", "hum")
	for k := 1.0; k <= humHarmonics; k++ {
		s.Lines = append(s.Lines, Line{k * mains, volts * volts / (k * k) / sum * gain(k*mains)})
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

// powerOf is the power response of a stage's core, line by line: by what it states, or else from the response to an impulse small enough to be left alone by
// any limit.
func (m *noiseMeter) powerOf(s blocks.Stage, channel int) []float64 {
	key := fmt.Sprintf("%s %d", s.Key, channel)
	if p := m.rough[key]; p != nil {
		return p
	}
	p := make([]float64, m.lines/2+1)
	m.rough[key] = p
	if core, ok := s.Shape().(blocks.Responder); ok {
		step := float64(m.rate) / float64(m.lines)
		parallel.For(len(p), func(k int) { p[k] = dsp.Abs2(core.Response(dsp.Hertz(float64(k) * step))) })
		return p
	}
	x := make([]float64, m.lines)
	x[0] = impulse
	core := s.New()
	out, in := make([][]float64, len(s.Drive)), [][]float64{nil}
	for c := range out {
		out[c] = make([]float64, impulseBlock)
	}
	for at := 0; at < len(x); at += impulseBlock {
		b := x[at:min(at+impulseBlock, len(x))]
		in[0] = b
		for c := range out {
			out[c] = out[c][:len(b)]
		}
		core.Process(out, in)
		copy(b, out[channel])
	}
	lines := fourier.NewFFT(m.lines).Coefficients(nil, x)
	for k, z := range lines {
		p[k] = dsp.Abs2(z) / (impulse * impulse)
	}
	return p
}

// means is the mean of a power response over each cell.
func (m *noiseMeter) means(power []float64) []float64 {
	step := float64(m.rate) / float64(m.lines)
	out := make([]float64, len(m.centres))
	for k := range out {
		from, to := int(math.Ceil(m.edges[k]/step)), int(math.Ceil(m.edges[k+1]/step))
		from, to = min(from, len(power)-1), min(to, len(power))
		if to <= from {
			to = from + 1
		}
		sum := 0.0
		for _, p := range power[from:to] {
			sum += p
		}
		out[k] = sum / float64(to-from)
	}
	return out
}
