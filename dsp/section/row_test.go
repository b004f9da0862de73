package section

import (
	"math"
	"slices"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/oversample"
)

// coupling is a capacitor into a divider: linear, with one driven source.
func coupling() *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "e", "0")
	n.R("rs", "e", "in", 1e3)
	n.C("c", "in", "mid", 1e-6)
	n.R("r1", "mid", "out", 10e3)
	n.R("r2", "out", "0", 10e3)
	n.C("c2", "out", "0", 1e-9)
	return n
}

type onceLimited struct{ *oversample.Limit }

func (l onceLimited) Process(out, in [][]float64) { l.Limit.Process(out[0], in[0]) }

func limiter(dsp.Hertz, int) dsp.Processor { return onceLimited{oversample.NewLimit(2, -1.5, 1.5)} }

// threeInARow is a fuzz, a limiter, a linear circuit and a second fuzz, with what is read of each.
func threeInARow(t *testing.T, rate dsp.Hertz, q Quality, reads ...Read) *Row {
	t.Helper()
	r, err := NewRow([]Part{
		{From: -1, Circuit: fuzz(), Probes: []string{"out", "c1"}},
		{From: 0, Core: limiter},
		{From: 1, Circuit: coupling(), Probes: []string{"mid", "out"}},
		{From: 2, Output: 1, Circuit: fuzz(), Probes: []string{"out"}},
	}, reads, rate, q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

var allReads = []Read{{0, 0}, {0, 1}, {1, 0}, {2, 0}, {2, 1}, {3, 0}}

func rowInput(n int) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = 0.1 * math.Sin(float64(k)*0.05) * math.Exp(-float64(k%900)/400)
	}
	return x
}

func runRow(p dsp.Processor, x []float64, outs, size int) [][]float64 {
	y := make([][]float64, outs)
	for k := range y {
		y[k] = make([]float64, len(x))
	}
	for at := 0; at < len(x); at += size {
		end := min(at+size, len(x))
		out := make([][]float64, outs)
		for k := range y {
			out[k] = y[k][at:end]
		}
		p.Process(out, [][]float64{x[at:end]})
	}
	return y
}

// No result depends on how a signal is cut into calls; Reset makes it new.
func TestRowInAnyCalls(t *testing.T) {
	x := rowInput(2000)
	r := threeInARow(t, 44100, Normal, allReads...)
	want := runRow(r, x, len(allReads), len(x))
	for _, size := range []int{1, 7, 64, 479} {
		r.Reset()
		for k, y := range runRow(r, x, len(allReads), size) {
			if !slices.Equal(y, want[k]) {
				t.Errorf("pieces of %d: %v differs", size, allReads[k])
			}
		}
	}
	if r.Report().Steps == 0 || r.Report().Failures > 0 {
		t.Errorf("report %+v", r.Report())
	}
}

// What is read of the first circuit is what a Section of it gives, to the last bit, and what is
// read of any does not depend on what else is, but for by how much it is held back.
func TestRowReadsAreIndependent(t *testing.T) {
	x := rowInput(3000)
	for _, q := range []Quality{Draft, Normal} {
		for _, rate := range []dsp.Hertz{44100, 48000, 192000} {
			all := threeInARow(t, rate, q, allReads...)
			want := runRow(all, x, len(allReads), len(x))
			same := func(what string, got []float64, latency int, want []float64) {
				t.Helper()
				late := all.Latency() - latency
				if late < 0 || !slices.Equal(got[:len(got)-late], want[late:]) {
					t.Errorf("%s at %v Hz: %s is another (%d samples less late)", q.Name, float64(rate), what, late)
				}
			}
			for k, read := range allReads {
				one := threeInARow(t, rate, q, read)
				same("one output alone", runRow(one, x, 1, len(x))[0], one.Latency(), want[k])
			}
			alone := must(t, fuzz(), rate, q, "out", "c1")
			for k, y := range runRow(alone, x, 2, len(x)) {
				same("the first circuit alone", y, alone.Latency(), want[k])
			}
		}
	}
}

// The latency is exact: linear in fact, a row gives what its circuits give, in level and in phase.
func TestRowIsLateByItsLatency(t *testing.T) {
	for _, rate := range rates {
		for _, q := range []Quality{Draft, Normal, Fine} {
			if testing.Short() && q.Name == "fine" {
				continue
			}
			// the two halves of a circuit, cut where a follower would be
			first, second := farOff(coupling(), "out"), farOff(coupling(), "out")
			r, err := NewRow([]Part{
				{From: -1, Circuit: first, Probes: []string{"out"}},
				{From: 0, Core: func(dsp.Hertz, int) dsp.Processor { return onceLimited{oversample.NewLimit(1, -5, 5)} }},
				{From: 1, Circuit: coupling(), Probes: []string{"out"}},
				{From: 2, Circuit: second, Probes: []string{"out"}},
			}, []Read{{3, 0}}, rate, q)
			if err != nil {
				t.Fatal(err)
			}
			n, rest := make([]float64, 1<<14), make([]float64, 1<<14)
			impulse := make([]float64, len(n))
			runInto := func(y, x []float64) { r.Reset(); r.Process([][]float64{y}, [][]float64{x}) }
			runInto(rest, impulse)
			impulse[0] = 0.1
			runInto(n, impulse)
			for k := range n {
				n[k] = (n[k] - rest[k]) / 0.1
			}
			ac, err := coupling().AC()
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range []float64{100, 1000, 5000, 12000, 19000} {
				h := ac.Transfer("Vdry", dsp.Hertz(f), "out")[0]
				want, got := h*h*h, at(n, r.Latency(), f, float64(rate))
				// the level at draft is that of two circuits whose inputs run on cubics at 176 kHz
				level := map[string]float64{"draft": 1.5e-2, "normal": 2e-3, "fine": 2e-3}[q.Name]
				if d := got/want - 1; math.Abs(real(d)) > level || math.Abs(imag(d)) > 2e-3 {
					t.Errorf("%s at %v Hz: %v times what it should be at %v Hz", q.Name, float64(rate), got/want, f)
				}
			}
		}
	}
}

type ramp struct{ k float64 }

func (r *ramp) Add(x []float64) {
	for k := range x {
		r.k++
		x[k] += 0.1 * math.Sin(r.k*0.02)
	}
}

// What is added to an output is there in what is read of it and in what comes after.
func TestRowAdds(t *testing.T) {
	x := make([]float64, 3000)
	r := threeInARow(t, 48000, Draft, Read{2, 1}, Read{3, 0})
	quiet := runRow(r, x, 2, len(x))
	r.Reset()
	r.Add(Read{2, 1}, &ramp{})
	loud := runRow(r, x, 2, len(x))
	for k := range loud {
		top := 0.0
		for j, v := range loud[k] {
			top = max(top, math.Abs(v-quiet[k][j]))
		}
		if top < 0.09 {
			t.Errorf("output %d changes by %v V at most", k, top)
		}
	}
}
