package experiment

import (
	"context"
	"fmt"
	"math"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/filter"
)

// Switched is what a change of presets does while one plays. A click is broad-band: it is read over
// clickAbove, within clickAfter of the change, as a peak, and so is what the playing itself has
// there in the playing's clickAround before the change and after it. Both are against the peak of
// the playing then, in all of its band. Common practice, no source.
type Switched struct {
	At     dsp.Second      `json:"at_s"`
	To     string          `json:"preset"`
	Gap    measures.Figure `json:"gap_ms"`    // longest silence of the switcher, -40 dB re its peak
	Click  measures.Figure `json:"click_db"`  // re the playing's peak, at the end of the chain
	Treble measures.Figure `json:"treble_db"` // what the playing itself has there
}

const (
	clickAbove  = dsp.Hertz(2000)
	clickAfter  = 20e-3 // s
	clickAround = 200e-3
	gapUnder    = 0.01 // of the peak
)

// Sentence says it to a player.
func (s Switched) Sentence() string {
	at := fmt.Sprintf("At %s, to %s: ", dsp.FormatQuantity(float64(s.At), dsp.Seconds), s.To)
	if !s.Gap.OK() || !s.Click.OK() {
		return at + "not measurable: " + s.Gap.Why + s.Click.Why + "."
	}
	click := fmt.Sprintf("a click of %.1f dB re the playing's peak, where the playing itself has %s dB over 2 kHz", s.Click.Value, s.Treble.Text(1))
	if s.Treble.OK() && s.Click.Value <= s.Treble.Value {
		click = fmt.Sprintf("no click over the playing's own treble (%.1f dB re its peak, against %.1f dB)", s.Click.Value, s.Treble.Value)
	}
	return fmt.Sprintf("%sthe switcher is silent for %.1f ms; %s.", at, s.Gap.Value, click)
}

// switched is every change of a chain, as far as it was rendered.
func switched(ctx context.Context, w *render.Plan, signals Signals) ([]Switched, error) {
	c := w.Chain
	if len(c.Changes) == 0 {
		return nil, nil
	}
	jack, _, _ := c.Relayed()
	hub, err := signals(ctx, w, jack)
	if err != nil {
		return nil, err
	}
	end, err := signals(ctx, w, c.Ends()[0])
	if err != nil {
		return nil, err
	}
	var all []Switched
	for _, change := range c.Changes {
		all = append(all, switchedAt(change, hub, end, w.Rate))
	}
	return all, nil
}

// switchedAt reads a change out of the voltages at the switcher's output and at the end.
func switchedAt(change board.Change, hub, end []float64, rate dsp.Hertz) Switched {
	s := Switched{At: change.At, To: change.Preset}
	frames := func(seconds float64) int { return int(math.Round(seconds * float64(rate))) }
	at := frames(float64(change.At))
	from, to := max(0, at-frames(clickAround)), min(len(end), at+frames(clickAfter+clickAround))
	after := min(len(end), at+frames(clickAfter))
	if at >= len(end) {
		s.Gap, s.Click = measures.None("it comes after what was rendered"), measures.Figure{}
		return s
	}
	top := highest(hub[from:to])
	playing := max(highest(end[from:at]), highest(end[after:to]))
	if top < measures.Silence || playing < measures.Silence {
		s.Gap = measures.None("nobody plays")
		return s
	}
	run, longest := 0, 0
	for _, v := range hub[at:after] {
		run++
		if math.Abs(v) > gapUnder*top {
			run = 0
		}
		longest = max(longest, run)
	}
	s.Gap = measures.Figure{Value: 1e3 * float64(longest) / float64(rate)}
	// Butterworth of second order, which has settled before what is read.
	settle := max(0, from-frames(clickAround))
	treble := make([]float64, to-settle)
	filter.HighPass(clickAbove, math.Sqrt2/2, rate).Process(treble, end[settle:to])
	read := func(a, b int) float64 { return highest(treble[a-settle : b-settle]) }
	s.Click = measures.Level(read(at, after)/playing, "nothing over 2 kHz")
	s.Treble = measures.Level(max(read(from, at), read(after, to))/playing, "nothing over 2 kHz")
	return s
}
