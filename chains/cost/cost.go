// Package cost estimates what a take will need of processor time and memory, from the sizes of its
// circuits alone: nothing is solved for it. It is apart from what does the work, so that a file of
// a few kilobytes that would keep a machine busy for hours is refused before it begins.
//
// Start reading at Of, then Estimate.Over.
package cost

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Estimate is what a take asks for. Times are of one processor, and right within Factor where they
// are over a second.
type Estimate struct {
	Prepare dsp.Second // until the first sample of it could be played
	Sound   dsp.Second // for each second of sound, in the wiring's quality
	Rest    dsp.Second // one noise ledger
	Heard   dsp.Second // beside Rest, where noise meets a threshold and is rendered
	Move    dsp.Second // the same as Rest, coarsely, as for every move that is tried
	Bytes   float64    // what is kept in memory
	Ledger  float64    // bytes that a noise ledger keeps
}

// Factor is how far an estimate of Prepare or Sound over a second may be off, either way.
const Factor = 5

// The budget of what is done without --long: preparing all takes together, in seconds; rendering a
// second of sound, in seconds; memory, in bytes. The largest board that ships needs a hundredth of
// the first and a tenth of the second.
const (
	MostPrepare dsp.Second = 120
	MostSound   dsp.Second = 20
	MostBytes              = 1 << 30
)

// The model: how long an operation takes in seconds, on a processor of 3 GHz, and how often it is
// done. Fitted to measured times.
const (
	product   = 1.5e-9 // a term of a product of matrices, or of a factor
	scan      = 3e-9   // an element that is looked at and found to be zero
	mode      = 6e-8   // a cube of the states: eigenvalues, eigenvectors and their check
	terms     = 2e-8   // a complex term of a response
	wire      = 4e-6   // an unknown, to be wired
	stepping  = 35e-9  // a step of a non-linear section
	perPort   = 19e-9
	vectored  = 0.3e-9 // a cube of the ports, where they are few
	plain     = 0.8e-9 // a cube of the ports, where they are not
	fewPorts  = 8
	newton    = 40 // iterations to an operating point
	micro     = 85 // microsteps of all lengths of a step
	lengths   = 4  // of a step
	fits      = 561 * 5
	ledger    = 240    // frequencies
	coarse    = 60     // of a move
	rendered  = 15     // seconds of sound that the renderings at rest cost as much as
	perStage  = 1.5e-3 // s: response of a stage, at the frequencies of a move
	perLine   = 1e-7   // of the response of a stage with memory
	lineBytes = 4      // per line of it that is kept
	fewStates = 96     // of a linear section whose modes are all found
	reduced   = 1.5e-7 // a square of the states of a larger one, which is reduced
	kept      = 40     // of which this many are left, about
)

// Of is the estimate of a wiring.
func Of(w *wiring.Wiring) Estimate {
	var e Estimate
	factor := float64(w.Quality.Oversample(w.Rate)) * float64(w.Rate)
	moved := settings(w.Chain.Turns)
	for _, n := range w.Sections {
		s := n.Size()
		prepare, sound, bytes := ofSection(s, factor, float64(w.Rate))
		reach := float64(s.Unknowns) / perBlock // jacks at which it is cut for its hand-overs
		prepare += 2 * reach * ac(s)
		if moved > 0 && turned(w.Chain, n) {
			prepare += moved * (prepare + wire*float64(w.Circuit.Size().Unknowns))
			bytes *= moved
			sound *= 2 // two settings run side by side
		}
		e.Prepare += dsp.Second(prepare)
		e.Sound += dsp.Second(sound)
		e.Bytes += bytes
		each := float64(s.Inputs+1) * (factoring(s) + scan*3*float64(s.Unknowns*s.Unknowns))
		e.Rest += dsp.Second(ledger*each + ac(s))
		e.Move += dsp.Second(coarse*each + ac(s))
	}
	unknowns := float64(w.Circuit.Size().Unknowns)
	e.Prepare += dsp.Second(wire * unknowns * (1 + moved))
	e.Bytes += 400 * unknowns * (1 + moved)
	e.Heard = rendered * e.Sound
	lines := lines(w)
	for _, s := range w.Stages {
		e.Rest += perStage
		e.Move += perStage
		e.Sound += dsp.Second(50e-9 * float64(w.Rate))
		if s.Shape().Tail() > 0 {
			e.Rest += dsp.Second(perLine * lines)
			e.Ledger += lineBytes * lines
		}
	}
	return e
}

// lines is how long the responses of stages with memory are for a noise ledger, in samples: see
// package noise.
func lines(w *wiring.Wiring) float64 {
	tail := 0.0
	for _, s := range w.Stages {
		tail += float64(s.Shape().Tail())
	}
	n := float64(1 << 18)
	for n < 1<<22 && n < 2*tail*float64(w.Rate) {
		n *= 2
	}
	return n
}

// perBlock is how many unknowns of a circuit a block has, at the least.
const perBlock = 3

// factoring is one factor of the circuit's matrix: a long chain has few elements in a row.
func factoring(s circuit.Size) float64 {
	n := float64(s.Unknowns)
	return scan*n*n + 100*product*n
}

// ac is what it takes to linearise a circuit.
func ac(s circuit.Size) float64 {
	if s.Ports == 0 {
		return 2 * factoring(s)
	}
	return newton * factoring(s)
}

// ofSection is what a section asks for: seconds before the first sample, seconds for a second of
// sound, bytes.
func ofSection(s circuit.Size, steps, rate float64) (prepare, sound, bytes float64) {
	n, m, in := float64(s.States), float64(s.Ports), float64(s.Inputs)
	if s.Ports == 0 {
		prepare = ac(s) + mode*n*n*n + fits*terms*in*(n+40)
		if n > fewStates {
			prepare = ac(s) + reduced*n*n + fits*terms*in*(kept+40)
		}
		return prepare, rate * (30e-9 + 2e-9*n), 8 * 4 * n * n
	}
	prepare = ac(s) + micro*product*n*n*(n+3*m+4*in) + lengths*mode*n*n*n
	cube := vectored
	if s.Ports > fewPorts {
		cube = plain
	}
	return prepare, steps * (stepping + perPort*m + cube*m*m*m + product*n*(m+4)), 8 * lengths * 6 * (n + m) * (n + m)
}

// turned reports whether a knob that moves may be in a section: the input of its block is.
func turned(c *board.Chain, n *circuit.Netlist) bool {
	return slices.ContainsFunc(c.Turns, func(t board.Turn) bool {
		block, _, _ := strings.Cut(t.Target, ".")
		return block == "guitar" && n.HasNode("guitar") || n.HasNode(block+".in")
	})
}

// settings is about how many settings of the chain its moving knobs come to.
func settings(turns []board.Turn) float64 {
	sum := 0.0
	for _, t := range turns {
		c := t.Curve
		way, whole := 0.0, c.Scale(c.High)-c.Scale(c.Low)
		for k := 1; k < len(c.Values); k++ {
			way += math.Abs(c.Scale(c.Values[k]) - c.Scale(c.Values[k-1]))
		}
		const places = 32 // in a knob's whole way
		sum += float64(len(c.Values)) + places*math.Max(1, way/whole)
	}
	if len(turns) == 1 {
		return math.Min(sum, 150) // one knob comes by the same places again and again
	}
	return math.Min(sum, 2000) // package render refuses more of what moves together
}

// Plus is two takes one after the other.
func (e Estimate) Plus(o Estimate) Estimate {
	return Estimate{e.Prepare + o.Prepare, max(e.Sound, o.Sound), e.Rest + o.Rest, e.Heard + o.Heard, e.Move + o.Move, max(e.Bytes, o.Bytes), max(e.Ledger, o.Ledger)}
}

// TooMuch is an error of what is done only when it is asked for.
type TooMuch struct{ Words string }

func (e TooMuch) Error() string { return e.Words }

// Over is a TooMuch, worded for people, where the estimate is over the budget; else nil.
func (e Estimate) Over() error {
	switch {
	case e.Prepare > MostPrepare:
		return tooMuch("%s of processor time before the first sound (more than %s is done only when asked for)", Long(e.Prepare), Long(MostPrepare))
	case e.Sound > MostSound:
		return tooMuch("%s of processor time for each second of sound (more than %s is done only when asked for)", Long(e.Sound), Long(MostSound))
	case e.Bytes > MostBytes:
		return tooMuch("%.1f GiB of memory (more than %d GiB are used only when asked for)", e.Bytes/(1<<30), MostBytes>>30)
	}
	return nil
}

func tooMuch(format string, args ...any) error {
	return TooMuch{fmt.Sprintf("so many blocks solved together, or knobs moving at once, take about "+format+": --long does it all the same", args...)}
}

// OverLedger is Over of a noise ledger with the given number of moves. The error is a TooMuch.
func (e Estimate) OverLedger(moves int) error {
	total := e.Rest + dsp.Second(moves)*e.Move
	switch {
	case total > MostPrepare && moves > 0:
		return TooMuch{fmt.Sprintf("the noise with %d moves of blocks takes about %s of processor time (more than %s is done only when asked for): --long does it all the same; at the last block's output, like --at NAME.out, no move is tried", moves, Long(total), Long(MostPrepare))}
	case total > MostPrepare:
		return TooMuch{fmt.Sprintf("the noise takes about %s of processor time (more than %s is done only when asked for): --long does it all the same", Long(total), Long(MostPrepare))}
	case e.Ledger > MostBytes:
		return TooMuch{fmt.Sprintf("the noise through so many echoes and impulse responses takes about %.1f GiB of memory (more than %d GiB are used only when asked for): --long does it all the same", e.Ledger/(1<<30), MostBytes>>30)}
	}
	return nil
}

// OverHeard is a TooMuch where to render the noise takes more than is done unasked, else nil. It
// counts where noise meets a threshold.
func (e Estimate) OverHeard() error {
	if e.Heard <= MostPrepare {
		return nil
	}
	return TooMuch{fmt.Sprintf("the noise is loud enough to clip or to open what has a threshold, and rendering it takes about %s of processor time (more than %s is done only when asked for): --long does it all the same", Long(e.Heard), Long(MostPrepare))}
}

// Long is a time in words: "40 s", "12 min", "3 h".
func Long(s dsp.Second) string {
	switch {
	case s < 100:
		return fmt.Sprintf("%.2g s", float64(s))
	case s < 100*60:
		return fmt.Sprintf("%.0f min", float64(s)/60)
	case s < 100*3600:
		return fmt.Sprintf("%.0f h", float64(s)/3600)
	}
	return fmt.Sprintf("%.0f days", float64(s)/86400)
}
