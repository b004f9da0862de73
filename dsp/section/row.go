package section

import (
	"slices"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/linear"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/oversample"
)

// Row runs circuits and what is between them one after the other at a multiple of the rate: the
// signal goes up once, at the beginning, and comes down only where it is read. So what a non-linear
// circuit makes above half the recording's rate reaches the next one, which may bring it down into
// what is heard. It is a dsp.Processor with one input; its methods are for one goroutine.
//
// What is read of the first part, where that is a circuit, is to the last bit what a Section of it
// gives. What is read of any other does not depend on what else is read, or what comes after it.
type Row struct {
	Factor int // by how much it raises the rate

	up      *oversample.Up
	in      []float64 // a chunk of the input, raised
	parts   []rowPart
	reads   []rowRead
	latency int
}

// A signal is handed on to a non-linear circuit up to handedPass of the raised rate; what lies above
// handedStop is taken away. Less of it is not enough for an edge that is clipped again, more of it
// has too much in it that has folded down.
const (
	handedPass = 0.15
	handedStop = 0.35
)

// Part is a circuit with one driven source, or what is done to one signal.
type Part struct {
	// From is the part that its input comes from, which has to come before it, and Output which of
	// its outputs that is; a From of -1 is the row's input.
	From, Output int
	// Circuit is run with these nodes as outputs.
	Circuit *circuit.Netlist
	Probes  []string
	// Core is what is run where there is no circuit, with one output: at factor times the rate.
	Core func(rate dsp.Hertz, factor int) dsp.Processor
}

// Read is an output of a part of a row.
type Read struct{ Part, Output int }

// Adder adds a signal of its own to a block of samples.
type Adder interface{ Add(x []float64) }

type rowPart struct {
	core         dsp.Processor
	from, output int             // what its input is, as an index into out of that part
	late         int             // of its outputs, in raised samples behind the raised input
	bridge       *oversample.Fir // in front of a non-linear circuit but the first; or nil
	crossed      []float64       // what comes of it
	out          [][]float64     // of each output a chunk
	ins, outs    [][]float64     // the parts of these that are worked on
	// which of out is what is read of each of the part's outputs, and what is handed on of it: -1
	// where it is not
	read, handed []int
	added        []addedTo
}

// addedTo is what is added to some of a part's out.
type addedTo struct {
	*rowAdder
	to []int
}

// rowAdder raises a signal that is added.
type rowAdder struct {
	what Adder
	up   *oversample.Up
	base []float64
	high []float64
}

type rowRead struct {
	Read
	pad  int // raised samples by which it is held back, so that its latency is a whole number
	down *oversample.Down
	held []float64 // these, then a chunk
	past []float64 // samples by which it is held back to be as late as the latest, then a chunk
	hold int       // how many
}

// NewRow prepares a row for signals at the given rate. It panics where a part comes before the one
// that its input is from, and returns the errors of New.
func NewRow(parts []Part, reads []Read, rate dsp.Hertz, q Quality) (*Row, error) {
	factor := q.Oversample(rate)
	r := &Row{Factor: factor, up: oversample.NewUp(factor, rate), in: make([]float64, chunk*factor)}
	is := func(n int, there bool) int {
		if !there {
			return -1
		}
		return n
	}
	for k, p := range parts {
		if p.From >= k {
			panic("section: a part of a row comes before what it follows")
		}
		part := rowPart{from: p.From, ins: make([][]float64, 1)}
		if p.From >= 0 {
			from := r.parts[p.From]
			part.output, part.late = from.handed[p.Output], from.late
			if p.Circuit != nil && !p.Circuit.Linear() {
				part.bridge = oversample.NewBridge(handedPass, handedStop)
				part.crossed = make([]float64, chunk*factor)
				part.late += part.bridge.Latency()
			}
		}
		count := 1
		if p.Circuit != nil {
			count = len(p.Probes)
		}
		var read, handed []string
		outputs := 1
		for j := range count {
			isRead := slices.Contains(reads, Read{k, j})
			isHanded := slices.ContainsFunc(parts, func(o Part) bool { return o.From == k && o.Output == j })
			if p.Circuit == nil || p.Circuit.Linear() {
				outputs = count
				part.read, part.handed = append(part.read, j), append(part.handed, j)
				continue
			}
			if p.From >= 0 { // nothing else is to have the same bits
				part.read = append(part.read, is(len(handed), isRead || isHanded))
				part.handed = append(part.handed, is(len(handed), isRead || isHanded))
				if isRead || isHanded {
					handed = append(handed, p.Probes[j])
				}
				continue
			}
			part.read = append(part.read, is(len(read), isRead))
			part.handed = append(part.handed, is(len(handed), isHanded))
			if isRead {
				read = append(read, p.Probes[j])
			}
			if isHanded {
				handed = append(handed, p.Probes[j])
			}
		}
		var err error
		switch {
		case p.Circuit == nil:
			part.core = p.Core(rate, factor)
		case p.Circuit.Linear():
			part.core, err = newRaisedLinear(p.Circuit, factor, rate, p.Probes)
		default:
			for j, at := range part.handed {
				if at >= 0 {
					part.handed[j] += len(read)
				}
			}
			outputs = len(read) + len(handed)
			part.core, err = newCompensated(p.Circuit, dsp.Second(1/(float64(factor)*float64(rate))), q, read, handed, p.From >= 0)
		}
		if err != nil {
			return nil, err
		}
		part.late += part.core.Latency()
		for range outputs {
			part.out = append(part.out, make([]float64, chunk*factor))
		}
		part.outs = make([][]float64, outputs)
		r.parts = append(r.parts, part)
	}
	for _, read := range reads {
		late := r.parts[read.Part].late
		out := rowRead{Read: read, pad: (factor - late%factor) % factor, down: oversample.NewDown(factor, rate)}
		out.held = make([]float64, out.pad+chunk*factor)
		out.hold = (r.up.Latency() + late + out.pad + out.down.Latency()) / factor // for now, its own latency
		r.latency = max(r.latency, out.hold)
		r.reads = append(r.reads, out)
	}
	for k := range r.reads {
		read := &r.reads[k]
		read.hold = r.latency - read.hold
		read.past = make([]float64, read.hold+chunk)
	}
	return r, nil
}

// newRaisedLinear makes what runs a linear circuit at factor times the rate. It has the circuit's
// response far beyond hearing, since what is there comes down in what follows.
func newRaisedLinear(n *circuit.Netlist, factor int, rate dsp.Hertz, probes []string) (dsp.Processor, error) {
	const share = 0.2 // of the raised rate; as high as anything is handed on
	raised := dsp.Hertz(factor) * rate
	top, step := max(topOf(rate), share*raised), dsp.Second(1/float64(raised))
	f, err := linear.NewSampled(n, step, top, probes...)
	if err != nil || f.Error(top) <= linearError {
		return f, err
	}
	return linear.NewFilter(n, step, probes...)
}

// Latency is by how many samples the outputs come late; exact.
func (r *Row) Latency() int { return r.latency }

// Linear reports that a row is not: it has a non-linear part.
func (r *Row) Linear() bool { return false }

// Report is the solver's convergence since the last Reset, over all parts.
func (r *Row) Report() (sum transient.Report) {
	for k := range r.parts {
		sum.Add(r.ReportOf(k))
	}
	return sum
}

// ReportOf is that of one part; zero for a linear one.
func (r *Row) ReportOf(part int) transient.Report { return reportOf(r.parts[part].core) }

// Add adds a signal at the recording's rate to an output of a part: to what is read of it, and to
// what comes after. It replaces what was added there before, and comes late by the way up. It is
// for a row that has not run yet.
func (r *Row) Add(at Read, what Adder) {
	a := &rowAdder{what: what, up: r.up.Like(), base: make([]float64, chunk), high: make([]float64, chunk*r.Factor)}
	p := &r.parts[at.Part]
	read, handed := p.read[at.Output], p.handed[at.Output]
	p.added = slices.DeleteFunc(p.added, func(a addedTo) bool { return slices.Contains(a.to, max(read, handed)) })
	all := addedTo{rowAdder: a}
	for _, to := range slices.Compact([]int{read, handed}) {
		if to >= 0 {
			all.to = append(all.to, to)
		}
	}
	p.added = append(p.added, all)
}

// Wrap puts something in place of what runs a part. late is by how many raised samples the part's
// input comes late behind the row's. It is for a row that has not run yet.
func (r *Row) Wrap(part int, wrap func(core dsp.Processor, late int) dsp.Processor) {
	p := &r.parts[part]
	p.core = wrap(p.core, r.up.Latency()+p.late-p.core.Latency())
}

// Reset puts all circuits to rest.
func (r *Row) Reset() {
	r.up.Reset()
	for _, p := range r.parts {
		p.core.Reset()
		if p.bridge != nil {
			p.bridge.Reset()
		}
		for _, a := range p.added {
			a.up.Reset()
		}
	}
	for _, read := range r.reads {
		read.down.Reset()
		clear(read.held)
		clear(read.past)
	}
}

// Process takes one signal and gives one for every read.
func (r *Row) Process(out, in [][]float64) {
	n := dsp.Frames(out, in)
	for at := 0; at < n; at += chunk {
		count := min(chunk, n-at)
		high := count * r.Factor
		r.up.Process(r.in[:high], in[0][at:at+count])
		for k := range r.parts {
			p := &r.parts[k]
			if p.ins[0] = r.in[:high]; p.from >= 0 {
				p.ins[0] = r.parts[p.from].out[p.output][:high]
			}
			if p.bridge != nil {
				p.bridge.Process(p.crossed[:high], p.ins[0])
				p.ins[0] = p.crossed[:high]
			}
			for j, y := range p.out {
				p.outs[j] = y[:high]
			}
			p.core.Process(p.outs, p.ins)
			for _, a := range p.added {
				x := a.next(count)
				for _, to := range a.to {
					for j, v := range x {
						p.outs[to][j] += v
					}
				}
			}
		}
		for k := range r.reads {
			r.reads[k].process(out[k][at:at+count], r.parts[r.reads[k].Part].out[r.parts[r.reads[k].Part].read[r.reads[k].Output]][:high])
		}
	}
}

// next is what is added to a chunk of count samples of the recording, raised.
func (a *rowAdder) next(count int) []float64 {
	base := a.base[:count]
	clear(base)
	a.what.Add(base)
	high := a.high[:len(a.high)/chunk*count]
	a.up.Process(high, base)
	return high
}

// process brings a raised chunk down into out.
func (r *rowRead) process(out, high []float64) {
	copy(r.held[r.pad:], high)
	if r.hold == 0 {
		r.down.Process(out, r.held[:len(high)])
	} else {
		past := r.past[:r.hold+len(out)]
		r.down.Process(past[r.hold:], r.held[:len(high)])
		copy(out, past)
		copy(past, past[len(out):])
	}
	copy(r.held[:r.pad], r.held[len(high):len(high)+r.pad])
}
