package render_test

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// A pot that is turned in a general circuit simulator: its two halves are resistors whose value is
// an expression of time. The files tell tool, version, command and how far the run had converged,
// and are written by
//
//	go run ./cmd/reference -moving -store chains/render/testdata/moving
func TestKnobsThatMoveAgainstCircuitSimulator(t *testing.T) {
	for _, r := range rendertest.References(t, "testdata/moving", 3) {
		// The deck that was run has the circuit that is rendered here, but for the two halves of
		// one pot.
		halves := 0
		for _, card := range r.Lacks() {
			if w := strings.Fields(card); !strings.Contains(r.Deck, "\n"+strings.Join(w[:3], " ")+" R='") {
				t.Fatalf("%s: the reference was run without %q; run it again", r.Name, card)
			}
			halves++
		}
		if halves != 2 {
			t.Fatalf("%s: %d halves of a pot move in the deck, want 2", r.Name, halves)
		}
		level := r.Off(t, section.Normal)
		t.Logf("%-40s %.1f dB", r.Name, level)
		if !(level <= -60) { // dB, as for knobs that hold
			t.Errorf("%s: error of %.1f dB, want -60", r.Name, level)
		}
	}
}

// A sine through a gain g(t) is g(t)·sin: nothing but what the closed form of g brings is around
// it. Here g is the small-signal response at the tone with the pedal at each place (complex: what
// capacitance there is turns the phase a little), along the curve.
func TestMovingVolumeIsNoZipper(t *testing.T) {
	const rate, n, frequency = 48000, 1 << 16, 1000.0
	c := chaintest.Chain(t, "a: {kind: buffer}; pedal: {kind: volume, volume: {at: {100 ms: 10, 1.2 s: 2}}}; b: {kind: buffer}", "a, pedal, b")
	got := rendertest.Render(t, c, rate, section.Normal, render.Volts(chaintest.Tone(n, rate, frequency, 0.5)), "pedal.out")[0]
	// What the fades miss between two frames is a parabola of fadeError at most: were all alike,
	// its rms would be √(8/15) of that, -68 dB, and the highest line on either side 2/π² of it, -80
	// dB.
	const lines, rest = -80, -68 // dB
	// of 8 on the dial; the line between two misses (ln 32.1/1000)²/8 of the gain: -116 dB
	const places = 800
	var gain [places + 2]complex128
	for k := range gain {
		h, err := render.PlanOf(c.With([]float64{min(10, 2+float64(k)*8/places)}), rate, section.Normal).Response("pedal.out", frequency)
		if err != nil {
			t.Fatal(err)
		}
		gain[k] = h
	}
	want := make([]float64, n)
	for k := range want {
		time := float64(k) / rate
		x := min(max((time-0.1)/1.1, 0), 1)
		at := (8 - 8*x*x*(3-2*x)) * places / 8 // the cubic that is level at both ends
		low := int(at)
		h := gain[low] + complex(at-float64(low), 0)*(gain[low+1]-gain[low])
		s, co := math.Sincos(2 * math.Pi * frequency * time)
		want[k] = 0.5 * (real(h)*s + imag(h)*co)
	}
	// 4-term Blackman-Harris: side lobes under -92 dB (Proc. IEEE 66(1), 51-83, 1978)
	window := func(x []float64) []complex128 {
		y := make([]float64, n)
		for k := range y {
			p := 2 * math.Pi * float64(k) / n
			y[k] = x[k] * (0.35875 - 0.48829*math.Cos(p) + 0.14128*math.Cos(2*p) - 0.01168*math.Cos(3*p))
		}
		return fourier.NewFFT(n).Coefficients(nil, y)
	}
	a, b := window(got), window(want)
	carrier := 0.0
	for k := range b {
		carrier = max(carrier, math.Sqrt(dsp.Abs2(b[k])))
	}
	worst, where := 0.0, 0.0
	for k := range a {
		e := math.Sqrt(dsp.Abs2(a[k] - b[k]))
		if f := float64(k) * rate / n; math.Abs(f-frequency) > 50 && e > worst {
			worst, where = e, f
		}
	}
	t.Logf("beyond the closed form: highest line more than 50 Hz from the tone %.1f dB, at %.0f Hz", dsp.ToDB(worst/carrier), where)
	if db := dsp.ToDB(worst / carrier); db > lines {
		t.Errorf("a line of %.1f dB re the tone at %.0f Hz, want under %d dB", db, where, lines)
	}
	e, s := 0.0, 0.0
	for k := rate / 20; k < n; k++ { // once the tone's beginning is over
		e, s = e+(got[k]-want[k])*(got[k]-want[k]), s+want[k]*want[k]
	}
	t.Logf("all that is not the closed form: %.1f dB", 10*math.Log10(e/s))
	if db := 10 * math.Log10(e/s); db > rest {
		t.Errorf("%.1f dB from the closed form, want %d dB", db, rest)
	}
}

// A gain behind a stage, from 0 to -20 dB, is its closed form within what a fade over half a
// decibel misses, (ln 10/40)²/8: -68 dB.
func TestMovingStage(t *testing.T) {
	const rate, n = 48000, 40000
	in := chaintest.Tone(n, rate, 500, 0.1)
	curve := "{at: {100 ms: 0 dB, 400 ms: -20 dB, 600 ms: -20 dB, 700 ms: -5 dB}}"
	c := chaintest.Chain(t, "amp: {kind: trim, gain: "+curve+"}; b: {kind: buffer}", "amp, b")
	fixed := rendertest.Render(t, chaintest.Chain(t, "amp: {kind: trim}; b: {kind: buffer}", "amp, b"), rate, section.Normal, render.Volts(in), "amp.out")[0]
	got := rendertest.Render(t, c, rate, section.Normal, render.Volts(in), "amp.out")[0]
	e, s := 0.0, 0.0
	for k, x := range fixed {
		want := x * dsp.FromDB(c.Turns[0].Curve.At(dsp.Second(float64(k)/rate)))
		e, s = e+(got[k]-want)*(got[k]-want), s+want*want
	}
	t.Logf("%.1f dB from the closed form", 10*math.Log10(e/s))
	if db := 10 * math.Log10(e/s); db > -68 {
		t.Errorf("%.1f dB from the closed form, want -68 dB", db)
	}
}

// moves has two knobs that move in one circuit, one in another, and one in a stage.
func moves(t *testing.T) *board.Chain {
	return chaintest.Chain(t, "fuzz: {kind: fuzz}; a: {kind: buffer}; wah: {kind: wah, position: {at: {0 s: 4, 20 ms: 6, 40 ms: 4}}}; amp: {kind: trim, gain: {at: {0 s: 0 dB, 45 ms: -10 dB}}}",
		"fuzz, a, wah, amp", "guitar.volume: {at: {10 ms: 6, 50 ms: 4}}", "guitar.tone: {at: {20 ms: 10, 35 ms: 9}}")
}

// A curve that goes nowhere is the setting, to the last bit, in a circuit and in a stage.
func TestCurveThatHolds(t *testing.T) {
	in := chaintest.Tone(6000, 48000, 220, 0.2)
	const blocks = "wah: {kind: wah, position: %s}; amp: {kind: trim, gain: %s}"
	got := rendertest.Render(t, chaintest.Chain(t, fmt.Sprintf(blocks, "{at: {0 s: 4, 50 ms: 4}}", "{at: {0 s: -3 dB, 50 ms: -3 dB}}"), "wah, amp"), 48000, section.Normal, render.Volts(in), "out")[0]
	want := rendertest.Render(t, chaintest.Chain(t, fmt.Sprintf(blocks, "4", "-3 dB"), "wah, amp"), 48000, section.Normal, render.Volts(in), "out")[0]
	if !slices.Equal(got, want) {
		t.Error("a curve that holds sounds unlike the setting")
	}
	// And it is one that moves which is seen here.
	if other := rendertest.Render(t, chaintest.Chain(t, fmt.Sprintf(blocks, "{at: {0 s: 4, 50 ms: 5}}", "-3 dB"), "wah, amp"), 48000, section.Normal, render.Volts(in), "out")[0]; slices.Equal(other, want) {
		t.Error("a curve that moves sounds like a setting that holds")
	}
}

// Before its first point a curve is the setting that it begins with, and long after its last the
// one that it ends with.
func TestCurveHoldsBeforeAndAfter(t *testing.T) {
	in := chaintest.Tone(24000, 48000, 220, 0.2)
	take := func(position string) []float64 {
		return rendertest.Render(t, chaintest.Chain(t, "wah: {kind: wah, position: "+position+"}", "wah"), 48000, section.Normal, render.Volts(in), "out")[0]
	}
	got := take("{at: {100 ms: 3, 150 ms: 8}}")
	for _, part := range []struct {
		position string
		from, to int
	}{{"3", 0, 4700}, {"8", 20000, 24000}} { // the bias of the circuit's capacitors has settled by then
		want, e, s := take(part.position), 0.0, 0.0
		for k := part.from; k < part.to; k++ {
			e, s = e+(got[k]-want[k])*(got[k]-want[k]), s+want[k]*want[k]
		}
		t.Logf("at %s: %.1f dB from the setting", part.position, 10*math.Log10(e/s))
		if db := 10 * math.Log10(e/s); db > -140 {
			t.Errorf("at %s: %.1f dB from the setting", part.position, db)
		}
	}
}

// pieces is a source that gives a few samples at a time.
type pieces struct {
	rest []float64
	size int
}

func (p *pieces) Read(dst []float64) (int, error) {
	n := copy(dst[:min(p.size, len(dst))], p.rest)
	p.rest = p.rest[n:]
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func TestMovingWhateverTheCall(t *testing.T) {
	in := chaintest.Tone(3000, 48000, 220, 0.2)
	want := rendertest.Render(t, moves(t), 48000, section.Normal, render.Volts(in), "out")[0]
	for _, size := range []int{1, 7, 64, 479} {
		if got := rendertest.Render(t, moves(t), 48000, section.Normal, &pieces{in, size}, "out")[0]; !slices.Equal(got, want) {
			t.Errorf("in pieces of %d samples it is another sound", size)
		}
	}
}

func TestMovingMemo(t *testing.T) {
	in := chaintest.Tone(3000, 48000, 220, 0.2)
	m := render.NewMemo(in, 48000, section.Normal, 1<<30)
	c := moves(t)
	w := render.PlanOf(c, 48000, section.Normal)
	for _, jack := range []string{"fuzz.in", "wah.out", "out"} {
		got, err := m.Signal(context.Background(), w, jack)
		if err != nil {
			t.Fatal(err)
		}
		if want := rendertest.Render(t, c, 48000, section.Normal, render.Volts(in), jack)[0]; !slices.Equal(got, want) {
			t.Errorf("%s: what is remembered is not what is rendered", jack)
		}
	}
	// What moves otherwise, and what holds, is another signal; what moves alike is the same.
	signal := func(set ...string) []float64 {
		x, err := m.Signal(context.Background(), render.PlanOf(chaintest.Chain(t, "fuzz: {kind: fuzz}", "fuzz", set...), 48000, section.Normal), "out")
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	one := signal("guitar.volume: {at: {0 s: 6, 100 ms: 5}}")
	before := m.Computed()
	if again := signal("guitar.volume: {at: {0 s: 6, 100 ms: 5}}"); m.Computed() != before || &again[0] != &one[0] {
		t.Error("the same curve is computed twice")
	}
	for _, other := range []string{"{at: {0 s: 6, 110 ms: 5}}", "{at: {0 s: 6, 100 ms: 5.1}}", "{at: {1 ms: 6, 100 ms: 5}}", "6"} {
		if x := signal("guitar.volume: " + other); slices.Equal(x, one) {
			t.Errorf("%s is taken for another curve", other)
		}
	}
}

// The wah's centre goes where its curve goes: of tones a twelfth of an octave apart, the loudest at
// a time is that which the circuit of that time lets through best.
func TestWahFollowsItsCurve(t *testing.T) {
	const rate, n, low, tones = 48000, 96000, 300.0, 36
	in := make([]float64, n)
	for k := range in {
		for j := range tones {
			f := low * math.Pow(2, float64(j)/12)
			in[k] += 1e-3 * math.Sin(2*math.Pi*f*float64(k)/rate+float64(j*j))
		}
	}
	c := chaintest.Chain(t, "a: {kind: buffer}; wah: {kind: wah, position: {at: {0 s: 1, 2 s: 9}}}; b: {kind: buffer}", "a, wah, b")
	got := rendertest.Render(t, c, rate, section.Normal, render.Volts(in), "wah.out")[0]
	first, last := 0, 0
	for _, at := range []float64{0.3, 0.7, 1.0, 1.3, 1.7} {
		const half = 4800 // 100 ms to either side
		middle := int(at * rate)
		loudest, peak := 0, 0.0
		best, most := 0, 0.0
		held := render.PlanOf(c.At(dsp.Second(at)), rate, section.Normal)
		for j := range tones {
			f := low * math.Pow(2, float64(j)/12)
			var z complex128
			for k := -half; k < half; k++ {
				w := 0.5 + 0.5*math.Cos(math.Pi*float64(k)/half)
				s, co := math.Sincos(2 * math.Pi * f * float64(k) / rate)
				z += complex(w*got[middle+k]*co, -w*got[middle+k]*s)
			}
			if a := dsp.Abs2(z); a > peak {
				loudest, peak = j, a
			}
			h, err := held.Response("wah.out", dsp.Hertz(f))
			if err != nil {
				t.Fatal(err)
			}
			if a := dsp.Abs2(h); a > most {
				best, most = j, a
			}
		}
		t.Logf("at %.1f s the loudest tone is %.0f Hz, that of the circuit held there %.0f Hz", at, low*math.Pow(2, float64(loudest)/12), low*math.Pow(2, float64(best)/12))
		if d := loudest - best; d < -1 || d > 1 {
			t.Errorf("at %.1f s the centre is %d semitones from the curve's", at, d)
		}
		if at == 0.3 {
			first = loudest
		}
		last = loudest
	}
	if last-first < 12 {
		t.Errorf("the centre has moved by %d semitones only", last-first)
	}
}

// A curve passes its points, stays between its neighbours and has no corner.
func TestCurve(t *testing.T) {
	c := board.NewCurve([]float64{0, 1, 2, 4, 5}, []float64{2, 9, 9, 1, 6}, dsp.Dial, 0, 10)
	for k, at := range c.Times {
		if c.At(dsp.Second(at)) != c.Values[k] {
			t.Errorf("at %v it is %v, want %v", at, c.At(dsp.Second(at)), c.Values[k])
		}
	}
	const step = 1e-4
	last, slope := c.At(-1), 0.0
	for at := -0.5; at < 6; at += step {
		k, _ := slices.BinarySearch(c.Times, at)
		v := c.At(dsp.Second(at))
		if k > 0 && k < len(c.Times) && (v < min(c.Values[k-1], c.Values[k]) || v > max(c.Values[k-1], c.Values[k])) {
			t.Fatalf("at %v it is %v, beyond its points", at, v)
		}
		// The steepest bend is at the ends of the 7 between 0 s and 1 s: 6·7 a second squared. A
		// corner would be a jump of the slope.
		if d := (v - last) / step; math.Abs(d-slope) > 1.5*6*8*step {
			t.Fatalf("at %v the slope jumps from %v to %v", at, slope, d)
		} else {
			slope = d
		}
		last = v
	}
	// With even points on a line it is that line, between the first two and the last two.
	line := board.NewCurve([]float64{0, 1, 2, 3}, []float64{0, 1, 2, 3}, dsp.Dial, 0, 10)
	if v := line.At(1.25); math.Abs(v-1.25) > 1e-12 {
		t.Errorf("on a line at 1.25 it is %v", v)
	}
	octaves := board.NewCurve([]float64{0, 2}, []float64{100, 400}, dsp.Hertzes, 50, 5000)
	if v := octaves.At(1); math.Abs(v-200) > 1e-9 {
		t.Errorf("half-way from 100 Hz to 400 Hz it is %v Hz, want 200 Hz", v)
	}
}

// What does not play the recording takes the settings at 0 s.
func TestHeld(t *testing.T) {
	c := moves(t)
	still := chaintest.Chain(t, "fuzz: {kind: fuzz}; a: {kind: buffer}; wah: {kind: wah, position: 4}; amp: {kind: trim, gain: 0 dB}", "fuzz, a, wah, amp", "guitar.volume: 6")
	if a, b := render.PlanOf(c, 48000, section.Normal).Circuit.Key("out"), render.PlanOf(still, 48000, section.Normal).Circuit.Key("out"); a != b {
		t.Error("the wiring is not that of 0 s")
	}
	if later := render.PlanOf(c.At(0.05), 48000, section.Normal).Circuit.Key("out"); later == render.PlanOf(still, 48000, section.Normal).Circuit.Key("out") {
		t.Error("at 50 ms the wiring is that of 0 s")
	}
	const want = "but for what the recording itself sounds like, what moves is held where it is at 0 s: guitar.volume at 6, guitar.tone at 10, wah.position at 4, amp.gain at 0 dB"
	if got := board.Held(c, c); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := board.Held(still); got != "" {
		t.Errorf("nothing moves, and it says %q", got)
	}
}

// The shipped file's question: does the fuzz clean up while the guitar is turned down? The bounds
// are those of the fuzz with the volume left at 10 and at 3: common practice, no source.
func TestShippedKnobsMove(t *testing.T) {
	src, err := chains.ReadShipped("moving-knobs")
	if err != nil {
		t.Fatal(err)
	}
	f, err := file.Parse("moving-knobs.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	const rate, period = 48000, 330
	in := chaintest.Tone(8*rate, rate, period, chaintest.SoftNote)
	thd := func(take string) (before, after float64) {
		c, err := f.Take(take)
		if err != nil {
			t.Fatal(err)
		}
		c.Recording.Load = nil // the tone is the pickup's own voltage
		y := rendertest.Render(t, c, rate, section.Draft, render.Volts(in), "fuzz.out")[0]
		share := func(from int) float64 { // a second holds 330 periods
			h, err := measure.FitHarmonics(y[from:from+rate], rate, period, 40)
			if err != nil {
				t.Fatal(err)
			}
			return h.THD()
		}
		before, after = share(rate), share(7*rate)
		t.Logf("%s: distortion %.1f %% before, %.1f %% after", take, 100*before, 100*after)
		return before, after
	}
	if before, after := thd("fuzz first, turned down in the riff"); before < 0.6 || after > 0.2 {
		t.Errorf("fuzz first: distortion %.1f %% before and %.1f %% after, want over 60 %% and under 20 %%", 100*before, 100*after)
	}
	if before, after := thd("buffer first, turned down in the riff"); before < 0.6 || after < 0.6 {
		t.Errorf("buffer first: distortion %.1f %% before and %.1f %% after, want over 60 %%", 100*before, 100*after)
	}
	if c, err := f.Take("wah rocked"); err != nil || len(c.Turns) != 1 || c.Turns[0].Target != "wah.position" {
		t.Errorf("the wah is not rocked: %v", err)
	}
}
