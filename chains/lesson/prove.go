package lesson

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// How clear of the threshold of hearing two takes must be. The threshold is a smoothed probability
// of detection of one half (package measure, Audibility): a pair that a lesson calls heard has to
// reach Clear at its clearest moment, and one that it calls not heard must stay under Faint
// throughout. The margins are this project's own.
const (
	Clear = 0.90
	Faint = 0.10
)

// Bench is one board with its recording, at work. Its methods are for one goroutine at a time.
type Bench struct {
	File      *board.File
	Recording experiment.Dry // V at the pickup, or as the file's recording says
	Rate      dsp.Hertz
	Quality   section.Quality

	mu    sync.Mutex
	plans map[*board.Chain]*render.Plan
	takes map[string]*board.Chain
	done  map[*board.Chain]experiment.Signals
	sides map[string]*measures.Side
	apart map[[2]string]measures.Figure // chances of being told apart, percent
	inner *experiment.Bench
}

// NewBench is for a board and what was played on it.
func NewBench(f *board.File, recording experiment.Dry, rate dsp.Hertz, q section.Quality) *Bench {
	return &Bench{File: f, Recording: recording, Rate: rate, Quality: q,
		plans: map[*board.Chain]*render.Plan{}, takes: map[string]*board.Chain{}, done: map[*board.Chain]experiment.Signals{}, sides: map[string]*measures.Side{}, apart: map[[2]string]measures.Figure{}}
}

func (b *Bench) chain(take string) (*board.Chain, error) {
	if b.takes[take] == nil {
		c, err := b.File.Take(take)
		if err != nil {
			return nil, err
		}
		b.takes[take] = c
	}
	return b.takes[take], nil
}

// memory is how many bytes of signals are remembered: a lesson's board has a few takes.
const memory = 64 << 20

func (b *Bench) bench() experiment.Bench {
	if b.inner == nil {
		inner := experiment.NewBench(b.Recording, b.Rate, b.Quality, memory)
		b.inner = &inner
	}
	return *b.inner
}

// rendered is the recording through a take, every jack read, once.
func (b *Bench) rendered(ctx context.Context, c *board.Chain) (*render.Plan, experiment.Signals, error) {
	w := b.plan(c)
	if b.done[c] == nil {
		s, err := experiment.Rendered(ctx, w, b.Recording.Of(c))
		if err != nil {
			return nil, nil, err
		}
		b.done[c] = s
	}
	return w, b.done[c], nil
}

// Measures is what the meters say of a take at every jack, without test tones. The error is of a
// take that is not there, or of a render.
func (b *Bench) Measures(ctx context.Context, take string) (*experiment.Measures, error) {
	c, err := b.chain(take)
	if err != nil {
		return nil, err
	}
	w, signals, err := b.rendered(ctx, c)
	if err != nil {
		return nil, err
	}
	return experiment.Measure(ctx, w, signals, dsp.Tone{})
}

// ends is what a take ends in, a slice per channel, in volts.
func (b *Bench) ends(ctx context.Context, c *board.Chain) (ends [][]float64, err error) {
	w, signals, err := b.rendered(ctx, c)
	if err != nil {
		return nil, err
	}
	for _, jack := range c.Ends() {
		x, err := signals(ctx, w, jack)
		if err != nil {
			return nil, err
		}
		ends = append(ends, x)
	}
	return ends, nil
}

// noisy is the same with the hiss and hum of the board, one draw for all takes.
func (b *Bench) noisy(ctx context.Context, c *board.Chain) (ends [][]float64, err error) {
	r, err := b.plan(c).Renderer(c.Ends()...)
	if err != nil {
		return nil, err
	}
	if err := noise.AddNoise(r, 1); err != nil {
		return nil, err
	}
	ends = make([][]float64, len(r.Taps))
	err = r.Run(ctx, render.Volts(b.Recording.Of(c)), 0, func(taps [][]float64) error {
		for k, x := range taps {
			ends[k] = append(ends[k], x...)
		}
		return nil
	})
	return ends, err
}

// fade is how long takes for listening fade in and out.
const fade dsp.Second = 8e-3

// settled is a stretch of a take at the level that takes are listened to at.
func (b *Bench) settled(ends [][]float64, target float64) ([][]float64, experiment.Settled, error) {
	peak := 0.0
	for _, x := range ends {
		p, err := measure.TruePeak(x)
		if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
			return nil, experiment.Settled{}, err
		}
		peak = max(peak, p)
	}
	frames := int64(len(ends[0]))
	shape := experiment.Shape{Fade: int(float64(fade) * float64(b.Rate)), Frames: frames}
	shaped := make([][]float64, len(ends))
	at := func(gain float64) {
		shape.Gain = gain
		for k, x := range ends {
			shaped[k] = make([]float64, len(x))
			shape.Apply(shaped[k], x, 0)
		}
	}
	meter := experiment.NewMeter
	if len(ends) == 2 {
		meter = experiment.NewStereoMeter
	}
	s, err := experiment.Settle(peak, target, func(gain float64) (experiment.Reading, error) {
		at(gain)
		m := meter(float64(b.Rate), experiment.ByLoudness(frames, float64(b.Rate)))
		m.Push(shaped...)
		return m.Reading()
	})
	at(s.Gain)
	return shaped, s, err
}

// mean is that of the channels.
func mean(ends [][]float64) []float64 {
	if len(ends) == 1 {
		return ends[0]
	}
	x := make([]float64, len(ends[0]))
	for _, y := range ends {
		for k, v := range y {
			x[k] += v / float64(len(ends))
		}
	}
	return x
}

// sideOf is a take over the whole recording, at the level of listening, with the facts that a
// change wants to know.
func (b *Bench) sideOf(ctx context.Context, number int, take string, facts bool) (*measures.Side, error) {
	c, err := b.chain(take)
	if err != nil {
		return nil, err
	}
	s := b.sides[take]
	if s == nil {
		ends, err := b.ends(ctx, c)
		if err != nil {
			return nil, err
		}
		x, settled, err := b.settled([][]float64{mean(ends)}, experiment.Target)
		if err != nil {
			return nil, err
		}
		s = side(number, take, x[0], settled)
		s.Played = c.RecordingOf
		b.sides[take] = s
	}
	if facts && s.Facts == nil {
		if s.Facts, err = experiment.FactsOf(ctx, c, b.Rate, nil); err != nil {
			return nil, err
		}
	}
	return s, nil
}

func side(number int, name string, x []float64, s experiment.Settled) *measures.Side {
	return &measures.Side{Number: number + 1, Name: name, Samples: x, Matched: s.Matched, Gain: s.Gain, Before: measures.Read(s.Level-dsp.ToDB(s.Gain), nil)}
}

// Heard is the two takes of a hearing as they are played.
type Heard struct {
	Channels [2][][]float64 // of either take, fractions of full scale
	Before   [2]float64     // LUFS re 1 V, before they were brought to one loudness
	Pair     experiment.Pair
}

// Hear plays the takes of a hearing. The error is of a take that is not there, a recording that has
// ended before the stretch, or a render.
func (b *Bench) Hear(ctx context.Context, h Hearing) (*Heard, error) {
	heard := &Heard{}
	var stretches [2][][]float64
	var settled [2]experiment.Settled
	var played [2]string
	for k, take := range h.Takes {
		c, err := b.chain(take)
		if err != nil {
			return nil, err
		}
		played[k] = c.RecordingOf
		play := b.ends
		if h.Noise {
			play = b.noisy
		}
		ends, err := play(ctx, c)
		if err != nil {
			return nil, err
		}
		from := int(float64(h.From) * float64(b.Rate))
		to := min(len(ends[0]), from+int(float64(h.For)*float64(b.Rate)))
		if from >= to {
			return nil, fmt.Errorf("the recording has ended before %v s", h.From)
		}
		for _, x := range ends {
			stretches[k] = append(stretches[k], x[from:to])
		}
		if _, settled[k], err = b.settled(stretches[k], experiment.Target); err != nil {
			return nil, err
		}
	}
	target, _ := experiment.Common(settled[:])
	var sides [2]*measures.Side
	for k := range sides {
		x, s, err := b.settled(stretches[k], target)
		if err != nil {
			return nil, err
		}
		heard.Channels[k], heard.Before[k] = x, s.Level-dsp.ToDB(s.Gain)
		sides[k] = side(k, h.Takes[k], mean(x), s)
		sides[k].Played = played[k]
	}
	heard.Pair = experiment.NewPair(sides[0], sides[1], float64(b.Rate))
	return heard, nil
}

// Kept reports whether the hearing is as the lesson claims, by its margin; "" where it is.
func (h *Heard) Kept(claim Hearing) string {
	p := h.Pair.Hearing.Highest
	switch {
	case h.Pair.Heard == experiment.HeardSame && !claim.Heard:
		return ""
	case !p.OK():
		return "not measurable: " + p.Why
	case claim.Heard && p.Value < Clear:
		return fmt.Sprintf("%q and %q are to be told apart: the probability is %.2f at its highest, want %.2f and more", claim.Takes[0], claim.Takes[1], p.Value, Clear)
	case !claim.Heard && p.Value > Faint:
		return fmt.Sprintf("%q and %q are not to be told apart: the probability is %.2f at its highest, want %.2f and less", claim.Takes[0], claim.Takes[1], p.Value, Faint)
	}
	return ""
}

// Value is a fact and what the simulation says.
type Value struct {
	Fact
	Measured measures.Figure
}

// Says is what was measured, with its unit, in the form in which the fact is stated.
func (v Value) Says() string {
	if !v.Measured.OK() {
		return "–"
	}
	unit := map[string]dsp.Unit{"V": dsp.Volts, "Ω": dsp.Ohms, "Hz": dsp.Hertzes, "s": dsp.Seconds}[v.Unit]
	if unit != dsp.None {
		short := 0.0
		fmt.Sscan(fmt.Sprintf("%.3g", v.Measured.Value), &short)
		return dsp.FormatQuantity(short, unit)
	}
	digits := 1
	if v.Unit == "%" && math.Abs(v.Measured.Value) >= 10 {
		digits = 0
	}
	if v.Unit == "%" && math.Abs(v.Measured.Value) < 1 {
		return fmt.Sprintf("%.2g %%", v.Measured.Value)
	}
	return v.Measured.Text(digits) + " " + v.Unit
}

// Fault says how a number differs from what is stated; "" where it holds.
func (v Value) Fault() string {
	switch {
	case !v.Measured.OK():
		return fmt.Sprintf("%s: stated as %s, and not measurable: %s", v.Name, v.Text, v.Measured.Why)
	case v.Text != "" && !(math.Abs(v.Measured.Value-v.Is) <= v.Within):
		return fmt.Sprintf("%s: stated as %s within %.3g, and measured as %.4g %s", v.Name, v.Text, v.Within, v.Measured.Value, v.Unit)
	}
	return ""
}

// Values measures facts, in their order. take is the one of those that name none. The error has the
// fact's name in front: of a take or a jack that is not there, or of a render.
func (b *Bench) Values(ctx context.Context, facts []Fact, take string) ([]Value, error) {
	var values []Value
	by := map[string]measures.Figure{}
	for _, f := range facts {
		v := Value{Fact: f}
		if f.Measure == "" {
			v.Measured = by[f.Less[0]].Minus(by[f.Less[1]])
		} else {
			if f.Take == "" {
				f.Take = take
			}
			reading, _ := readingOf(f.Measure)
			var err error
			if v.Measured, err = reading.read(ctx, b, f); err != nil {
				return nil, fmt.Errorf("%s: %w", f.Name, err)
			}
			if v.Measured.OK() && !finite(v.Measured) {
				v.Measured = measures.None("no finite value")
			}
		}
		by[f.Name] = v.Measured
		values = append(values, v)
	}
	return values, nil
}

// Fails says why a claim does not hold of what was measured; "" where it does.
func (c Claim) Fails(values []Value) string {
	get := func(name string) (measures.Figure, string) {
		for _, v := range values {
			if v.Name == name {
				return v.Measured, v.Unit
			}
		}
		return measures.None("no fact %q", name), ""
	}
	f, unit := get(c.Fact)
	other, name := measures.Figure{Value: c.Value}, fmt.Sprintf("%.4g %s", c.Value, unit)
	if c.Other != "" {
		other, _ = get(c.Other)
		name = c.Other
	}
	d := f.Minus(other)
	if !d.OK() {
		return fmt.Sprintf("%s %s %s: not measurable: %s", c.Fact, c.Rel, name, d.Why)
	}
	holds := map[string]bool{"over": d.Value >= c.By, "under": -d.Value >= c.By, "near": math.Abs(d.Value) <= c.By}[c.Rel]
	if holds {
		return ""
	}
	return fmt.Sprintf("%s %s %s by %.3g: the difference is %.4g %s", c.Fact, c.Rel, name, c.By, d.Value, difference(unit))
}

// Judged says in a line each whether the claims hold of what was measured, and whether all do.
func Judged(claims []Claim, values []Value) (lines []string, reached bool) {
	reached = true
	for _, c := range claims {
		for _, v := range values {
			if v.Name != c.Fact {
				continue
			}
			verdict := "reached"
			if c.Fails(values) != "" {
				verdict, reached = "not yet reached", false
			}
			name := strings.ReplaceAll(v.Name, "-", " ")
			line := fmt.Sprintf("%s: %s. Wanted: %s; %s.", strings.ToUpper(name[:1])+name[1:], v.Says(), c.Wants(v.Unit), verdict)
			lines = append(lines, strings.ReplaceAll(line, " -", " \u2212"))
		}
	}
	return lines, reached
}

// Wants is a claim in words.
func (c Claim) Wants(unit string) string {
	other := c.Other
	at := Value{Fact: Fact{Unit: unit}}
	say := func(v float64) string { at.Measured = measures.Figure{Value: v}; return at.Says() }
	if other == "" {
		other = say(c.Value)
		switch c.Rel {
		case "over":
			return say(c.Value+c.By) + " or more"
		case "under":
			return say(c.Value-c.By) + " or less"
		case "near":
			at.Unit = difference(unit)
			return fmt.Sprintf("%s, give or take %s", other, say(c.By))
		}
	}
	return fmt.Sprintf("%s %s, by %.3g %s", c.Rel, other, c.By, difference(unit))
}

// Proof is what a simulation of a lesson has found.
type Proof struct {
	Values []Value // of the lesson's board
	Other  []Value // of the other board
	Start  []Value // of Hands, as it is found
	End    []Value // and in its solution
	Heard  *Heard
	Faults []string // what does not hold; none: the lesson is proved
}

// Prove simulates a lesson on the bench of its board and that of its transfer question. The error
// is of a render; what does not hold is in Faults.
func Prove(ctx context.Context, l *Lesson, own, transfer *Bench) (p *Proof, err error) {
	p = &Proof{}
	if p.Values, err = own.Values(ctx, l.Facts, ""); err != nil {
		return nil, err
	}
	if p.Other, err = transfer.Values(ctx, l.Transfer.Facts, ""); err != nil {
		return nil, fmt.Errorf("transfer: %w", err)
	}
	add := func(where, text string) {
		if text != "" {
			p.Faults = append(p.Faults, where+": "+text)
		}
	}
	for _, v := range p.Values {
		add("facts", v.Fault())
	}
	for _, v := range p.Other {
		add("transfer.facts", v.Fault())
	}
	for _, c := range l.Predict.Proof {
		add("predict", c.Fails(p.Values))
	}
	for _, c := range l.Hear.Proof {
		add("hear", c.Fails(p.Values))
	}
	for _, c := range l.Transfer.Proof {
		add("transfer", c.Fails(p.Other))
	}
	if p.Heard, err = own.Hear(ctx, l.Hear); err != nil {
		return nil, err
	}
	add("hear", p.Heard.Kept(l.Hear))
	if h := l.Hands; h != nil {
		if p.Start, err = own.Values(ctx, h.Facts, h.Take); err != nil {
			return nil, err
		}
		if p.End, err = own.Values(ctx, h.Facts, h.Solution); err != nil {
			return nil, err
		}
		if Reached(h.Reach, p.Start) {
			add("hands", "the goal is reached before anything is done")
		}
		for _, c := range h.Reach {
			add("hands, solution", c.Fails(p.End))
		}
	}
	return p, nil
}

// Reached reports whether all claims hold.
func Reached(claims []Claim, values []Value) bool {
	for _, c := range claims {
		if c.Fails(values) != "" {
			return false
		}
	}
	return true
}
