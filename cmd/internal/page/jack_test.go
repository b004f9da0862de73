package page

import (
	"math"
	"net/http"
	"strings"
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp/measure"
)

// TestVoltsAtJacks holds that what is heard at a jack is the voltage that the command render gives
// there, equally loud on both sides, and that a side without that jack is heard at its end.
func TestVoltsAtJacks(t *testing.T) {
	p := openPage(t, fuzzFile)
	w := p.window()
	region := [2]int64{0, 48000}
	const lead = 48000 // a second, longer than the tail
	heard := map[string][]float32{}
	for _, jack := range []string{"guitar", "fuzz.in", "fuzz.out", "echo.in", "out"} {
		var loudness [2]float64
		for side, letter := range letters {
			h := w.hear(letter, 100, region, map[string]any{"jack": jack})
			last := h.metas[len(h.metas)-1]
			if last.Jack != jack || !last.Done {
				t.Fatalf("%s at %s: %+v", letter, jack, last)
			}
			got := channel(t, h.exact, 0, 0, 48000)
			want := make([]float64, 0, 2*lead)
			r, err := render.PlanOf(w.chainOf(side), 48000, produce.Quality).Renderer(jack)
			if err != nil {
				t.Fatal(err)
			}
			if err := r.Run(t.Context(), render.Volts(w.around(0, 48000, lead, 4800)), 0, func(taps [][]float64) error {
				want = append(want, taps[0]...)
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			for k := range 48000 - 480 { // up to the seam, which TestExact holds
				if float32(want[lead+k]) != got[k] {
					t.Fatalf("%s at %s: frame %d is %g V, want %g", letter, jack, k, got[k], want[lead+k])
				}
			}
			y := make([]float64, len(got))
			for k, v := range got {
				y[k] = float64(v) * last.Gain
			}
			if loudness[side], err = measure.Loudness(y, 48000); err != nil {
				t.Fatal(err)
			}
			heard[letter+jack] = got
		}
		if d := math.Abs(loudness[0] - loudness[1]); d > 2*experiment.Close {
			t.Errorf("at %s A has %.3f LUFS and B %.3f", jack, loudness[0], loudness[1])
		}
	}
	if alike := heard["Afuzz.in"]; alike[20000] == heard["Afuzz.out"][20000] || alike[20000] == heard["Bfuzz.in"][20000] {
		t.Error("two jacks sound alike: this is no check")
	}

	w.must("B", map[string]any{"do": "order", "order": []any{"buffer", "echo"}})
	if m := w.hear("B", 0, region, map[string]any{"jack": "fuzz.out"}).metas; m[len(m)-1].Jack != "" {
		t.Errorf("B has no fuzz, and is heard at %q", m[len(m)-1].Jack)
	}
	status, body := w.post("api/render", map[string]any{"session": w.ID, "side": "A", "from": 0, "region": region, "jack": "fuz.out"}, nil)
	if status != http.StatusUnprocessableEntity || !strings.Contains(string(body), `did you mean \"fuzz.out\"`) {
		t.Errorf("a jack that nobody has: %d %s", status, body)
	}
}
