package hunt

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
)

const rate = 48000

// truth is what faults are like in a simulated world: not the hunter's tables, but others, and
// those perturbed for every fault.
var truth = map[string]struct {
	weight float64
	sounds [5]float64 // hum, hiss, buzz, crackle, squeal
}{
	"pickup":      {1.6, [5]float64{.50, .04, .42, .02, .02}},
	"lead":        {2.2, [5]float64{.30, .03, .17, .48, .02}},
	"cable":       {1.4, [5]float64{.28, .03, .12, .55, .02}},
	"pedal":       {1.1, [5]float64{.16, .30, .16, .20, .18}},
	"supply":      {2.5, [5]float64{.38, .08, .22, .02, .30}},
	"ground-loop": {3.5, [5]float64{.80, .01, .17, .01, .01}},
	"amplifier":   {1.2, [5]float64{.48, .20, .12, .16, .04}},
	"mains":       {1.0, [5]float64{.35, .02, .58, .04, .01}},
}

// wrong is how often an answer is: 5 %.
const wrong = 0.05

// world is one seeded fault, or two, and what is heard of them.
type world struct {
	h      *Hunt
	faults []int
	sound  string
	rng    *rand.Rand
	// what a test leaves of a fault: drawn once, as it is a property of the fault
	left map[[2]int]int
}

func draw(rng *rand.Rand, p []float64) int {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	x := rng.Float64() * sum
	for k, v := range p {
		if x -= v; x < 0 {
			return k
		}
	}
	return len(p) - 1
}

// perturbed is a table with every entry off by a factor, log-normal with 0.6.
func perturbed(rng *rand.Rand, p []float64) []float64 {
	q := slices.Clone(p)
	for k := range q {
		q[k] *= math.Exp(0.6 * rng.NormFloat64())
	}
	return q
}

func newWorld(h *Hunt, n int, rng *rand.Rand) *world {
	w := &world{h: h, rng: rng, left: map[[2]int]int{}}
	var weights []float64
	for _, s := range h.Suspects {
		weights = append(weights, s.Weight/kindOf(s.Kind).weight*truth[s.Kind].weight)
	}
	weights = perturbed(rng, weights)
	for range n {
		k := draw(rng, weights)
		weights[k] = 0
		w.faults = append(w.faults, k)
	}
	table := truth[h.Suspects[w.faults[rng.IntN(n)]].Kind].sounds
	w.sound = Sounds[draw(rng, perturbed(rng, table[:]))]
	if rng.Float64() < wrong {
		w.sound = Sounds[rng.IntN(5)]
	}
	return w
}

// answer is what a player says after a test, with mistakes. What a test leaves of a fault is drawn
// once, from a perturbed table.
func (w *world) answer(test int) string {
	var e effect
	for n, f := range w.faults {
		key := [2]int{test, f}
		if _, ok := w.left[key]; !ok {
			p := w.h.Tests[test].effect[f]
			w.left[key] = draw(w.rng, perturbed(w.rng, p[:]))
		}
		var one effect
		one[w.left[key]] = 1
		if e = both(e, one); n == 0 {
			e = one
		}
	}
	o := draw(w.rng, e[:])
	if w.rng.Float64() < wrong {
		o = (o + 1 + w.rng.IntN(2)) % 3
	}
	return Changes[o]
}

type outcome struct {
	found bool
	first bool // the likeliest one is
	plugs int
	sure  float64
	named int
}

// hunted is the hunter's search.
func hunted(t *testing.T, w *world) outcome {
	s := w.h.Begin()
	if err := s.Hear(w.sound); err != nil {
		t.Fatal(err)
	}
	for {
		k, ok := s.Next()
		if !ok {
			break
		}
		if err := s.Answer(k, w.answer(k)); err != nil {
			t.Fatal(err)
		}
	}
	v := s.Verdict()
	o := outcome{plugs: s.Plugs, sure: v[0].P, named: len(v), first: slices.Contains(w.faults, v[0].number)}
	for k, n := range v {
		o.found = o.found || k < 2 && slices.Contains(w.faults, n.number)
	}
	return o
}

// find is the test of a sort that is about a suspect.
func find(h *Hunt, kind string, s *Suspect) int {
	for k, t := range h.Tests {
		about := s.Name
		if kind == "out" {
			about = s.block + " plugged past"
		}
		if t.kind == kind && strings.Contains(t.Name, about) {
			return k
		}
	}
	return -1
}

// decisive is the test that takes a suspect out; -1: none does, and it is what is left over.
func decisive(h *Hunt, s *Suspect) int {
	switch s.Kind {
	case "pickup":
		return find(h, "volume", &Suspect{Name: "volume"})
	case "lead", "cable":
		return find(h, "swap", s)
	case "pedal":
		return find(h, "out", s)
	case "supply":
		return find(h, "battery", s)
	case "ground-loop":
		return find(h, "unplug", &Suspect{Name: "left"})
	case "mains":
		return find(h, "lamps", &Suspect{Name: "lamps"})
	}
	return -1
}

// oneByOne takes one thing out after the other, from the guitar on, what needs no plug first, and
// puts it back; what cures is tried twice.
func oneByOne(w *world) (o outcome) {
	order := make([]int, len(w.h.Suspects))
	for k := range order {
		order[k] = k
	}
	test := func(k int) int { return decisive(w.h, &w.h.Suspects[k]) }
	slices.SortStableFunc(order, func(a, b int) int {
		plugs := func(k int) int {
			if test(k) >= 0 && w.h.Tests[test(k)].Plugs == 0 {
				return 0
			}
			return 1
		}
		return plugs(a) - plugs(b)
	})
	rest := -1
	for _, k := range order {
		t := test(k)
		if t < 0 {
			rest = k
			continue
		}
		o.plugs += w.h.Tests[t].Plugs
		cures := func(e string) bool { return e == "gone" || e == "softer" && len(w.faults) > 1 }
		if !cures(w.answer(t)) {
			continue
		}
		o.plugs += w.h.Tests[t].Plugs
		if cures(w.answer(t)) {
			o.first = slices.Contains(w.faults, k)
			o.found = o.first
			return o
		}
	}
	o.found = slices.Contains(w.faults, rest)
	o.first = o.found
	return o
}

// stripDown takes all off the board, and puts one thing after the other back from the amplifier on,
// with the cable to it, until the noise is back; then it changes that cable.
func stripDown(w *world) (o outcome) {
	h := w.h
	straight := slices.IndexFunc(h.Tests, func(t Test) bool { return t.kind == "straight" })
	things := 0
	for _, s := range h.Suspects {
		if s.Kind == "pedal" {
			things++
		}
	}
	o.plugs = 2 * (things + 1)
	if w.answer(straight) == "same" { // guitar, its lead, amplifier or mains: one by one
		for _, kind := range []string{"pickup", "mains", "lead"} {
			k := slices.IndexFunc(h.Suspects, func(s Suspect) bool { return s.Kind == kind })
			t := -1
			if k >= 0 {
				t = decisive(h, &h.Suspects[k])
			}
			if t < 0 {
				continue
			}
			o.plugs += h.Tests[t].Plugs
			if w.answer(t) != "same" {
				o.found = slices.Contains(w.faults, k)
				return o
			}
		}
		for _, f := range w.faults {
			o.found = o.found || h.Suspects[f].Kind == "amplifier"
		}
		return o
	}
	for k := len(h.Suspects) - 1; k >= 0; k-- {
		s := &h.Suspects[k]
		if s.Kind != "pedal" && s.Kind != "supply" && s.Kind != "ground-loop" {
			continue
		}
		o.plugs += 2                                       // its lead in and out
		back := func(e string) bool { return e != "same" } // taken out again, it changes
		t := decisive(h, s)
		if back(w.answer(t)) {
			o.plugs += 4
			o.found = slices.Contains(w.faults, k)
			for c := range h.Suspects {
				if a := h.Suspects[c]; !o.found && a.at > 0 && a.at%2 == 0 && (a.at == s.at+1 || a.at == s.at-1) && slices.Contains(w.faults, c) {
					o.found = w.answer(decisive(h, &h.Suspects[c])) != "same"
				}
			}
			return o
		}
	}
	return o
}

var boards = []string{"presets-on-a-loop-switcher", "reference-board", "two-amplifiers", "octave-or-op-amp-fuzz-first", "big-board", "front-end-or-effects-loop"}

func huntOf(t *testing.T, file string) *Hunt {
	t.Helper()
	f := chaintest.ShippedFile(t, file)
	take := f.Takes[0]
	if file == "reference-board" {
		take = f.Takes[len(f.Takes)-1] // everything on
	}
	return New(f, take, rate)
}

func summary(list []outcome) (found, first, mean float64, p95 int) {
	var plugs []int
	for _, o := range list {
		plugs = append(plugs, o.plugs)
		mean += float64(o.plugs)
		if o.found {
			found++
		}
		if o.first {
			first++
		}
	}
	n := float64(len(list))
	slices.Sort(plugs)
	return 100 * found / n, 100 * first / n, mean / n, plugs[int(0.95*n)]
}

// 500 seeded faults over the shipped boards, one and two at a time: what the hunter finds, with how
// many plugs, against taking out one by one and against a strip-down with the same mistakes, and
// whether it is as sure as it may be.
func TestFiveHundredFaults(t *testing.T) {
	var hunts []*Hunt
	for _, b := range boards {
		hunts = append(hunts, huntOf(t, b))
	}
	n := 500
	if testing.Short() {
		n = 60
	}
	for faults := 1; faults <= 2; faults++ {
		var ours, one, strip []outcome
		for k := range n {
			h := hunts[k%len(hunts)]
			world := func() *world { return newWorld(h, faults, rand.New(rand.NewPCG(uint64(k), uint64(2026+faults)))) }
			ours, one, strip = append(ours, hunted(t, world())), append(one, oneByOne(world())), append(strip, stripDown(world()))
		}
		for _, r := range []struct {
			name string
			list []outcome
		}{{"hunt", ours}, {"one by one", one}, {"strip-down", strip}} {
			found, first, mean, p95 := summary(r.list)
			t.Logf("%d fault(s), %-10s: found %.1f %% (named first %.1f %%), plugs %.1f in the mean, %d at 95 %%", faults, r.name, found, first, mean, p95)
		}
		for _, bin := range [][2]float64{{0, .6}, {.6, .8}, {.8, .95}, {.95, 1.01}} {
			count, sum, right := 0, 0.0, 0
			for _, o := range ours {
				if o.sure >= bin[0] && o.sure < bin[1] {
					count++
					sum += o.sure
					if o.first {
						right++
					}
				}
			}
			if count > 0 {
				t.Logf("   stated %.2f to %.2f: %d times, %.1f %% in the mean, right %.1f %%", bin[0], bin[1], count, 100*sum/float64(count), 100*float64(right)/float64(count))
			}
		}
		if found, _, mean, _ := summary(ours); faults == 1 {
			_, _, other, _ := summary(one)
			if found < 90 || mean > other/2 {
				t.Errorf("found %.1f %% with %.1f plugs, one by one %.1f; wanted 90 %% with half of those", found, mean, other)
			}
		}
	}
}

// Without mistakes, and where every test does what it most likely does, every suspect alone is
// found on every shipped board.
func TestEverySuspectIsFound(t *testing.T) {
	tried := 0
	for _, b := range boards {
		h := huntOf(t, b)
		for k, fault := range h.Suspects {
			s := h.Begin()
			if err := s.Hear(Sounds[likeliest(fault.sounds[:])]); err != nil {
				t.Fatal(err)
			}
			for {
				test, ok := s.Next()
				if !ok {
					break
				}
				e := h.Tests[test].effect[k]
				if err := s.Answer(test, Changes[likeliest(e[:])]); err != nil {
					t.Fatal(err)
				}
			}
			tried++
			if v := s.Verdict(); !slices.ContainsFunc(v, func(n Named) bool { return n.number == k }) {
				t.Errorf("%s: %s: %s", b, fault.Name, s.Said())
			}
		}
	}
	if tried < 60 {
		t.Errorf("only %d suspects", tried)
	}
}

func likeliest(p []float64) int { return slices.Index(p, slices.Max(p)) }

// What is assumed adds up to 1, and no test asks for what can kill.
func TestTables(t *testing.T) {
	sums := func(what string, p []float64) {
		sum := 0.0
		for _, v := range p {
			sum += v
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("%s: %v add up to %g", what, p, sum)
		}
	}
	for _, k := range kinds {
		sums(k.name, k.sounds[:])
		own := truth[k.name].sounds
		sums("truth of "+k.name, own[:])
	}
	for _, b := range boards {
		h := huntOf(t, b)
		for _, c := range h.Tests {
			for k, e := range c.effect {
				sums(c.Name+" on "+h.Suspects[k].Name, e[:])
			}
			for _, word := range []string{"earth", "ground lift", "mains", "open the", "fuse"} {
				if strings.Contains(strings.ToLower(c.Do), word) {
					t.Errorf("%q has %q in it", c.Do, word)
				}
			}
		}
		sums(b, h.prior)
		for i := range h.guesses {
			sums(b, h.sounds[i][:])
		}
	}
	for _, a := range []effect{cured, mostly, halved, perhaps, little, none} {
		two := both(a, none)
		sums("two", two[:])
	}
}

// Bayes' rule by hand: two suspects alike but for one test, and no second fault. After "gone", the
// odds are those of the test.
func TestBayesByHand(t *testing.T) {
	h := &Hunt{Suspects: make([]Suspect, 2), Tests: []Test{{Plugs: 3}}, guesses: [][2]int{{0, -1}, {1, -1}}, prior: []float64{.5, .5},
		left: [][]effect{{{.8, .1, .1}, {.2, .2, .6}}}}
	h.chance, h.doubt = [][][3]float64{{said(h.left[0][0]), said(h.left[0][1])}}, [][]float64{{0, 0}}
	s := h.Begin()
	if err := s.Answer(0, "gone"); err != nil {
		t.Fatal(err)
	}
	a, b := .95*.8+.025*.2, .95*.2+.025*.8 // said "gone": it is, or a mistake out of the other two
	if got, want := s.Ranked()[0].P, a/(a+b); math.Abs(got-want) > 1e-12 || s.Plugs != 3 {
		t.Errorf("%.6f with %d plugs, want %.6f with 3", got, s.Plugs, want)
	}
	// Once more the same: the test's own effect is counted once, the mistakes twice.
	if err := s.Answer(0, "gone"); err != nil {
		t.Fatal(err)
	}
	twice := func(e effect) float64 { return e[0]*.95*.95 + (e[1]+e[2])*.025*.025 }
	a, b = twice(effect{.8, .1, .1}), twice(effect{.2, .2, .6})
	if got, want := s.Ranked()[0].P, a/(a+b); math.Abs(got-want) > 1e-12 {
		t.Errorf("twice: %.6f, want %.6f", got, want)
	}
}

// A file says what is suspected.
func TestWeightsOfTheFile(t *testing.T) {
	f := chaintest.MustParse(t, `drywire: 1
recording: {sample: riff}
blocks: {keep: {kind: buffer}}
order: [keep]
suspects: {cable: 0, lead: 10, pickup: 0}
`)
	h := New(f, f.Takes[0], rate)
	for _, s := range h.Suspects {
		if s.Kind == "cable" || s.Kind == "pickup" || s.Kind == "lead" && s.Weight != 10 {
			t.Errorf("%s: weight %g", s.Name, s.Weight)
		}
	}
	if plan := h.Plan(0.02); len(plan) < 10 || !strings.Contains(strings.Join(plan, "\n"), "→ It is the lead from ") {
		t.Error(strings.Join(plan, "\n"))
	}
}
