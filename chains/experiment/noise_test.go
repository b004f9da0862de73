package experiment

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/dsp"
)

// Two sources whose noise is known: groups add up to the total, in rank.
func TestNoiseReportAddsUp(t *testing.T) {
	// White densities over 20 Hz to 20 kHz, in one cell at 1 kHz, where the A weighting is 0 dB;
	// hum at 100 Hz, where it is -19.1 dB (IEC 61672-1, Table 3).
	const width = 19980
	l := &noise.Ledger{
		Jack: "out", Centres: []float64{1000}, Widths: []float64{width}, Gain: []float64{1},
		Shares: []noise.Share{
			{Block: "a", Element: "a.r1", Cause: "thermal", Density: []float64{9e-16}},
			{Block: "b", Element: "b.stage", Cause: "stage", Density: []float64{4e-16}},
			{Block: "a", Element: "a.q1", Cause: "shot", Density: []float64{3e-16}},
			{Block: "guitar", Element: "guitar.pickup", Cause: "hum", Density: []float64{0}, Lines: []noise.Line{{Frequency: 100, Power: 16e-16 * width}}},
		},
	}
	r := noiseReport(l)
	white := 16e-16 * width // 9 + 4 + 3
	hum := white * math.Pow(10, -1.91)
	near(t, "unweighted", r.DBu, dsp.VoltsToDBu(math.Sqrt(2*white)), 1e-6, "dBu")
	near(t, "A-weighted", r.ADBu, dsp.VoltsToDBu(math.Sqrt(white+hum)), 0.01, "dBu")
	var names []string
	sum := 0.0
	for _, g := range r.Blocks {
		names = append(names, g.Name)
		sum += g.Share
	}
	if !slices.Equal(names, []string{"a", "b", "guitar"}) {
		t.Errorf("blocks in the order %v, want the loudest first", names)
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("shares add up to %v", sum)
	}
	if want := 12 * width * 1e-16 / (white + hum); math.Abs(r.Blocks[0].Share-want) > 1e-3 {
		t.Errorf("a has a share of %v, want %v", r.Blocks[0].Share, want)
	}
	near(t, "guitar alone, unweighted", r.Blocks[2].DBu, dsp.VoltsToDBu(math.Sqrt(white)), 1e-6, "dBu")
	if len(r.Causes) != 4 || r.Causes[0].Name != "thermal" {
		t.Errorf("causes: %+v", r.Causes)
	}
}

// What a real chain's groups say adds up to its total, and a move that helps is named.
func TestNoiseOfAChain(t *testing.T) {
	c := take(t, "press: {kind: compressor, level: 0 dB}; eq: {kind: eq, level: 20 dB}", "volume: 1", "press", "eq")
	r, err := Noise(c, measureRate, "out")
	if err != nil {
		t.Fatal(err)
	}
	for what, groups := range map[string][]NoiseGroup{"blocks": r.Blocks, "causes": r.Causes} {
		a, flat := 0.0, 0.0
		for _, g := range groups {
			a += math.Pow(10, g.ADBu.Value/10)
			flat += math.Pow(10, g.DBu.Value/10)
		}
		// Powers add; the bound asked for is 0.1 dB.
		near(t, what+" together", measures.Figure{Value: 10 * math.Log10(a)}, r.ADBu.Value, 1e-6, "dBu")
		near(t, what+" together, unweighted", measures.Figure{Value: 10 * math.Log10(flat)}, r.DBu.Value, 1e-6, "dBu")
	}
	// The gain cell's 120 nV/√Hz come out of the equaliser's 20 dB; over 20 Hz to 20 kHz that is
	// 120 nV·10·√19980 = 0.1696 mV.
	press := r.Blocks[slices.IndexFunc(r.Blocks, func(g NoiseGroup) bool { return g.Name == "press" })]
	// its amplifier's 8 nV/√Hz add 0.02 dB
	near(t, "the compressor", press.DBu, dsp.VoltsToDBu(120e-9*10*math.Sqrt(19980)), 0.03, "dBu")
	m, ok := r.Quieter()
	if !ok || math.Abs(m.GainDB) > 0.01 || m.NoiseDB > -10 {
		t.Errorf("the compressor behind the gain: %+v, %v; want much less noise at the same gain", m, ok)
	}
	if other, err := Noise(c, measureRate, "eq.in"); err != nil || len(other.Moves) != 0 {
		t.Errorf("moves at another jack: %v, %v", other.Moves, err)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
	// Behind an equaliser without gain there is nothing to win.
	c = take(t, "press: {kind: compressor, level: 0 dB}; buffer: {kind: buffer}", "volume: 10", "press", "buffer")
	if r, err = Noise(c, measureRate, "out"); err != nil {
		t.Fatal(err)
	}
	if m, ok := r.Quieter(); ok {
		t.Errorf("a move that changes nothing is said to help: %+v", m)
	}
}
