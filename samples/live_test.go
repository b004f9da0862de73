//go:build live

package samples

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drywire/dsp/measure"
)

// These checks run SoX, FFmpeg and SciPy, and so only where they are installed: go test -tags live
// -run Live ./samples.

// recordings are sounds that this project did not make: SoX's own plucked string, noise and tones,
// in the formats that it writes.
var recordings = map[string]string{
	"pluck.wav":  "-n -r 48000 -b 24 -c 1 %s synth 8 pluck E2 gain -3",
	"pink.wav":   "-R -n -r 48000 -b 16 -c 1 %s synth 12 pinknoise tremolo 0.3 90 gain -9",
	"brown.wav":  "-R -n -r 44100 -b 32 -c 1 %s synth 10 brownnoise gain -4",
	"sweep.wav":  "-n -r 44100 -e float -b 32 -c 1 %s synth 10 sine 60:12000 gain -6",
	"bursts.wav": "-n -r 48000 -b 24 -c 1 %s synth 0.2 square 220 gain -12 pad 0 0.6 repeat 12",
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, errs.String())
	}
	return out.String()
}

// foreign makes the recordings that this project did not make, and adds those that it did.
func foreign(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	files := map[string]string{}
	for name, args := range recordings {
		path := filepath.Join(dir, name)
		run(t, "sox", strings.Fields(fmt.Sprintf(args, path))...)
		files[name] = path
	}
	for _, r := range Shipped() {
		files[r.File] = filepath.Join("recordings", r.File)
	}
	if len(files) < 9 {
		t.Fatalf("only %d recordings", len(files))
	}
	return files
}

func wholeOf(t *testing.T, path string) ([]float64, float64) {
	t.Helper()
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x := make([]float64, r.Frames())
	for k := 0; k < len(x); {
		n, err := r.Read(x[k:])
		k += n
		if err == io.EOF {
			x = x[:k]
		} else if err != nil {
			t.Fatal(err)
		}
	}
	return x, float64(r.Rate)
}

func TestLiveLoudnessAgreesWithFFmpeg(t *testing.T) {
	for name, path := range foreign(t) {
		x, rate := wholeOf(t, path)
		out := run(t, "ffmpeg", "-nostats", "-hide_banner", "-i", path, "-filter_complex",
			"ebur128=metadata=1,ametadata=print:key=lavfi.r128.I:file=-", "-f", "null", "-")
		want := math.NaN()
		for lines := bufio.NewScanner(strings.NewReader(out)); lines.Scan(); {
			if v, ok := strings.CutPrefix(lines.Text(), "lavfi.r128.I="); ok {
				want, _ = strconv.ParseFloat(v, 64)
			}
		}
		got, err := measure.Loudness(x, rate)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		t.Logf("%s: %.3f LUFS, FFmpeg %.3f", name, got, want)
		const bound = 0.05 // LU
		if !(math.Abs(got-want) <= bound) {
			t.Errorf("%s: %.3f LUFS, FFmpeg says %.3f; want within %v LU", name, got, want, bound)
		}
	}
}

func TestLiveMetersAgreeWithSciPy(t *testing.T) {
	for name, path := range foreign(t) {
		x, rate := wholeOf(t, path)
		want := map[string]float64{}
		floats := filepath.Join(t.TempDir(), name) // SciPy cannot read 24-bit files in every version
		run(t, "sox", path, "-e", "float", "-b", "64", floats)
		for _, line := range strings.Split(strings.TrimSpace(run(t, "/usr/bin/python3", "testdata/live/meters.py", floats)), "\n") {
			key, value, _ := strings.Cut(line, " ")
			want[key], _ = strconv.ParseFloat(value, 64)
		}
		if len(want) != 7 {
			t.Fatalf("%s: SciPy gave %d numbers, want 7", name, len(want))
		}
		within := func(what string, got, low, high float64) {
			t.Helper()
			off := 20 * math.Log10(got/want[what])
			if !(off >= low && off <= high) {
				t.Errorf("%s: %s is %.8g, SciPy says %.8g: %.4f dB off, want %v to %v dB", name, what, got, want[what], off, low, high)
			}
		}
		check := func(what string, got, bound float64) { t.Helper(); within(what, got, -bound, bound) }
		levels, err := measure.MeasureLevels(x)
		if err != nil {
			t.Fatal(err)
		}
		check("rms", levels.RMS, 1e-6)
		weighted, err := measure.AWeighted(x, rate)
		if err != nil {
			t.Fatal(err)
		}
		check("a-weighted", weighted, 0.02)
		s, err := measure.Welch(x, rate, 4096)
		if err != nil {
			t.Fatal(err)
		}
		for low, high := range map[float64]float64{0: 500, 500: 2000, 2000: 8000, 8000: 20000} {
			sum := 0.0
			for k, p := range s.Density {
				if f := float64(k) * s.Step; f >= low && f < high {
					sum += p * s.Step
				}
			}
			check(fmt.Sprintf("power-%.0f", low), sum, 0.005)
		}
		peak, err := measure.TruePeak(x)
		if err != nil {
			t.Fatal(err)
		}
		within("true-peak", peak, -0.4, 0.2) // EBU Tech 3341's tolerance; noise and squares have treble up to half the rate
	}
}
