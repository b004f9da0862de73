// Package because tells why two takes of a file sound apart: what they differ in, and of these
// differences, undone one at a time and measured, which makes the change.
//
// Start reading at Moment.Between, then Differences.
package because

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/phrase"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Because says why one take sounds other than another: their differences are undone one at a time,
// and what is left of the change is measured each time. It is also the JSON object of the page.
type Because struct {
	Sentence string          `json:"sentence"` // "" where the takes do not differ
	Measure  string          `json:"measure"`  // what is gone by: the change that is clearest
	Unit     string          `json:"unit"`
	Full     measures.Figure `json:"full"`   // of B against A
	Parts    []Part          `json:"parts"`  // the one that makes most of it first
	Blocks   []string        `json:"blocks"` // that the first is about
}

// Part is one difference, and what is left of the change without it.
type Part struct {
	Text string          `json:"text"`
	Left measures.Figure `json:"left"`
	Gone float64         `json:"gone"` // share of the change that goes with it; over 1 where it turns round
}

// Moment is what a Because is judged by: the loudest seconds of a recording, in draft quality.
type Moment struct{ bench experiment.Bench }

// MomentMemory is how many bytes of signals are remembered for one.
const MomentMemory = 64 << 20

// moment is how many seconds of the recording it is.
const moment = 2.0

// NewMoment is for what was played.
func NewMoment(recording experiment.Dry, rate dsp.Hertz) Moment {
	return Moment{experiment.NewBench(experiment.LoudestOf(recording, rate, moment), rate, section.Draft, MomentMemory)}
}

// Of the change: what makes at least mostOf of it makes it; what makes less than someOf is not
// spoken of. Common practice, no source.
const (
	mostOf = 0.75
	someOf = 0.25
)

// Between says why b sounds other than a, two takes of a file; it calls a by that name. Respects is
// what they differ in, as a comparison has found it, the clearest first; where it is empty, it goes
// by what is left when one is taken from the other. The error is of a render, or of the context.
func (m Moment) Between(ctx context.Context, f *board.File, a, b board.Take, called string, respects []string) (*Because, error) {
	list := Differences(f, a, b, called)
	out := &Because{Parts: []Part{}, Blocks: []string{}}
	if len(list) == 0 {
		return out, nil
	}
	from, to := f.Of(f.Owned(a)), f.Of(f.Owned(b))
	measure, full, err := m.clearest(ctx, from, to, respects)
	if err != nil {
		return nil, err
	}
	out.Measure, out.Unit, out.Full = measure.Name, measure.Shown(), full
	takes := make([]board.Take, len(list))
	for k, d := range list {
		takes[k] = d.Back
	}
	left, err := m.changes(ctx, measure, f, from, takes)
	if err != nil {
		return nil, err
	}
	order := make([]int, len(list))
	for k := range order {
		order[k] = k
	}
	parts := make([]Part, len(list))
	for k, d := range list {
		parts[k] = Part{d.Text, left[k], share(measure, full, left[k])}
	}
	slices.SortStableFunc(order, func(x, y int) int { return byGone(parts[x], parts[y]) })
	for _, k := range order {
		out.Parts = append(out.Parts, parts[k])
	}
	first := list[order[0]]
	out.Blocks = append(out.Blocks, first.Blocks...)
	past := ""
	if out.Parts[0].Gone >= someOf && len(first.steps) > 0 {
		if past, err = m.past(ctx, measure, f, from, first, full, out.Parts[0].Left); err != nil {
			return nil, err
		}
	}
	out.Sentence = out.sentence(measure, past)
	return out, nil
}

// byGone compares parts: what leaves less of the change comes first.
func byGone(x, y Part) int {
	far := func(p Part) float64 { return math.Abs(1 - p.Gone) }
	switch {
	case far(x) < far(y):
		return -1
	case far(x) > far(y):
		return 1
	}
	return 0
}

// share is how much of a change is gone where so much is left. What rounding leaves counts as
// nothing left.
func share(m *measures.Measure, full, left measures.Figure) float64 {
	switch {
	case m == measures.Null: // levels: of the amplitude that is left over
		if !left.OK() {
			return 1
		}
		if !full.OK() {
			return 0
		}
		return 1 - dsp.FromDB(left.Value-full.Value)
	case !full.OK() || !left.OK() || full.Value == 0:
		return 0
	}
	return 1 - left.Value/full.Value
}

// clearest is the measure of the change that is clearest, and its value.
func (m Moment) clearest(ctx context.Context, a, b *board.Chain, respects []string) (*measures.Measure, measures.Figure, error) {
	of := map[string][]*measures.Measure{
		"level": {measures.LevelChange}, "noise": {measures.NoiseChange}, "distortion": {measures.THDChange}, "decay": {measures.SustainChange},
		"tone": {measures.TrebleChange, measures.MiddleChange, measures.BassChange},
	}
	for _, r := range append(slices.Clone(respects), "") {
		list := of[r]
		if r == "" {
			list = []*measures.Measure{measures.Null}
		}
		var best *measures.Measure
		var most measures.Figure
		for _, one := range list {
			f, err := m.bench.Change(ctx, one, a, b)
			if err != nil {
				return nil, f, err
			}
			if best == nil || f.OK() && math.Abs(f.Value) > math.Abs(most.Value) {
				best, most = one, f
			}
		}
		// a respect of the whole recording may not be there in its loudest moment
		if r == "" || best != nil && most.OK() && most.Value != 0 {
			return best, most, nil
		}
	}
	panic("why: the last respect is none")
}

// changes is the measure of each take against a chain.
func (m Moment) changes(ctx context.Context, measure *measures.Measure, f *board.File, from *board.Chain, takes []board.Take) ([]measures.Figure, error) {
	values := make([]measures.Figure, len(takes))
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, t := range takes {
		g.Go(func() (err error) {
			values[k], err = m.bench.Change(inner, measure, from, f.Of(t))
			return err
		})
	}
	return values, g.Wait()
}

// past is the block whose passing makes most of what the move makes; "" where no single one does.
func (m Moment) past(ctx context.Context, measure *measures.Measure, f *board.File, from *board.Chain, d Difference, full, left measures.Figure) (string, error) {
	takes := make([]board.Take, len(d.steps))
	for k, s := range d.steps {
		takes[k] = s.take
	}
	values, err := m.changes(ctx, measure, f, from, takes)
	if err != nil {
		return "", err
	}
	whole, was := share(measure, full, left), 0.0
	for k, v := range values {
		now := share(measure, full, v)
		if (now-was)/whole >= mostOf {
			return d.steps[k].past, nil
		}
		was = now
	}
	return "", nil
}

// sentence is the answer in words.
func (o *Because) sentence(m *measures.Measure, past string) string {
	first := o.Parts[0]
	counts := ""
	if past != "" {
		counts = "; it is " + past + " that counts"
	}
	switch {
	case m == measures.Null && !o.Full.OK():
		return fmt.Sprintf("%s. It changes nothing that is played.", phrase.Capital(first.Text))
	case len(o.Parts) == 1 && m == measures.Null: // in nothing that a player has a word for
		return fmt.Sprintf("All that differs: %s%s.", first.Text, counts)
	case len(o.Parts) == 1:
		return fmt.Sprintf("Because %s%s.", first.Text, counts)
	case first.Gone >= mostOf:
		return fmt.Sprintf("Because %s%s: undone, %s.", first.Text, counts, o.shrinks(m, first))
	case first.Gone >= someOf:
		text := fmt.Sprintf("Partly because %s%s: undone, %s.", first.Text, counts, o.shrinks(m, first))
		if second := o.Parts[1]; second.Gone >= someOf {
			text += fmt.Sprintf(" And %s: undone, %s.", second.Text, o.shrinks(m, second))
		}
		return text
	}
	return fmt.Sprintf("No single one of %d differences makes it: they do it together.", len(o.Parts))
}

// shrinks is what is left of the change, in words.
func (o *Because) shrinks(m *measures.Measure, p Part) string {
	if m == measures.Null {
		if !p.Left.OK() {
			return "both are the same"
		}
		return fmt.Sprintf("%.0f %% of what differs is gone", 100*p.Gone)
	}
	said := func(f measures.Figure) string {
		text := strings.Replace(fmt.Sprintf("%+.*f", m.Digits, f.Value), "-", "−", 1)
		if strings.Trim(text, "+−0.") == "" {
			text = "0"
		}
		return text + " " + o.Unit
	}
	return fmt.Sprintf("%s of %s becomes %s", said(o.Full), m.Name, said(p.Left))
}
