package circuit

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
)

// These tests hold what the comments of the package promise.

// nonLinear is the circuits with a device, by name.
func nonLinear() map[string]*Netlist {
	return map[string]*Netlist{
		"silicon": fuzzWithGuitar(siliconNPN), "germanium": fuzzWithGuitar(germaniumPNP),
		"clipper": clipper(), "stage": stage(), "amplifier": amplifier(0.5e6), "everything": everything(),
	}
}

func mustTransient(t testing.TB, n *Netlist, o Options, probes ...string) *Transient {
	t.Helper()
	tr, err := n.NewTransient(o, probes...)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// ways is every way to step.
var ways = []Options{
	{Step: 1 / 384e3},
	{Step: 1 / 384e3, Levels: 1, Tolerance: 1e-3},
	{Step: 1 / 384e3, Levels: 2, Tolerance: 1e-3, Smooth: true},
	{Step: 1 / 384e3, Levels: 3, Tolerance: 1e-4, Smooth: true},
}

// TestAtRest: a circuit at rest stays at its operating point to the last bit.
func TestAtRest(t *testing.T) {
	for name, n := range nonLinear() {
		for _, o := range ways {
			tr := mustTransient(t, n, o, "out")
			y, u := []float64{0}, make([]float64, len(n.Inputs()))
			for k := 0; k < 2000; k++ {
				if tr.Step(y, u); y[0] != tr.Point().V("out") {
					t.Fatalf("%s, %+v: %v V after %d steps, want %v", name, o, y[0], k+1, tr.Point().V("out"))
				}
			}
		}
	}
}

// TestAgainAndAfterReset: a run gives the same bits a second time, and in the same Transient after Reset.
func TestAgainAndAfterReset(t *testing.T) {
	for name, n := range nonLinear() {
		for _, o := range ways {
			run := func(tr *Transient) ([]float64, Report) {
				r := rand.New(rand.NewPCG(1, 2))
				var out []float64
				y, u := []float64{0}, make([]float64, len(n.Inputs()))
				for k := 0; k < 3000; k++ {
					u[0] = 0.3*math.Sin(float64(k)*0.02) + 0.1*r.Float64()
					tr.Step(y, u)
					out = append(out, y[0])
				}
				return out, tr.Report()
			}
			tr := mustTransient(t, n, o, "out")
			first, report := run(tr)
			other, otherReport := run(mustTransient(t, n, o, "out"))
			tr.Reset()
			if tr.Report() != (Report{}) {
				t.Errorf("%s: Reset leaves the report %+v", name, tr.Report())
			}
			again, againReport := run(tr)
			for k := range first {
				if first[k] != other[k] || first[k] != again[k] {
					t.Fatalf("%s, %+v: step %d gives %v, %v in another, %v after Reset", name, o, k, first[k], other[k], again[k])
				}
			}
			if report != otherReport || report != againReport {
				t.Errorf("%s: reports %+v, %+v, %+v", name, report, otherReport, againReport)
			}
			if fuzz := name == "silicon" || name == "germanium"; fuzz && o.Levels > 0 && report.Divided == 0 {
				t.Errorf("%s, %+v: no step was divided, so this shows less than it should", name, o)
			}
		}
	}
}

// TestModes: the block-diagonal form moves the states as the dense matrix to the same power does, within what newModes asks of itself.
func TestModes(t *testing.T) {
	for name, n := range nonLinear() {
		p, err := n.Operating()
		if err != nil {
			t.Fatal(err)
		}
		const micro = microSteps
		h, err := p.histories(1/384e3/micro, []string{"out"})
		if err != nil {
			t.Fatal(err)
		}
		size := h.a.rows
		m, to, from := newModes(h.a, micro)
		if m.dense != nil {
			t.Errorf("%s: kept dense", name)
		}
		power := newMatrix[float64](size, size)
		for k := 0; k < size; k++ {
			power.set(k, k, 1)
		}
		for range micro {
			power = h.a.times(power)
		}
		worst, norm := 0.0, maxAbs(power.v)
		for c := 0; c < size; c++ {
			s := make([]float64, size)
			for k := range s {
				s[k] = to.at(k, c)
			}
			m.step(s)
			for r := 0; r < size; r++ {
				worst = max(worst, math.Abs(dot(from.row(r), s)-power.at(r, c)))
			}
		}
		// newModes holds one step to modeTolerance; micro of them may add up.
		if worst > micro*modeTolerance*norm {
			t.Errorf("%s: off by %.3g of %.3g", name, worst, norm)
		}
		t.Logf("%s: %d states, modes within %.0f dB of the dense matrix", name, size, dsp.ToDB(worst/norm))

		// A dense twin of m, for resolve and step.
		dense := modes{dense: power.v, tmp: make([]float64, size)}
		z := cmplx.Exp(complex(0, 0.3))
		b := func(k int) complex128 { return complex(float64(k+1), 1) }
		wantS := dense.resolve(z, size, b)
		gotS := m.resolve(z, size, func(k int) complex128 {
			var x complex128
			for c := 0; c < size; c++ {
				x += complex(to.at(k, c), 0) * b(c)
			}
			return x
		})
		for r := 0; r < size; r++ {
			var x complex128
			for c := 0; c < size; c++ {
				x += complex(from.at(r, c), 0) * gotS[c]
			}
			if d := cmplx.Abs(x - wantS[r]); d > 1e-7*(1+cmplx.Abs(wantS[r])) {
				t.Errorf("%s: resolve gives %v for state %d, want %v", name, x, r, wantS[r])
			}
		}
	}
	// A matrix whose eigenvectors are parallel stays dense, and moves right.
	jordan := newMatrix[float64](2, 2)
	copy(jordan.v, []float64{0.5, 1, 0, 0.5})
	m, to, from := newModes(jordan, 3)
	if m.dense == nil {
		t.Fatal("a Jordan block was taken apart")
	}
	s := []float64{to.at(0, 1), to.at(1, 1)}
	m.step(s)
	if got := dot(from.row(0), s); math.Abs(got-0.75) > 1e-12 { // 3·0.5²
		t.Errorf("the block's cube has %v, want 0.75", got)
	}
}

// response is what comes of ten milliseconds of a sine that comes in smoothly, every so many steps.
func response(t *testing.T, n *Netlist, o Options, peak, rate float64, every int) []float64 {
	t.Helper()
	o.Step = dsp.Second(1 / rate)
	tr := mustTransient(t, n, o, "out")
	y, u := []float64{0}, make([]float64, len(n.Inputs()))
	var out []float64
	for k := 1; float64(k) <= 0.01*rate; k++ {
		x := float64(k) / rate
		u[0] = peak * math.Sin(2*math.Pi*1000*x) * math.Min(1, x*x*x*1e9)
		tr.Step(y, u)
		if k%every == 0 {
			out = append(out, y[0])
		}
	}
	if r := tr.Report(); r.Failures > 0 {
		t.Errorf("%d failures", r.Failures)
	}
	return out
}

func differenceDB(a, b []float64) float64 {
	e, s := 0.0, 0.0
	for k := range b {
		e += (a[k] - b[k]) * (a[k] - b[k])
		s += b[k] * b[k]
	}
	return 10 * math.Log10(e/s)
}

// TestConvergence: halving an undivided step lowers the error by 12 dB or more (second order) for the clipper. The transistor stage has nodes that nothing
// but some picofarads hold, with time constants of nanoseconds, far below any step: what the straight line of a current gets wrong about its slope
// at the step's end reaches them in proportion to the step, on a very low level. There it is 6 dB, and the level counts.
func TestConvergence(t *testing.T) {
	for _, c := range []struct {
		name string
		n    *Netlist
		peak float64 // V
		gain float64 // dB of each halving
		end  float64 // dB at 1.5 MHz
	}{{"clipper", clipper(), 0.5, 12, -140}, {"stage", stage(), 0.02, 2, -110}} {
		name, n := c.name, c.n
		want := response(t, n, Options{}, c.peak, 96e3*128, 128)
		last := 0.0
		for factor := 1; factor <= 16; factor *= 2 {
			e := differenceDB(response(t, n, Options{}, c.peak, 96e3*float64(factor), factor), want)
			t.Logf("%s: %.1f dB at %.0f kHz", name, e, 96*float64(factor))
			if factor > 2 && e > last-c.gain {
				t.Errorf("%s: %.1f dB at %d times 96 kHz after %.1f dB at half of it; want %v dB less", name, e, factor, last, c.gain)
			}
			last = e
		}
		if last > c.end {
			t.Errorf("%s: %.1f dB at 1.5 MHz", name, last)
		}
	}
}

// TestDivision: a fuzz in divided steps comes to the same as in steps that are small throughout; each of the first two levels gains 15 dB.
func TestDivision(t *testing.T) {
	for name, q := range map[string]BJT{"silicon": siliconNPN, "germanium": germaniumPNP} {
		n := fuzzWithGuitar(q)
		want := response(t, n, Options{}, 0.5, 192e3*64, 64)
		plain := differenceDB(response(t, n, Options{}, 0.5, 192e3, 1), want)
		last := plain
		for levels := 1; levels <= 3; levels++ {
			e := differenceDB(response(t, n, Options{Levels: levels, Tolerance: 1e-4}, 0.5, 192e3, 1), want)
			t.Logf("%s: %.1f dB undivided, %.1f dB with %d levels", name, plain, e, levels)
			if e > last || levels < 3 && e > last-15 {
				t.Errorf("%s: level %d gains only %.1f dB", name, levels, last-e)
			}
			last = e
		}
		if last > -80 {
			t.Errorf("%s: %.1f dB with 3 levels, want -80", name, last)
		}
	}
}

// TestSmooth: the triangle's mean of a circuit that does nothing is sinc², one step late.
func TestSmooth(t *testing.T) {
	n := New()
	n.Input("V", "in", "0")
	n.R("r1", "in", "out", 1e3)
	n.R("r2", "out", "0", 1e3)
	const rate = 384e3
	for _, f := range []float64{1e3, 5e3, 20e3} {
		tr := mustTransient(t, n, Options{Step: 1 / rate, Smooth: true}, "out")
		var y, u [1]float64
		var got complex128
		const count = 38400 // whole periods
		for k := -count; k < count; k++ {
			u[0] = math.Cos(2 * math.Pi * f * float64(k) / rate)
			tr.Step(y[:], u[:])
			if k >= 0 {
				got += complex(y[0]/count*2, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(k-1)/rate))
			}
		}
		x := math.Pi * f / rate
		want := 0.5 * math.Pow(math.Sin(x)/x, 2)
		// With θ = 2πf·step: a second difference for the second derivative, θ⁴/144, and what the parabola leaves, -θ⁴/720; carrying it on to
		// the step's middle, (5/16)·θ⁵/12. The signal is cos/2.
		if d := cmplx.Abs(got - complex(want, 0)); d > 1.2*(math.Pow(2*x, 4)/180+math.Pow(2*x, 5)*5/192)/2+5e-10 { // and the node's picosiemens
			t.Errorf("%v Hz: %v, want %v (off by %.2g)", f, got, want, d)
		}
	}
}

// stressSignals is what a solver may meet at its worst: noise at +40 dB on 0.5 V, steps, DC, squares and silence.
func stressSignals() map[string]func(k int, r *rand.Rand) float64 {
	const loud = 50.0 // V
	return map[string]func(k int, r *rand.Rand) float64{
		"noise":   func(k int, r *rand.Rand) float64 { return loud * (2*r.Float64() - 1) },
		"steps":   func(k int, r *rand.Rand) float64 { return loud * float64(k/97%5-2) / 2 },
		"DC":      func(k int, r *rand.Rand) float64 { return 9 },
		"square":  func(k int, r *rand.Rand) float64 { return loud * float64(1-2*(k/31%2)) },
		"silence": func(k int, r *rand.Rand) float64 { return 0 },
	}
}

// TestStress: no step fails and nothing is ever not a number, at a small part of the length that the check command runs.
func TestStress(t *testing.T) {
	for name, n := range nonLinear() {
		for _, o := range ways {
			for signal, f := range stressSignals() {
				tr := mustTransient(t, n, o, "out")
				r := rand.New(rand.NewPCG(7, 7))
				y, u := []float64{0}, make([]float64, len(n.Inputs()))
				for k := 0; k < 1000; k++ {
					u[0] = f(k, r)
					if tr.Step(y, u); math.IsNaN(y[0]) || math.IsInf(y[0], 0) {
						t.Fatalf("%s, %s, %+v: %v at step %d", name, signal, o, y[0], k)
					}
				}
				if p := tr.Report(); p.Failures != 0 || p.Residual > portTolerance || p.Steps != 1000 {
					t.Errorf("%s, %s, %+v: %+v", name, signal, o, p)
				}
			}
		}
	}
}

// TestFailureIsCounted: a step that cannot be solved is counted, nothing leaves the range of what drives the circuit, and it comes back to rest afterwards.
// An op-amp that is driven with a teravolt does it.
func TestFailureIsCounted(t *testing.T) {
	tr := mustTransient(t, amplifier(0.5e6), Options{Step: 1 / 384e3, Levels: 2, Tolerance: 1e-3}, "out")
	y, u := []float64{0}, []float64{0}
	for k := 0; k < 2200; k++ {
		u[0] = 0
		if k < 200 {
			u[0] = 1e12 * float64(1-2*(k%2))
		}
		if tr.Step(y, u); !(math.Abs(y[0]) <= 1e12) {
			t.Fatalf("%v V at step %d", y[0], k)
		}
	}
	if tr.Report().Failures == 0 {
		t.Error("a teravolt was solved; the test needs something worse")
	}
	if math.Abs(y[0]) > 1e-9 {
		t.Errorf("%v V after 2000 steps of silence", y[0])
	}
}

// TestSplit: parts that share only ground fall apart in the order of their nodes, keep what belongs together, and answer as the whole does.
func TestSplit(t *testing.T) {
	n := New()
	n.Input("A", "a", "0")
	n.Input("B", "b", "0")
	n.R("ra", "a", "ao", 1e3)
	n.C("ca", "ao", "0", 1e-8)
	n.R("rb", "b", "bm", 2e3)
	n.V("meter", "bm", "bo", 0)
	n.L("lb", "bo", "0", 0.5)
	n.R("rc", "c", "0", 5e3)
	n.F("f", "0", "c", "meter", 3) // joins c to b
	n.NoiseE("en", "ao", "an", 4e-9)
	n.R("rn", "an", "0", 1e4)
	n.Pair("d", "ao", "0", switching)
	parts := n.Split()
	if len(parts) != 2 {
		t.Fatalf("%d parts, want 2", len(parts))
	}
	for k, want := range []struct{ in, has, lacks string }{{"A", "an", "c"}, {"B", "c", "ao"}} {
		p := parts[k]
		if got := fmt.Sprint(p.Inputs()); got != "["+want.in+"]" || !p.HasNode(want.has) || p.HasNode(want.lacks) {
			t.Errorf("part %d has inputs %s and nodes %v", k, got, p.Nodes())
		}
	}
	whole := mustAC(t, n)
	for k, node := range []string{"an", "c"} {
		part := mustAC(t, parts[k])
		in := parts[k].Inputs()[0]
		near(t, "part "+node, part.Transfer(in, 3e3, node)[0], whole.Transfer(in, 3e3, node)[0], 1e-12)
		sum := func(list []Noise) (s float64) {
			for _, x := range list {
				s += x.Density
			}
			return s
		}
		near(t, "noise of part "+node, complex(sum(part.Noise(node, 3e3)), 0), complex(sum(whole.Noise(node, 3e3)), 0), 1e-12)
	}
	if parts[0].Linear() || !parts[1].Linear() {
		t.Error("the diodes are in the wrong part")
	}
	for name, n := range nonLinear() {
		if n.Linear() {
			t.Errorf("%s is said to be linear", name)
		}
	}
}

// TestFilter: what the filter does to an impulse is what Response says; its latency is exact; its error is what Error says.
func TestFilter(t *testing.T) {
	divider := New()
	divider.Input("V", "in", "0")
	divider.R("r1", "in", "out", 1e3)
	divider.R("r2", "out", "0", 1e3)
	f, err := divider.NewFilter(1/48e3, "out")
	if err != nil {
		t.Fatal(err)
	}
	var y [1]float64
	for k := 0; k < 5; k++ {
		u := 0.0
		if k == 0 {
			u = 1
		}
		f.Step(y[:], []float64{u})
		want := 0.0
		if k == f.Latency() {
			want = 0.5
		}
		if math.Abs(y[0]-want) > 1e-8 { // the node's picosiemens
			t.Errorf("divider, sample %d: %v, want %v", k, y[0], want)
		}
	}
	if got := f.Error(20e3); got > 1e-8 {
		t.Errorf("divider: error of %g", got)
	}

	pickup := New()
	pickup.Input("V", "e", "0")
	pickup.R("r", "e", "a", 8e3)
	pickup.L("l", "a", "out", 4.4)
	pickup.C("c", "out", "0", 630e-12)
	pickup.R("load", "out", "0", 200e3)
	for _, rate := range []float64{44.1e3, 96e3, 384e3} {
		f, err := pickup.NewFilter(dsp.Second(1/rate), "out")
		if err != nil {
			t.Fatal(err)
		}
		count := int(rate / 10)
		h := make([]float64, count)
		for run := 0; run < 2; run++ { // the second after Reset
			for k := range h {
				u := 0.0
				if k == 0 {
					u = 1
				}
				f.Step(y[:], []float64{u})
				if run == 1 && h[k] != y[0] {
					t.Fatalf("%v Hz: sample %d is %v, after Reset %v", rate, k, h[k], y[0])
				}
				h[k] = y[0]
			}
			f.Reset()
		}
		ac := mustAC(t, pickup)
		worst, largest := 0.0, 0.0
		for freq := 20.0; freq < 16e3; freq *= 1.3 {
			var got complex128
			for k, x := range h {
				got += complex(x, 0) * cmplx.Exp(complex(0, -2*math.Pi*freq*float64(k-f.Latency())/rate))
			}
			near(t, fmt.Sprintf("response at %.0f Hz, %v Hz", freq, rate), got, f.Response(0, dsp.Hertz(freq))[0], 1e-6)
			want := ac.Transfer("V", dsp.Hertz(freq), "out")[0]
			worst, largest = max(worst, cmplx.Abs(got-want)), max(largest, cmplx.Abs(want))
		}
		if said := f.Error(16e3); worst/largest > said*1.2+1e-9 {
			t.Errorf("%v Hz: error of %.3g, Error says %.3g", rate, worst/largest, said)
		}
		t.Logf("%v Hz: error %.3g", rate, worst/largest)
	}
	if _, err := clipper().NewFilter(1/48e3, "out"); !errors.Is(err, ErrNonLinear) {
		t.Errorf("a filter of diodes gives %v, want %v", err, ErrNonLinear)
	}
}

// TestSingular: what has no solution is told.
func TestSingular(t *testing.T) {
	loop := New()
	loop.V("v1", "a", "0", 1)
	loop.V("v2", "a", "0", 2)
	if _, err := loop.Operating(); !errors.Is(err, ErrNoOperatingPoint) {
		t.Errorf("two sources on one node: %v, want %v", err, ErrNoOperatingPoint)
	}
}

// TestMistakesPanic: a programmer's mistake shows at once.
func TestMistakesPanic(t *testing.T) {
	for name, f := range map[string]func(n *Netlist){
		"used twice":   func(n *Netlist) { n.R("r", "a", "0", 1); n.C("r", "a", "0", 1) },
		"negative":     func(n *Netlist) { n.R("r", "a", "0", -1) },
		"not finite":   func(n *Netlist) { n.C("c", "a", "0", dsp.Farad(math.Inf(1))) },
		"no node":      func(n *Netlist) { n.R("r", "", "0", 1) },
		"no ammeter":   func(n *Netlist) { n.F("f", "a", "0", "nothing", 1) },
		"off the end":  func(n *Netlist) { n.Pot("p", "a", "b", "0", 1e3, 1.01) },
		"rails turned": func(n *Netlist) { n.OpAmp("o", "a", "b", "c", OpAmp{Gain: 1, GBW: 1, Rin: 1, Rout: 1, Lo: 1, Hi: 0}) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f(New())
		}()
	}
}

// TestTapers: 15 % at half the dial (common practice, no source), ends met, the reverse turned round; a pot's parts add up.
func TestTapers(t *testing.T) {
	for _, x := range []struct {
		taper      Taper
		dial, want float64
	}{
		{Linear, 0.3, 0.3}, {Audio, 0, 0}, {Audio, 0.5, 0.15}, {Audio, 1, 1}, {Reverse, 0.5, 0.85}, {Reverse, 0, 0}, {Reverse, 1, 1},
	} {
		if got := x.taper.Wiper(x.dial); math.Abs(got-x.want) > 1e-12 {
			t.Errorf("taper %d at %v: %v, want %v", x.taper, x.dial, got, x.want)
		}
	}
	for _, position := range []float64{0, 0.25, 1} {
		n := New()
		n.V("v", "top", "0", 10)
		n.Pot("p", "top", "w", "0", 10e3, position)
		p, err := n.Operating()
		if err != nil {
			t.Fatal(err)
		}
		want := 10 * math.Min(math.Max(position*10e3, 1), 9999) / 10e3
		if got := p.V("w"); math.Abs(got-want) > 1e-6 {
			t.Errorf("wiper at %v: %v V, want %v", position, got, want)
		}
	}
}
