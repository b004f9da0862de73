package chains

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"drywire/dsp"
	"drywire/dsp/measure"
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

// chain is a take of a file whose recording is the pickup's own voltage, one volt at full scale.
func chain(t testing.TB, blocks, order string, set ...string) *Chain {
	t.Helper()
	text := "drywire: 1\ntitle: test\nrecording: {file: a.wav, full_scale: 1 V, load: none}\n"
	var all []string
	if blocks != "" {
		text += "blocks:\n"
		for _, b := range strings.Split(blocks, ";") {
			b = strings.TrimSpace(b)
			text += "  " + b + "\n"
			name, _, _ := strings.Cut(b, ":")
			all = append(all, name)
		}
	}
	text += "order: [" + strings.Join(all, ", ") + "]\ntakes:\n  - name: take\n    order: [" + order + "]\n"
	if len(set) > 0 {
		text += "    set: {" + strings.Join(set, ", ") + "}\n"
	}
	c, err := mustParse(t, text).Take("take")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// render runs a chain over samples in volts and returns what the jacks have, as long as the input. No step may fail.
func render(t testing.TB, c *Chain, rate float64, q section.Quality, src Source, jacks ...string) [][]float64 {
	t.Helper()
	r, err := c.Plan(dsp.Hertz(rate), q).Renderer(jacks...)
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

func tone(n int, rate, frequency, peak float64) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = peak * math.Sin(2*math.Pi*frequency*float64(k)/rate)
	}
	return x
}

// The load that the chain puts on the guitar is the one that the recording had: the jack has the recorded voltage again, by the substitution
// theorem, whatever the guitar is. What is left is the ohm at the end of the volume pot's track.
func TestLoadReturnsRecording(t *testing.T) {
	const rate, n = 48000, 1 << 15
	for _, pickup := range []string{"humbucker", "single-coil", "{resistance: 15 kΩ, inductance: 8 H, capacitance: 150 pF}"} {
		for _, load := range []string{"{resistance: 1 MΩ, cable: 3 m}", "{resistance: 68 kΩ, cable: 12 m}"} {
			f := mustParse(t, fmt.Sprintf(`
drywire: 1
title: the same load
recording: {file: a.wav, full_scale: 1 V, load: %s}
guitar: {pickup: %s}
load: %s
order: []
takes: [{name: same}, {name: other, set: {load.resistance: 10 kΩ}}]
`, load, pickup, load))
			impulse := make([]float64, n)
			impulse[n/2] = 1
			worst := func(take string) float64 {
				c, err := f.Take(take)
				if err != nil {
					t.Fatal(err)
				}
				y := render(t, c, rate, section.Normal, Volts(impulse), "guitar")[0]
				off := 0.0
				for freq := 20.0; freq <= 16000; freq *= 1.19 {
					var h complex128
					for k, x := range y {
						h += complex(x, 0) * cmplx.Exp(complex(0, -2*math.Pi*freq*float64(k-n/2)/rate))
					}
					off = max(off, math.Abs(dsp.ToDB(cmplx.Abs(h))))
				}
				return off
			}
			const bound = 0.01 // dB
			if off := worst("same"); off > bound {
				t.Errorf("%s into %s: the recording comes back within %.4f dB, want %v dB", pickup, load, off, bound)
			}
			if off := worst("other"); off < 1 {
				t.Errorf("%s: another load changes the recording by only %.3f dB; the check sees nothing", pickup, off)
			}
		}
	}
}

// ragged hands out its samples in pieces of all sizes.
type ragged struct {
	rest  []float64
	sizes []int
	at    int
}

func (r *ragged) Read(dst []float64) (int, error) {
	if len(r.rest) == 0 {
		return 0, io.EOF
	}
	n := min(len(dst), r.sizes[r.at%len(r.sizes)], len(r.rest))
	r.at++
	copy(dst, r.rest[:n])
	r.rest = r.rest[n:]
	return n, nil
}

func TestAnyCallLengthGivesTheSameBits(t *testing.T) {
	c := chain(t, "fuzz: {kind: fuzz, fuzz: 9}; buffer: {kind: buffer}; echo: {kind: delay, time: 31 ms}; plate: {kind: reverb}; press: {kind: compressor}",
		"press, fuzz, buffer, echo, plate")
	rng := rand.New(rand.NewPCG(1, 2))
	in := tone(9000, 48000, 220, 0.3)
	for k := range in {
		in[k] += 0.05 * rng.NormFloat64()
	}
	jacks := c.Jacks()
	want := render(t, c, 48000, section.Normal, Volts(in), jacks...)
	for _, sizes := range [][]int{{1}, {7}, {64}, {479}, {1, 512, 3, 100}} {
		got := render(t, c, 48000, section.Normal, &ragged{rest: in, sizes: sizes}, jacks...)
		for j := range jacks {
			if len(got[j]) != len(in) {
				t.Fatalf("pieces of %v: %s has %d samples, want %d", sizes, jacks[j], len(got[j]), len(in))
			}
			for k := range got[j] {
				if got[j][k] != want[j][k] {
					t.Fatalf("pieces of %v: %s differs at sample %d: %v, want %v", sizes, jacks[j], k, got[j][k], want[j][k])
				}
			}
		}
	}
}

// A chain without a device that bends or delays gives its input back in time: an impulse peaks where it went in.
func TestAlignedToTheInput(t *testing.T) {
	c := chain(t, "one: {kind: buffer}; two: {kind: buffer}; eq: {kind: eq}", "one, eq, two")
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		in := make([]float64, 4096)
		in[1000] = 0.1
		// Behind the first buffer the guitar's own resonance delays; compare with its jack.
		y := render(t, c, rate, section.Normal, Volts(in), "one.in", "out")
		a, err := measure.Align(y[0], y[1], 200)
		if err != nil {
			t.Fatal(err)
		}
		if a.Lag != 0 {
			t.Errorf("at %v Hz out is %d samples off one.in, want 0", rate, a.Lag)
		}
	}
}

// What goes on at full drive above half the sampling rate must not fold down into the audible range. The whole chain: a fuzz at full into a buffer, and a second
// fuzz at full behind it, which has the first one's edges to work on. Bounds: the design's. 2^16 points, odd bins next to 1244.5 and 4186 Hz,
// 0.5 V peak at the pickup. The two fuzzes reach 77 and 96 dB at 4186 Hz too, but take long over it.
func TestSignalToAlias(t *testing.T) {
	const rate, n = 48000, 1 << 16
	for _, c := range []struct {
		quality section.Quality
		order   string
		bin     int
		want    float64 // dB
	}{
		{section.Normal, "fuzz, buffer, second", 1699, 70},
		{section.Normal, "fuzz, buffer", 5715, 50},
		{section.Fine, "fuzz, buffer, second", 1699, 90},
		{section.Fine, "fuzz, buffer", 5715, 70},
	} {
		if testing.Short() && c.quality.Name == "fine" {
			continue
		}
		t.Run(fmt.Sprintf("%s/%s/%d", c.quality.Name, c.order, c.bin), func(t *testing.T) {
			t.Parallel()
			frequency := float64(c.bin) * rate / n
			// The biases have settled after one length; the third begins with the silence that the filters look ahead into.
			in := tone(2*n+n/8, rate, frequency, 0.5)
			wired := chain(t, "fuzz: {kind: fuzz, fuzz: 10, level: 10}; buffer: {kind: buffer}; second: {kind: fuzz, fuzz: 10, level: 10}", c.order)
			y := render(t, wired, rate, c.quality, Volts(in), "out")[0]
			got, err := measure.SignalToAlias(y[n:2*n], rate, c.bin)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%.1f Hz: signal to alias %.1f dB", frequency, got)
			if got < c.want {
				t.Errorf("signal to alias %.1f dB, want at least %v dB", got, c.want)
			}
		})
	}
}

func TestWiringTail(t *testing.T) {
	two := strings.NewReplacer("  echo:", "  repeat: {kind: delay}\n  echo:", "[echo, vol]", "[echo, repeat, buffer]").Replace(handoverChain)
	for _, c := range mustParse(t, two).Chains() {
		w := c.Plan(48000, section.Draft)
		r, err := w.Renderer("out")
		if err != nil {
			t.Fatal(err)
		}
		if w.Tail() != r.Tail() || (w.Tail() > 0) != (c.Take == "b") {
			t.Errorf("take %s: tail %v of the wiring, %v of the renderer", c.Take, w.Tail(), r.Tail())
		}
	}
}
