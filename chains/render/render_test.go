package render_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// The load that the chain puts on the guitar is the one that the recording had: the jack has the
// recorded voltage again, by the substitution theorem, whatever the guitar is. What is left is the
// ohm at the end of the volume pot's track.
func TestLoadReturnsRecording(t *testing.T) {
	const rate, n = 48000, 1 << 15
	for _, pickup := range []string{"humbucker", "single-coil", "{resistance: 15 kΩ, inductance: 8 H, capacitance: 150 pF}"} {
		for _, load := range []string{"{resistance: 1 MΩ, cable: 3 m}", "{resistance: 68 kΩ, cable: 12 m}"} {
			f := chaintest.MustParse(t, fmt.Sprintf(`
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
				y := rendertest.Render(t, c, rate, section.Normal, render.Volts(impulse), "guitar")[0]
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

func TestAnyCallLengthGivesTheSameBits(t *testing.T) {
	c := chaintest.Chain(t, "fuzz: {kind: fuzz, fuzz: 9}; buffer: {kind: buffer}; echo: {kind: delay, time: 31 ms}; plate: {kind: reverb}; press: {kind: compressor}",
		"press, fuzz, buffer, echo, plate")
	rng := rand.New(rand.NewPCG(1, 2))
	in := chaintest.Tone(9000, 48000, 220, 0.3)
	for k := range in {
		in[k] += 0.05 * rng.NormFloat64()
	}
	jacks := c.Jacks()
	want := rendertest.Render(t, c, 48000, section.Normal, render.Volts(in), jacks...)
	for _, sizes := range [][]int{{1}, {7}, {64}, {479}, {1, 512, 3, 100}} {
		got := rendertest.Render(t, c, 48000, section.Normal, &chaintest.Ragged{Rest: in, Sizes: sizes}, jacks...)
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

// A chain without a non-linear device or a delay gives its input back in time: an impulse peaks
// where it went in.
func TestAlignedToTheInput(t *testing.T) {
	c := chaintest.Chain(t, "one: {kind: buffer}; two: {kind: buffer}; eq: {kind: eq}", "one, eq, two")
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		in := make([]float64, 4096)
		in[1000] = 0.1
		// Behind the first buffer the guitar's own resonance delays; compare with its jack.
		y := rendertest.Render(t, c, rate, section.Normal, render.Volts(in), "one.in", "out")
		a, err := measure.Align(y[0], y[1], 200)
		if err != nil {
			t.Fatal(err)
		}
		if a.Lag != 0 {
			t.Errorf("at %v Hz out is %d samples off one.in, want 0", rate, a.Lag)
		}
	}
}

// What goes on at full drive above half the sampling rate must not fold down into the audible
// range. The whole chain: a fuzz at full into a buffer, and a second fuzz at full behind it, which
// has the first one's edges to work on. Bounds: the design's. 2^16 points, odd bins next to 1244.5
// and 4186 Hz, 0.5 V peak at the pickup. And an overdrive at full into a preamplifier with its gain
// at full into a power amplifier with its level at full, the master control at noon; a treble boost
// into that overdrive. The two fuzzes reach 77 and 96 dB at 4186 Hz too, but take
// long over it.
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
		{section.Normal, "drive, valves, power, box", 1699, 70},
		{section.Normal, "drive, valves, power, box", 5715, 50},
		{section.Fine, "drive, valves, power, box", 1699, 90},
		{section.Fine, "drive, valves, power, box", 5715, 70},
		{section.Normal, "treble, drive", 1699, 70},
		{section.Normal, "treble, drive", 5715, 50},
		{section.Fine, "treble, drive", 1699, 90},
		{section.Fine, "treble, drive", 5715, 70},
	} {
		if testing.Short() && c.quality.Name == "fine" {
			continue
		}
		t.Run(fmt.Sprintf("%s/%s/%d", c.quality.Name, c.order, c.bin), func(t *testing.T) {
			t.Parallel()
			frequency := float64(c.bin) * rate / n
			// The biases have settled after one length; the third begins with the silence that the
			// filters look ahead into.
			settled := n
			if !strings.HasPrefix(c.order, "fuzz") { // emitters, cathodes and a supply take longer
				settled = 3 * n
			}
			in := chaintest.Tone(settled+n+n/8, rate, frequency, 0.5)
			wired := chaintest.Chain(t, "fuzz: {kind: fuzz, fuzz: 10, level: 10}; buffer: {kind: buffer}; second: {kind: fuzz, fuzz: 10, level: 10}; "+
				"drive: {kind: overdrive, drive: 10}; valves: {kind: preamp, gain: 10}; power: {kind: poweramp, level: 10}; "+
				"box: {kind: load-box}; treble: {kind: treble-boost}", c.order)
			y := rendertest.Render(t, wired, rate, c.quality, render.Volts(in), "out")[0]
			got, err := measure.SignalToAlias(y[settled:settled+n], rate, c.bin)
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
	two := strings.NewReplacer("  echo:", "  repeat: {kind: delay}\n  echo:", "[echo, vol]", "[echo, repeat, buffer]").Replace(chaintest.HandoverChain)
	for _, c := range chaintest.MustParse(t, two).Chains() {
		w := render.PlanOf(c, 48000, section.Draft)
		r, err := w.Renderer("out")
		if err != nil {
			t.Fatal(err)
		}
		if w.Tail() != r.Tail() || (w.Tail() > 0) != (c.Take == "b") {
			t.Errorf("take %s: tail %v of the wiring, %v of the renderer", c.Take, w.Tail(), r.Tail())
		}
	}
}
