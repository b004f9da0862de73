package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Stored is what a stored reference says of itself. Beside it lie the deck that was run (.cir) and
// the waveform (.f32): 32-bit floats, little-endian, in volts at the recording's rate, from From
// on, under a Hann window as long as the waveform, band-limited to bottom … top.
type Stored struct {
	Case
	From     int      `json:"from"` // sample
	Tool     string   `json:"tool"`
	Command  string   `json:"command"`
	Accuracy Accuracy `json:"accuracy"`
	Residual float64  `json:"residual_db"` // to the run at twice the step
}

// stored is the cases whose references are kept with the tests: each device, direct and buffered,
// soft and hard, all rates, all kinds of drive.
func stored() []Case {
	const length = 0.05 // s
	list := []Case{
		fuzzCase("silicon", 10, 10, false, 48000, length, Tones(330, 0.2)),
		fuzzCase("silicon", 10, 3, false, 48000, length, Tones(330, 0.02)),
		fuzzCase("silicon", 6, 10, true, 44100, length, Pluck(196, 0.2)),
		fuzzCase("silicon", 10, 10, true, 48000, length, Tones(1244.5, 0.5)),
		fuzzCase("silicon", 10, 10, true, 44100, length, Tones(4186, 0.5)),
		fuzzCase("silicon", 0, 10, true, 96000, length, Tones(622, 0.05, 831, 0.05)),
		fuzzCase("germanium", 10, 10, false, 48000, length, Pluck(110, 0.3)),
		fuzzCase("germanium", 6, 3, false, 44100, length, Tones(440, 0.1, 587, 0.1)),
		fuzzCase("germanium", 10, 10, true, 48000, length, Tones(2637, 0.2)),
		fuzzCase("germanium", 0, 10, true, 48000, length, Tones(110, 0.02)),
	}
	return append(list, gainStored(length)...)
}

var notPlain = regexp.MustCompile(`[^a-z0-9.]+`)

// store writes the stored references into a folder.
func store(ctx context.Context, dir string, cases []Case, version string, out io.Writer) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, c := range cases {
		name := strings.Trim(notPlain.ReplaceAllString(strings.ToLower(c.Name), "-"), "-.")
		want, residual, a, err := c.Reference(ctx)
		if err != nil {
			return err
		}
		if residual > converged {
			return fmt.Errorf("%s: the reference has not converged (%.1f dB)", c.Name, residual)
		}
		from := int(math.Round(c.Drive.Fade * c.Rate))
		s := Stored{c, from, version, strings.ReplaceAll(command, "deck.cir", name+".cir"), a, math.Round(residual*10) / 10}
		text, err := json.MarshalIndent(s, "", "  ")
		if err != nil {
			return err
		}
		deck, err := c.Deck(a)
		if err != nil {
			return err
		}
		var wave bytes.Buffer
		for _, x := range c.waveform(want) {
			if err := binary.Write(&wave, binary.LittleEndian, float32(x)); err != nil {
				return err
			}
		}
		for ext, data := range map[string][]byte{".json": append(text, '\n'), ".cir": []byte(deck), ".f32": wave.Bytes()} {
			if err := os.WriteFile(filepath.Join(dir, name+ext), data, 0o644); err != nil {
				return err
			}
		}
		fmt.Fprintf(out, "%s: %.1f dB, %d samples\n", name, residual, wave.Len()/4)
	}
	return nil
}

// waveform is the signal at the recording's rate that has these lines, see Spectrum.
func (c Case) waveform(lines []complex128) []float64 {
	n := c.samples() - int(math.Round(c.Drive.Fade*c.Rate))
	all := make([]complex128, n/2+1)
	copy(all[int(math.Ceil(bottom*float64(n)/c.Rate)):], lines)
	y := fourier.NewFFT(n).Sequence(nil, all)
	for k := range y {
		y[k] /= float64(n)
	}
	return y
}
