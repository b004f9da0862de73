// Package sweep turns one knob over its travel in several takes, and finds what limits its useful
// range: the ceiling of a block behind it, noise, another preset's level, or that a further turn
// changes nothing audible. Every position is simulated; nothing is printed by a rule of thumb.
//
// Start reading at Answer, then at sweeper.ends; draw.go is the picture.
package sweep

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/why"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Positions is how many positions of a knob are simulated: every hour of its dial, from 7 to 5.
const Positions = 11

// What ends the travel of a knob.
const (
	Ceiling  = "ceiling"   // the peaks pass the ceiling of a block behind, or of the block itself
	Noise    = "noise"     // the noise comes too near to the playing
	Level    = "level"     // it is louder than the loudest other preset by more than a jump
	NoChange = "no change" // turning further is inaudible
)

// Answer is a knob over its travel. It is also the JSON object that the command prints.
type Answer struct {
	Block string   `json:"block"`
	Knob  string   `json:"knob"`
	Unit  string   `json:"unit"` // of values, as people write it; "" of a dial
	Takes []Travel `json:"takes"`
}

// Travel is the knob over its travel in one take.
type Travel struct {
	Take string  `json:"take"`
	Now  float64 `json:"now"` // where the take has it
	// the block behind, with a ceiling, that points speak of; "" for what the chain ends in
	Next   string  `json:"next"`
	Points []Point `json:"points"`
	// what limits its useful range, the lowest position first; none where all of it is useful
	Ends []End `json:"ends"`
}

// Point is one position. Levels at the next block are voltages at its input, in dBu.
type Point struct {
	Clock      string          `json:"clock"`
	Value      float64         `json:"value"`
	Loudness   measures.Figure `json:"loudness_at_end_lufs"`
	Distortion measures.Figure `json:"distortion_at_end_percent"`
	OverHiss   measures.Figure `json:"playing_over_hiss_db"`
	Average    measures.Figure `json:"into_next_average_dbu"`
	Peak       measures.Figure `json:"into_next_peak_dbu"`
	Noise      measures.Figure `json:"into_next_noise_dbu"`
	Colour     measures.Figure `json:"next_colour_dbu"`
	Ceiling    measures.Figure `json:"next_ceiling_dbu"`
	Clean      measures.Figure `json:"next_clean_headroom_db"`
	Headroom   measures.Figure `json:"next_headroom_db"`
	Over       measures.Figure `json:"next_over_share"` // of the time, 0 to 1

	text  string            // the value as it is written
	rungs []experiment.Rung // behind the block
	own   measures.Figure   // headroom of the block itself; none where it is over from the start
}

// End is where the useful travel ends, for one reason.
type End struct {
	What  string  `json:"what"`
	Block string  `json:"block,omitempty"` // of a ceiling
	At    float64 `json:"at"`              // share of the travel, 0 to 1
	Clock string  `json:"clock"`
	Text  string  `json:"text"` // a sentence
}

// Question is what is asked.
type Question struct {
	File        *board.File // with the impulse responses that it names
	Takes       []string    // names; all must have the block in their path
	Block, Knob string
	Recording   experiment.Dry // its loudest moment is played
	Rate        dsp.Hertz
	Quality     section.Quality
	Progress    func(done, total int) // nil: no progress is wanted
	Memory      int                   // bytes of signals that are remembered; 0: 512 MiB
	// waited for before every position, and done called after it; nil: nobody else needs the
	// processors
	Turn func(context.Context) (done func(), err error)
}

// What is judged by: the limits of the complaints, so that both say the same.
var (
	hiss = why.Find("hiss").Limit     // dB(A) of playing over hiss
	jump = why.Find("too-loud").Limit // LU
)

// worse is by how many dB the playing has to come nearer to the hiss to be spoken of: twice the
// noise power.
const worse = 3

// step is the inaudible change of level, in LU: the textbook's difference limen for wide-band
// noise.
const step = 0.5

// usualMemory is how many bytes of signals are remembered by default.
const usualMemory = 512 << 20

// Knob is the knob of a block of a file. The error names the nearest one, or says why it has no
// travel.
func Knob(f *board.File, block, name string) (blocks.Knob, error) {
	var all, knobs []string
	for _, b := range f.Blocks {
		if all = append(all, b.Name); b.Name != block {
			continue
		}
		for _, k := range b.Kind.Knobs {
			if k.Words == nil && k.Name != "supply" {
				knobs = append(knobs, k.Name)
			}
		}
		k, ok := b.Kind.Knob(name)
		switch {
		case slices.Contains(knobs, name):
			return k, nil
		case ok:
			return k, fmt.Errorf("%s.%s is a switch; a sweep needs a knob that is turned (%s)", block, name, strings.Join(knobs, ", "))
		}
		return k, fmt.Errorf("no knob %q of %s%s (there are: %s)", name, block, nearest(name, knobs), strings.Join(knobs, ", "))
	}
	return blocks.Knob{}, fmt.Errorf("no block %q%s (there are: %s)", block, nearest(block, all), strings.Join(all, ", "))
}

func nearest(word string, words []string) string {
	if near := file.Nearest(word, words); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return ""
}

// find is a block in the path of a take, and on; nil where it is not.
func find(c *board.Chain, block string) *board.Placed {
	for _, p := range c.Every() {
		if p.Name == block && !p.Off {
			return &p
		}
	}
	return nil
}

// sweeper works on one question.
type sweeper struct {
	q     Question
	knob  blocks.Knob
	bench experiment.Bench
	memos map[string]*render.Memo // by board.Chain.RecordingOf

	mu          sync.Mutex
	done, total int
}

// Ask answers. The error is of a render, of the context, or of a block, knob or take that the file
// does not have.
func Ask(ctx context.Context, q Question) (*Answer, error) {
	k, err := Knob(q.File, q.Block, q.Knob)
	if err != nil {
		return nil, err
	}
	excerpt := experiment.LoudestOf(q.Recording, q.Rate, 2)
	memory := cmp.Or(q.Memory, usualMemory) / 2
	s := &sweeper{
		q: q, knob: k, total: Positions * len(q.Takes),
		bench: experiment.NewBench(excerpt, q.Rate, q.Quality, memory), memos: map[string]*render.Memo{"": render.NewMemo(excerpt.Volts, q.Rate, q.Quality, memory)},
	}
	for guitar, x := range excerpt.Own {
		s.memos[guitar] = render.NewMemo(x, q.Rate, q.Quality, memory)
	}
	a := &Answer{Block: q.Block, Knob: q.Knob, Takes: []Travel{}}
	if k.Unit != dsp.Dial {
		a.Unit = strings.TrimSpace(strings.TrimLeft(dsp.FormatQuantity(1, k.Unit), "0123456789."))
	}
	for _, name := range q.Takes {
		t, err := s.travel(ctx, name)
		if err != nil {
			return nil, err
		}
		a.Takes = append(a.Takes, *t)
	}
	return a, nil
}

// value is where the knob is after a share of its travel: evenly, and by octaves for a frequency.
func value(k blocks.Knob, share float64) float64 {
	v := k.Min + share*(k.Max-k.Min)
	if k.Unit == dsp.Hertzes && k.Min > 0 {
		v = k.Min * math.Pow(k.Max/k.Min, share)
	}
	return min(max(math.Round(v*1e6)/1e6, k.Min), k.Max)
}

// Clock is a share of the travel, 0 to 1, as the nearest half hour on a dial from 7 to 5 o'clock.
func Clock(share float64) string {
	halves := int(math.Round(20*share)) + 14
	hour := (halves/2-1)%12 + 1
	if halves%2 == 1 {
		return fmt.Sprintf("%d:30", hour)
	}
	return fmt.Sprint(hour)
}

func (s *sweeper) travel(ctx context.Context, name string) (*Travel, error) {
	at := slices.IndexFunc(s.q.File.Takes, func(t board.Take) bool { return t.Name == name })
	if at < 0 {
		return nil, fmt.Errorf("no take %q", name)
	}
	take := s.q.File.Takes[at]
	now := s.q.File.Of(take)
	placed := find(now, s.q.Block)
	if placed == nil {
		return nil, fmt.Errorf("take %q: %s is not in its path, or off", name, s.q.Block)
	}
	t := &Travel{Take: name, Now: placed.Settings.Number(s.q.Knob), Points: make([]Point, Positions)}
	chains := make([]*board.Chain, Positions)
	for k := range chains {
		share := float64(k) / (Positions - 1)
		v := value(s.knob, share)
		text := dsp.FormatQuantity(v, s.knob.Unit)
		target := s.q.Block + "." + s.q.Knob
		set, err := file.Setting(s.q.File, target, text)
		if err != nil {
			return nil, err
		}
		turned := take
		turned.Set = append(slices.DeleteFunc(slices.Clone(take.Set), func(o board.Setting) bool { return o.Target == target }), set)
		chains[k] = s.q.File.Of(turned).At(0)
		t.Points[k] = Point{Clock: Clock(share), Value: v, text: text}
	}
	// turned down: a block that is over its own ceiling there is made to be
	if err := s.point(ctx, chains[0], &t.Points[0], true); err != nil {
		return nil, err
	}
	clean := t.Points[0].own.OK() && t.Points[0].own.Value >= 0
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k := range chains[1:] {
		g.Go(func() error { return s.point(inner, chains[k+1], &t.Points[k+1], clean) })
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	if !clean {
		for k := range t.Points {
			t.Points[k].own = measures.None("made to be over its ceiling, or without one")
		}
	}
	others, err := s.others(ctx, take)
	if err != nil {
		return nil, err
	}
	still, err := s.still(ctx, t, chains)
	if err != nil {
		return nil, err
	}
	s.ends(t, others, still)
	t.next()
	return t, nil
}

// point measures one position; own says that the ceiling of the block itself is wanted too, which
// costs most.
func (s *sweeper) point(ctx context.Context, c *board.Chain, p *Point, own bool) error {
	if s.q.Turn != nil {
		done, err := s.q.Turn(ctx)
		if err != nil {
			return err
		}
		defer done()
	}
	values, err := s.bench.Measure(ctx, c, measures.LoudnessAtEnd, measures.ToneTHD, measures.OverHiss)
	if err != nil {
		return err
	}
	p.Loudness, p.Distortion, p.OverHiss = values[0], values[1], values[2]
	before := map[string]bool{}
	for _, b := range c.Every() {
		if before[b.Name] = true; b.Name == s.q.Block {
			break
		}
	}
	m, err := experiment.MeasureBefore(ctx, render.PlanOf(c, s.q.Rate, s.q.Quality), s.memos[c.RecordingOf].Signal, dsp.Tone{}, func(block string) bool { return !before[block] || own && block == s.q.Block })
	if err != nil {
		return err
	}
	behind := false
	for _, r := range experiment.NewLadder(m).Takes[0].Rungs {
		if behind {
			p.rungs = append(p.rungs, r)
		}
		if r.Into == s.q.Block {
			behind, p.own = true, r.HeadroomDB
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.done++; s.q.Progress != nil {
		s.q.Progress(s.done, s.total)
	}
	return nil
}

// still is the first point from which on a step is inaudible: the last one where the last step is
// heard.
func (s *sweeper) still(ctx context.Context, t *Travel, chains []*board.Chain) (int, error) {
	for k := len(chains) - 2; k >= 0; k-- {
		if d := t.Points[k+1].Loudness.Minus(t.Points[k].Loudness); !d.OK() || math.Abs(d.Value) >= step {
			return k + 1, nil
		}
		p, err := s.bench.Compare(ctx, chains[k], chains[k+1], s.bench)
		if err != nil {
			return 0, err
		}
		if p.Heard != experiment.HeardNot && p.Heard != experiment.HeardSame {
			return k + 1, nil
		}
	}
	return 0, nil
}

// next chooses the block that points speak of: the one whose ceiling is passed first, or the first
// one behind whose ceiling is known.
func (t *Travel) next() {
	last := t.Points[len(t.Points)-1].rungs
	at := slices.IndexFunc(last, func(r experiment.Rung) bool { return r.Ceiling.OK() })
	behind := func(e End) bool {
		return e.What == Ceiling && slices.ContainsFunc(last, func(r experiment.Rung) bool { return r.Into == e.Block })
	}
	if k := slices.IndexFunc(t.Ends, behind); k >= 0 {
		at = slices.IndexFunc(last, func(r experiment.Rung) bool { return r.Into == t.Ends[k].Block })
	}
	if at < 0 {
		at = len(last) - 1
	}
	if at < 0 {
		return
	}
	t.Next = last[at].Into
	for k := range t.Points {
		p := &t.Points[k]
		r := p.rungs[at]
		p.Average, p.Peak, p.Noise, p.Over = r.Average, r.Peak, r.Noise, r.OverShare
		p.Colour, p.Ceiling, p.Clean, p.Headroom = r.Colour, r.Ceiling, r.CleanDB, r.HeadroomDB
	}
}

// others is the loudness of the loudest of the file's other presets, on the same guitar.
func (s *sweeper) others(ctx context.Context, take board.Take) (measures.Figure, error) {
	loudest := measures.None("the file has no other preset")
	if take.Preset == "" {
		return loudest, nil
	}
	for _, p := range s.q.File.Presets {
		if p.Name == take.Preset {
			continue
		}
		v, err := s.bench.Measure(ctx, s.q.File.Of(board.Take{Name: p.Name, Preset: p.Name, Guitar: take.Guitar}), measures.LoudnessAtEnd)
		if err != nil {
			return loudest, err
		}
		if v[0].OK() && (!loudest.OK() || v[0].Value > loudest.Value) {
			loudest = v[0]
		}
	}
	return loudest, nil
}

// crossing is the share of the travel at which a margin, over the points, falls under 0 for the
// first time. Points without one are where nothing comes through. It is within the step, evenly; at
// the first point where it was never over.
func crossing(n int, margin func(k int) measures.Figure) (share float64, ok bool) {
	last := -1
	for k := range n {
		m := margin(k)
		if !m.OK() {
			continue
		}
		if m.Value < 0 {
			at := float64(k)
			if last >= 0 {
				was := margin(last).Value
				at = float64(last) + float64(k-last)*was/(was-m.Value)
			}
			return at / float64(n-1), true
		}
		last = k
	}
	return 0, false
}

// ends finds what ends the useful travel.
func (s *sweeper) ends(t *Travel, others measures.Figure, still int) {
	t.Ends = []End{}
	n := len(t.Points)
	add := func(what, block string, at float64, format string, args ...any) {
		clock := Clock(at)
		t.Ends = append(t.Ends, End{what, block, at, clock, fmt.Sprintf(format, args...)})
	}
	for i, r := range t.Points[n-1].rungs {
		if r.Into == "" {
			continue
		}
		if at, ok := crossing(n, func(k int) measures.Figure { return t.Points[k].rungs[i].HeadroomDB }); ok {
			add(Ceiling, r.Into, at, "the peaks pass the ceiling of %s; turned up, they are over it %.0f %% of the time", r.Into, 100*r.OverShare.Value)
		}
	}
	if at, ok := crossing(n, func(k int) measures.Figure { return t.Points[k].own }); ok {
		add(Ceiling, s.q.Block, at, "the peaks pass the ceiling of %s itself", s.q.Block)
	}
	best := 0
	for k, p := range t.Points {
		if was := t.Points[best].OverHiss; p.OverHiss.OK() && (!was.OK() || p.OverHiss.Value > was.Value) {
			best = k
		}
	}
	// what hisses everywhere hisses not because of the knob
	if top := t.Points[best].OverHiss; top.OK() {
		limit := min(hiss, top.Value-worse)
		if at, ok := crossing(n, func(k int) measures.Figure {
			if k < best {
				return measures.None("under the best")
			}
			return t.Points[k].OverHiss.Minus(measures.Figure{Value: limit})
		}); ok {
			add(Noise, "", at, "the playing is only %.0f dB over the hiss, and was %.0f dB at %s o'clock", limit, top.Value, t.Points[best].Clock)
		}
	}
	if others.OK() {
		if at, ok := crossing(n, func(k int) measures.Figure {
			return measures.Figure{Value: others.Value + jump}.Minus(t.Points[k].Loudness)
		}); ok {
			add(Level, "", at, "it jumps out: more than %.0f LU over the loudest other preset", jump)
		}
	}
	if still < n-1 {
		add(NoChange, "", float64(still)/float64(n-1), "from here on a step of an hour is inaudible")
	}
	slices.SortStableFunc(t.Ends, func(a, b End) int { return cmp.Compare(a.At, b.At) })
}

// Sentence says what ends the travel first.
func (t *Travel) Sentence(knob string) string {
	if len(t.Ends) == 0 {
		return fmt.Sprintf("%s: %s is of use over all of its travel.", t.Take, knob)
	}
	e := t.Ends[0]
	return fmt.Sprintf("%s: what ends the useful travel of %s first is at %s o'clock: %s.", t.Take, knob, e.Clock, e.Text)
}

// errNoTake is for files in which no take has the block.
var errNoTake = errors.New("no take has it in its path, and on")

// Usual is the names of the takes that are swept where none is named: the first two with the block
// in their path. It is an error where no take has it there.
func Usual(f *board.File, block string) ([]string, error) {
	var names []string
	for _, c := range f.Chains() {
		if find(c, block) != nil && len(names) < 2 {
			names = append(names, c.Take)
		}
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("%s: %w", block, errNoTake)
	}
	return names, nil
}

// Text is the value of the knob as it is written.
func (p Point) Text() string { return p.text }
