package chains

import (
	"math"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
	"drywire/dsp/section"
)

func shippedFile(t *testing.T, name string) *File {
	t.Helper()
	src, err := ReadShipped(name)
	if err != nil {
		t.Fatal(err)
	}
	return mustParse(t, string(src))
}

// chord is a plucked chord of five strings at the pickup, as loud as hard playing is (some 0.2 V peak: common practice, no source): twelve partials of each,
// which die away the faster the higher they are.
func chord(n int, rate float64) []float64 {
	x := make([]float64, n)
	chance := rand.New(rand.NewPCG(7, 7))
	for _, hz := range []float64{82.41, 123.47, 164.81, 207.65, 246.94} { // E major, equal temperament on 440 Hz
		for p := 1.0; p <= 12; p++ {
			phase, step := 2*math.Pi*chance.Float64(), 2*math.Pi*hz*p/rate
			for k := range x {
				x[k] += 0.02 / p * math.Exp(-float64(k)/rate*(1+p/2)) * math.Sin(step*float64(k)+phase)
			}
		}
	}
	return x
}

// Two amplifiers cancel where one turns the signal over once more than the other: players who split their signal know it (common practice, no source). Mixed
// to one loudspeaker, the pair that pulls and pushes is at least 6 dB softer than the pair that pushes together; check tells which is which.
func TestTwoAmplifiersCancelInMono(t *testing.T) {
	const rate = 48000
	f := shippedFile(t, "two-amplifiers")
	same, turned := takeOf(t, f, "both the same way, in mono"), takeOf(t, f, "one upside down, in mono")
	play := func(c *Chain) []float64 {
		out := render(t, c, rate, section.Draft, Volts(chord(rate/2, rate)), "out")[0]
		return out[rate/10:]
	}
	drop := dsp.ToDB(rms(play(same)) / rms(play(turned)))
	a, err := same.Cancellation(rate)
	if err != nil {
		t.Fatal(err)
	}
	b, err := turned.Cancellation(rate)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("one loudspeaker: %.1f dB softer with one amplifier upside down; correlation %.2f and %.2f", drop, a.Correlation, b.Correlation)
	if drop < 6 {
		t.Errorf("%.1f dB softer, want 6 or more", drop)
	}
	if a.Cancels() || !b.Cancels() {
		t.Errorf("check: the same way %v, one upside down %v", a, b)
	}
	if math.Abs(a.Correlation+b.Correlation) > 1e-6 {
		t.Errorf("a polarity changes the correlation's sign and nothing else: %v and %v", a.Correlation, b.Correlation)
	}
}
