package why

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/internal/phrase"
	"drywire/chains/measures"
)

// Goal is a wanted change: how loud a take is to be against another, and what is not to change.
type Goal struct {
	Take   string   `json:"take"`
	Louder float64  `json:"louder_lu"` // than Than; under 0: softer
	Than   string   `json:"than"`
	Limits []string `json:"limits"` // as written: "no more distortion"

	limits []limit
}

// limit is what must not change, against the take as it is.
type limit struct {
	text    string
	measure *measures.Measure
	sign    float64 // 1: no more; -1: no less
	step    float64 // the change that counts
}

// limits is all that a goal may name. The steps are those from which on a comparison speaks of a
// change: a just noticeable one, common practice, no source.
func limits() (list []limit) {
	for _, one := range []struct {
		word    string
		measure *measures.Measure
		step    float64
	}{
		{"distortion", measures.THDChange, 3}, {"noise", measures.NoiseChange, 1},
		{"bass", measures.BassChange, 1}, {"middle", measures.MiddleChange, 1}, {"treble", measures.TrebleChange, 1},
		{"sustain", measures.SustainChange, 0.2},
	} {
		list = append(list, limit{"no more " + one.word, one.measure, 1, one.step}, limit{"no less " + one.word, one.measure, -1, one.step})
	}
	return list
}

// goalShape is what every error of ParseGoal ends in.
const goalShape = `a goal reads "lead: 3 LU louder than verse, no more distortion"`

// within is how near to a goal counts as there, in LU: comments on level vanish at 0.5 dB (common
// practice, no source).
const within = 0.5

// ParseGoal reads a goal: TAKE: NUMBER LU louder|softer than TAKE {, no more|less WHAT}. Names are
// of takes, or of presets. The error says which part is not understood, and what may stand there.
func ParseGoal(f *board.File, text string) (*Goal, error) {
	bad := func(format string, args ...any) (*Goal, error) {
		return nil, fmt.Errorf(format+"; "+goalShape, args...)
	}
	name, rest, ok := nameAt(f, text, ":")
	if !ok {
		return bad("a goal begins with the take that it is for, and a colon")
	}
	g := &Goal{Take: name, Limits: []string{}}
	first := comparison.FindStringSubmatch(rest)
	if first == nil {
		return bad("%q is not a number, LU, louder or softer, than, and a take", strings.TrimSpace(rest))
	}
	by, err := strconv.ParseFloat(first[1], 64)
	if err != nil || !(by >= 0 && by <= 40) {
		return bad("%q is not a number of LU from 0 to 40", first[1])
	}
	if g.Louder = by; first[2] == "softer" {
		g.Louder = -by
	}
	than, behind, more := nameAt(f, first[3], ",")
	var clauses []string
	if g.Than = than; more {
		clauses = strings.Split(behind, ",")
	}
	for _, n := range []string{g.Take, g.Than} {
		if _, ok := namedTake(f, n); !ok {
			names := takeNames(f)
			hint := ""
			if near := file.Nearest(n, names); near != "" {
				hint = fmt.Sprintf("; did you mean %q?", near)
			}
			return nil, fmt.Errorf("no take or preset %q%s (there are: %s)", n, hint, strings.Join(names, ", "))
		}
	}
	if g.Take == g.Than {
		return bad("%q cannot be louder than itself", g.Take)
	}
	var words []string
	for _, l := range limits() {
		words = append(words, l.text)
	}
	for _, c := range clauses {
		c = strings.Join(strings.Fields(c), " ")
		k := slices.Index(words, c)
		if k < 0 {
			hint := ""
			if near := file.Nearest(c, words); near != "" {
				hint = fmt.Sprintf("; did you mean %q?", near)
			}
			return nil, fmt.Errorf("%q is no limit of a goal%s (there are: %s)", c, hint, strings.Join(words, ", "))
		}
		if !slices.Contains(g.Limits, c) {
			g.Limits, g.limits = append(g.Limits, c), append(g.limits, limits()[k])
		}
	}
	return g, nil
}

// comparison is the clause behind the colon, with all that follows.
var comparison = regexp.MustCompile(`^\s*(\S+)\s+LU\s+(louder|softer)\s+than\s+(.*)$`)

// nameAt is the name that a text begins with, up to a separator, and what is behind that: the
// longest name of a take or preset that fits, since names may hold either, or all before the first.
// ok is false where there is no separator.
func nameAt(f *board.File, text, separator string) (name, rest string, ok bool) {
	text = strings.TrimSpace(text)
	for _, n := range takeNames(f) {
		behind, fits := strings.CutPrefix(text, n)
		behind = strings.TrimSpace(behind)
		if fits && len(n) > len(name) && (behind == "" || strings.HasPrefix(behind, separator)) {
			name = n
			rest, ok = strings.CutPrefix(behind, separator)
		}
	}
	if name == "" {
		name, rest, ok = strings.Cut(text, separator)
		name = strings.TrimSpace(name)
	}
	return name, rest, ok
}

// namedTake is the take of that name, or the preset of that name as a take.
func namedTake(f *board.File, name string) (board.Take, bool) {
	for _, t := range f.Takes {
		if t.Name == name {
			return t, true
		}
	}
	if p := f.Preset(name); p != nil {
		return board.Take{Name: name, Preset: name}, true
	}
	return board.Take{}, false
}

func takeNames(f *board.File) (names []string) {
	for _, t := range f.Takes {
		names = append(names, t.Name)
	}
	for _, p := range f.Presets {
		if !slices.Contains(names, p.Name) {
			names = append(names, p.Name)
		}
	}
	return names
}

// Reached is what is known of a goal. It is also the JSON object that the command prints.
type Reached struct {
	Goal     *Goal           `json:"goal"`
	Now      measures.Figure `json:"now_lu"` // of the take against the other, as it is
	There    bool            `json:"there"`  // it is reached as it is
	Sentence string          `json:"sentence"`
	Ways     []Way           `json:"ways"` // best first, each rendered again at normal quality
	Tried    int             `json:"tried"`
}

// Way is a change that reaches a goal.
type Way struct {
	Fix
	Limits []measures.Figure `json:"limits"` // the change of each, against the take as it is
}

// GoalQuestion is what is asked.
type GoalQuestion struct {
	Question
	Goal *Goal
}

// Reach looks for settings and changes by which a goal is reached: every knob over its whole
// travel, from end to end with its middle between, and every other single change. The error is of a
// render, or of the context.
func Reach(ctx context.Context, q GoalQuestion) (*Reached, error) {
	take, _ := namedTake(q.File, q.Goal.Take)
	than, _ := namedTake(q.File, q.Goal.Than)
	f := newFinder(q.Question, take, goalSeconds, goalSeconds)
	f.q.Complaint, f.answer = &Complaint{Measure: measures.LoudnessAtEnd, Itself: measures.LevelChange, Relative: true}, &Answer{}
	r := &Reached{Goal: q.Goal, Ways: []Way{}}
	s := &reacher{finder: f, goal: q.Goal, out: r}
	for _, b := range []experiment.Bench{f.draft, f.normal} {
		v, err := b.Measure(ctx, f.f.Of(than), measures.LoudnessAtEnd)
		if err != nil {
			return nil, err
		}
		f.against[b] = v[0]
	}
	var err error
	if r.Now, err = f.value(ctx, f.normal, take); err != nil {
		return nil, err
	}
	if r.There = r.Now.OK() && math.Abs(r.Now.Value-q.Goal.Louder) <= within; !r.There && r.Now.OK() {
		if err := s.search(ctx); err != nil {
			return nil, err
		}
	}
	r.Tried = f.answer.Tried
	r.Sentence = s.sentence()
	return r, nil
}

// goalSeconds is how much of a recording a goal is judged by, in draft as at normal quality: what is
// found within 0.5 LU must not lie elsewhere in another stretch.
const goalSeconds = 2

// reacher works on one goal.
type reacher struct {
	*finder
	goal *Goal
	out  *Reached

	blind string // a limit that could not be measured, and why
}

// travel is a knob with what was measured over it.
type travel struct {
	knob   *knob
	at     []float64 // positions, ascending
	values []measures.Figure
}

// refinements is how often a piece of a knob's travel is halved: to a hundredth of it and less.
const refinements = 6

func (s *reacher) search(ctx context.Context) error {
	var knobs []*knob
	var others []change
	for _, c := range s.c.all() {
		switch {
		case c.block == "" && c.sort == "set": // cables and the guitar: not what a preset is made of
		case c.knob == nil:
			others = append(others, c)
		case len(knobs) == 0 || knobs[len(knobs)-1].target != c.knob.target:
			knobs = append(knobs, c.knob)
		}
	}
	s.total = 3*len(knobs) + min(len(others), mostTried) + s.q.Fixes
	others = s.promising(others)
	var takes []board.Take
	for _, c := range others {
		takes = append(takes, c.do(s.take))
	}
	travels := make([]travel, len(knobs))
	for k, n := range knobs {
		travels[k].knob = n
		for _, at := range []float64{n.low, (n.low + n.high) / 2, n.high} {
			if one := s.c.position(n, at); one != nil {
				travels[k].at = append(travels[k].at, at)
				takes = append(takes, one.do(s.take))
			}
		}
	}
	values, err := s.each(ctx, takes)
	if err != nil {
		return err
	}
	var found []change
	for k, c := range others {
		if s.near(values[k]) {
			found = append(found, c)
		}
	}
	values = values[len(others):]
	turned := make([]*change, len(travels))
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k := range travels {
		t := &travels[k]
		t.values, values = values[:len(t.at)], values[len(t.at):]
		g.Go(func() (err error) {
			turned[k], err = s.crossing(inner, t)
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for _, c := range turned {
		if c != nil {
			found = append(found, *c)
		}
	}
	return s.confirm(ctx, found)
}

// near reports whether a value is at the goal.
func (s *reacher) near(v measures.Figure) bool {
	return v.OK() && math.Abs(v.Value-s.goal.Louder) <= within
}

// crossing is the position of a knob at which the goal is met, the nearest one to where it is; nil
// where there is none.
func (s *reacher) crossing(ctx context.Context, t *travel) (*change, error) {
	now, err := s.value(ctx, s.draft, s.take)
	if err != nil {
		return nil, err
	}
	at, values := slices.Clone(t.at), slices.Clone(t.values)
	k, _ := slices.BinarySearch(at, t.knob.now)
	at, values = slices.Insert(at, k, t.knob.now), slices.Insert(values, k, now)
	pieces := make([]int, len(at)-1)
	for j := range pieces {
		pieces[j] = j
	}
	// those next to where it is first
	slices.SortStableFunc(pieces, func(x, y int) int { return cmp.Compare(away(x, k), away(y, k)) })
	for _, j := range pieces {
		a, b := values[j], values[j+1]
		if !a.OK() || !b.OK() || (a.Value-s.goal.Louder)*(b.Value-s.goal.Louder) > 0 {
			continue
		}
		low, high, rises := at[j], at[j+1], b.Value > a.Value
		for range refinements {
			middle := (low + high) / 2
			one := s.c.position(t.knob, middle)
			if one == nil {
				break
			}
			v, err := s.value(ctx, s.draft, one.do(s.take))
			if err != nil {
				return nil, err
			}
			if (v.OK() && v.Value < s.goal.Louder) == rises {
				low = middle
			} else {
				high = middle
			}
		}
		return s.c.position(t.knob, (low+high)/2), nil
	}
	return nil, nil
}

// away is how many pieces a piece is from the position k.
func away(piece, k int) int { return min(abs(piece-k), abs(piece+1-k)) }

func abs(n int) int { return max(n, -n) }

// confirm renders what was found again at normal quality, and keeps what holds.
func (s *reacher) confirm(ctx context.Context, found []change) error {
	ways := make([]*Way, len(found))
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, c := range found {
		g.Go(func() (err error) {
			ways[k], err = s.way(inner, c)
			s.one()
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for _, w := range ways {
		if w != nil {
			s.out.Ways = append(s.out.Ways, *w)
		}
	}
	slices.SortStableFunc(s.out.Ways, func(x, y Way) int {
		return cmp.Or(cmp.Compare(x.loses, y.loses), cmp.Compare(x.Plugs, y.Plugs), cmp.Compare(x.heard, y.heard))
	})
	s.out.Ways = s.out.Ways[:min(len(s.out.Ways), s.q.Fixes)]
	return nil
}

// way is a change rendered anew; nil where it does not hold what was asked for.
func (s *reacher) way(ctx context.Context, c change) (*Way, error) {
	t := c.do(s.take)
	t.Name = clipped(c.text, 60)
	v, err := s.value(ctx, s.normal, t)
	if err != nil || !s.near(v) {
		return nil, err
	}
	other := s.f.Of(t)
	list := slices.Clone(heard)
	for _, l := range s.goal.limits {
		if !slices.Contains(list, l.measure) {
			list = append(list, l.measure)
		}
	}
	changed, err := s.normal.Changes(ctx, list, s.c.at, other, s.draft)
	if err != nil {
		return nil, err
	}
	w := &Way{Limits: []measures.Figure{}, Fix: s.fixOf(c, t, v, changed)}
	for _, l := range s.goal.limits {
		f := changed.Of(l.measure)
		if !f.OK() {
			s.mu.Lock()
			s.blind = fmt.Sprintf(" Whether there is %s cannot be measured: %s.", l.text, f.Why)
			s.mu.Unlock()
		}
		if !f.OK() || l.sign*f.Value >= l.step {
			return nil, nil
		}
		w.Limits = append(w.Limits, f)
	}
	return w, nil
}

// sentence is the answer in words.
func (s *reacher) sentence() string {
	g, r := s.goal, s.out
	want := fmt.Sprintf("%.3g LU louder than %q", g.Louder, g.Than)
	if g.Louder < 0 {
		want = fmt.Sprintf("%.3g LU softer than %q", -g.Louder, g.Than)
	}
	now := fmt.Sprintf("%q is %.1f LU louder than %q", g.Take, r.Now.Value, g.Than)
	if r.Now.Value < 0 {
		now = fmt.Sprintf("%q is %.1f LU softer than %q", g.Take, -r.Now.Value, g.Than)
	}
	with := ""
	if len(g.Limits) > 0 {
		with = ", with " + strings.Join(g.Limits, " and ")
	}
	switch {
	case !r.Now.OK():
		return fmt.Sprintf("Not measurable: %s.", r.Now.Why)
	case r.There:
		return fmt.Sprintf("It is there already: %s.", now)
	case len(r.Ways) == 0:
		return fmt.Sprintf("%s, and no single change makes it %s%s.%s", phrase.Capital(now), want, with, s.blind)
	}
	return fmt.Sprintf("%s. To have it %s%s: %s (then %+.1f LU).", phrase.Capital(now), want, with, r.Ways[0].Text, r.Ways[0].Value.Value)
}
