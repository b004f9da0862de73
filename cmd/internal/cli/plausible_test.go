package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drywire/samples"
)

// Floats may be scaled to anything, and a level is easily mistyped: what no guitar gives is told,
// and what cannot be meant is refused.
func TestPlausiblePeak(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for k, c := range []struct {
		peak, fullScale float64 // of the samples; V
		code            int
		told            string
	}{
		{32767, 0.62, failed, "20.3 kV at the guitar's jack"},
		{3e38, 10, failed, "largest sample is 3e+38"},
		{0.5, 100, done, "CAUTION"},
		{1.01, 100, failed, "101 V at the guitar's jack"},
		{0.9, 10, done, ""},
		{0.5, 0.001, done, "CAUTION"},
		{0.5, 0.003, done, ""},
		{0, 1, done, ""},
	} {
		path := filepath.Join(dir, fmt.Sprintf("%d.wav", k))
		w, err := samples.Create(path, samples.Format{Rate: 48000, Channels: 1, Bits: 32, Float: true})
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, 4800)
		for i := range x {
			x[i] = c.peak * math.Sin(2*math.Pi*400*float64(i)/48000)
		}
		chain := filepath.Join(dir, fmt.Sprintf("%d.yaml", k))
		text := fmt.Sprintf("drywire: 1\nrecording: {file: %d.wav, full_scale: %g V}\nblocks: {b: {kind: buffer}}\norder: [b]\n", k, c.fullScale)
		if err := errors.Join(w.Write(x), w.Close(), os.WriteFile(chain, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, fmt.Sprintf("out%d.wav", k))
		var out, errs bytes.Buffer
		code := Run(context.Background(), []string{"render", chain, "--volts", "--quality", "draft", "-o", to}, strings.NewReader(""), &out, &errs)
		all := strings.Join(strings.Fields(out.String()+errs.String()), " ")
		if code != c.code || !strings.Contains(all, c.told) || c.told == "" && strings.Contains(all, "CAUTION") {
			t.Errorf("samples up to %g at %g V: exit code %d, want %d and %q:\n%s", c.peak, c.fullScale, code, c.code, c.told, all)
		}
		if _, err := os.Stat(to); errors.Is(err, fs.ErrNotExist) != (c.code == failed) {
			t.Errorf("samples up to %g at %g V: written: %v", c.peak, c.fullScale, err)
		}
	}
}
