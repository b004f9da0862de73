package noise

import (
	"slices"
	"testing"

	"drywire/chains/internal/chaintest"
)

// Renderings that go side by side hear what each hears that goes alone, and what one hears whose
// noise is its own, to the last bit; and they do not hear what is left out.
func TestHeardTogether(t *testing.T) {
	m := newNoiseMeter(48000, noiseCells)
	c := chaintest.Chain(t, "dist: {kind: distortion, distortion: 8}; gate: {kind: gate}", "dist, gate", "guitar.pickup: single-coil")
	plan := m.quiet(c).plan
	r, err := plan.Renderer("out")
	if err != nil {
		t.Fatal(err)
	}
	s, err := soundOf(plan, sectionNodes(r), 12)
	if err != nil {
		t.Fatal(err)
	}
	const seconds = 0.5
	read := [][]string{{"out"}}
	choices := []func(source) bool{
		func(source) bool { return false },
		func(x source) bool { return x.cause == "hum" },
		func(x source) bool { return x.element == "guitar.winding" },
		func(x source) bool { return x.cause == "stage" },
	}
	all, err := m.hear(s, read, seconds, choices...)
	if err != nil {
		t.Fatal(err)
	}
	for k, without := range choices {
		alone, err := m.hear(s, read, seconds, without)
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
	settle := int(48000 * (1 + min(3, float64(r.Tail()))))
	x := runNoise(t, r, make([]float64, settle+int(48000*seconds)))[0]
	if own := m.spectrum(x[settle:]); !slices.Equal(own.density, all[0][0].density) {
		t.Error("it hears something else than a rendering whose noise is its own")
	}
}
