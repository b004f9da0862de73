package render_test

import (
	"context"
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

const resumeFile = `drywire: 1
recording: {sample: riff}
blocks:
  vol:  {kind: volume, volume: {at: {100 ms: 10, 400 ms: 4, 900 ms: 8}}}
  echo: {kind: delay, time: 60 ms, repeats: 3, mix: 40 %}
order: [vol, echo]
takes: [{name: moving}, {name: still, set: {vol.volume: 7}}]
`

// TestSlope holds the slope of a curve against its difference quotient.
func TestSlope(t *testing.T) {
	c := board.NewCurve([]float64{0.1, 0.4, 0.5, 0.9}, []float64{10, 4, 3, 8}, dsp.Dial, 0, 10)
	for k := range 1000 {
		at := float64(k)/1000 + 1e-4/3
		const h = 1e-6
		if want := float64(c.At(dsp.Second(at+h))-c.At(dsp.Second(at-h))) / (2 * h); math.Abs(c.Slope(at)-want) > 1e-3*(1+math.Abs(want)) {
			t.Errorf("at %.4f s it goes by %.5f per second, by its values %.5f", at, c.Slope(at), want)
		}
	}
}

// TestRound holds what moves in a stretch that is played round and round against the curve of the
// recording.
func TestRound(t *testing.T) {
	f, err := file.Parse("resume.yaml", []byte(resumeFile))
	if err != nil {
		t.Fatal(err)
	}
	c, err := f.Take("moving")
	if err != nil {
		t.Fatal(err)
	}
	const rate = 48000
	for _, r := range []struct{ a, b, first, n int64 }{{0, 48000, 0, 48000}, {9600, 33600, -48000, 96000}, {9600, 33600, -1000, 30000}, {0, 24000, 12000, 24000}, {4800, 12000, -50000, 60000}} {
		round := c.Round(rate, r.a, r.b, r.first, r.n)
		for k := int64(0); k < r.n; k += 37 {
			in := ((r.first+k)%(r.b-r.a) + (r.b - r.a)) % (r.b - r.a)
			if in > r.b-r.a-48 {
				continue // a millisecond in which it goes back
			}
			want := c.Turns[0].Curve.At(dsp.Second(float64(r.a+in) / rate))
			got := round.Turns[0].Curve.At(dsp.Second(float64(k) / rate))
			if math.Abs(got-want) > 1e-9 {
				t.Fatalf("%+v: sample %d of the render has %v, want that of %d, %v", r, k, got, r.a+in, want)
			}
		}
	}
	still, err := f.Take("still")
	if err != nil {
		t.Fatal(err)
	}
	if still.Round(rate, 0, 48000, -5, 10) != still {
		t.Error("a chain in which nothing moves becomes another one")
	}
}

// TestResume holds that a rendering which begins in the midst is the whole rendering from there on:
// with what went before played to the echo, and the knob where it is at that time. Once the circuit
// has settled, it is the same to -80 dB; without what went before, an echo is missing.
func TestResume(t *testing.T) {
	f, err := file.Parse("resume.yaml", []byte(resumeFile))
	if err != nil {
		t.Fatal(err)
	}
	const rate, length, begin, settle, fade = 48000, 48000, 24000, 4800, 480
	x := make([]float64, length)
	for k := range x {
		s := float64(k) / rate
		x[k] = 0.2 * math.Exp(-2*s) * math.Sin(2*math.Pi*(200+80*s)*s)
	}
	for _, c := range f.Chains() {
		m := render.NewMemo(x, rate, section.Normal, 1<<28)
		ctx := context.Background()
		w := render.PlanOf(c, rate, section.Normal)
		whole, err := m.Signal(ctx, w, "out")
		if err != nil {
			t.Fatal(err)
		}
		off := func(past bool) float64 {
			part := render.PlanOf(c.Round(rate, 0, length, begin, length-begin), rate, section.Normal)
			r, err := part.Renderer("out")
			if err != nil {
				t.Fatal(err)
			}
			if past {
				pasts := part.PastOf(m, w, begin)
				if filled := r.Resume(settle, fade, pasts...); len(filled) != 1 || filled[0] != "echo.repeats" {
					t.Fatalf("take %q: filled %v", c.Take, filled)
				}
			}
			var got []float64
			if err := r.Run(ctx, render.Volts(x[begin:]), 0, func(taps [][]float64) error { got = append(got, taps[0]...); return nil }); err != nil {
				t.Fatal(err)
			}
			var d, p float64
			for k := settle + fade; k < len(got); k++ {
				e := got[k] - whole[begin+k]
				d += e * e
				p += whole[begin+k] * whole[begin+k]
			}
			return 10 * math.Log10(d/p)
		}
		with, without := off(true), off(false)
		t.Logf("take %q: %.1f dB with what went before, %.1f dB without", c.Take, with, without)
		if with > -80 {
			t.Errorf("take %q: %.1f dB off with what went before; want -80 at most", c.Take, with)
		}
		if without < -40 {
			t.Errorf("take %q: %.1f dB off without what went before, so this test shows nothing", c.Take, without)
		}
	}
}
