package cli

import (
	"context"
	"math"
	"testing"

	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp/divider"
	"drywire/dsp/section"
	"drywire/samples/pluck"
)

const trackingChain = `drywire: 1
title: what an octave divider makes of notes
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks:
  germ: {kind: fuzz, fuzz: 9}
  wall: {kind: op-amp-fuzz, sustain: 8}
  octave: {kind: octave-down}
order: [octave]
takes:
  - {name: clean}
  - {name: fuzz, order: [germ, octave]}
  - {name: op-amp fuzz, order: [wall, octave]}
`

// astray is the share of the time, from 0.2 s on, in which a divider that is fed a note of that
// pitch is in a wrong sub-octave: what lies between two flips that are not a cycle apart, within a
// tenth.
func astray(x []float64, hertz float64) float64 {
	d := divider.New(pluck.Rate)
	var o, w [1]float64
	var bad, all float64
	last := 0
	for k, v := range x {
		before := d.Flips()
		d.Process(o[:], w[:], []float64{v})
		if d.Flips() == before {
			continue
		}
		if cycle := float64(k - last); last > pluck.Rate/5 {
			all += cycle
			if math.Abs(cycle*hertz/pluck.Rate-1) > 0.1 {
				bad += cycle
			}
		}
		last = k
	}
	if all == 0 {
		return 1
	}
	return bad / all
}

// What the octave divider makes of plucked strings, alone and behind a fuzz. That it follows one
// clean note, and stumbles over a chord and over a fuzzed note, is what players say (common
// practice, no source); the bounds hold what the circuits give, and no more.
//
// Clean, a low string picked near the bridge is at the edge already: behind the divider's low-pass
// its second harmonic is 4 dB over its fundamental. A fuzz mixes the partials. Of a string without
// stiffness, whose partials are exact harmonics, what it makes stays in one shape, and it tracks as
// before; a real string's partials run out of step, so what falls together changes from wave to
// wave, and now and then there are two high peaks in one. The op-amp fuzz has a notch in its middle
// and high-passes besides, which take the fundamental: it needs no stiffness. From 165 Hz on the
// divider's low-pass has done enough for either.
func TestOctaveTracking(t *testing.T) {
	t.Parallel()
	f, err := file.Parse("tracking.yaml", []byte(trackingChain))
	if err != nil {
		t.Fatal(err)
	}
	low := func(strings, fret int) float64 {
		return pluck.LightSet()[strings-1].Pitch * math.Exp2(float64(fret)/12)
	}
	pickedAt := []float64{0.105, 0.070}
	// share is the mean of astray over where the pick strikes, for a take and notes that are struck
	// together, the lowest first.
	share := func(take string, stiff bool, notes ...[2]int) float64 {
		c, err := f.Take(take)
		if err != nil {
			t.Fatal(err)
		}
		g := pluck.Guitar{Strings: pluck.LightSet(), Coils: []float64{0.042, 0.060}, Aperture: 0.006} // a humbucker at the bridge
		if !stiff {
			for k := range g.Strings {
				g.Strings[k].Core = 1e-6
			}
		}
		var sum float64
		for _, pick := range pickedAt {
			var struck []pluck.Note
			for k, n := range notes {
				struck = append(struck, pluck.Note{At: 0.05 + 0.008*float64(k), String: n[0], Fret: n[1], Pull: 1.35e-3, Pick: pick})
			}
			r, err := render.PlanOf(c, pluck.Rate, section.Draft).Renderer("octave.in")
			if err != nil {
				t.Fatal(err)
			}
			var y []float64
			if err := r.Run(context.Background(), render.Volts(g.Render(struck, 1.2, pluck.Rate, 3)), 0, func(taps [][]float64) error {
				y = append(y, taps[0]...)
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			sum += astray(y, low(notes[0][0], notes[0][1])) / float64(len(pickedAt))
		}
		return sum
	}
	lowE, highE := [2]int{6, 0}, [2]int{4, 2} // 82.4 and 164.8 Hz
	for _, c := range []struct {
		name     string
		stiff    bool
		notes    [][2]int
		take     string
		from, to float64
	}{
		{"low E", true, [][2]int{lowE}, "clean", 0, 0.2},
		{"low E", true, [][2]int{lowE}, "fuzz", 0.4, 0.9},
		{"low E", true, [][2]int{lowE}, "op-amp fuzz", 0.3, 0.9},
		{"low E without stiffness", false, [][2]int{lowE}, "clean", 0, 0},
		{"low E without stiffness", false, [][2]int{lowE}, "fuzz", 0, 0.02},
		{"low E without stiffness", false, [][2]int{lowE}, "op-amp fuzz", 0.5, 1},
		{"E an octave up", true, [][2]int{highE}, "clean", 0, 0.02},
		{"E an octave up", true, [][2]int{highE}, "fuzz", 0, 0.02},
		{"E an octave up", true, [][2]int{highE}, "op-amp fuzz", 0, 0.05},
		{"power chord on low E", true, [][2]int{lowE, {5, 2}}, "clean", 0.5, 1},
		{"power chord on low E", true, [][2]int{lowE, {5, 2}}, "fuzz", 0.5, 1},
		{"power chord on low E", true, [][2]int{lowE, {5, 2}}, "op-amp fuzz", 0.5, 1},
	} {
		got := share(c.take, c.stiff, c.notes...)
		t.Logf("%s, %s: %.0f %% of the time astray", c.name, c.take, 100*got)
		if got < c.from || got > c.to {
			t.Errorf("%s, %s: %.0f %% of the time astray, want %.0f to %.0f %%", c.name, c.take, 100*got, 100*c.from, 100*c.to)
		}
	}
}
