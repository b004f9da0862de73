package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// gated runs a tone of 1 kHz whose peak follows a list of (seconds, volts) through the gate, and
// gives the gain over time, one value per period.
func gated(t *testing.T, set map[string]float64, parts ...[2]float64) []float64 {
	t.Helper()
	k := blocks.Find("gate")
	s := k.Defaults()
	for knob, v := range set {
		s = s.With(knob, v)
	}
	r, err := blockstest.NewRig(k, s, false, gainRate, section.Normal)
	if err != nil {
		t.Fatal(err)
	}
	var x []float64
	for _, p := range parts {
		for range int(p[0] * gainRate) {
			x = append(x, p[1]*math.Sin(2*math.Pi*1000*float64(len(x))/gainRate))
		}
	}
	y := make([]float64, len(x))
	r.Process(y, x)
	late := r.Latency()
	var gain []float64
	for at := 0; at+48+late <= len(x); at += 48 {
		a, b := rms(x[at:at+48]), rms(y[at+late:at+48+late])
		gain = append(gain, b/a*1.01*1.0001)
	}
	return gain
}

// Threshold and hysteresis: a note over the threshold opens it; between the threshold and the
// hysteresis under it, it stays as it is; under that it closes to its range. The peak behind the
// rig's 10 kΩ is 0.99 of the source's.
func TestGateThresholds(t *testing.T) {
	set := map[string]float64{"threshold": -40, "hysteresis": 6, "range": 60, "hold": 0.02, "release": 0.02}
	level := func(db float64) float64 { return 1.01 * dsp.FromDB(db) }
	g := gated(t, set, [2]float64{0.2, level(-41)}, [2]float64{0.2, level(-39)}, [2]float64{0.3, level(-45)}, [2]float64{0.5, level(-47)})
	for _, c := range []struct {
		at   int // ms
		want float64
	}{{190, -60}, {390, 0}, {690, 0}, {1180, -60}} {
		if got := dsp.ToDB(g[c.at]); math.Abs(got-c.want) > 0.2 {
			t.Errorf("after %d ms the gain is %.2f dB, want %v dB", c.at, got, c.want)
		}
	}
}

// Hold and release: 15 ms lags let the detector fall from -20 dBV to -46 dBV in 15 ms·ln(20) = 45
// ms; then 100 ms of hold; then the gain falls as e^(-t/50 ms): closed form.
func TestGateTimes(t *testing.T) {
	g := gated(t, map[string]float64{"threshold": -40, "hysteresis": 6, "range": 90, "hold": 0.1, "release": 0.05},
		[2]float64{0.2, 1.01 * dsp.FromDB(-20)}, [2]float64{0.6, 1e-5})
	closes := 0.2 + 0.015*math.Log(dsp.FromDB(26)) + 0.1
	for _, c := range []struct{ after, want float64 }{{-0.005, 1}, {0.05, math.Exp(-1)}, {0.15, math.Exp(-3)}} {
		at := int(math.Round((closes + c.after) * 1000))
		// The second lag of 0.5 ms and the period over which the gain is taken are worth some 2 %
		// of it.
		if got := g[at]; math.Abs(got/c.want-1) > 0.03 {
			t.Errorf("%.0f ms after the hold the gain is %.4f, want %.4f", c.after*1e3, got, c.want)
		}
	}
}

// No clicks: in the opening of a gate in the middle of a note, what lies above 8 kHz stays 60 dB
// under a note of 1 kHz. A gate that jumped would have it at some -40 dB.
func TestGateOpensSoftly(t *testing.T) {
	k := blocks.Find("gate")
	r, err := blockstest.NewRig(k, k.Defaults().With("threshold", -22), false, gainRate, section.Normal)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 9600)
	for n := range x { // comes in without a click of its own
		fade := 1.0
		if n < 4800 {
			fade = 0.5 - 0.5*math.Cos(math.Pi*float64(n)/4800)
		}
		x[n] = 0.1 * fade * math.Sin(2*math.Pi*1000*float64(n)/gainRate)
	}
	y := make([]float64, len(x))
	r.Process(y, x)
	var note, click float64
	for f := 100.0; f < 24000; f += 50 {
		sum := 0.0
		re, im := 0.0, 0.0
		for n, v := range y[:4800] {
			w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(n)/4800)
			sin, cos := math.Sincos(2 * math.Pi * f * float64(n) / gainRate)
			re += w * v * cos
			im += w * v * sin
		}
		sum = re*re + im*im
		if f < 2000 {
			note += sum
		} else if f > 8000 {
			click += sum
		}
	}
	if got := 10 * math.Log10(click/note); got > -60 {
		t.Errorf("above 8 kHz at %.1f dB", got)
	} else {
		t.Logf("above 8 kHz at %.1f dB", got)
	}
}
