package transient

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// These tests hold what the comments of the package promise.

func mustTransient(t testing.TB, n *circuit.Netlist, o Options, probes ...string) *Transient {
	t.Helper()
	tr, err := New(n, o, probes...)
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
	for name, n := range circuittest.NonLinear() {
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

// TestAgainAndAfterReset: a run gives the same bits a second time, and in the same Transient after
// Reset.
func TestAgainAndAfterReset(t *testing.T) {
	for name, n := range circuittest.NonLinear() {
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

// response is what comes of ten milliseconds of a sine that comes in smoothly, every so many steps.
func response(t *testing.T, n *circuit.Netlist, o Options, peak, rate float64, every int) []float64 {
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

// TestConvergence: halving an undivided step lowers the error by 12 dB or more (second order) for
// the clipper. The transistor stage has nodes that nothing but some picofarads hold, with time
// constants of nanoseconds, far below any step: what the straight line of a current gets wrong
// about its slope at the step's end reaches them in proportion to the step, on a very low level.
// There it is 6 dB, and the level counts.
func TestConvergence(t *testing.T) {
	for _, c := range []struct {
		name string
		n    *circuit.Netlist
		peak float64 // V
		gain float64 // dB of each halving
		end  float64 // dB at 1.5 MHz
	}{{"clipper", circuittest.Clipper(), 0.5, 12, -140}, {"stage", circuittest.Stage(), 0.02, 2, -110}} {
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

// TestDivision: a fuzz in divided steps comes to the same as in steps that are small throughout;
// each of the first two levels gains 15 dB.
func TestDivision(t *testing.T) {
	for name, q := range map[string]circuit.BJT{"silicon": circuittest.SiliconNPN, "germanium": circuittest.GermaniumPNP} {
		n := circuittest.FuzzWithGuitar(q)
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
	n := circuit.New()
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
		// With θ = 2πf·step: a second difference for the second derivative, θ⁴/144, and what the
		// parabola leaves, -θ⁴/720; carrying it on to the step's middle, (5/16)·θ⁵/12. The signal
		// is cos/2.
		// and the node's picosiemens
		if d := cmplx.Abs(got - complex(want, 0)); d > 1.2*(math.Pow(2*x, 4)/180+math.Pow(2*x, 5)*5/192)/2+5e-10 {
			t.Errorf("%v Hz: %v, want %v (off by %.2g)", f, got, want, d)
		}
	}
}

// stressSignals is what a solver may meet at its worst: noise at +40 dB on 0.5 V, steps, DC,
// squares and silence.
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

// TestStress: no step fails and nothing is ever not a number, at a small part of the length that
// the check command runs.
func TestStress(t *testing.T) {
	for name, n := range circuittest.NonLinear() {
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

// TestFailureIsCounted: a step that cannot be solved is counted, nothing leaves the range of what
// drives the circuit, and it comes back to rest afterwards. An op-amp that is driven with a
// teravolt does it.
func TestFailureIsCounted(t *testing.T) {
	tr := mustTransient(t, circuittest.Amplifier(0.5e6), Options{Step: 1 / 384e3, Levels: 2, Tolerance: 1e-3}, "out")
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

// TestChargingThroughResistor: an RC driven by t⁴, which a cubic between samples misses by nothing
// that counts. With τ = RC the voltage is t⁴ - 4τt³ + 12τ²t² - 24τ³t + 24τ⁴(1-exp(-t/τ)).
func TestChargingThroughResistor(t *testing.T) {
	const r, c, step = 10e3, 1e-9, 1e-6
	n := circuit.New()
	n.Input("V", "in", "0")
	n.R("r", "in", "out", r)
	n.C("c", "out", "0", c)
	tr, err := New(n, Options{Step: step}, "out")
	if err != nil {
		t.Fatal(err)
	}
	const tau = r * c
	var y, u [1]float64
	for k := 1; k <= 200; k++ {
		x := float64(k) * step / 100e-6
		q := tau / 100e-6
		u[0] = x * x * x * x
		tr.Step(y[:], u[:])
		want := x*x*x*x - 4*q*x*x*x + 12*q*q*x*x - 24*q*q*q*x + 24*q*q*q*q*(1-math.Exp(-x/q))
		// (step/64/τ)²/12 and the cubic
		if k > 20 && math.Abs(y[0]-want) > 2e-5*math.Max(want, 1e-3) {
			t.Fatalf("at %d µs: %.9g V, want %.9g", k, y[0], want)
		}
	}
}

// TestRingingKeepsItsEnergy: a tank that only a teraohm holds rings on for 10^4 cycles at its
// frequency; the trapezoidal rule loses nothing.
func TestRingingKeepsItsEnergy(t *testing.T) {
	const l, c, step = 1.0, 1e-9, 1e-6 // 5033 Hz
	n := circuit.New()
	n.Input("V", "in", "0")
	n.R("hold", "in", "out", 1e12)
	n.L("l", "out", "0", l)
	n.C("c", "out", "0", c)
	n.C("ci", "in", "out", 1e-12)
	tr, err := New(n, Options{Step: step}, "out")
	if err != nil {
		t.Fatal(err)
	}
	var y, u [1]float64
	const window, period, first = 10000, 990000, 1000 // steps
	// The capacitor to the source belongs to the tank, since the source rests.
	f := 1 / (2 * math.Pi * math.Sqrt(l*(c+1e-12)))
	var line []complex128
	for k := 1; k <= 2e6; k++ {
		u[0] = 0
		if k < 50 {
			u[0] = 1e3
		}
		tr.Step(y[:], u[:])
		if j := k - first; j >= 0 && j%period < window {
			if j%period == 0 {
				line = append(line, 0)
			}
			hann := 0.5 - 0.5*math.Cos(2*math.Pi*float64(j%period)/window)
			line[len(line)-1] += complex(hann*y[0], 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(k)*step))
		}
	}
	if len(line) < 3 {
		t.Fatalf("%d windows", len(line))
	}
	const between = 2 * period * step // s
	// The teraohm and the picosiemens of the node take their share.
	want := math.Exp(-between * (2e-12) / (c + 1e-12))
	if got := math.Pow(cmplx.Abs(line[2]/line[0]), 2); math.Abs(got-want) > 1e-5 {
		t.Errorf("after 10^4 cycles %.6f of the energy is left, want %.6f", got, want)
	}
	// (ω·step/64)²/12 is 2e-8
	if off := cmplx.Phase(line[2]/line[0]) / (2 * math.Pi * f * between); math.Abs(off) > 1e-6 {
		t.Errorf("the frequency is off by %.2g", off)
	}
}
