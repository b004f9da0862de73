// Package rendertest renders chains for the tests of several rooms, and reads the stored runs of a
// circuit simulator. Only tests import it.
package rendertest

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// reference is a run of a circuit simulator with the same chain: each file in testdata/reference
// tells the tool, its version, its command and how far the run had converged, and has the deck
// beside it. They are written by
//
//	go run ./cmd/reference -store chains/testdata/reference
type reference struct {
	Name, Chain, Jack, Tool, Command string
	Rate, Length                     float64
	From                             int
	Residual                         float64 `json:"residual_db"`
	Drive                            struct {
		Fade     float64
		Partials []struct{ Frequency, Peak, Decay float64 }
	}

	chain *board.Chain
	Deck  string
	want  []float64 // volts at the jack from sample From on, under a raised-cosine window
}

// References reads the runs that are kept in a folder, which are least or more.
func References(t *testing.T, folder string, least int) []reference {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.json"))
	if err != nil || len(files) < least {
		t.Fatalf("%d references, %v; want %d or more", len(files), err, least)
	}
	list := make([]reference, len(files))
	for k, path := range files {
		read := func(extension string) []byte {
			text, err := os.ReadFile(strings.TrimSuffix(path, ".json") + extension)
			if err != nil {
				t.Fatal(err)
			}
			return text
		}
		r := &list[k]
		if err := json.Unmarshal(read(".json"), r); err != nil {
			t.Fatal(path, err)
		}
		if r.Residual > -90 || r.Tool == "" || r.Command == "" {
			t.Errorf("%s: converged to %v dB by %q %q", path, r.Residual, r.Tool, r.Command)
		}
		raw := read(".f32")
		r.want = make([]float64, len(raw)/4)
		for k := range r.want {
			r.want[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*k:])))
		}
		if n := len(r.drive()); len(r.want) < 1000 || r.From+len(r.want) != n {
			t.Fatalf("%s: %d samples from %d on, of %d", path, len(r.want), r.From, n)
		}
		r.Deck = string(read(".cir"))
		f, err := file.Parse(r.Name, []byte(r.Chain))
		if err != nil {
			t.Fatal(path, err)
		}
		r.chain = f.Chains()[0]
	}
	return list
}

// Lacks is what the circuit that is rendered here has and the deck that was run has not: cards of
// elements and models.
func (r reference) Lacks() []string {
	var cards []string
	for _, card := range strings.Split(render.PlanOf(r.chain, dsp.Hertz(r.Rate), section.Normal).Circuit.Deck(circuit.Deck{}), "\n") {
		if card != "" && strings.ContainsAny(card[:1], "RCLQDEGF") && !strings.Contains(r.Deck, "\n"+card+"\n") || strings.HasPrefix(card, ".model") && !strings.Contains(r.Deck, card) {
			cards = append(cards, card)
		}
	}
	return cards
}

// Off is how far the whole render (oversampling, latency and all) is from the run, in dB of the
// run, in 20 Hz to 20 kHz.
func (r reference) Off(t *testing.T, q section.Quality) float64 {
	t.Helper()
	got := renderTap(t, r.chain, r.Rate, q, r.drive(), r.Jack)[r.From:]
	if len(got) != len(r.want) {
		t.Fatalf("%s: %d samples, rendered %d", r.Name, len(r.want), len(got))
	}
	for k := range got {
		got[k] *= 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(len(got)))
	}
	fft := fourier.NewFFT(len(got))
	a, b := fft.Coefficients(nil, got), fft.Coefficients(nil, r.want)
	e, s := 0.0, 0.0
	for k := range b {
		if freq := float64(k) * r.Rate / float64(len(got)); freq >= 20 && freq <= 20e3 {
			e, s = e+dsp.Abs2(a[k]-b[k]), s+dsp.Abs2(b[k])
		}
	}
	return 10 * math.Log10(e/s)
}

// drive is the recording: partials that may decay, faded in by a raised cosine.
func (r reference) drive() []float64 {
	x := make([]float64, int(math.Round(r.Length*r.Rate)))
	for k := range x {
		t := float64(k) / r.Rate
		for _, p := range r.Drive.Partials {
			v := p.Peak * math.Sin(2*math.Pi*p.Frequency*t)
			if p.Decay > 0 {
				v *= math.Exp(-t / p.Decay)
			}
			x[k] += v
		}
		if t < r.Drive.Fade {
			x[k] *= 0.5 - 0.5*math.Cos(math.Pi*t/r.Drive.Fade)
		}
	}
	return x
}

// renderTap renders a chain and gives one jack's voltage.
func renderTap(t *testing.T, c *board.Chain, rate float64, q section.Quality, in []float64, jack string) []float64 {
	t.Helper()
	r, err := render.PlanOf(c, dsp.Hertz(rate), q).Renderer(jack)
	if err != nil {
		t.Fatal(err)
	}
	var out []float64
	if err := r.Run(context.Background(), render.Volts(in), 0, func(taps [][]float64) error {
		out = append(out, taps[0]...)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, s := range r.Reports() {
		if s.Failures > 0 {
			t.Errorf("%s: %d steps did not converge", s.Section, s.Failures)
		}
	}
	return out
}

// Render runs a chain over samples in volts and returns what the jacks have, as long as the input.
// No step may fail.
func Render(t testing.TB, c *board.Chain, rate float64, q section.Quality, src render.Source, jacks ...string) [][]float64 {
	t.Helper()
	r, err := render.PlanOf(c, dsp.Hertz(rate), q).Renderer(jacks...)
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(jacks))
	if err := r.Run(context.Background(), src, 0, func(taps [][]float64) error {
		for k, x := range taps {
			out[k] = append(out[k], x...)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, rep := range r.Reports() {
		if rep.Failures > 0 {
			t.Errorf("section with %s: %d unconverged samples", rep.Section, rep.Failures)
		}
	}
	return out
}
