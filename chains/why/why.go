// Package why answers a complaint about a take: what causes it, what does not, and what to do. Its
// one method is the counterfactual: change one thing, simulate again, compare. Nothing is printed
// by a rule of thumb.
//
// A cause is a block whose absence makes the complaint go away (necessary), or that brings it about
// alone with the rest neutral (sufficient). Where two are as loud as each other, taking one out
// takes half of it away, so pairs are taken out as well. What to do is every single change that a
// player could make, tried at draft quality on the worst second of the recording, and the best of
// them again at normal quality on as much of it as a comparison would play.
//
// Start reading at Answer, then at finder.run; complaints.go is the list of what players say.
package why

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Answer is what is known of a complaint. It is also the JSON object that the command prints.
type Answer struct {
	Complaint *Complaint      `json:"complaint"`
	Take      string          `json:"take"`
	Value     measures.Figure `json:"value"` // of the take as it is, at normal quality
	Limit     float64         `json:"limit"`
	Holds     bool            `json:"holds"`
	Sentence  string          `json:"sentence"`
	Causes    []Cause         `json:"causes"`    // what causes it, strongest first
	RuledOut  []Cause         `json:"ruled_out"` // taken out, nothing changes
	Helpers   []Cause         `json:"helpers"`   // taken out, it gets worse
	About     []string        `json:"about"`     // without these, there is nothing to measure
	Bare      measures.Figure `json:"bare"`      // without any pedal
	Fixes     []Fix           `json:"fixes"`     // what to do, best first
	Confirm   string          `json:"confirm"`   // the one experiment on the floor that tells
	Unknown   string          `json:"unknown"`
	At        string          `json:"at,omitempty"`   // the jack; "" for the end
	Held      string          `json:"held,omitempty"` // what moves while it plays, and stands still here
	Tried     int             `json:"tried"`          // variants that were simulated
	Changes   int             `json:"changes"`        // single changes that a player could make
	Left      int             `json:"left"`           // of them, those that were not tried: the least promising
}

// Cause is what taking a block out does, or two.
type Cause struct {
	Blocks     []string        `json:"blocks"`
	Without    measures.Figure `json:"without"` // the measure without them
	Gain       float64         `json:"gain"`    // by how much that is better
	Alone      measures.Figure `json:"alone"`   // the measure with no other pedal
	Necessary  bool            `json:"necessary"`
	Sufficient bool            `json:"sufficient"`
}

// Fix is a change, or two, and what it does.
type Fix struct {
	Text     string          `json:"text"`
	Value    measures.Figure `json:"value"` // at normal quality
	Gain     float64         `json:"gain"`
	Cures    bool            `json:"cures"`
	Plugs    int             `json:"plugs"`
	TakeText string          `json:"take"` // to paste into takes
	Needs    string          `json:"needs,omitempty"`
	Side     string          `json:"side"` // the other audible changes, at equal loudness

	Lines []string   `json:"-"` // the same, a key on each
	Take  board.Take `json:"-"` // the same, of a file with NewBuffer where Needs says so
	loses int
	heard int // how much else changes
}

// Question is what is asked.
type Question struct {
	File      *board.File // with the impulse responses that it names
	Take      string      // a take's name
	Complaint *Complaint
	At        string         // the jack at which the complaint is judged; "" for the end
	Recording experiment.Dry // as much of it as is to be judged by
	Rate      dsp.Hertz
	Fixes     int                   // how many are confirmed at normal quality
	Progress  func(done, total int) // nil: no progress is wanted
	Memory    int                   // bytes of signals that are remembered; 0: 512 MiB
	// waited for before every variant, and done called after it; nil: nobody else needs the
	// processors
	Turn func(context.Context) (done func(), err error)
}

// UsualFixes is how many changes are simulated again at normal quality where nobody says.
const UsualFixes = 4

// usualMemory is how many bytes of signals are remembered by default.
const usualMemory = 512 << 20

// finder answers one question.
type finder struct {
	q      Question
	f      *board.File // with a buffer more
	take   board.Take
	c      *changer
	draft  experiment.Bench
	normal experiment.Bench
	base   measures.Figure // of the take as it is, by draft
	shift  float64         // what the take has by normal over what it has by draft
	// what a relative complaint compares with, by draft and by normal
	against map[experiment.Bench]measures.Figure
	answer  *Answer

	mu          sync.Mutex
	done, total int
}

// Ask answers. The error is of a render, of the context, or of a take that the file does not have.
func Ask(ctx context.Context, q Question) (*Answer, error) {
	f, err := prepared(q)
	if err != nil {
		return nil, err
	}
	return f.answer, f.run(ctx)
}

// Judge only says whether a complaint holds, and with what value. Its error is as Ask's.
func Judge(ctx context.Context, q Question) (*Answer, error) {
	f, err := prepared(q)
	if err != nil {
		return nil, err
	}
	_, err = f.holds(ctx)
	return f.answer, err
}

// prepared is the finder of a question.
func prepared(q Question) (*finder, error) {
	at := slices.IndexFunc(q.File.Takes, func(t board.Take) bool { return t.Name == q.Take })
	if at < 0 {
		return nil, fmt.Errorf("no take %q", q.Take)
	}
	f := newFinder(q, q.File.Takes[at], screened, confirmed)
	f.answer = &Answer{
		At: q.At, Held: held(f.c.at), Complaint: q.Complaint, Take: q.Take, Limit: q.Complaint.Limit, Unknown: q.Complaint.Unknown,
		Causes: []Cause{}, RuledOut: []Cause{}, Helpers: []Cause{}, About: []string{}, Fixes: []Fix{},
	}
	return f, nil
}

// held says what moves in a chain while it plays, and that it stands still here; "" for nothing.
func held(c *board.Chain) string {
	text := board.Held(c)
	if _, what, ok := strings.Cut(text, ", what moves is held "); ok {
		return "what moves while it plays is held " + what
	}
	return text
}

// How many seconds of a recording changes are screened with, its loudest, and how many the best are
// confirmed with.
const (
	screened  = 1
	confirmed = 10
)

// newFinder is for a take, with so many seconds to screen and to confirm with.
func newFinder(q Question, t board.Take, screen, confirm float64) *finder {
	f := &finder{q: q, f: withBuffer(q.File), take: t, against: map[experiment.Bench]measures.Figure{}}
	memory := cmp.Or(q.Memory, usualMemory) / 2
	f.draft = experiment.NewBench(LoudestOf(q.Recording, q.Rate, screen), q.Rate, section.Draft, memory).Brief()
	f.normal = experiment.NewBench(LoudestOf(q.Recording, q.Rate, confirm), q.Rate, section.Normal, memory)
	f.c = &changer{file: f.f, take: f.take, at: f.f.Of(f.take), keep: q.File.Keep}
	return f
}

// holds judges the take as it is.
func (f *finder) holds(ctx context.Context) (bool, error) {
	a := f.answer
	err := f.reference(ctx, f.normal)
	if err != nil {
		return false, err
	}
	if a.Value, err = f.value(ctx, f.normal, f.take); err != nil {
		return false, err
	}
	if a.Holds = a.Complaint.Holds(a.Value); !a.Holds {
		a.Sentence = f.nothing()
	}
	return a.Holds, nil
}

func (f *finder) run(ctx context.Context) error {
	a := f.answer
	if holds, err := f.holds(ctx); !holds || err != nil {
		return err
	}
	if err := f.reference(ctx, f.draft); err != nil {
		return err
	}
	if err := f.calibrate(ctx); err != nil {
		return err
	}
	changes := f.c.all()
	a.Changes = len(changes)
	f.total = min(len(changes), mostTried) + 2*len(f.c.suspects()) + f.q.Fixes
	if err := f.causes(ctx); err != nil {
		return err
	}
	if err := f.fixes(ctx, f.promising(changes)); err != nil {
		return err
	}
	a.Sentence, a.Confirm = f.sentence(), f.confirm()
	return nil
}

// Loudest is the loudest stretch of a recording, so many seconds long, with half a second before
// it.
func Loudest(x []float64, rate, seconds float64) []float64 {
	n, lead := int(seconds*rate), int(rate/2)
	if len(x) <= n+lead {
		return x
	}
	sum, best, at := 0.0, -1.0, 0
	for k, v := range x {
		sum += v * v
		if k >= n {
			sum -= x[k-n] * x[k-n]
		}
		if k >= n-1 && sum > best {
			best, at = sum, k-n+1
		}
	}
	from := max(0, at-lead)
	return x[from : at+n]
}

// LoudestOf is that stretch of each recording.
func LoudestOf(d experiment.Dry, rate dsp.Hertz, seconds float64) experiment.Dry {
	return d.Each(func(x []float64) []float64 { return Loudest(x, float64(rate), seconds) })
}

// reference is the median of the other takes by a bench, for a complaint that compares.
func (f *finder) reference(ctx context.Context, b experiment.Bench) error {
	if !f.q.Complaint.Relative {
		return nil
	}
	var all []float64
	others := slices.DeleteFunc(slices.Clone(f.q.File.Takes), func(t board.Take) bool { return t.Name == f.q.Take })
	if f.take.Preset != "" && f.q.Complaint.Either {
		others = nil
		for _, p := range f.q.File.Presets {
			if p.Name != f.take.Preset {
				others = append(others, board.Take{Name: p.Name, Preset: p.Name, Guitar: f.take.Guitar})
			}
		}
	}
	for _, t := range others {
		v, err := f.measured(ctx, b, t)
		if err != nil {
			return err
		}
		if v[0].OK() {
			all = append(all, v[0].Value)
		}
	}
	if len(all) == 0 {
		f.against[b] = measures.None("there is nothing else to compare with")
		return nil
	}
	slices.Sort(all)
	f.against[b] = measures.Figure{Value: (all[(len(all)-1)/2] + all[len(all)/2]) / 2}
	return nil
}

// measured is the complaint's measure of a take, at the jack that is asked about; none where the
// take does not have it.
func (f *finder) measured(ctx context.Context, b experiment.Bench, t board.Take) ([]measures.Figure, error) {
	c := f.f.Of(t)
	if f.q.At != "" {
		if !slices.Contains(c.Jacks(), f.q.At) {
			return []measures.Figure{noJack(f.q.At)}, nil
		}
		heard := *c
		heard.Heard = f.q.At
		c = &heard
	}
	return b.Measure(ctx, c, f.q.Complaint.Measure)
}

// noJack is the figure of a take without the jack that is asked about.
func noJack(name string) measures.Figure { return measures.None("there is no jack %s", name) }

// cured reports whether a figure is on the right side of the limit; a take without the jack that is
// asked about cures nothing.
func (f *finder) cured(v measures.Figure) bool {
	return f.q.Complaint.cured(v) && (f.q.At == "" || v.Why != noJack(f.q.At).Why)
}

// value is the measure of a take, as it is complained of.
func (f *finder) value(ctx context.Context, b experiment.Bench, t board.Take) (measures.Figure, error) {
	v, err := f.read(ctx, b, t)
	if f.q.Complaint.Either {
		v.Value = math.Abs(v.Value)
	}
	return v, err
}

// read is the measure of a take, against what it is compared with.
func (f *finder) read(ctx context.Context, b experiment.Bench, t board.Take) (measures.Figure, error) {
	if f.q.Turn != nil {
		done, err := f.q.Turn(ctx)
		if err != nil {
			return measures.Figure{}, err
		}
		defer done()
	}
	v, err := f.measured(ctx, b, t)
	if err != nil {
		return measures.Figure{}, err
	}
	if f.q.Complaint.Relative {
		v[0] = v[0].Minus(f.against[b])
	}
	if b == f.draft && v[0].OK() {
		v[0].Value += f.shift
	}
	return v[0], nil
}

// calibrate finds by how much the worst second, in draft, reads other than what is confirmed with:
// so much is added to all that it reads, or what is gone would be judged by another limit.
func (f *finder) calibrate(ctx context.Context) error {
	sure, err := f.read(ctx, f.normal, f.take)
	if err != nil {
		return err
	}
	quick, err := f.read(ctx, f.draft, f.take)
	if err != nil {
		return err
	}
	if d := sure.Minus(quick); d.OK() {
		f.shift = d.Value
	}
	f.base, err = f.value(ctx, f.draft, f.take)
	return err
}

// each measures a list of takes on all cores, at draft quality. What cannot be rendered has no
// figure.
func (f *finder) each(ctx context.Context, takes []board.Take) ([]measures.Figure, error) {
	values := make([]measures.Figure, len(takes))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, t := range takes {
		g.Go(func() (err error) {
			values[k], err = f.quick(ctx, t)
			return err
		})
	}
	return values, g.Wait()
}

// quick measures one take at draft quality.
func (f *finder) quick(ctx context.Context, t board.Take) (measures.Figure, error) {
	v, err := f.value(ctx, f.draft, t)
	if err != nil && ctx.Err() != nil {
		return v, ctx.Err()
	}
	if err != nil {
		v = measures.None("%v", err)
	}
	f.one()
	return v, nil
}

// one counts a variant that has been simulated.
func (f *finder) one() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.done++
	f.answer.Tried++
	if f.q.Progress != nil {
		f.q.Progress(f.done, max(f.total, f.done))
	}
}

// causes takes every block out, alone and in pairs, and leaves every one alone.
func (f *finder) causes(ctx context.Context) error {
	a, names := f.answer, f.c.suspects()
	var takes []board.Take
	for _, n := range names {
		takes = append(takes, f.c.without(f.take, n))
	}
	for _, n := range names {
		rest := slices.DeleteFunc(slices.Clone(names), func(o string) bool { return o == n })
		takes = append(takes, f.c.without(f.take, rest...))
	}
	takes = append(takes, f.c.without(f.take, names...))
	values, err := f.each(ctx, takes)
	if err != nil {
		return err
	}
	a.Bare = values[len(values)-1]
	var list []Cause
	for k, n := range names {
		list = append(list, f.judge(Cause{Blocks: []string{n}, Without: values[k], Alone: values[len(names)+k]}))
	}
	slices.SortStableFunc(list, func(x, y Cause) int { return cmp.Compare(y.Gain, x.Gain) })
	if pairs := f.pairs(list); len(pairs) > 0 {
		takes = takes[:0]
		for _, p := range pairs {
			takes = append(takes, f.c.without(f.take, p...))
		}
		values, err := f.each(ctx, takes)
		if err != nil {
			return err
		}
		for k, p := range pairs {
			both := f.judge(Cause{Blocks: p, Without: values[k], Alone: measures.None("not looked at")})
			alone := 0.0
			for _, one := range list {
				if slices.Contains(p, one.Blocks[0]) {
					alone = max(alone, one.Gain)
				}
			}
			if both.Necessary && both.Gain > alone+f.worth() {
				list = append([]Cause{both}, list...)
				break
			}
		}
	}
	for _, c := range list {
		switch {
		case !c.Without.OK() && !f.cured(c.Without): // what it is about: without it there is nothing to measure
			a.About = append(a.About, c.Blocks...)
		case c.Gain >= f.worth() || c.Necessary || c.Sufficient:
			a.Causes = append(a.Causes, c)
		case c.Gain <= -f.worth():
			a.Helpers = append(a.Helpers, c)
		default:
			a.RuledOut = append(a.RuledOut, c)
		}
	}
	return nil
}

// worth is from where on a change of the measure is worth speaking of.
func (f *finder) worth() float64 { return f.q.Complaint.Step }

// most is the gain where nothing is left of it: JSON has no infinity.
const most = 999

func (f *finder) judge(c Cause) Cause {
	q := f.q.Complaint
	c.Necessary = f.cured(c.Without)
	c.Sufficient = len(c.Blocks) == 1 && q.Holds(c.Alone) && !q.Holds(f.answer.Bare)
	switch {
	case c.Without.OK():
		c.Gain = q.gain(f.base, c.Without)
	case c.Necessary: // there is nothing left of it
		c.Gain = most
	}
	return c
}

// pairs is two at a time of the first few that take a part of it away, where no single one takes
// all.
func (f *finder) pairs(list []Cause) (pairs [][]string) {
	var some []string
	for _, c := range list {
		if c.Necessary {
			return nil
		}
		if c.Gain >= f.worth() && len(some) < 4 {
			some = append(some, c.Blocks[0])
		}
	}
	for k, a := range some {
		for _, b := range some[k+1:] {
			pairs = append(pairs, []string{a, b})
		}
	}
	return pairs
}

// mostTried is how many single changes are tried: of a large board it is not all.
const mostTried = 120

// mostStill is how many knobs of causes are turned further though an hour of them does little.
const mostStill = 4

// isCause reports whether a block is one of the causes that were found.
func (f *finder) isCause(block string) bool {
	return slices.ContainsFunc(f.answer.Causes, func(c Cause) bool { return slices.Contains(c.Blocks, block) })
}

// promising is as many of the changes as are tried, what concerns a cause first: it goes by what
// taking blocks out has shown, and by nothing else.
func (f *finder) promising(all []change) []change {
	rank := func(c change) int {
		switch {
		case f.isCause(c.block):
			return 0
		case c.sort == "insert" || c.block == "":
			return 1
		case slices.ContainsFunc(c.passes, f.isCause):
			return 2
		case c.sort == "move":
			return 4
		}
		return 3
	}
	if len(all) <= mostTried {
		return all
	}
	list := slices.Clone(all)
	slices.SortStableFunc(list, func(x, y change) int { return cmp.Compare(rank(x), rank(y)) })
	f.answer.Left = len(list) - mostTried
	return list[:mostTried]
}

// fixes tries every change at draft quality, the best again at normal quality, and two of the best
// together.
func (f *finder) fixes(ctx context.Context, changes []change) error {
	a := f.answer
	takes := make([]board.Take, len(changes))
	for k, c := range changes {
		takes[k] = c.do(f.take)
	}
	values, err := f.each(ctx, takes)
	if err != nil {
		return err
	}
	type tried struct {
		change
		gain  float64
		cures bool
		plugs int
	}
	var best []tried
	for k, c := range changes {
		v := values[k]
		g := f.q.Complaint.gain(f.base, v)
		if !v.OK() {
			g = most
		}
		if cures := f.cured(v); v.OK() && g >= f.worth() || cures {
			best = append(best, tried{c, g, cures, plugs(f.c.at, f.f.Of(takes[k]))})
		}
	}
	// A knob that helps by an hour may cure it further round: as little as does.
	var knobs []tried
	for _, t := range best {
		if t.knob != nil && !t.cures {
			knobs = append(knobs, t)
		}
	}
	slices.SortStableFunc(knobs, func(x, y tried) int { return cmp.Compare(y.gain, x.gain) })
	// and one of a cause that does little in an hour may do it at last, or where a measure is at its
	// end: those first that go the right way
	var still []tried
	for k, c := range changes {
		g := f.q.Complaint.gain(f.base, values[k])
		if c.knob != nil && f.isCause(c.block) && values[k].OK() && math.Abs(g) < f.worth() {
			still = append(still, tried{change: c, gain: g})
		}
	}
	slices.SortStableFunc(still, func(x, y tried) int { return cmp.Compare(y.gain, x.gain) })
	still = still[:min(len(still), mostStill)]
	knobs = append(knobs[:min(len(knobs), 4)], still...)
	turned := make([]*tried, len(knobs))
	turning, within := errgroup.WithContext(ctx)
	turning.SetLimit(runtime.GOMAXPROCS(0))
	for k, t := range knobs {
		turning.Go(func() error {
			one, v, err := f.furthest(within, t.knob)
			if one != nil {
				turned[k] = &tried{*one, f.q.Complaint.gain(f.base, v), true, 0}
			}
			return err
		})
	}
	if err := turning.Wait(); err != nil {
		return err
	}
	for _, t := range turned {
		if t != nil {
			best = append(best, *t)
		}
	}
	slices.SortStableFunc(best, func(x, y tried) int {
		return cmp.Or(cmp.Compare(f.loses(x.change), f.loses(y.change)), byWorth(x.cures, y.cures, f.counted(x.gain), f.counted(y.gain), x.plugs, y.plugs))
	})
	var chosen []change
	seen := map[string]int{}
	for _, t := range best {
		what := t.sort + " " + t.block
		if t.sort == "remove" || t.sort == "bypass" { // one way to be without it
			what = "without " + t.block
		}
		if t.sort == "set" {
			what = t.text[:max(0, strings.LastIndex(t.text, " to "))]
		}
		if seen[what]++; seen[what] > 1 || len(chosen) >= f.q.Fixes {
			continue
		}
		chosen = append(chosen, t.change)
	}
	if len(chosen) >= 2 && !best[0].cures {
		x, y := chosen[0], chosen[1]
		if x.block != y.block {
			chosen = append([]change{{text: x.text + ", and " + y.text, sort: "two", do: func(t board.Take) board.Take { return y.do(x.do(t)) }}}, chosen...)
		}
	}
	sure := make([]*Fix, len(chosen))
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, c := range chosen {
		g.Go(func() (err error) {
			sure[k], err = f.confirmChange(inner, c)
			f.one()
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for _, fix := range sure {
		if fix != nil {
			a.Fixes = append(a.Fixes, *fix)
		}
	}
	slices.SortStableFunc(a.Fixes, func(x, y Fix) int {
		return cmp.Or(cmp.Compare(x.loses, y.loses), byWorth(x.Cures, y.Cures, f.counted(x.Gain), f.counted(y.Gain), x.Plugs+x.heard, y.Plugs+y.heard))
	})
	return nil
}

// furthest turns a knob the way that it goes, hour by hour, up to the first that cures; nil where
// none does.
func (f *finder) furthest(ctx context.Context, k *knob) (*change, measures.Figure, error) {
	was := ""
	for _, hours := range []float64{2, 3, 4, 6, 8, 10} {
		one := f.c.turned(k, hours)
		if one == nil || one.text == was { // at its end
			break
		}
		was = one.text
		v, err := f.quick(ctx, one.do(f.take))
		if err != nil {
			return nil, v, err
		}
		if v.OK() && f.cured(v) {
			return one, v, nil
		}
	}
	return nil, measures.Figure{}, nil
}

// mostLost is by how much softer, in LU, a change may make a take before it has taken the sound
// away rather than mended it: common practice, no source.
const mostLost = 12

// silenced is by how much softer, in LU, nothing is left that is played: what does that is not
// offered. Common practice, no source.
const silenced = 30

// loses is 1 for a change by which a sound of the board is lost: it comes after all that keep it. A
// buffer has none.
func (f *finder) loses(c change) int {
	if k := f.c.kindOf(c.block); (c.sort == "remove" || c.sort == "bypass") && k != nil && k.Name != "buffer" {
		return 1
	}
	return 0
}

// counted is as much of a gain as counts: what goes further than the cure needs, by a step that is
// worth speaking of, is worth no more.
func (f *finder) counted(gain float64) float64 {
	c := f.q.Complaint
	return min(gain, c.gain(f.base, measures.Figure{Value: c.Limit})+c.Step)
}

// byWorth compares two changes: what cures first, then by how much of a gain for how much trouble:
// plugs to move, and what else is heard.
func byWorth(curesX, curesY bool, gainX, gainY float64, plugsX, plugsY int) int {
	if curesX != curesY {
		if curesX {
			return -1
		}
		return 1
	}
	return cmp.Compare(gainY/float64(2+plugsY), gainX/float64(2+plugsX))
}

// confirmChange simulates a change at normal quality; nil where nothing is left of it. What test signals
// tell of what else changes is looked at in draft, as in every comparison.
func (f *finder) confirmChange(ctx context.Context, c change) (*Fix, error) {
	t := c.do(f.take)
	t.Name = clipped(c.text, 60)
	v, err := f.value(ctx, f.normal, t)
	if err != nil {
		return nil, err
	}
	fix := Fix{Gain: f.q.Complaint.gain(f.answer.Value, v), Cures: f.cured(v)}
	if !v.OK() {
		fix.Gain = most
	}
	if fix.Gain < f.worth() || !v.OK() && !fix.Cures {
		return nil, nil
	}
	changed, err := f.normal.Changes(ctx, heard, f.c.at, f.f.Of(t), f.draft)
	if err != nil {
		return nil, err
	}
	if level := changed.Of(measures.LevelChange); !level.OK() || level.Value < -silenced {
		return nil, nil
	}
	full := f.fixOf(c, t, v, changed)
	full.Gain, full.Cures = fix.Gain, fix.Cures
	return &full, nil
}

// fixOf is a change that makes a take, with the measure's value and what else changes.
func (f *finder) fixOf(c change, t board.Take, v measures.Figure, changed experiment.Changed) Fix {
	fix := Fix{Text: c.text, Value: v, loses: f.loses(c), Plugs: plugs(f.c.at, f.f.Of(t)), TakeText: edit.TakeText(t), Lines: edit.TakeLines(t), Take: t}
	if strings.Contains(fix.TakeText, NewBuffer) {
		fix.Needs = NewBuffer + ": {kind: buffer}"
	}
	fix.Side, fix.heard = side(changed, f.q.Complaint.Itself)
	if level := changed.Of(measures.LevelChange); level.OK() && level.Value < -mostLost || losesEchoes(changed) {
		fix.loses = 1
	}
	return fix
}

// clipped is a name that a take may have.
func clipped(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return text
}

// heard is what a change may do that is heard beside what it is made for.
var heard = []*measures.Measure{
	measures.LevelChange, measures.BassChange, measures.MiddleChange, measures.TrebleChange, measures.NoiseChange, measures.THDChange, measures.SustainChange,
	measures.LateChange,
}

// The steps from which on a distortion is spoken of, as a comparison does: common practice, no
// source.
const (
	moreDistorted = 3 // dB
	leastTHD      = 1 // %
)

// side says what else changes than a measure, at equal loudness, and in how much.
func side(p experiment.Changed, itself *measures.Measure) (text string, n int) {
	var list []string
	say := func(m *measures.Measure, most float64, more, less string) {
		f := p.Of(m)
		if m == itself || !f.OK() || math.Abs(f.Value) < most {
			return
		}
		word := more
		if f.Value < 0 {
			word = less
		}
		list = append(list, fmt.Sprintf("%.*f %s %s", m.Digits, math.Abs(f.Value), m.Shown(), word))
	}
	say(measures.LevelChange, 1, "louder", "softer")
	say(measures.BassChange, 1, "more bass", "less bass")
	say(measures.MiddleChange, 1, "more middle", "less middle")
	say(measures.TrebleChange, 1, "more treble", "less treble")
	say(measures.NoiseChange, 1, "more noise at equal loudness", "less noise at equal loudness")
	if f, was, is := p.Of(measures.THDChange), p.A.Of(measures.ToneTHD), p.B.Of(measures.ToneTHD); f.OK() && math.Abs(f.Value) >= moreDistorted && max(was.Value, is.Value) >= leastTHD {
		word := "more"
		if f.Value < 0 {
			word = "less"
		}
		list = append(list, fmt.Sprintf("%s distorted (THD %s, from %s)", word, distortion(is.Value), distortion(was.Value)))
	}
	say(measures.SustainChange, 0.2, "more sustain", "less sustain")
	if text := echoes(p); text != "" {
		list = append(list, text)
	}
	if len(list) == 0 {
		return "nothing else that a player would notice", 0
	}
	return strings.Join(list, ", "), len(list)
}

// distortion is a THD in percent as a player reads it: who hears a tenth of a per cent?
func distortion(percent float64) string {
	if percent < 0.1 {
		return "under 0.1 %"
	}
	return measures.Short(percent) + " %"
}

// What is later than 80 ms, in dB of all before: from where on a change is spoken of, which is three
// of the steps that are noticed in a hall (ISO 3382-1, from memory); under where there are no echoes
// to speak of; and by how much it may change before the echoes are lost, or the playing is.
const (
	otherEchoes = 3
	noEchoes    = -40
	lostEchoes  = 12
)

// echoes says what became of echoes and reverbs; "" where they are as they were, or there are none.
func echoes(p experiment.Changed) string {
	f, was, is := p.Of(measures.LateChange), p.A.Of(measures.Late), p.B.Of(measures.Late)
	switch {
	case !f.OK() || math.Abs(f.Value) < otherEchoes || max(was.Value, is.Value) < noEchoes:
		return ""
	case is.Value < noEchoes:
		return "the echoes are gone"
	case is.Value > 0 && f.Value > 0:
		return fmt.Sprintf("the echoes %.1f dB louder against the playing, which they drown", f.Value)
	case f.Value > 0:
		return fmt.Sprintf("the echoes %.1f dB louder against the playing", f.Value)
	}
	return fmt.Sprintf("the echoes %.1f dB softer against the playing", -f.Value)
}

// losesEchoes reports whether a change takes the echoes away, or the playing: it mends nothing, it
// takes a sound of the board away.
func losesEchoes(p experiment.Changed) bool {
	f, was, is := p.Of(measures.LateChange), p.A.Of(measures.Late), p.B.Of(measures.Late)
	return f.OK() && (was.Value >= noEchoes && f.Value <= -lostEchoes || is.Value > 0 && f.Value >= otherEchoes)
}
