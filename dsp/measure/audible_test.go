package measure

import (
	"fmt"
	"math"
	"testing"
)

func TestJustNoticeable(t *testing.T) {
	// Computed from the same published formula, independently, to two digits: the 50 % step in dB.
	for level, want := range map[float64]float64{20: 1.38, 30: 1.09, 40: 0.94, 50: 0.80, 60: 0.64, 70: 0.47, 80: 0.32} {
		near(t, fmt.Sprintf("step at %v dB", level), JustNoticeable(level), want, 0.0051, "dB")
	}
	if !math.IsInf(JustNoticeable(-1), 1) {
		t.Error("a step is heard below the threshold")
	}
	// By definition the step itself is heard by half, either way.
	step := JustNoticeable(60)
	near(t, "louder", detection(60, 60+0), 0, 0, "")
	// L = 60 + 0.3·step
	near(t, "reference louder by the step", detection(60+step, 60), 0.5, 0.02, "")
	// Half the step: 1 - 0.5^(0.5^b), b = 4 where the reference is louder, 6 where it is softer.
	// (At L = 60 and a little more or less.)
	near(t, "reference louder by half", detection(60+step/2, 60), 1-math.Pow(0.5, 1.0/16), 0.002, "")
	near(t, "reference softer by half", detection(60-step/2, 60), 1-math.Pow(0.5, 1.0/64), 1e-9, "")
	near(t, "reference softer by the step", detection(60-step, 60), 0.5, 1e-9, "")
}

func TestEarScale(t *testing.T) {
	// The line of a full-scale sine at 1019.5 Hz stands for its playback level. Under a Hann window
	// all its lines together have 1.5 times the power of one that falls on a bin; the ear's
	// weighting at 1.0195 kHz is the formula's.
	weight := -0.6*3.64*math.Pow(1.0195, -0.8) + 6.5*math.Exp(-0.6*math.Pow(1.0195-3.3, 2)) - 1e-3*math.Pow(1.0195, 3.6)
	want := 92 + weight + powerDB(1.5) - 2*powerDB(earCalibration)
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		m := newEar(rate, 92)
		s := newEarState()
		m.excite(s, sine(m.size, rate, 1019.5, 1, 0))
		if want := map[float64]int{44100: 2048, 48000: 2048, 96000: 4096, 192000: 8192}[rate]; m.size != want {
			t.Errorf("frame at %v Hz: %d points, want %d", rate, m.size, want)
		}
		total, top, at := 0.0, 0.0, 0
		for b, e := range s.excitation {
			total += m.pitch[b]
			if e > top {
				top, at = e, b
			}
		}
		near(t, fmt.Sprintf("energy in the bands at %v", rate), powerDB(total), want, 0.1, "dB")
		near(t, fmt.Sprintf("place at %v", rate), bark(m.centre[at]), bark(1019.5), 0.26, "Bark")
		near(t, "highest band", m.edge[BandCount]*rate/float64(m.size), 18000, 0.1, "Hz")
	}
	// The share of a full-scale sine's line: at 48 kHz, 1019.5 Hz lies half-way (0.499) between
	// bins 43 and 44.
	// Hann kernel at half a bin: sinc(1/2)/(1-1/4) = 0.849
	near(t, "between bins", 2/(math.Pi*0.75)*1.0, earCalibration, 0.001, "")
}

func TestEarSpreading(t *testing.T) {
	// One band at 80 dB alone: it falls by 27 dB per Bark downwards and by 24 + 230/f - 0.2·80 dB
	// per Bark upwards, and the energy over all bands stays what it was. (The power law of addition
	// undoes itself where there is one source.)
	m := newEar(48000, 92)
	const b = 50
	var in, out [BandCount]float64
	for i := range in {
		in[i] = 1e-30
	}
	in[b] = 1e8
	m.spread(&out, &in)
	total := 0.0
	for _, e := range out {
		total += e
	}
	near(t, "energy", powerDB(total), 80, 0.001, "dB")
	near(t, "downwards", powerDB(out[b]/out[b-4]), 27, 0.001, "dB/Bark")
	near(t, "upwards", powerDB(out[b]/out[b+4]), 24+230/m.centre[b]-16, 0.001, "dB/Bark")
}

func TestEarForgets(t *testing.T) {
	// A loud frame, then silence: the excitation goes on from (1-a)·e and falls by a for every half
	// frame of 1024 samples, a = exp(-T/τ), τ = 8 ms + 22 ms · 100 Hz/f.
	m := newEar(48000, 92)
	s := newEarState()
	const b = 20
	x := noise(m.size, 1)
	m.excite(s, x)
	first := s.excitation[b]
	a := math.Exp(-1024.0 / 48000 / (0.008 + 0.022*100/m.centre[b]))
	for n := 1; n <= 3; n++ {
		m.excite(s, make([]float64, m.size))
		near(t, fmt.Sprintf("after %d frames", n), powerDB(s.excitation[b]/first), powerDB((1-a)*math.Pow(a, float64(n))), 0.01, "dB")
	}
}

func TestAudible(t *testing.T) {
	// Steady noise of -20 dB re full scale: 60 dB SPL a Bark and more at 92 dB playback, where the
	// step of a band is 0.64 dB at most.
	x := noise(2*48000, 1)
	for i := range x {
		x[i] *= 0.1
	}
	gain := func(db float64) Audibility {
		y := make([]float64, len(x))
		for i := range x {
			y[i] = x[i] * math.Pow(10, db/20)
		}
		return must[Audibility](t)(Audible(x, y, 48000, 92))
	}
	same, small, large := gain(0), gain(0.3), gain(1)
	if same.Probability != 0 || same.Share != 0 || same.Highest != 0 || same.Bands != 0 || same.MaxDB != 0 {
		t.Errorf("identical takes: %+v", same)
	}
	// Wide-band noise is just noticeably louder by about 0.5 dB (textbook figure, from memory): 0.3
	// dB is not heard, 1 dB is.
	if small.Share > 0 || small.Highest > 0.5 || small.Bands > 0 {
		t.Errorf("+0.3 dB: %+v, want unheard", small)
	}
	if large.Share < 0.8 || large.Highest < 0.95 || large.Bands < 100 {
		t.Errorf("+1 dB: %+v, want heard in all bands", large)
	}
	// The difference itself is the gain, but for what the internal noise hides.
	near(t, "difference at +1 dB", large.MeanDB, 1, 0.1, "dB")

	// Played softer, less is heard.
	y := make([]float64, len(x))
	for i := range x {
		y[i] = 1.06 * x[i] // 0.5 dB
	}
	loud, soft := must[Audibility](t)(Audible(x, y, 48000, 95)), must[Audibility](t)(Audible(x, y, 48000, 65))
	if !(soft.Probability < loud.Probability) {
		t.Errorf("0.5 dB is heard with %.3f at 65 dB playback, %.3f at 95 dB", soft.Probability, loud.Probability)
	}
}

func TestAudibleNotMeasurable(t *testing.T) {
	x := noise(4096, 1)
	_, err := Audible(x, x[1:], 48000, 92)
	wantReason(t, "lengths", err, Unequal)
	_, err = Audible(x[:2047], x[:2047], 48000, 92)
	wantReason(t, "short", err, TooShort)
	z := make([]float64, 4096)
	_, err = Audible(z, z, 48000, 92)
	wantReason(t, "silence", err, Silence)
	z[7] = math.NaN()
	_, err = Audible(x, z, 48000, 92)
	wantReason(t, "NaN", err, NotFinite)
}

func BenchmarkAudible(b *testing.B) {
	x, y := noise(48000, 1), noise(48000, 2)
	for b.Loop() {
		if _, err := Audible(x, y, 48000, 92); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/48000, "ns/sample")
}
