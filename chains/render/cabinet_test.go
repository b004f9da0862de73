package render_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/convolver"
	"drywire/dsp/section"
)

const cabinetChain = `drywire: 1
title: cabinets
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks:
  power: {kind: poweramp, level: 2, watts: 100}
  cab: {kind: speaker, file: one.wav}
  own: {kind: speaker}
order: [power, cab]
takes:
  - {name: one}
  - {name: two, set: {cab.file: two.wav}}
  - {name: own, order: [power, own]}
`

// exported is the parametric speaker's impulse response from the voltage at its terminals on.
func exported(t testing.TB, rate dsp.Hertz, seconds float64) []float64 {
	t.Helper()
	bench := blocks.NewBench(rate, section.Normal.Oversample(rate))
	k := blocks.Find("speaker")
	bench.Place("cab", k, k.Defaults())
	bench.Circuit.Input("amplifier", "cab.in", circuit.Ground)
	for _, part := range bench.Circuit.Split() {
		if !part.HasNode("cab.sound") {
			continue
		}
		s, err := section.New(part, rate, section.Normal, "cab.sound")
		if err != nil {
			t.Fatal(err)
		}
		late := s.Latency()
		x := make([]float64, late+int(seconds*float64(rate)))
		x[0] = 1
		s.Process([][]float64{x}, [][]float64{x})
		bench.Stages[0].New().Process([][]float64{x}, [][]float64{x})
		return x[late:]
	}
	t.Fatal("no speaker")
	return nil
}

// swept is a take's output for a sweep from 50 Hz to 12 kHz.
func swept(t testing.TB, c *board.Chain, rate dsp.Hertz) []float64 {
	t.Helper()
	r, err := render.PlanOf(c, rate, section.Normal).Renderer("out")
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 24000)
	for n := range x {
		x[n] = 0.05 * math.Sin(2*math.Pi*50*24000/float64(rate)/math.Log(240)*(math.Pow(240, float64(n)/24000)-1))
	}
	var out []float64
	if err := r.Run(context.Background(), render.Volts(x), 0, func(taps [][]float64) error {
		out = append(out, taps[0]...)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// reading is the file with an impulse response at the path of its k-th cabinet.
func reading(t *testing.T, f *board.File, k int, x []float64, rate dsp.Hertz) *board.File {
	t.Helper()
	c, err := board.NewCabinet(f.Cabinets[k].Path, x, rate)
	if err != nil {
		t.Fatal(err)
	}
	all := slices.Clone(f.Cabinets)
	all[k] = c
	return f.WithCabinets(all)
}

// The parametric cabinet, exported as an impulse response and read back, sounds as itself, also
// when its file is at another rate than the recording (what is exported at another rate in the
// first place is another filter in its highest octave: the cone's filters are bilinear). The level
// is that of the octave about 400 Hz in place of 400 Hz alone; apart from that the null is what the
// cut after 0.5 s and two resamplings leave.
func TestCabinetReadBack(t *testing.T) {
	const rate = 48000
	f := chaintest.MustParse(t, cabinetChain)
	want := swept(t, chaintest.TakeOf(t, f, "own"), rate)
	h := exported(t, rate, 0.5)
	for _, c := range []struct {
		rate dsp.Hertz
		null float64 // dB
	}{{48000, -95}, {44100, -75}, {96000, -75}} {
		x, lead := convolver.Resample(h, rate, c.rate)
		for lead*rate%int(c.rate) != 0 { // a file has no time before its first sample: what comes before is as whole samples of the recording
			x, lead = append([]float64{0}, x...), lead+1
		}
		f := reading(t, f, 0, x, c.rate)
		got := swept(t, chaintest.TakeOf(t, f, "one"), rate)
		late := lead * rate / int(c.rate)
		var gw, ww float64
		for n := range want[:len(want)-late] {
			gw += got[n+late] * want[n]
			ww += want[n] * want[n]
		}
		gain, rest := gw/ww, 0.0
		for n := range want[:len(want)-late] {
			d := got[n+late]/gain - want[n]
			rest += d * d
		}
		level, null := dsp.ToDB(gain), 10*math.Log10(rest/ww)
		t.Logf("a file at %v Hz: level %+.3f dB, null %.1f dB", float64(c.rate), level, null)
		if math.Abs(level) > 0.1 || null > c.null {
			t.Errorf("a file at %v Hz: level %+.3f dB, null %.1f dB; want 0.1 and %v dB", float64(c.rate), level, null, c.null)
		}
	}
}

// Samples, not names, say what a signal is: two cabinets are two signals, and the same samples
// under another name are one.
func TestCabinetInMemo(t *testing.T) {
	const rate = 48000
	f := chaintest.MustParse(t, cabinetChain)
	m := render.NewMemo(make([]float64, 4800), rate, section.Draft, 1<<28)
	m.Recording()[render.Margin] = 0.1
	signal := func(take string) []float64 {
		x, err := m.Signal(context.Background(), render.PlanOf(chaintest.TakeOf(t, f, take), rate, section.Draft), "out")
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	h := exported(t, rate, 0.05)
	other := exported(t, rate, 0.05)
	for n := range other {
		other[n] *= math.Exp(-float64(n) / 100)
	}
	for k, x := range [][]float64{h, other} {
		f = reading(t, f, k, x, rate)
	}
	one := signal("one")
	done := m.Computed()
	two := signal("two")
	if m.Computed() == done {
		t.Error("two impulse responses are one signal")
	}
	differ := 0.0
	for n := range one {
		differ = math.Max(differ, math.Abs(one[n]-two[n]))
	}
	if differ == 0 {
		t.Error("two impulse responses sound alike")
	}
	f = reading(t, f, 1, h, rate)
	done = m.Computed()
	two = signal("two")
	if m.Computed() != done {
		t.Error("the same samples under another name are computed again")
	}
	for n := range one {
		if one[n] != two[n] {
			t.Fatalf("sample %d: %v and %v", n, one[n], two[n])
		}
	}
}

// What holds nothing is not rendered; what is no cabinet's is not held; a fault stands where the
// file names the path.
func TestCabinetFaults(t *testing.T) {
	f := chaintest.MustParse(t, cabinetChain)
	if _, err := render.PlanOf(chaintest.TakeOf(t, f, "one"), 48000, section.Draft).Renderer("out"); err == nil || !strings.Contains(err.Error(), "one.wav of cab has not been read") {
		t.Errorf("a cabinet that holds nothing: %v", err)
	}
	if _, err := render.PlanOf(chaintest.TakeOf(t, f, "own"), 48000, section.Draft).Renderer("out"); err != nil {
		t.Errorf("a take without it: %v", err)
	}
	reading(t, f, 0, []float64{1}, 48000)
	if err := board.Bare(chaintest.TakeOf(t, f, "one")); err == nil {
		t.Error("a file that was parsed has been changed")
	}
	tone := make([]float64, 4800)
	for n := range tone {
		tone[n] = math.Sin(2 * math.Pi * 12000 * float64(n) / 48000 * math.Exp(-float64(n)/1000))
	}
	high := make([]float64, 4800)
	for n := range high { // differences upon differences: nothing low
		high[n] = math.Pow(-1, float64(n)) * 0.5 * (1 - math.Cos(2*math.Pi*float64(n)/4800))
	}
	for _, c := range []struct {
		x    []float64
		rate dsp.Hertz
		want string
	}{
		{[]float64{1}, 48000, ""},
		{tone, 48000, ""},
		{make([]float64, 100), 48000, "silent"},
		{nil, 48000, "silent"},
		{[]float64{1, math.NaN()}, 48000, "sample 2"},
		{[]float64{1}, 8000, "rate is 8000 Hz"},
		{make([]float64, 96001), 48000, "longer than 2 s"},
		{high, 48000, "nothing around 400 Hz"},
	} {
		_, err := board.NewCabinet("one.wav", c.x, c.rate)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%d samples at %v Hz: %v, want %q", len(c.x), float64(c.rate), err, c.want)
		}
	}
	for path, want := range map[string][2]int{"one.wav": {6, 30}, "two.wav": {11, 33}} {
		if got := file.CabinetFault("test.yaml", []byte(cabinetChain), path, "is silent"); got.Line != want[0] || got.Column != want[1] || !strings.Contains(got.Excerpt, path) {
			t.Errorf("fault of %s at %d:%d, want %v:\n%s", path, got.Line, got.Column, want, got.Excerpt)
		}
	}
	for in, want := range map[string]string{
		"{kind: speaker, file: one.wav, bite: 3 dB}": "cab.bite changes nothing: cab has the impulse response one.wav in the place of its cone",
		"{kind: speaker, file: [a]}":                 "cab.file is a list; want the path of a WAV file",
		"{kind: speaker, file: ''}":                  "cab.file is empty",
		"{kind: delay, file: one.wav}":               "no key \"file\" in cab",
	} {
		_, err := file.Parse("test.yaml", []byte(strings.Replace(cabinetChain, "{kind: speaker, file: one.wav}", in, 1)))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", in, err, want)
		}
	}
	if _, err := file.Parse("test.yaml", []byte(strings.Replace(cabinetChain, "cab.file: two.wav", "cab.top: 4 kHz", 1))); err == nil || !strings.Contains(err.Error(), "cab.top changes nothing") {
		t.Errorf("a take that sets a cone's knob: %v", err)
	}
}
