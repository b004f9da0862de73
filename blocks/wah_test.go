package blocks_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

func wahBench(position float64) *blocks.Bench {
	k := blocks.Find("wah")
	b := blocks.NewBench(gainRate, 1)
	b.Place("wah", k, k.Defaults().With("position", position))
	b.R("load", "wah.out", circuit.Ground, 1e6)
	b.Circuit.Input("Vsrc", "source", circuit.Ground)
	b.R("rs", "source", "wah.in", 10e3)
	return b
}

// Gain at its resonance and beside it, and rest, against a circuit simulator: ngspice 39.3, ngspice
// -b DECK, where DECK is what this test logs (go test ./blocks -run WahAgainstSimulator -v).
func TestWahAgainstSimulator(t *testing.T) {
	const tolerance = 0.01 // dB
	frequencies := []dsp.Hertz{200, 400, 1000, 2200, 5000}
	for position, want := range map[float64][]float64{
		0:  {-16.9231, 8.612954, -12.5760, -20.6165, -27.9687},
		5:  {-17.6085, -6.16011, 16.55019, -3.62799, -12.2383},
		10: {-17.8153, -7.37102, 3.439536, 17.25917, 3.601734},
	} {
		b := wahBench(position)
		a := ac(t, b.Circuit)
		for node, want := range map[string]float64{"collector": 4.960867, "follower": 3.484960} {
			if got := a.Point.V("wah." + node); math.Abs(got-want) > 1e-3 {
				t.Errorf("%s rests at %.5f V, want %.5f V", node, got, want)
			}
		}
		lines := []string{".control", "op", "print v(wah_collector) v(wah_follower)"}
		for k, f := range frequencies {
			got := dsp.ToDB(cmplx.Abs(a.Transfer("Vsrc", f, "wah.out")[0]))
			if math.Abs(got-want[k]) > tolerance {
				t.Errorf("position %v: gain at %v Hz is %.4f dB, want %.4f dB", position, float64(f), got, want[k])
			}
			lines = append(lines, fmt.Sprintf("ac lin 1 %v %v", float64(f), float64(f)), "print vdb(wah_out)")
		}
		t.Log(b.Circuit.Deck(circuit.Deck{Title: fmt.Sprintf("wah, %v", position), RelTol: 1e-6, Lines: append(lines, ".endc")}))
	}
}

// peakOf is where a transfer is largest, in Hz, and how large it is.
func peakOf(h func(f float64) float64) (at, most float64) {
	for f := 200.0; f < 4000; f *= 1.003 {
		if g := h(f); g > most {
			at, most = f, g
		}
	}
	return at, most
}

// The filter that the envelope leads has the circuit's resonance at every place of the pedal:
// within an eighth of an octave and 1 dB, in series with the same source and load. What the closed
// form leaves out is the load of source and pot on the coil.
func TestWahFilterIsTheCircuit(t *testing.T) {
	k := blocks.Find("wah")
	for _, position := range []float64{0, 2.5, 5, 7.5, 10} {
		a := ac(t, wahBench(position).Circuit)
		f1, g1 := peakOf(func(f float64) float64 { return cmplx.Abs(a.Transfer("Vsrc", dsp.Hertz(f), "wah.out")[0]) })
		r, err := blockstest.NewRig(k, k.Defaults().WithWord("mode", "envelope").With("position", position), false, gainRate, section.Normal)
		if err != nil {
			t.Fatal(err)
		}
		f2, g2 := peakOf(func(f float64) float64 { h, _ := r.Response(dsp.Hertz(f)); return cmplx.Abs(h) })
		if off := math.Log2(f2 / f1); math.Abs(off) > 1.0/8 {
			t.Errorf("position %v: resonance at %.0f Hz, the circuit's at %.0f Hz: %.3f octaves off", position, f2, f1, off)
		}
		if off := dsp.ToDB(g2 / g1); math.Abs(off) > 1 {
			t.Errorf("position %v: %.2f dB off the circuit's peak", position, off)
		}
		t.Logf("position %v: %.0f Hz %.2f dB, circuit %.0f Hz %.2f dB", position, f2, dsp.ToDB(g2), f1, dsp.ToDB(g1))
	}
}

// Loud opens it: with an envelope, a hard note's treble comes through and a soft one's does not,
// against their own fundamental.
func TestWahFollowsTheHand(t *testing.T) {
	treble := func(peak float64) float64 {
		k := blocks.Find("wah")
		r, err := blockstest.NewRig(k, k.Defaults().WithWord("mode", "envelope").With("position", 0).With("sense", 8), false, gainRate, section.Normal)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, 19200)
		for n := range x {
			at := 2 * math.Pi * float64(n) / gainRate
			x[n] = peak * (math.Sin(400*at) + 0.3*math.Sin(2000*at))
		}
		r.Process(x, x)
		return dsp.ToDB(line(x[9600:], 2000) / line(x[9600:], 400))
	}
	if soft, hard := treble(0.001), treble(0.1); hard-soft < 15 {
		t.Errorf("treble of a soft note at %.1f dB, of a hard one at %.1f dB", soft, hard)
	}
}

// A low impedance behind it takes the sweep away, as players know of a wah before an old fuzz: 500
// Ω at its output leave less than a third of an octave of the two octaves between heel and toe.
func TestWahBeforeLowImpedance(t *testing.T) {
	sweep := func(load dsp.Ohm) float64 {
		var at [2]float64
		for k, position := range []float64{0, 10} {
			b := wahBench(position)
			b.R("next", "wah.out", circuit.Ground, load)
			a := ac(t, b.Circuit)
			at[k], _ = peakOf(func(f float64) float64 { return cmplx.Abs(a.Transfer("Vsrc", dsp.Hertz(f), "wah.out")[0]) })
		}
		return math.Log2(at[1] / at[0])
	}
	if high, low := sweep(1e6), sweep(500); high < 2 || low > high/3 {
		t.Errorf("the sweep is %.2f octaves into 1 MΩ and %.2f into 500 Ω", high, low)
	} else {
		t.Logf("the sweep is %.2f octaves into 1 MΩ and %.2f into 500 Ω", high, low)
	}
}
