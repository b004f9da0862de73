package engine

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

// Figures is what the meters say about a side, at every jack. What has no value is null, with the
// reason in NotMeasurable.
type Figures struct {
	Jacks         []JackOf  `json:"jacks"`
	LadderSVG     string    `json:"ladder_svg"`
	Spectrum      Curve     `json:"spectrum"` // third octaves at the end, dBu
	Response      Curve     `json:"response"` // from the pickup's own voltage to the end, dB
	Noise         []NoiseOf `json:"noise"`    // loudest first
	NoiseTotal    *float64  `json:"noise_total_dbu"`
	NoiseTotalA   *float64  `json:"noise_total_a_dbu"`
	Sentences     []string  `json:"sentences"`
	NotMeasurable []string  `json:"not_measurable"`
}

// MeterOf is what a meter says, in words.
type MeterOf struct {
	Name  string `json:"name"`
	Value string `json:"value"` // with its unit
}

// JackOf is the meters at one jack.
type JackOf struct {
	Jack     string    `json:"jack"`
	Block    string    `json:"block"` // that it belongs to; "" at the guitar and at the ends
	Into     string    `json:"into"`  // the block whose ceiling this is
	Peak     *float64  `json:"peak_dbu"`
	RMS      *float64  `json:"rms_dbu"`
	Noise    *float64  `json:"noise_dbu"`
	Colour   *float64  `json:"colour_dbu"`  // where that begins to colour
	Ceiling  *float64  `json:"ceiling_dbu"` // where it breaks up
	Headroom *float64  `json:"headroom_db"`
	Over     *float64  `json:"over"`   // share of the time over the ceiling
	Meters   []MeterOf `json:"meters"` // all that meters say, levels in dBu alone
}

// Curve is levels over frequencies.
type Curve struct {
	Hz []float64  `json:"hz"`
	DB []*float64 `json:"db"`
}

// NoiseOf is what one source adds to the noise at the end.
type NoiseOf struct {
	Source string   `json:"source"`
	Block  string   `json:"block"`
	DBu    *float64 `json:"dbu"`
	Share  float64  `json:"share"` // of the A-weighted power
}

const (
	mostMeasured = 30.0 // s of a region that meters read, as in the command that measures
	mostSources  = 12   // of noise that are told
)

// Figures measures a take on its exact sound, once. The error is ErrBusy, the recording's or ctx's,
// or of a render. What cannot be measured is no error: the Figures say so.
func (e *Engine) Figures(ctx context.Context, r Region, t *produce.Take) (*Figures, error) {
	all, out, err := e.enter(ctx, r, listening{spots: []Spot{{Take: t}}})
	if err != nil {
		return nil, err
	}
	defer out()
	l := all.of(t)
	w, leave := e.begin(l, Spot{Take: t})
	defer leave()
	select {
	case <-w.ready:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if w.err != nil {
		return nil, w.err
	}
	w.mu.Lock()
	f := w.told
	w.mu.Unlock()
	if f != nil {
		return f, nil
	}
	done, err := e.queue.turn(ctx, exactSound)
	if err != nil {
		return nil, err
	}
	defer done()
	frames := e.framesAtJacks(l, t)
	free, err := e.admission.compute(ctx, e.within(bytesAtJacks(l, t, frames)+noise.Bytes(w.plan)))
	if err != nil {
		return nil, err
	}
	defer free()
	if f, err = e.figures(ctx, l, t, w.Sound, frames); err != nil {
		return nil, err
	}
	w.mu.Lock()
	w.told = f
	w.mu.Unlock()
	return f, nil
}

// figures measures a sound with the functions that the commands call.
func (e *Engine) figures(ctx context.Context, l *Loop, t *produce.Take, s *Sound, frames int) (*Figures, error) {
	w, signals, err := e.atJacks(ctx, l, t, s, frames)
	if err != nil {
		return nil, err
	}
	f := &Figures{Jacks: []JackOf{}, Noise: []NoiseOf{}, Sentences: []string{}, NotMeasurable: []string{}}
	f.Spectrum.Hz, f.Spectrum.DB, f.Response.Hz, f.Response.DB = []float64{}, []*float64{}, []float64{}, []*float64{}
	if frames < len(l.x) {
		f.Sentences = append(f.Sentences, fmt.Sprintf("Levels and spectra are of the first %.0f of %.0f seconds.", float64(frames)/float64(l.rate), float64(len(l.x))/float64(l.rate)))
	}
	if held := board.Held(t.Chain); held != "" {
		f.Sentences = append(f.Sentences, "In the response, the noise and the ceilings, "+held+".")
	}
	missing := func(what string, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			f.none(what, err.Error())
		}
		return nil
	}
	m, err := experiment.Measure(ctx, w, signals, dsp.Tone{})
	if err := missing("levels at the jacks", err); err != nil {
		return nil, err
	}
	end := t.Ends()[0]
	if m != nil {
		f.jacks(m)
		f.LadderSVG = string(experiment.NewLadder(m).SVG())
		for _, j := range m.Jacks {
			if j.Jack == end {
				for _, b := range j.ThirdOctaves {
					f.Spectrum.Hz = append(f.Spectrum.Hz, b.Hz)
					f.Spectrum.DB = append(f.Spectrum.DB, f.value("spectrum", b.DBu()))
				}
			}
		}
	}
	response, err := experiment.Response(t.Chain, l.rate, end)
	if err := missing("response", err); err != nil {
		return nil, err
	}
	if err == nil {
		for _, p := range response.Points {
			f.Response.Hz = append(f.Response.Hz, p.Hz)
			f.Response.DB = append(f.Response.DB, f.value("response", p.GainDB))
		}
	}
	hiss, err := experiment.Noise(t.Chain, l.rate, "out")
	if err := missing("noise", err); err != nil {
		return nil, err
	}
	if err == nil {
		f.noise(hiss)
	}
	return f, nil
}

// within is how much of some bytes is set aside for a computation that is not refused for its size:
// half of the budget at most, which nobody who listens can have.
func (e *Engine) within(bytes int) int { return min(bytes, e.admission.budget/2) }

// settledAtJacks is how long a chain gets before the meters read it.
const settledAtJacks = 0.5 // s

// bytesAtJacks is what so many frames of a loop take, read at all jacks.
func bytesAtJacks(l *Loop, t *produce.Take, frames int) int {
	return 8 * (frames*(1+len(t.Jacks())) + int(settledAtJacks*float64(l.rate)))
}

// framesAtJacks is how many frames of a loop the meters read: mostMeasured seconds, and no more
// than half of the memory holds.
func (e *Engine) framesAtJacks(l *Loop, t *produce.Take) int {
	frames := min(len(l.x), int(mostMeasured*float64(l.rate)))
	room := e.admission.budget/2 - bytesAtJacks(l, t, 0)
	return max(0, min(frames, room/(bytesAtJacks(l, t, 1)-bytesAtJacks(l, t, 0))))
}

// atJacks renders so many frames of the loop with all jacks read. Echoes
// and reverbs have in them what the exact sound has put there, as far as that is still remembered;
// the rest of the chain gets half a second.
func (e *Engine) atJacks(ctx context.Context, l *Loop, t *produce.Take, s *Sound, frames int) (*render.Plan, experiment.Signals, error) {
	jacks := t.Jacks()
	rate := float64(l.rate)
	settled, fade := int(settledAtJacks*rate), int(rate/20)
	w := l.plan(t, produce.Quality, -settled, settled+len(l.x))
	r, err := w.Renderer(jacks...)
	if err != nil {
		return nil, nil, err
	}
	if memo := e.known(l.key, s.lead); memo != nil {
		r.Resume(settled-2*fade, fade, w.PastOf(memo, s.plan, s.lead-settled)...)
	}
	x := make([]float64, settled+frames)
	l.round(x, -settled)
	all := make([][]float64, len(jacks))
	for k := range all {
		all[k] = make([]float64, 0, frames)
	}
	skip := settled
	if err := r.Run(ctx, render.Volts(x), 0, func(taps [][]float64) error {
		drop := min(skip, len(taps[0]))
		skip -= drop
		for k, y := range taps {
			all[k] = append(all[k], y[drop:]...)
		}
		return nil
	}); err != nil {
		return nil, nil, err
	}
	return w, func(_ context.Context, other *render.Plan, jack string) ([]float64, error) {
		if at := slices.Index(jacks, jack); at >= 0 && other == w {
			return all[at], nil
		}
		return nil, errors.New("not rendered")
	}, nil
}

// none records why there is no value, once.
func (f *Figures) none(what, why string) {
	if text := what + ": " + why; !slices.Contains(f.NotMeasurable, text) {
		f.NotMeasurable = append(f.NotMeasurable, text)
	}
}

// value is a figure, or null and the reason.
func (f *Figures) value(what string, v measures.Figure) *float64 {
	if !v.OK() {
		f.none(what, v.Why)
		return nil
	}
	return &v.Value
}

func (f *Figures) jacks(m *experiment.Measures) {
	for _, j := range m.Jacks {
		o := JackOf{Jack: j.Jack, Into: j.CeilingOf, Meters: []MeterOf{}}
		for _, end := range []string{".in", ".out"} {
			if block, ok := strings.CutSuffix(j.Jack, end); ok {
				o.Block = block
			}
		}
		at := func(what string) string { return what + " at " + j.Jack }
		o.Peak, o.RMS = f.value(at("peak"), j.Of(measures.PeakDBu)), f.value(at("level"), j.Of(measures.RMSDBu))
		o.Noise = f.value(at("noise"), j.Of(measures.Noise))
		o.Headroom, o.Over = f.value(at("headroom"), j.Of(measures.Headroom)), f.value(at("share over the ceiling"), j.Of(measures.OverShare))
		for _, c := range []struct {
			of *measures.Measure
			to **float64
		}{{measures.Colour, &o.Colour}, {measures.Ceiling, &o.Ceiling}} {
			if v := j.Of(c.of); v.OK() {
				v.Value = dsp.VoltsToDBu(v.Value)
				*c.to = f.value("", v)
			}
		}
		for _, m := range measures.Printed(measures.AtJacks(), j.Values) {
			if said, ok := inDBu(m, j.Of(m)); ok {
				o.Meters = append(o.Meters, MeterOf{m.Name, said})
			}
		}
		f.Jacks = append(f.Jacks, o)
		if o.Over != nil && *o.Over > 0 && strings.HasSuffix(j.Jack, ".in") {
			f.Sentences = append(f.Sentences, fmt.Sprintf("%s is over its ceiling for %.2g %% of the time: there it breaks up.", o.Block, 100**o.Over))
		}
	}
}

// inDBu is what a meter says at a jack, a voltage as its level in dBu. What is there in dBu anyway,
// or in a unit that at a jack has no reference, is left out: a page has one unit of level.
func inDBu(m *measures.Measure, v measures.Figure) (said string, ok bool) {
	switch {
	case !v.OK(), m == measures.PeakVolts, m == measures.RMSVolts, m.Unit == "LUFS":
		return "", false
	case m.Unit == "V":
		return fmt.Sprintf("%.1f dBu", dsp.VoltsToDBu(v.Value)), true
	}
	return m.Format(v) + " " + m.Shown(), true
}

func (f *Figures) noise(r *experiment.NoiseReport) {
	f.NoiseTotal, f.NoiseTotalA = f.value("noise", r.DBu), f.value("noise", r.ADBu)
	for _, n := range r.Sources[:min(mostSources, len(r.Sources))] {
		f.Noise = append(f.Noise, NoiseOf{n.Element, n.Block, f.value("noise of "+n.Element, n.DBu), n.Share})
	}
	if len(r.Blocks) > 0 && r.ADBu.OK() {
		f.Sentences = append(f.Sentences, fmt.Sprintf("When you stop playing, what is heard first is %s: %.0f %% of the noise.", r.Blocks[0].Name, 100*r.Blocks[0].Share))
	}
	if move, ok := r.Quieter(); ok {
		f.Sentences = append(f.Sentences, fmt.Sprintf("With %s %s, the noise would be %.1f dB lower at the same loudness of soft notes.", move.Block, move.Where, move.GainDB-move.NoiseDB))
	}
}
