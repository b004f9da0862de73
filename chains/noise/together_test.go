package noise

import (
	"math"
	"slices"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
)

// restOf is a chain's plan at rest, a renderer of its end, and what makes it noisy.
func restOf(t *testing.T, m *noiseMeter, c *board.Chain) (*render.Plan, *render.Renderer, *sound) {
	t.Helper()
	plan := m.quiet(c).plan
	r, err := plan.Renderer("out")
	if err != nil {
		t.Fatal(err)
	}
	s, err := soundOf(plan, sectionNodes(r), 12)
	if err != nil {
		t.Fatal(err)
	}
	return plan, r, s
}

// Renderings that go side by side hear what each hears that goes alone, and what one hears whose
// noise is its own, to the last bit; and they do not hear what is left out.
func TestHeardTogether(t *testing.T) {
	m := newNoiseMeter(48000, noiseCells)
	c := chaintest.Chain(t, "dist: {kind: distortion, distortion: 8}; gate: {kind: gate}", "dist, gate", "guitar.pickup: single-coil")
	plan, r, s := restOf(t, m, c)
	const seconds = 0.5
	read := [][]string{{"out"}}
	choices := []func(source) bool{
		func(source) bool { return false },
		func(x source) bool { return x.cause == "hum" },
		func(x source) bool { return x.element == "guitar.winding" },
		func(x source) bool { return x.cause == "stage" },
	}
	all, err := m.hear(s, read, hearing{1, true, seconds}, choices...)
	if err != nil {
		t.Fatal(err)
	}
	for k, without := range choices {
		alone, err := m.hear(s, read, hearing{1, true, seconds}, without)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(all[k][0].density, alone[0][0].density) {
			t.Errorf("choice %d: beside others it hears something else than alone", k)
		}
		if k > 0 && slices.Equal(all[k][0].density, all[0][0].density) {
			t.Errorf("choice %d: nothing is left out", k)
		}
	}

	s.addTo(r, noiseSeed, nil, func(_ string, made func() []voice) []voice { return made() })
	settle := int(48000 * (1 + min(3, m.filled(plan))))
	x := runNoise(t, r, make([]float64, settle+int(48000*seconds)))[0]
	if own := m.spectrum(x[settle:]); !slices.Equal(own.density, all[0][0].density) {
		t.Error("it hears something else than a rendering whose noise is its own")
	}
}

// An echo whose repeats fall by a gain g has the share 1 - g^(2n) of its energy after n of them
// (the sum of a geometric series).
func TestReached(t *testing.T) {
	const apart, gain = 100, 0.8
	x := make([]float64, 1<<14)
	for n := 0; n*apart < len(x)/2; n++ {
		x[n*apart] = math.Pow(gain, float64(n))
	}
	repeats := int(math.Ceil(math.Log(1-nearlyAll) / (2 * math.Log(gain))))
	if got, want := reached(x, nearlyAll), (repeats-1)*apart+1; got != want {
		t.Errorf("%d samples, want %d: those of %d repeats", got, want, repeats)
	}
	early := make([]float64, 1<<14)
	early[len(early)-5], early[0] = 1, 0.01 // all but a ten-thousandth came before its time
	if got := reached(early, nearlyAll); got != 1 {
		t.Errorf("%d samples, want 1", got)
	}
}

// A chain's noise at rest has its power when it is listened to: after what filled says, what an
// echo with many repeats gives is within 0.3 dB of what it gives later (four seconds of white noise
// scatter by less than that).
func TestFilled(t *testing.T) {
	m := newNoiseMeter(48000, noiseCells)
	c := chaintest.Chain(t, "dist: {kind: distortion}; echo: {kind: delay, time: 600 ms, repeats: 8, mix: 90 %}", "dist, echo", "guitar.pickup: single-coil")
	plan, r, s := restOf(t, m, c)
	filled := m.filled(plan)
	if tail := float64(plan.Tail()); filled < 0.6 || filled > 0.8*tail {
		t.Errorf("filled after %.2f s, of a tail of %.2f s", filled, tail)
	}
	s.addTo(r, noiseSeed, nil, func(_ string, made func() []voice) []voice { return made() })
	settle, length := int(48000*(1+filled)), 4*48000
	x := runNoise(t, r, make([]float64, settle+length+3*48000+length))[0]
	power := func(x []float64) (sum float64) {
		for _, v := range x {
			sum += v * v
		}
		return sum
	}
	soon, late := power(x[settle:settle+length]), power(x[len(x)-length:])
	if db := 10 * math.Log10(soon/late); math.Abs(db) > 0.3 {
		t.Errorf("%.2f dB between what is heard and what comes later", db)
	}
}
