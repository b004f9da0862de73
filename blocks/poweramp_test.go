package blocks_test

import (
	"math"
	"testing"

	"drywire/dsp"
)

// ceilingAtRest is the ceiling in V in front of the 12 Ω, and the peak at the input in V which
// would reach it with the level at 10 if nothing clipped. Behind the curve a sine of 1.28556
// ceilings has 10 % of distortion, 1.05799 times the power of one of the ceiling, and a mean
// magnitude of 0.672754: integrals, computed apart. With the supply under that load it is to give
// the watts to 8 Ω, and the level's taper at noon, 15 %, is to pass -10 dBV there.
func ceilingAtRest(watts, sag float64) (ceiling, input float64) {
	rated := math.Sqrt(2*watts*8/1.05799) * (8 + 12) / 8
	gain := 1.28556 * rated / math.Sqrt(2*0.1) / 0.15
	ceiling = rated * (1 + 0.35*sag/10*0.672754)
	return ceiling, ceiling / gain
}

// A sine far over the ceiling is nearly a square wave as high as it, whose line at its own
// frequency is 4/π of that, and the supply rests where its loss equals what the output draws: 1/(1
// + sag); closed forms.
func TestPowerampCeiling(t *testing.T) {
	// of the line: the corners of the square, rounded by the curve and by what is over 14 kHz
	const tolerance = 0.03
	for _, c := range []struct{ watts, sag float64 }{{10, 0}, {40, 0}, {40, 5}, {40, 10}} {
		y := onRig(t, "poweramp", map[string]any{"level": 10.0, "watts": c.watts, "sag": c.sag}, 500, 50, 48000)
		ceiling, _ := ceilingAtRest(c.watts, c.sag)
		want := 4 / math.Pi * ceiling / (1 + 0.35*c.sag/10)
		if got := line(y, 500); math.Abs(got/want-1) > tolerance {
			t.Errorf("%v W, sag %v: line of %.3f V, want %.3f V", c.watts, c.sag, got, want)
		}
	}
}

// The sag takes its time: of what it takes away in the end, 63 % are gone after 40 ms, less what
// the falling supply itself draws less: the time constant is 40 ms/(1 + sag); closed form.
func TestPowerampSagTime(t *testing.T) {
	const frequency = 1000
	y := wholeOnRig(t, "poweramp", map[string]any{"level": 10.0, "sag": 10.0}, frequency, 50, 24000)
	top := func(at float64) float64 { // mean magnitude over five periods
		from := int(at * gainRate)
		sum := 0.0
		for _, v := range y[from : from+240] {
			sum += math.Abs(v)
		}
		return sum / 240
	}
	first, last := top(0.004), top(0.45)
	end := 1 / 1.35
	for _, at := range []float64{0.02, 0.04, 0.08} {
		share := func(t float64) float64 { return end + (1-end)*math.Exp(-t*1.35/40e-3) }
		// Against the first stretch, which had sagged a little already. Each stretch is 5 ms long;
		// its middle counts, and the latency is taken off.
		late := 0.0025 - 0.0018
		want := share(at+late) / share(0.004+late)
		if got := top(at) / first; math.Abs(got-want) > 0.008 {
			t.Errorf("after %v s the ceiling is %.4f of the first, want %.4f", at, got, want)
		}
	}
	if got, want := last/first, end/(end+(1-end)*math.Exp(-0.0047*1.35/40e-3)); math.Abs(got-want) > 0.008 {
		t.Errorf("in the end the ceiling is %.4f of the first, want %.4f", got, want)
	}
}

// The clipping is soft and symmetric: odd harmonics only, and at a quarter of the ceiling under -60
// dB. x/(1+x⁴)^(1/4) is x - x⁵/4 there: a fifth of 1/256, of which the third harmonic has 5/16 and
// so is at -70 dB.
func TestPowerampSoft(t *testing.T) {
	_, input := ceilingAtRest(40, 0)
	y := onRig(t, "poweramp", map[string]any{"level": 10.0, "sag": 0.0}, 500, input/4*1.01, 48000)
	third := dsp.ToDB(line(y, 1500) / line(y, 500))
	if want := dsp.ToDB(math.Pow(0.25, 4) / 4 * 5 / 16); math.Abs(third-want) > 0.5 {
		t.Errorf("third harmonic at %.2f dB, want %.2f dB", third, want)
	}
	if second := dsp.ToDB(line(y, 1000) / line(y, 500)); second > -120 {
		t.Errorf("second harmonic at %.1f dB", second)
	}
}

// The settled harmonics against a circuit simulator: ngspice 39.3, a deck of behavioural sources
// with the curve, a supply of 40 ms and RC corners at 35 Hz and 14 kHz; .tran 2u 0.5 0.4 2u UIC,
// reltol 1e-6, .four 500. Level and sag at 10, 500 Hz at the level control, 0.5 V of which reach a
// ceiling of √(2·40 W·8 Ω): both scale.
func TestPowerampAgainstSimulator(t *testing.T) {
	// dB of the line; the simulator's figures have six digits, its sampling for .four some 2e-5 of
	// the first
	const tolerance = 0.02
	ceiling, input := ceilingAtRest(40, 10)
	scale := ceiling / math.Sqrt(2*40*8)
	for peak, want := range map[float64][4]float64{
		0.25: {12.423, 0.0918764, 0.0168949, 0.000579376},
		1:    {23.5788, 5.63926, 1.82927, 0.48693},
		4:    {23.9455, 7.79568, 4.44942, 2.95457},
	} {
		// The rig: 10 kΩ into 1 MΩ before it, 12 Ω into 1 MΩ behind it.
		y := onRig(t, "poweramp", map[string]any{"level": 10.0, "sag": 10.0}, 500, peak/0.5*input*1.01, 96000)
		for k, w := range want {
			w *= scale
			got := line(y, 500*float64(2*k+1)) * (1 + 12e-6)
			if off := dsp.ToDB(got / w); math.Abs(off) > tolerance && math.Abs(got-w) > 2e-5*scale*want[0] {
				t.Errorf("%v V in: harmonic %d is %.6f V, want %.6f V (%.3f dB)", peak, 2*k+1, got, w, off)
			}
		}
	}
}
