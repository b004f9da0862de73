package chains

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

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// reference is a run of a circuit simulator with the same chain: each file in testdata/reference tells the tool, its version, its command and how far the
// run had converged, and has the deck beside it. They are written by
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

// TestAgainstCircuitSimulator: the whole render (oversampling, latency and all) against a converged run of the same circuit, in 20 Hz to 20 kHz.
func TestAgainstCircuitSimulator(t *testing.T) {
	files, err := filepath.Glob("testdata/reference/*.json")
	if err != nil || len(files) < 8 {
		t.Fatalf("%d references, %v; want 8 or more", len(files), err)
	}
	for _, file := range files {
		base := strings.TrimSuffix(file, ".json")
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var r reference
		if err := json.Unmarshal(text, &r); err != nil {
			t.Fatal(file, err)
		}
		if r.Residual > -90 || r.Tool == "" || r.Command == "" {
			t.Errorf("%s: converged to %v dB by %q %q", file, r.Residual, r.Tool, r.Command)
		}
		raw, err := os.ReadFile(base + ".f32")
		if err != nil {
			t.Fatal(err)
		}
		want := make([]float64, len(raw)/4)
		for k := range want {
			want[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*k:])))
		}
		in := r.drive()
		if len(want) < 1000 || r.From+len(want) != len(in) {
			t.Fatalf("%s: %d samples from %d on, of %d", file, len(want), r.From, len(in))
		}
		deck, err := os.ReadFile(base + ".cir")
		if err != nil {
			t.Fatal(err)
		}
		f, err := Parse(r.Name, []byte(r.Chain))
		if err != nil {
			t.Fatal(file, err)
		}
		c := f.Chains()[0]
		// The deck that was run has the circuit that is rendered here.
		for _, card := range strings.Split(c.Wire(dsp.Hertz(r.Rate), section.Normal).Circuit.Deck(circuit.Deck{}), "\n") {
			if card != "" && strings.ContainsAny(card[:1], "RCLQDEGF") && !strings.Contains(string(deck), "\n"+card+"\n") || strings.HasPrefix(card, ".model") && !strings.Contains(string(deck), card) {
				t.Fatalf("%s: the reference was run without %q; run it again", file, card)
			}
		}
		for _, quality := range []struct {
			section.Quality
			most float64 // dB
		}{{section.Normal, -60}, {section.Fine, -80}} {
			got := renderTap(t, c, r.Rate, quality.Quality, in, r.Jack)[r.From:]
			for k := range got {
				got[k] *= 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(len(got)))
			}
			fft := fourier.NewFFT(len(got))
			a, b := fft.Coefficients(nil, got), fft.Coefficients(nil, want)
			e, s := 0.0, 0.0
			for k := range b {
				if freq := float64(k) * r.Rate / float64(len(got)); freq >= 20 && freq <= 20e3 {
					d := a[k] - b[k]
					e += real(d)*real(d) + imag(d)*imag(d)
					s += real(b[k])*real(b[k]) + imag(b[k])*imag(b[k])
				}
			}
			level := 10 * math.Log10(e/s)
			t.Logf("%-70s %-6s %6.1f dB", r.Name, quality.Name, level)
			if !(level <= quality.most) {
				t.Errorf("%s, %s: error of %.1f dB, want %.0f", r.Name, quality.Name, level, quality.most)
			}
		}
	}
}

// renderTap renders a chain and gives one jack's voltage.
func renderTap(t *testing.T, c *Chain, rate float64, q section.Quality, in []float64, jack string) []float64 {
	t.Helper()
	r, err := c.Wire(dsp.Hertz(rate), q).Renderer(jack)
	if err != nil {
		t.Fatal(err)
	}
	var out []float64
	if err := r.Run(context.Background(), Volts(in), 0, func(taps [][]float64) error {
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
