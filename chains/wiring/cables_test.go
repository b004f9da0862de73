package wiring

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// A cable that the file has by itself is the only one that differs: between a volume pedal and a
// buffer of 1 MΩ, its capacitance makes the low-pass of the pedal's wiper, and a return of a
// switcher has its own. Against closed forms; what patches of 1 cm add is under 0.01 dB.
func TestCablesOneByOne(t *testing.T) {
	const lines = `guitar: {pickup: {resistance: 10 Ω, inductance: 1 mH, capacitance: 1 pF}, cable: 1 cm}
patch: 1 cm
load: {resistance: 1 MΩ, cable: 1 cm}
CABLES
blocks: {pedal: {kind: volume, volume: 5}, s: {kind: switcher, input_buffer: off, loops: {1: [pedal]}}, b: {kind: buffer}}
order: ORDER
presets: {on: {loops: [1]}}
`
	at := func(cables, order, preset string, f float64) float64 {
		text := strings.NewReplacer("CABLES", cables, "ORDER", order).Replace(lines)
		if !strings.Contains(order, "s") {
			text = strings.Replace(text, "presets: {on: {loops: [1]}}\n", "", 1)
			text = strings.Replace(text, "s: {kind: switcher, input_buffer: off, loops: {1: [pedal]}}, ", "", 1)
		}
		board := chaintest.Board(t, text)
		w := Of(board.Chains()[0], 48000, section.Normal)
		ac, err := w.Section("b.in").AC()
		if err != nil {
			t.Fatal(err)
		}
		return cmplx.Abs(ac.Transfer(Source, dsp.Hertz(f), "b.in")[0])
	}
	// The wiper of 250 kΩ at 15 %, with 1 MΩ behind it.
	upper, lower := 0.85*250e3, 0.15*250e3
	r := 1 / (1/upper + 1/lower + 1/1e6)
	for _, c := range []struct {
		cables, order string
		farads        float64
	}{
		{"cables: {b: {length: 10 m}}", "[pedal, b]", 10 * 100e-12},
		{"cables: {b: {length: 10 m, capacitance: 200 pF}}", "[pedal, b]", 10 * 200e-12},
		{"cables: {s.return-1: {length: 10 m, capacitance: 200 pF}}", "[s, b]", 10 * 200e-12},
	} {
		for _, f := range []float64{500, 2000, 5000} {
			got := dsp.ToDB(at(c.cables, c.order, "on", f) / at("", c.order, "on", f))
			want := -dsp.ToDB(math.Hypot(1, 2*math.Pi*f*r*c.farads))
			if math.Abs(got-want) > 0.05 {
				t.Errorf("%s at %v Hz: %.3f dB, want %.3f", c.cables, f, got, want)
			}
		}
	}
	// In front of the pedal is the guitar's, of next to no resistance: nothing is heard of that
	// cable.
	if got := dsp.ToDB(at("cables: {pedal: {length: 10 m}}", "[pedal, b]", "on", 5000) / at("", "[pedal, b]", "on", 5000)); math.Abs(got) > 0.01 {
		t.Errorf("%.3f dB", got)
	}
}
