package page

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/samples"
)

// plainNoise is a chain that noise goes through undistorted.
const plainNoise = `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
guitar: {pickup: single-coil}
blocks:
  lift:   {kind: boost, gain: 20 dB}
  buffer: {kind: buffer}
  eq:     {kind: eq, high: 9 dB}
order: [lift, buffer, eq]
takes: [{name: lift first}, {name: lift last, order: [buffer, eq, lift]}]
`

// TestHissOfASide holds what is heard with the board's hiss and hum: where the chain is linear,
// what it is over the sound without is what the noise ledger says; it comes with no preview, the
// same each time, equally loud on both sides.
func TestHissOfASide(t *testing.T) {
	p := openPage(t, plainNoise)
	w := p.window()
	region := [2]int64{0, 48000}
	with := map[string]any{"noise": true}
	for _, letter := range letters {
		noisy, plain := w.hear(letter, 0, region, with), w.render(letter, 0, region)
		if len(noisy.preview) > 0 || len(noisy.exact) == 0 {
			t.Fatalf("%s: %d frames of preview, %d exact", letter, len(noisy.preview), len(noisy.exact))
		}
		a, b := channel(t, noisy.exact, 0, 0, 48000), channel(t, plain.exact, 0, 0, 48000)
		hiss := make([]float64, 48000-960) // without the seam
		for k := range hiss {
			hiss[k] = float64(a[k]) - float64(b[k])
		}
		var told engine.Figures
		status, body := w.post("api/figures", map[string]any{"session": w.ID, "side": letter, "region": region}, nil)
		if status != http.StatusOK || json.Unmarshal(body, &told) != nil || told.NoiseTotal == nil {
			t.Fatalf("figures: %d %s", status, body)
		}
		// The figure is of 20 Hz to 20 kHz.
		lines := fourier.NewFFT(len(hiss)).Coefficients(nil, hiss)
		power := 0.0
		for k, z := range lines {
			if f := float64(k) * 48000 / float64(len(hiss)); f >= 20 && f <= 20000 {
				power += 2 * math.Pow(cmplx.Abs(z)/float64(len(hiss)), 2)
			}
		}
		got := dsp.VoltsToDBu(math.Sqrt(power))
		t.Logf("%s: %.2f dBu of hiss and hum, the ledger has %.2f", letter, got, *told.NoiseTotal)
		if math.Abs(got-*told.NoiseTotal) > 0.5 {
			t.Errorf("%s: %.2f dBu of hiss and hum, the ledger has %.2f", letter, got, *told.NoiseTotal)
		}
		again := w.hear(letter, 0, region, with)
		if !slices.Equal(channel(t, again.exact, 0, 0, 48000), a) {
			t.Errorf("%s: another draw the second time", letter)
		}
	}
	a, b := w.hear("A", 0, region, with).metas, w.hear("B", 0, region, with).metas
	if la, lb := a[len(a)-1].Loudness, b[len(b)-1].Loudness; la == nil || lb == nil || math.Abs(*la-*lb) > 0.1 {
		t.Errorf("A has %s LUFS and B %s", text(la), text(lb))
	}
}

// TestHissBehindAThreshold holds what is heard behind a fuzz to a render of the same chain with
// noise, from a second earlier on: the same but for how tails began.
func TestHissBehindAThreshold(t *testing.T) {
	p := openPage(t, fuzzFile)
	w := p.window()
	got := channel(t, w.hear("B", 0, [2]int64{0, 48000}, map[string]any{"noise": true}).exact, 0, 0, 48000)
	r, err := render.PlanOf(w.chainOf(1), 48000, produce.Quality).Renderer("out")
	if err != nil {
		t.Fatal(err)
	}
	if err := noise.AddNoise(r, produce.NoiseSeed); err != nil {
		t.Fatal(err)
	}
	var want []float64
	if err := r.Run(t.Context(), render.Volts(w.around(0, 48000, 24000, 4800)), 0, func(taps [][]float64) error {
		want = append(want, taps[0]...)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	level := func(of func(k int) float64) float64 {
		sum := 0.0
		for k := 24000; k < 47000; k++ {
			sum += of(k) * of(k)
		}
		return math.Sqrt(sum / 23000)
	}
	off := dsp.ToDB(level(func(k int) float64 { return float64(got[k]) - want[24000+k] }) / level(func(k int) float64 { return want[24000+k] }))
	if off > -60 {
		t.Errorf("it is %.1f dB off a render with noise", off)
	}
}

// TestSilenceStaysQuiet holds that the hiss of a pause is not raised to the loudness of music.
func TestSilenceStaysQuiet(t *testing.T) {
	p := openPage(t, strings.Replace(plainNoise, "{file: pluck.wav, peak: 300 mV}", "{file: silence.wav, full_scale: 1 V}", 1), func(folder string, _ *Options) {
		f, err := samples.Create(filepath.Join(folder, "silence.wav"), samples.Format{Rate: 48000, Channels: 1, Bits: 32, Float: true})
		if err != nil {
			t.Fatal(err)
		}
		if err := f.Write(make([]float64, 48000)); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	})
	w := p.window()
	plain, noisy := w.render("A", 0, [2]int64{0, 48000}).metas, w.hear("A", 0, [2]int64{0, 48000}, map[string]any{"noise": true}).metas
	a, b := plain[len(plain)-1], noisy[len(noisy)-1]
	if a.Loudness != nil || b.Loudness != nil || b.Gain > a.Gain {
		t.Errorf("a silent take plays at a gain of %g with a loudness of %s, with noise at %g and %s", a.Gain, text(a.Loudness), b.Gain, text(b.Loudness))
	}
}
