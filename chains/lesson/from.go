package lesson

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/internal/yamltext"
	"drywire/chains/measures"
)

// How clear what a generated question asks for has to be of what its wrong answers say. They are
// this project's own: three decibels are more than anybody's scatter from one player to the next,
// and twenty of a hundred of the noise are seen in the ledger without reading numbers.
const (
	clearDB    = 3.0  // dB, of headroom, and of signal to noise
	clearShare = 20.0 // percent of the noise
	// dB of treble, bass or middle between two takes that are told apart: the step of hearing that
	// package experiment speaks of. What a test tone says of distortion is not asked about: which
	// of two is dirtier with music is another question.
	clearTone = 1.0
	sameDB    = 0.5 // dB, up to which two are called the same
	mostSwaps = 5   // neighbours that are tried
)

// other is another take, and what is another in it.
type other struct {
	take      string
	what, say string // as in: what if …, and by itself
	belief    string // of who says that it is not heard
	swap      bool
}

// Changes is a chain file with more takes, and what may be asked about them.
type Changes struct {
	Text   *edit.Text // with the takes
	take   string
	others []other
}

// With is a chain file with more takes of one of them: two neighbours of its order that can change
// places, have, blocks are off, the first few of each, and the guitar is turned down. The error is
// of a take that is not there.
func With(text *edit.Text, take string) (*Changes, error) {
	f := text.File
	k := slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == take })
	if k < 0 {
		return nil, fmt.Errorf("no take %q", take)
	}
	w := &Changes{Text: text, take: take}
	t := f.Takes[k]
	order, split := t.Order, t.Split
	if order == nil {
		order, split = f.Order, f.Split
	}
	add := func(o other, t board.Take) bool {
		t.Name = o.take
		wired := t // a setting that is only to be written wires nothing
		wired.Set = slices.DeleteFunc(slices.Clone(t.Set), func(s board.Setting) bool { return s.Apply == nil })
		if f.Of(wired).Unwireable() != "" {
			return false
		}
		next, err := w.Text.AddTake(take, t)
		if err != nil {
			return false // what the file's language has no words for
		}
		w.Text, w.others = next, append(w.others, o)
		return true
	}
	kind := func(name string) string {
		if k := slices.IndexFunc(f.Blocks, func(b board.Block) bool { return b.Name == name }); k >= 0 && f.Blocks[k].Kind != nil {
			return f.Blocks[k].Kind.Name
		}
		return ""
	}
	swaps := 0
	for n := 0; n+1 < len(order) && swaps < mostSwaps; n++ {
		a, b := order[n], order[n+1]
		if f.IsOff(t, a) || f.IsOff(t, b) {
			continue
		}
		swapped := t
		swapped.Order, swapped.Split = slices.Clone(order), split
		swapped.Order[n], swapped.Order[n+1] = b, a
		if board.Reordered(f.Of(t).Every(), f.Of(swapped).Every()) != "" {
			continue
		}
		o := other{take: b + " before " + a, what: fmt.Sprintf("%s and %s changed places", a, b), say: fmt.Sprintf("The %s and the %s change places.", a, b), belief: swapBelief(kind(a), kind(b)), swap: true}
		if add(o, swapped) {
			swaps++
		}
	}
	n := 0
	for _, one := range f.Takes {
		if one.Name != take && n < mostSwaps {
			w.others = append(w.others, other{take: one.Name, what: fmt.Sprintf("it were as in the take '%s'", one.Name), say: fmt.Sprintf("As in the take '%s'.", one.Name), belief: "what looks alike sounds alike"})
			n++
		}
	}
	for n = 0; n < len(order) && n < mostSwaps; n++ {
		if name := order[n]; !f.IsOff(t, name) && switched(kind(name)) {
			less := t
			less.Off = append(slices.Clone(t.Off), name)
			add(other{take: "without " + name, what: name + " were off", say: "The " + name + " is off.", belief: "one pedal more or less is not heard"}, less)
		}
	}
	if set := "guitar.volume"; !slices.ContainsFunc(t.Set, func(s board.Setting) bool { return s.Target == set }) {
		down := t
		down.Set = append(slices.Clone(t.Set), board.Setting{Target: set, Text: "4"})
		add(other{take: "guitar turned down", what: "the guitar were turned down to 4", say: "The guitar is turned down to 4.", belief: "down is only softer"}, down)
	}
	return w, nil
}

// switched reports whether a kind of block is one that a player switches off.
func switched(kind string) bool {
	k := blocks.Find(kind)
	if k == nil {
		return false
	}
	_, bypassed := k.Knob("bypass")
	return bypassed
}

// asked is a question that was found on a board.
type asked struct {
	ask     string
	choices []Choice
	facts   []Fact
	proof   []string // claims, as they are written
	answer  string
}

// From makes a lesson of a board: questions whose answers lie clear of the wrong ones by a stated
// margin, with what people commonly believe for the wrong answers. b is the bench of the text with
// its changes. It is an error where not enough of the board lies clear.
func From(ctx context.Context, title string, w *Changes, b *Bench) ([]byte, error) {
	c, err := b.chain(w.take)
	if err != nil {
		return nil, err
	}
	var found []asked
	for _, look := range []func() (asked, bool, error){
		func() (asked, bool, error) { return clips(ctx, b, c) },
		func() (asked, bool, error) { return unheard(ctx, b, c, w.others) },
		func() (asked, bool, error) { return compare(ctx, b, c, w.others, comparisons[0]) },
		func() (asked, bool, error) { return makesNoise(ctx, b, c) },
		func() (asked, bool, error) { return compare(ctx, b, c, w.others, comparisons[1]) },
	} {
		a, ok, err := look()
		if err != nil {
			return nil, err
		}
		if ok {
			found = append(found, a)
		}
		if len(found) == 2 {
			break
		}
	}
	h, err := blindly(ctx, b, c, w.others)
	if err != nil {
		return nil, err
	}
	if len(found) < 2 || h.For == 0 {
		return nil, fmt.Errorf("take %q: of which block clips first, what a change does to hiss and loudness, which change nobody hears, and which block makes the noise, %d lie clear of the other answers by the margin (%g dB, %g %% of the noise, "+
			"a chance of %g %% and %g %% of being told apart), and of the takes that could be played blind, %s; it takes two questions and two takes", w.take, len(found), clearDB, clearShare, 100*Clear, 100*Faint, map[bool]string{true: "none", false: "some"}[h.For == 0])
	}
	return write(title, w.Text, w.take, c, found[0], found[1], h), nil
}

// clips is the question which block clips first, by the headroom at its input.
func clips(ctx context.Context, b *Bench, c *board.Chain) (asked, bool, error) {
	type one struct {
		block string
		room  float64
	}
	var list []one
	for _, p := range c.Every() {
		if p.Off || !slices.Contains(c.Jacks(), p.Name+".in") {
			continue
		}
		v, err := b.Values(ctx, []Fact{{Name: "x", Measure: "headroom_db", Unit: "dB", Take: c.Take, Jack: p.Name + ".in"}}, "")
		if err != nil {
			return asked{}, false, err
		}
		if v[0].Measured.OK() {
			list = append(list, one{p.Name, v[0].Measured.Value})
		}
	}
	if len(list) < 2 {
		return asked{}, false, nil
	}
	last := list[len(list)-1]
	slices.SortStableFunc(list, func(a, b one) int { return int(math.Copysign(1, a.room-b.room)) })
	if list[1].room-list[0].room < clearDB {
		return asked{}, false, nil
	}
	a := asked{ask: "You dig in harder and harder. Which block has the least room up to its ceiling?"}
	add := func(k int, o one, belief, thinks string, right bool) {
		name := fmt.Sprintf("room-%d", k)
		a.facts = append(a.facts, Fact{Name: name, Measure: "headroom_db", Take: c.Take, Jack: o.block + ".in", Unit: "dB", Is: o.room, Within: 0.5})
		a.choices = append(a.choices, Choice{Say: "The " + o.block + ".", Belief: belief, Thinks: thinks, Right: right})
		if !right {
			a.proof = append(a.proof, fmt.Sprintf("{fact: room-1, under: %s, by: %g dB}", name, clearDB))
		}
	}
	add(1, list[0], "what has too little room clips", "Its ceiling is the lowest, measured from the peaks that come in.", true)
	add(2, list[1], "what makes it loud clips", "It comes next, and has more room all the same.", false)
	if last.block != list[0].block && last.block != list[1].block {
		add(3, last, "the last one clips", "It gets what all the others have made, and has room for it.", false)
	}
	a.answer = fmt.Sprintf("The %s has {room-1} up to its ceiling; less than none means that it clips already. The %s has {room-2}.", list[0].block, list[1].block)
	return a, true, nil
}

// comparison is a question about two takes, by a level of either.
type comparison struct {
	measure, unit    string
	ask              string
	more, less, same Choice // of the other take
	answer           string // with {x-1} of the take as it is, and {x-2}
}

var comparisons = []comparison{
	{"signal_to_noise_a_db", "dB(A)", "Would it hiss more or less, made as loud as before?",
		Choice{Say: "It would hiss less.", Belief: "the change makes it quieter", Thinks: "Look at what stands before the gain, and so is lifted by it."},
		Choice{Say: "It would hiss more.", Belief: "the change makes it noisier", Thinks: "Look at what stands before the gain, and so is lifted by it."},
		Choice{Say: "It would hiss the same.", Belief: "the change leaves the hiss", Thinks: "A pedal hisses the same everywhere. What comes behind it lifts its hiss, or does not."},
		"As it is, the playing is {clear-1} above the noise. Changed, it is {clear-2}."},
	{"loudness_lufs", "LUFS", "Would it be louder or softer, with every knob as it is?",
		Choice{Say: "It would be louder.", Belief: "the change makes it louder", Thinks: "Behind what clips, gain makes louder. Before it, gain makes dirtier."},
		Choice{Say: "It would be softer.", Belief: "the change makes it softer", Thinks: "Before what clips, less makes it cleaner. Behind it, less makes it softer."},
		Choice{Say: "It would be as loud as before.", Belief: "the change leaves the loudness", Thinks: "So it is where nothing between them clips, and nobody loads anybody."},
		"As it is, the loudness is {clear-1}. Changed, it is {clear-2}."},
}

// compare is the question what becomes of the board with one of some changes: the one that changes
// it most, if that is clear, or else the one that changes it least, if that is clearly next to
// nothing.
func compare(ctx context.Context, b *Bench, c *board.Chain, others []other, q comparison) (asked, bool, error) {
	read := func(take string) (measures.Figure, error) {
		v, err := b.Values(ctx, []Fact{{Name: "x", Measure: q.measure, Unit: q.unit, Take: take, Jack: c.Ends()[0]}}, "")
		if err != nil {
			return measures.Figure{}, err
		}
		return v[0].Measured, nil
	}
	was, err := read(c.Take)
	if err != nil || !was.OK() {
		return asked{}, false, err
	}
	var most, least *other
	far, near := 0.0, math.Inf(1)
	for k := range others {
		chain, err := b.chain(others[k].take)
		if err != nil {
			return asked{}, false, err
		}
		if chain.Ends()[0] != c.Ends()[0] {
			continue
		}
		is, err := read(others[k].take)
		if err != nil {
			return asked{}, false, err
		}
		if !is.OK() {
			continue
		}
		d := is.Value - was.Value
		if math.Abs(d) > math.Abs(far) {
			most, far = &others[k], d
		}
		if math.Abs(d) < math.Abs(near) {
			least, near = &others[k], d
		}
	}
	a := asked{choices: []Choice{q.more, q.less, q.same}, answer: q.answer}
	chosen, d := most, far
	margin := difference(q.unit)
	switch {
	case most != nil && math.Abs(far) >= clearDB:
		a.choices[map[bool]int{true: 0, false: 1}[far > 0]].Right = true
		a.proof = []string{fmt.Sprintf("{fact: clear-2, %s: clear-1, by: %g %s}", map[bool]string{true: "over", false: "under"}[far > 0], clearDB, margin)}
	case least != nil && math.Abs(near) <= sameDB:
		chosen, d = least, near
		a.choices[2].Right = true
		a.proof = []string{fmt.Sprintf("{fact: clear-2, near: clear-1, by: %g %s}", sameDB, margin)}
	default:
		return asked{}, false, nil
	}
	a.ask = "What if " + chosen.what + "? " + q.ask
	for k, f := range []Fact{{Take: c.Take, Is: was.Value}, {Take: chosen.take, Is: was.Value + d}} {
		f.Name, f.Measure, f.Jack, f.Unit, f.Within = fmt.Sprintf("clear-%d", k+1), q.measure, c.Ends()[0], q.unit, 0.3
		a.facts = append(a.facts, f)
	}
	return a, true, nil
}

// makesNoise is the question which block makes most of the noise at rest.
func makesNoise(ctx context.Context, b *Bench, c *board.Chain) (asked, bool, error) {
	r, err := experiment.Noise(c, b.Rate, c.Ends()[0])
	if err != nil {
		return asked{}, false, err
	}
	if len(r.Blocks) < 2 || 100*(r.Blocks[0].Share-r.Blocks[1].Share) < clearShare {
		return asked{}, false, nil
	}
	a := asked{ask: "Nobody plays. Who makes the largest part of the noise that is left?"}
	beliefs := []string{"noise comes from in front of the gain, wherever that is", "what I see first is to blame", "every pedal makes its share"}
	thinks := []string{"What it makes is lifted by all that comes behind it.", "It makes some noise, and not the most.", "It makes some noise, and not the most."}
	for k, g := range r.Blocks[:min(3, len(r.Blocks))] {
		name := fmt.Sprintf("share-%d", k+1)
		a.facts = append(a.facts, Fact{Name: name, Measure: "noise_share", Take: c.Take, Jack: c.Ends()[0], Block: g.Name, Unit: "%", Is: 100 * g.Share, Within: tightness(Fact{Unit: "%", Is: 100 * g.Share})})
		a.choices = append(a.choices, Choice{Say: "The " + g.Name + ".", Belief: beliefs[k], Thinks: thinks[k], Right: k == 0})
		if k > 0 {
			a.proof = append(a.proof, fmt.Sprintf("{fact: share-1, over: %s, by: %g %%}", name, clearShare))
		}
	}
	a.answer = fmt.Sprintf("The %s makes {share-1} of it, the %s {share-2}.", r.Blocks[0].Name, r.Blocks[1].Name)
	return a, true, nil
}

// blind is two takes that are played blind, with the facts and the claim that prove which is the
// answer.
type blind struct {
	Hearing
	facts []Fact
	proof string
}

// blindly is two takes for a blind hearing: the board as it is, and another take that is clearly
// heard and differs clearly in one of the respects, or that nobody hears. For is nought where there
// is none.
func blindly(ctx context.Context, b *Bench, c *board.Chain, others []other) (blind, error) {
	h := Hearing{Takes: [2]string{c.Take, ""}, From: 0, For: 4}
	for _, o := range others {
		h.Takes[1] = o.take
		heard, err := b.Hear(ctx, h)
		if err != nil {
			return blind{}, err
		}
		highest := heard.Pair.Hearing.Highest
		clear := highest.OK() && highest.Value >= Clear
		if !clear && heard.Pair.Heard != experiment.HeardSame && !(highest.OK() && highest.Value <= Faint) {
			continue
		}
		found, ok, err := b.differs(ctx, h, clear)
		if err != nil {
			return blind{}, err
		}
		if ok {
			return found, nil
		}
	}
	return blind{}, nil
}

// respects is what listeners are asked about, by the measure of it. Changes are of the other take
// against the first; levels are of either, and the lower one is the answer.
var respects = []struct {
	name, measure, ask string
	lower              bool
	least              float64 // dB
}{
	{"treble", "treble_db", "Which one is brighter?", false, clearTone},
	{"low", "bass_db_change", "Which one has more bass?", false, clearTone},
	{"middle", "middle_db", "Which one has more of the middle, like a voice through a telephone?", false, clearTone},
	{"apart", "clear-repeats", "In which one do echoes and notes smear into each other?", true, 2 * clearDB},
	{"spread", "crest_db", "In which one are the soft notes nearer to the hard ones?", true, clearDB / 2},
}

// differs is in what of these two takes that are clearly heard differ first clearly enough; of two
// that are not, that their treble is the same.
func (b *Bench) differs(ctx context.Context, h Hearing, clear bool) (found blind, ok bool, err error) {
	for _, r := range respects {
		reading, _ := readingOf(r.measure)
		one := Fact{Name: r.name, Measure: r.measure, Take: h.Takes[1], Unit: reading.Unit, Within: 0.3}
		facts := []Fact{one}
		if r.lower {
			first := one
			one.Name, first.Name, first.Take = r.name+"-2", r.name+"-1", h.Takes[0]
			facts = []Fact{first, one}
			if reading.jack {
				for k, take := range h.Takes {
					c, err := b.chain(take)
					if err != nil {
						return found, false, err
					}
					facts[k].Jack = c.Ends()[0]
				}
			}
		} else {
			facts[0].Other = h.Takes[0]
		}
		values, err := b.Values(ctx, facts, "")
		if err != nil {
			return found, false, err
		}
		for k, v := range values {
			if !v.Measured.OK() {
				facts = nil
				break
			}
			facts[k].Is = v.Measured.Value
		}
		if facts == nil {
			continue
		}
		found = blind{Hearing: h, facts: facts}
		d := facts[len(facts)-1].Is
		if r.lower {
			d -= facts[0].Is
		}
		switch {
		case !clear && math.Abs(d) <= clearTone:
			found.Right, found.Ask = Neither, "One of them is the board as it is. Which one is brighter?"
			found.Tells = "Nobody is likely to hear this difference, although the board is another one."
			found.proof = fmt.Sprintf("{fact: %s, near: 0 dB, by: %g dB}", r.name, clearTone)
			return found, true, nil
		case !clear:
			return found, false, nil
		case math.Abs(d) < r.least:
			continue
		}
		found.Heard, found.Ask = true, r.ask
		found.Right = map[bool]int{true: 1, false: 0}[d > 0 != r.lower]
		rel := map[bool]string{true: "over", false: "under"}[d > 0]
		if r.lower {
			found.Tells = fmt.Sprintf("By measure, it is {%s} against {%s}.", facts[0].Name, facts[1].Name)
			found.proof = fmt.Sprintf("{fact: %s, %s: %s, by: %g dB}", facts[1].Name, rel, facts[0].Name, r.least)
		} else {
			found.Tells = "By measure, they differ by {" + r.name + "} in that."
			found.proof = fmt.Sprintf("{fact: %s, %s: 0 dB, by: %g dB}", r.name, rel, r.least)
		}
		return found, true, nil
	}
	return found, false, nil
}

// named is the numbers with units in the names of a board that a generated lesson repeats.
func named(title, take string, first, second asked, h blind) (list []string) {
	texts := []string{title, take, first.ask, second.ask, h.Takes[0], h.Takes[1]}
	for _, c := range append(slices.Clone(first.choices), second.choices...) {
		texts = append(texts, c.Say)
	}
	for _, text := range texts {
		for _, number := range numberForm.FindAllString(text, -1) {
			if !slices.Contains(list, number) {
				list = append(list, number)
			}
		}
	}
	return list
}

// write is the text of a generated lesson.
func write(title string, text *edit.Text, take string, c *board.Chain, first, second asked, h blind) []byte {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	q := func(s string) string { return yamltext.Quote(s, true) }
	wide := func(s string) string { return `"` + strings.NewReplacer(`"`, `'`, `\`, `\\`).Replace(s) + `"` }
	indented := func(by string) {
		for _, l := range strings.Split(strings.TrimRight(string(text.Source), "\n"), "\n") {
			line("%s%s", by, l)
		}
	}
	facts := func(by string, list []Fact) {
		line("%sfacts:", by)
		for _, f := range list {
			v := Value{Fact: f, Measured: measures.Figure{Value: f.Is}}
			text := fmt.Sprintf("%s  %s: {measure: %s, take: %s", by, f.Name, f.Measure, q(f.Take))
			if f.Other != "" {
				text += ", against: " + q(f.Other)
			}
			if f.Jack != "" {
				text += ", jack: " + f.Jack
			}
			if f.Block != "" {
				text += ", block: " + q(f.Block)
			}
			line("%s, is: %s, within: %.2g %s}", text, v.Says(), f.Within, f.Unit)
		}
	}
	question := func(by string, a asked) {
		line("%sask: %s", by, wide(a.ask))
		line("%schoices:", by)
		for _, c := range a.choices {
			right := ""
			if c.Right {
				right = ", right: yes"
			}
			line("%s  - {say: %s, belief: %s, thinks: %s%s}", by, wide(c.Say), q(c.Belief), wide(c.Thinks), right)
		}
		line("%sproof:", by)
		for _, p := range a.proof {
			line("%s  - %s", by, p)
		}
	}
	line("# Made of a board by drywire lesson --from. Every number is what the simulation gave; every answer lies clear\n# of the wrong ones by the margins in proof. Change the words as you like.\n")
	line("lesson: 1\ntitle: %s\nminutes: 6\nenables: You know your own board better than by hearsay.", wide("What does your board do? "+title))
	line("caution: What you turn up gets louder. Start soft, and turn the amplifier down before you change an order.")
	line("board: |")
	indented("  ")
	line("scene: %s", wide(fmt.Sprintf("This is your board, as in the take '%s'.", take)))
	facts("", append(slices.Clone(first.facts), h.facts...))
	line("predict:")
	question("  ", first)
	right := "neither"
	if h.Right != Neither {
		right = h.Takes[h.Right]
	}
	line("hear:\n  takes: [%s, %s]\n  heard: %s\n  from: 0 s\n  for: 4 s\n  ask: %s\n  right: %s\n  tells: %s", q(h.Takes[0]), q(h.Takes[1]), map[bool]string{true: "yes", false: "no"}[h.Heard], wide(h.Ask), wide(right), wide(h.Tells))
	line("  proof:\n    - %s", h.proof)
	line("measured: %s", wide(first.answer))
	line("why: %s", wide("The ladder shows it: every bar is the signal, the heavy line is the ceiling, the grey ground is the noise."))
	line("look:\n  - {take: %s, jack: %s, says: %s}", q(take), c.Ends()[0], wide("Go through the ladder from the left to this place."))
	line("not: %s", wide("It is a model of your board, with the knobs as the file has them. It does not know your room, your amplifier's mood, or your hands."))
	line("transfer:\n  board: |")
	indented("    ")
	line("  scene: %s", wide("The same board, and another question."))
	facts("  ", second.facts)
	question("  ", second)
	line("  answer: %s", wide(second.answer))
	if given := named(title, take, first, second, h); len(given) > 0 {
		line("given:")
		for _, number := range given {
			line("  %s: stands in a name of the board", q(number))
		}
	}
	line("sources:\n  - %s", wide("Simulated by this program; the margins are its own."))
	return []byte(b.String())
}
