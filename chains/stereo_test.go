package chains_test

import (
	"context"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

const stereoChain = `drywire: 1
title: chorus in stereo
recording: {file: a.wav, full_scale: 1 V, load: none}
patch: 1 m
load: {resistance: 10 kΩ, cable: 3 m}
blocks:
  swirl: {kind: chorus, stereo: on, mix: 0 %}
  vol: {kind: volume, volume: 10, track: 250 kΩ}
  lift: {kind: boost}
order: [swirl, {split: {left: [], right: [vol]}}]
takes:
  - {name: two outputs}
  - {name: swirling, set: {swirl.mix: 50 %}}
  - {name: one output, set: {swirl.stereo: off}}
  - {name: bypassed, off: [swirl]}
  - {name: further on, order: [swirl, lift, {split: {left: [], right: [vol]}}]}
  - {name: at the end, order: [swirl]}
`

// Each output of a block in stereo has its own load, and no other. Dry, each gives the voltage
// divider of its 100 Ω, cables of 0.1 Ω a metre, and what is behind: 10 kΩ on the left; on the
// right a pedal of 250 kΩ, open but for an ohm of its track, across its load of 10 kΩ. From one
// output, both are across it. Closed form, at 100 Hz, where cables' capacitance does nothing.
func TestStereoOutputsAreLoadedByThemselves(t *testing.T) {
	const rate = 48000
	f := chaintest.MustParse(t, stereoChain)
	par := func(a, b float64) float64 { return a * b / (a + b) }
	for take, want := range map[string][2]float64{
		"two outputs": {1e4 / (1e4 + 100.3 + 0.1), par(250e3, 1e4) / (par(250e3, 1e4) + 101.4)},
		"one output":  {1 / (1 + 100*(1/1e4+1/par(250e3, 1e4))), 1 / (1 + 100*(1/1e4+1/par(250e3, 1e4))) * par(250e3, 1e4) / (par(250e3, 1e4) + 1.4)},
	} {
		c := chaintest.TakeOf(t, f, take)
		r, err := render.PlanOf(c, rate, section.Draft).Renderer("swirl.in", board.OutLeft, board.OutRight)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, rate)
		for n := range x {
			x[n] = 0.1 * math.Sin(2*math.Pi*100*float64(n)/rate)
		}
		var taps [3][]float64
		if err := r.Run(context.Background(), render.Volts(x), 0, func(b [][]float64) error {
			for k := range taps {
				taps[k] = append(taps[k], b[k]...)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		level := func(x []float64) float64 {
			var sum complex128
			for n, v := range x[rate/2:] {
				sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*100*float64(n)/rate))
			}
			return cmplx.Abs(sum)
		}
		in := level(taps[0])
		for side, want := range want {
			if got := level(taps[1+side]) / in; math.Abs(dsp.ToDB(got/want)) > 0.001 {
				t.Errorf("%s: output %d is %.6f of the input, want %.6f", take, side, got, want)
			}
		}
	}
	// The same in the table of hand-overs: what drives either path is an output of 100 Ω, and the
	// left one feels nothing of the pedal on the right.
	for take, want := range map[string]struct{ split, right, source float64 }{
		"two outputs": {1e4, par(250e3, 1e4), 100},
		"one output":  {par(1e4, par(250e3, 1e4)), par(250e3, 1e4), par(100, 1e4)},
	} {
		places, err := wiring.Handovers(chaintest.TakeOf(t, f, take), 20)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range places {
			switch p.Jack {
			case "split":
				if got := cmplx.Abs(p.Input); math.Abs(got/want.split-1) > 0.001 {
					t.Errorf("%s: into the split %.1f Ω, want %.1f Ω", take, got, want.split)
				}
			case "vol.in":
				if got := cmplx.Abs(p.Input); math.Abs(got/want.right-1) > 0.001 {
					t.Errorf("%s: into the pedal %.1f Ω, want %.1f Ω", take, got, want.right)
				}
				if got := cmplx.Abs(p.Source); math.Abs(got-want.source) > 1 {
					t.Errorf("%s: the pedal is driven from %.2f Ω, want %.2f Ω", take, got, want.source)
				}
			}
		}
	}
}

// Which output feeds which path, and that they are aligned: dry, both paths are the voltage of the
// input at the same sample; a mono chorus and a bypass feed both from one output.
func TestStereoFeedsBothPaths(t *testing.T) {
	const rate = 48000
	f := chaintest.MustParse(t, strings.Replace(stereoChain, "right: [vol]", "right: []", 1))
	outputs := func(take string) (taps [3][]float64) {
		r, err := render.PlanOf(chaintest.TakeOf(t, f, take), rate, section.Draft).Renderer("swirl.in", board.OutLeft, board.OutRight)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, rate/2)
		for n := range x {
			x[n] = 0.1 * math.Sin(2*math.Pi*300*float64(n)/rate)
		}
		if err := r.Run(context.Background(), render.Volts(x), 0, func(b [][]float64) error {
			for k := range taps {
				taps[k] = append(taps[k], b[k]...)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return taps
	}
	differ := func(a, b []float64) (most float64) {
		for n := range a {
			most = math.Max(most, math.Abs(a[n]-b[n]))
		}
		return most
	}
	dry := outputs("two outputs")
	if d := differ(dry[1], dry[2]); d != 0 {
		t.Errorf("dry, the outputs differ by %v V", d)
	}
	if d := differ(dry[0], dry[1]); d > 0.0015 { // 1 % of 0.1 V for the load, and some
		t.Errorf("the outputs are %v V off the input: late", d)
	}
	if wet := outputs("swirling"); differ(wet[1], wet[2]) < 0.01 {
		t.Error("the paths hear one output")
	}
	for _, take := range []string{"one output", "bypassed"} {
		if x := outputs(take); differ(x[1], x[2]) > 1e-12 {
			t.Errorf("%s: the paths hear two outputs", take)
		}
	}
}

// A second output that nothing is plugged into is warned of; it can be listened to all the same.
// The noise of a path is known.
func TestStereoWarning(t *testing.T) {
	f := chaintest.MustParse(t, stereoChain)
	for take, want := range map[string]bool{"two outputs": false, "one output": false, "bypassed": false, "further on": true, "at the end": true} {
		c := chaintest.TakeOf(t, f, take)
		if got := c.Warnings(); (len(got) == 1) != want || want && !strings.Contains(got[0], "the right output of swirl goes nowhere") {
			t.Errorf("%s: %q, want a warning %v", take, got, want)
		}
		if err := c.Jack("swirl.right"); (err == nil) == (take == "one output" || take == "bypassed") {
			t.Errorf("%s: jack swirl.right: %v", take, err)
		}
	}
	for _, jack := range []string{board.OutLeft, board.OutRight} {
		if _, err := noise.At(chaintest.TakeOf(t, f, "two outputs"), 48000, jack); err != nil {
			t.Errorf("noise at %s: %v", jack, err)
		}
	}
	if x, err := experiment.CancellationOf(chaintest.TakeOf(t, f, "two outputs"), t.Context(), 48000); err != nil || x.Cancels() {
		t.Errorf("cancellation: %v %v", x, err)
	}
}
