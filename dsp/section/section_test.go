package section

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/measure"
)

var rates = []dsp.Hertz{44100, 48000, 96000}

// pickupInto is a humbucker with its pots and cable into a load.
func pickupInto(load dsp.Ohm) *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "e", "0")
	n.R("rp", "e", "p1", 8e3)
	n.L("lp", "p1", "guitar", 4.4)
	n.C("cp", "guitar", "0", 130e-12)
	n.R("vol", "guitar", "0", 500e3)
	n.R("tone", "guitar", "t", 500e3)
	n.C("ct", "t", "0", 22e-9)
	n.R("cabler", "guitar", "out", 0.5)
	n.C("cable", "out", "0", 500e-12)
	n.R("rin", "out", "0", load)
	return n
}

// farOff adds a diode that has 5 V against it: the circuit is non-linear by kind and linear in
// fact. What it conducts, and its slope, is some 1e-13 of what 1 kΩ does.
func farOff(n *circuit.Netlist, node string) *circuit.Netlist {
	n.V("far", "off", "0", -5)
	n.D("d", "off", node, circuit.Diode{Name: "far", Is: 1e-14})
	return n
}

// fuzz is the two-transistor fuzz alone, at full gain, behind 100 Ω: values by common practice,
// transistors generic, from memory.
func fuzz() *circuit.Netlist {
	n := circuit.New()
	q := circuit.BJT{Name: "si", Is: 1e-14, BF: 200, BR: 1, VAF: 100, Cje: 5e-12, Cjc: 4e-12}
	n.Input("Vdry", "e", "0")
	n.R("rs", "e", "in", 100)
	n.V("supply", "vcc", "0", 9)
	n.C("cin", "in", "b1", 2.2e-6)
	n.R("rc1", "vcc", "c1", 33e3)
	n.Q("q1", "c1", "b1", "0", q)
	n.Q("q2", "c2", "c1", "e2", q)
	n.R("rf", "e2", "b1", 100e3)
	n.R("rc2a", "vcc", "t", 470)
	n.R("rc2b", "t", "c2", 8.2e3)
	n.Pot("fuzz", "e2", "fw", "0", 1e3, 1)
	n.C("ce", "fw", "0", 22e-6)
	n.C("cout", "t", "o", 10e-9)
	n.Pot("level", "o", "out", "0", 500e3, 0.8)
	n.C("cload", "out", "0", 500e-12)
	n.R("rload", "out", "0", 1e6)
	return n
}

func must(t testing.TB, n *circuit.Netlist, rate dsp.Hertz, q Quality, probes ...string) *Section {
	t.Helper()
	s, err := New(n, rate, q, probes...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// impulse is what a section answers to one sample of a height, per volt, minus what it has at rest.
func impulse(s *Section, height float64, count int) []float64 {
	s.Reset()
	in, out, rest := make([]float64, count), make([]float64, count), make([]float64, count)
	s.Process([][]float64{rest}, [][]float64{in})
	s.Reset()
	in[0] = height
	s.Process([][]float64{out}, [][]float64{in})
	for k := range out {
		out[k] = (out[k] - rest[k]) / height
	}
	return out
}

// at is an impulse response at a frequency, freed of the section's latency.
func at(h []float64, latency int, f, rate float64) complex128 {
	var sum complex128
	for k, x := range h {
		sum += complex(x, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(k-latency)/rate))
	}
	return sum
}

// checkResponse holds a section to its circuit's own response: level in dB, to 5 kHz and above, and
// phase in radians.
func checkResponse(t *testing.T, what string, n *circuit.Netlist, s *Section, rate dsp.Hertz, height, top, tolLow, tolHigh, tolPhase float64) {
	t.Helper()
	ac, err := n.AC()
	if err != nil {
		t.Fatal(err)
	}
	h := impulse(s, height, int(rate)/5)
	worst, worstPhase := 0.0, 0.0
	for _, f := range []float64{20, 50, 100, 400, 1000, 2000, 2500, 2870, 3300, 5000, 8000, 12000, 16000, 19000, 20000} {
		if f > top {
			break
		}
		ratio := at(h, s.Latency(), f, float64(rate)) / ac.Transfer("Vdry", dsp.Hertz(f), "out")[0]
		d, p := dsp.ToDB(cmplx.Abs(ratio)), cmplx.Phase(ratio)
		worst, worstPhase = max(worst, math.Abs(d)), max(worstPhase, math.Abs(p))
		tol := tolLow
		if f > 5e3 {
			tol = tolHigh
		}
		if math.Abs(d) > tol || math.Abs(p) > tolPhase {
			t.Errorf("%s at %v Hz: %.5f dB and %.5f rad off at %.0f Hz", what, float64(rate), d, p, f)
		}
	}
	t.Logf("%s at %v Hz: times %d, latency %d, within %.5f dB and %.5f rad", what, float64(rate), s.Factor, s.Latency(), worst, worstPhase)
}

// Tolerances of responses. A phase of 0.02 rad at 16 kHz is 0.2 µs.
const (
	tolGain  = 0.02 // dB, to 16 kHz
	tolPhase = 0.02 // rad
)

// TestLinearResponse: a linear section has its circuit's response, its latency taken off.
func TestLinearResponse(t *testing.T) {
	for _, rate := range rates {
		for _, load := range []dsp.Ohm{1e6, 5e3} {
			n := pickupInto(load)
			s := must(t, n, rate, Normal, "out")
			if !s.Linear() || s.Report() != (transient.Report{}) {
				t.Errorf("not linear: %+v", s.Report())
			}
			checkResponse(t, fmt.Sprintf("pickup into %v Ω", float64(load)), n, s, rate, 1, 16e3, tolGain, tolGain, tolPhase)
		}
	}
}

// TestSmallSignal: a non-linear section passes a small signal with the response of its circuit
// about the operating point. The fuzz at full gain is the hardest: its two transistors have 80 dB
// of gain and poles near 30 kHz, and carry their currents straight from step to step.
func TestSmallSignal(t *testing.T) {
	for _, c := range []struct {
		quality   Quality
		low, high float64 // dB, the fuzz to 5 kHz and to 16 kHz
		pickup    float64 // dB, to 16 kHz
		phase     float64 // rad, to 16 kHz
	}{
		{Draft, 0.15, 1, 0.03, 0.05},
		{Normal, 0.05, 0.35, tolGain, tolPhase},
		{Fine, 0.01, tolGain, tolGain, tolPhase},
	} {
		for _, rate := range rates {
			n := fuzz()
			s := must(t, n, rate, c.quality, "out")
			checkResponse(t, "fuzz, "+c.quality.Name, n, s, rate, 1e-7, 16e3, c.low, c.high, c.phase)
			n = farOff(pickupInto(1e6), "out")
			if s = must(t, n, rate, c.quality, "out"); s.Linear() {
				t.Error("a diode is said to be linear")
			}
			checkResponse(t, "pickup and a diode far off, "+c.quality.Name, n, s, rate, 1e-3, 16e3, c.pickup, c.pickup, c.phase)
		}
	}
}

// TestFlat: raising the rate, the mean over steps, its levelling and lowering the rate leave a
// resistive divider flat within 0.001 dB to 20 kHz; in a draft within 0.02 dB.
func TestFlat(t *testing.T) {
	for _, rate := range rates {
		for _, q := range Qualities() {
			n := circuit.New()
			n.Input("Vdry", "in", "0")
			n.R("r1", "in", "out", 1e3)
			n.R("r2", "out", "0", 1e3)
			farOff(n, "out")
			tol := 0.001
			if q.Name == Draft.Name {
				tol = 0.02
			}
			checkResponse(t, "divider, "+q.Name, n, must(t, n, rate, q, "out"), rate, 1e-3, 20e3, tol, tol, 0.004)
		}
	}
}

// TestLatency: an impulse through a divider stands highest exactly at the latency, as high on
// either side.
func TestLatency(t *testing.T) {
	for _, rate := range rates {
		for _, q := range Qualities() {
			n := circuit.New()
			n.Input("Vdry", "in", "0")
			n.R("r1", "in", "out", 1e3)
			n.R("r2", "out", "0", 1e3)
			for name, n := range map[string]*circuit.Netlist{"linear": n, "non-linear": farOff(n.Split()[0], "out")} {
				s := must(t, n, rate, q, "out")
				h := impulse(s, 1e-3, 1000)
				l := s.Latency()
				for k := range h {
					if math.Abs(h[k]) > math.Abs(h[l]) {
						t.Fatalf("%s, %s at %v Hz: %v at sample %d is more than %v at %d", name, q.Name, float64(rate), h[k], k, h[l], l)
					}
				}
				// a draft's phase is 0.003 rad off at 20 kHz
				for k := 1; k < 20 && k <= l && q.Name != Draft.Name; k++ {
					if d := math.Abs(h[l-k] - h[l+k]); d > 3e-3*math.Abs(h[l]) {
						t.Errorf("%s, %s at %v Hz: %.6f and %.6f at %d samples from %d", name, q.Name, float64(rate), h[l-k], h[l+k], k, l)
					}
				}
			}
		}
	}
}

// TestCallLength: the same bits however a signal is cut, and after Reset.
func TestCallLength(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	in := make([]float64, 1500)
	for k := range in {
		in[k] = 0.3*math.Sin(float64(k)*0.05) + 0.1*r.Float64()
	}
	for name, n := range map[string]*circuit.Netlist{"linear": pickupInto(1e6), "fuzz": fuzz()} {
		for _, q := range Qualities() {
			s := must(t, n, 44100, q, "out", "e")
			run := func(lengths ...int) [2][]float64 {
				s.Reset()
				var out [2][]float64
				for j, from := 0, 0; from < len(in); j++ {
					to := min(len(in), from+lengths[j%len(lengths)])
					a, b := make([]float64, to-from), make([]float64, to-from)
					s.Process([][]float64{a, b}, [][]float64{in[from:to]})
					out[0], out[1] = append(out[0], a...), append(out[1], b...)
					from = to
				}
				return out
			}
			want := run(len(in))
			for _, lengths := range [][]int{{len(in)}, {1}, {7}, {64}, {479}, {1, 63, 65, 1000}} {
				got := run(lengths...)
				for p := range want {
					for k := range want[p] {
						if got[p][k] != want[p][k] {
							t.Fatalf("%s, %s, calls of %v: probe %d, sample %d is %v, want %v", name, q.Name, lengths, p, k, got[p][k], want[p][k])
						}
					}
				}
			}
		}
	}
}

// TestSilence: a section at rest gives its operating point; behind a capacitor that is zero to the
// last bit.
func TestSilence(t *testing.T) {
	for _, q := range Qualities() {
		s := must(t, fuzz(), 48000, q, "out")
		out := make([]float64, 1000)
		s.Process([][]float64{out}, [][]float64{make([]float64, len(out))})
		for k, x := range out {
			if x != 0 {
				t.Fatalf("%s: %v at sample %d", q.Name, x, k)
			}
		}
	}
}

// TestAliases: the fuzz alone at full gain, 0.5 V peak. A sine on an odd bin of 2^16 at 48 kHz, so
// that each harmonic and each alias has a bin of its own.
func TestAliases(t *testing.T) {
	const rate, points = 48000, 1 << 16
	for _, c := range []struct {
		quality   Quality
		bin       int
		frequency string
		want      float64 // dB
	}{
		{Normal, 1699, "1244.5 Hz", 70}, {Normal, 5715, "4186 Hz", 50},
		{Fine, 1699, "1244.5 Hz", 90}, {Fine, 5715, "4186 Hz", 70},
	} {
		t.Run(c.quality.Name+" "+c.frequency, func(t *testing.T) {
			t.Parallel()
			s := must(t, fuzz(), rate, c.quality, "out")
			const before = points / 4 // until the capacitors are charged
			in, out := make([]float64, before+points), make([]float64, before+points)
			for k := range in {
				in[k] = 0.5 * math.Sin(2*math.Pi*float64(c.bin)*float64(k)/points)
			}
			s.Process([][]float64{out}, [][]float64{in})
			got, err := measure.SignalToAlias(out[before:], rate, c.bin)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%s, %s: %.1f dB", c.quality.Name, c.frequency, got)
			if got < c.want {
				t.Errorf("%s, %s: signal to alias is %.1f dB, want %v", c.quality.Name, c.frequency, got, c.want)
			}
			if f := s.Report().Failures; f > 0 {
				t.Errorf("%d steps failed", f)
			}
		})
	}
}

// TestNoAllocation: processing allocates nothing.
func TestNoAllocation(t *testing.T) {
	for name, n := range map[string]*circuit.Netlist{"linear": pickupInto(1e6), "fuzz": fuzz()} {
		s := must(t, n, 48000, Normal, "out")
		in, out := [][]float64{make([]float64, 200)}, [][]float64{make([]float64, 200)}
		for k := range in[0] {
			in[0][k] = 0.2 * math.Sin(float64(k)*0.1)
		}
		if got := testing.AllocsPerRun(5, func() { s.Process(out, in) }); got != 0 {
			t.Errorf("%s: %v allocations a call", name, got)
		}
	}
}
