package chains

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"drywire/dsp"
	"drywire/dsp/section"
)

func mustParse(t testing.TB, text string) *File {
	t.Helper()
	f, err := Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestSmoke(t *testing.T) {
	f := mustParse(t, `
drywire: 1
title: smoke
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks:
  fuzz: {kind: fuzz, fuzz: 10, level: 8}
  buffer: {kind: buffer}
order: [fuzz, buffer]
takes:
  - {name: a}
  - {name: b, order: [buffer, fuzz]}
`)
	for _, q := range section.Qualities() {
		for _, c := range f.Chains() {
			w := c.Wire(48000, q)
			r, err := w.Renderer("guitar", "out")
			if err != nil {
				t.Fatal(err)
			}
			in := make([]float64, 48000)
			for k := range in {
				in[k] = 0.2 * math.Sin(2*math.Pi*330*float64(k)/48000)
			}
			var peak [2]float64
			t0 := time.Now()
			err = r.Run(context.Background(), Volts(in), 0, func(taps [][]float64) error {
				for k := range taps {
					for _, x := range taps[k] {
						peak[k] = max(peak[k], math.Abs(x))
					}
				}
				return nil
			})
			fmt.Println(q.Name, c.Take, len(w.Sections), err, peak, time.Since(t0), r.longest)
			for _, rep := range r.Reports() {
				fmt.Printf("%+v\n", rep)
			}
		}
	}
	_ = dsp.ToDB
}
