// Package hunt finds where a noise comes from, without taking a board apart: it keeps how likely
// each suspect is, proposes the most informative test for its cost in plugs and minutes, and
// updates by what was heard (Bayes' rule). The suspects are the noise ledger's sources and what the
// model does not contain; their prior weights, sounds and how tests change them are stated
// assumptions.
//
// The next test is the one of most expected information per cost, one step ahead. For independent
// faults, probability over cost is the best order of one-by-one tests (Kadane and Simon; arXiv
// 1203.3502); tests here rule out many suspects at once, so information takes the place of
// probability. See Breese and Heckerman, arXiv 1302.3563, for the whole framework.
//
// Start reading at New, then at Search; suspects.go and tests.go are the tables.
package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/dsp"
)

const (
	mistake = 0.05  // how often a player's answer is wrong, as assumed
	twice   = 0.10  // how likely two are at fault at once
	sure    = 0.95  // from this on, a suspect is named
	repeats = 2     // how often one test is asked for
	least   = 0.004 // bits that a test has to tell
	longest = 40    // tests

	worthwhile = 0.2 // of the best test's information: one with less wastes time, however cheap
)

// Hunt is a board with its suspects and tests. Nothing changes it.
type Hunt struct {
	Suspects []Suspect
	Tests    []Test

	guesses [][2]int       // the suspects at fault; the second is -1 for one alone
	prior   []float64      // of each guess
	sounds  [][5]float64   // of each guess
	left    [][]effect     // what each test leaves of each guess
	chance  [][][3]float64 // what is said then, with mistakes
	doubt   [][]float64    // entropy of those, bits
}

// New is the hunt on a take of a file.
func New(f *board.File, take board.Take, rate dsp.Hertz) *Hunt {
	c := f.Of(take).At(0)
	things := layout(c)
	h := &Hunt{Suspects: suspects(f, c, things, rate)}
	h.Tests = tests(f, take, things, h.Suspects)
	sum := 0.0
	for _, s := range h.Suspects {
		sum += s.Weight
	}
	pairs := 0.0
	for i, s := range h.Suspects {
		h.guesses = append(h.guesses, [2]int{i, -1})
		h.prior = append(h.prior, (1-twice)*s.Weight/sum)
		for _, o := range h.Suspects[i+1:] {
			pairs += s.Weight * o.Weight
		}
	}
	for i, s := range h.Suspects {
		for j := i + 1; j < len(h.Suspects); j++ {
			h.guesses = append(h.guesses, [2]int{i, j})
			h.prior = append(h.prior, twice*s.Weight*h.Suspects[j].Weight/pairs)
		}
	}
	for _, g := range h.guesses {
		p := h.Suspects[g[0]].sounds
		if g[1] >= 0 {
			for k, v := range h.Suspects[g[1]].sounds {
				p[k] = (p[k] + v) / 2
			}
		}
		for k := range p {
			p[k] = (1-mistake)*p[k] + mistake/5
		}
		h.sounds = append(h.sounds, p)
	}
	for _, t := range h.Tests {
		left := make([]effect, len(h.guesses))
		chances, doubts := make([][3]float64, len(h.guesses)), make([]float64, len(h.guesses))
		for k, g := range h.guesses {
			p := t.effect[g[0]]
			if g[1] >= 0 {
				p = both(p, t.effect[g[1]])
			}
			left[k] = p
			chances[k] = said(p)
			doubts[k] = bits(chances[k])
		}
		h.left = append(h.left, left)
		h.chance, h.doubt = append(h.chance, chances), append(h.doubt, doubts)
	}
	return h
}

// both is what is heard of two noises, by what is left of each.
func both(a, b effect) (p effect) {
	heard := [3][3]effect{
		{{1, 0, 0}, {.2, .7, .1}, {0, .65, .35}},
		{{.2, .7, .1}, {0, .9, .1}, {0, .5, .5}},
		{{0, .65, .35}, {0, .5, .5}, {0, 0, 1}},
	}
	for i, x := range a {
		for j, y := range b {
			for o, z := range heard[i][j] {
				p[o] += x * y * z
			}
		}
	}
	return p
}

// said is what a player says of what is left, with mistakes.
func said(p effect) (q [3]float64) {
	for o, v := range p {
		q[o] = (1-mistake)*v + mistake/2*(1-v)
	}
	return q
}

// chanceOf is the likelihood of an answer to a test, given those to the same test before: one that
// is done again has the same effect, and only the mistakes are new.
func (s *Search) chanceOf(test, guess int) [3]float64 {
	if len(s.told[test]) == 0 {
		return s.h.chance[test][guess]
	}
	p, sum := s.h.left[test][guess], 0.0
	for r := range p {
		for _, o := range s.told[test] {
			if o == r {
				p[r] *= 1 - mistake
			} else {
				p[r] *= mistake / 2
			}
		}
		sum += p[r]
	}
	for r := range p {
		p[r] /= sum
	}
	return said(p)
}

func bits(p [3]float64) (h float64) {
	for _, v := range p {
		if v > 0 {
			h -= v * math.Log2(v)
		}
	}
	return h
}

// Search is one search. Its zero value is none; Begin makes one.
type Search struct {
	h       *Hunt
	p       []float64 // of each guess
	told    [][]int   // of each test, the numbers of Changes that were told
	heard   int       // the sound, -1 before it is known
	count   int
	skipped []int

	Plugs   int
	Minutes float64
}

// Begin is a search in which nothing has been heard yet.
func (h *Hunt) Begin() *Search {
	return &Search{h: h, p: slices.Clone(h.prior), told: make([][]int, len(h.Tests)), heard: -1}
}

func (s *Search) clone() *Search {
	c := *s
	c.p, c.told = slices.Clone(s.p), slices.Clone(s.told)
	return &c
}

func (s *Search) update(likely func(k int) float64) {
	sum := 0.0
	for k := range s.p {
		s.p[k] *= likely(k)
		sum += s.p[k]
	}
	for k := range s.p {
		s.p[k] /= sum
	}
}

// Hear records what the noise sounds like, one of Sounds. Another word is an error.
func (s *Search) Hear(word string) error {
	k := slices.Index(Sounds, word)
	if k < 0 {
		return fmt.Errorf("%q is no sound; want one of %s", word, strings.Join(Sounds, ", "))
	}
	s.heard = k
	s.update(func(g int) float64 { return s.h.sounds[g][k] })
	return nil
}

// Answer tells what was heard after a test: one of Changes, or of Sounds. The sound that there was
// says that it is the same; another one that something else is left. Another word is an error.
func (s *Search) Answer(test int, word string) error {
	o, sound := slices.Index(Changes, word), slices.Index(Sounds, word)
	if o < 0 && sound < 0 {
		return fmt.Errorf("%q is no answer; want one of %s, or %s", word, strings.Join(Changes, ", "), strings.Join(Sounds, ", "))
	}
	other := false
	if o < 0 {
		if o = 2; sound != s.heard {
			o, other = 1, true
		}
	}
	s.update(func(g int) float64 {
		v := s.chanceOf(test, g)[o]
		if other && s.h.guesses[g][1] < 0 {
			v *= mistake
		}
		return v
	})
	s.told[test] = append(slices.Clip(s.told[test]), o)
	s.count++
	s.Plugs += s.h.Tests[test].Plugs
	s.Minutes += s.h.Tests[test].Minutes
	return nil
}

// Next is the number of the test of most expected information per cost; false where none has any
// more, or a culprit is known.
func (s *Search) Next() (test int, ok bool) {
	if s.count >= longest || s.Ranked()[0].P >= sure {
		return 0, false
	}
	gains := make([]float64, len(s.h.Tests))
	for k := range gains {
		gains[k] = s.gain(k)
	}
	best, enough := 0.0, max(least, worthwhile*slices.Max(gains))
	for k, gain := range gains {
		if rate := gain / s.h.Tests[k].cost(); gain > enough && rate > best {
			best, test, ok = rate, k, true
		}
	}
	return test, ok
}

// gain is the expected information of a test about the fault, in bits; 0 for one that is not to
// be done again.
func (s *Search) gain(test int) float64 {
	again := len(s.told[test]) > 0
	if len(s.told[test]) >= repeats || slices.Contains(s.skipped, test) {
		return 0
	}
	var p [3]float64
	inner := 0.0
	for g, v := range s.p {
		c, doubt := s.h.chance[test][g], s.h.doubt[test][g]
		if again {
			c = s.chanceOf(test, g)
			doubt = bits(c)
		}
		p[0] += v * c[0]
		p[1] += v * c[1]
		p[2] += v * c[2]
		inner += v * doubt
	}
	return bits(p) - inner
}

// Named is a suspect and how likely it is at fault, alone or with another.
type Named struct {
	Suspect *Suspect
	P       float64
	number  int
}

// Ranked is all suspects, the likeliest first.
func (s *Search) Ranked() []Named {
	list := make([]Named, len(s.h.Suspects))
	for k := range list {
		list[k] = Named{&s.h.Suspects[k], 0, k}
	}
	for k, g := range s.h.guesses {
		list[g[0]].P += s.p[k]
		if g[1] >= 0 {
			list[g[1]].P += s.p[k]
		}
	}
	slices.SortStableFunc(list, func(a, b Named) int { return cmp.Compare(b.P, a.P) })
	return list
}

// Verdict is what a search ends with: the culprit, or where nothing tells them apart those that
// make up most of it, three at most.
func (s *Search) Verdict() []Named {
	list := s.Ranked()
	n, sum := 0, 0.0
	for n < len(list) && n < 3 && sum < sure {
		sum += list[n].P
		n++
	}
	return list[:n]
}

// Said is the verdict as a sentence.
func (s *Search) Said() string {
	v := s.Verdict()
	if len(v) == 1 {
		return fmt.Sprintf("It is %s (%.0f %% sure). What to do: %s.", v[0].Suspect.Name, 100*min(v[0].P, 0.99), v[0].Suspect.Mend)
	}
	var parts []string
	for _, n := range v {
		parts = append(parts, fmt.Sprintf("%s (%.0f %%)", n.Suspect.Name, 100*n.P))
	}
	return fmt.Sprintf("It is %s: only another one in its place can tell. Swap first what is easiest.", strings.Join(parts, " or "))
}

// Cautions is what is printed before any test.
const Cautions = "Never lift an earth: it is what keeps a fault from killing you. Touch no mains wiring and open nothing; whoever may do that work does it. " +
	"Turn the loudspeakers down before you pull a plug. A valve amplifier needs its loudspeaker while it is on."

// Ask is a test of the search as an order.
func (s *Search) Ask(test int) string {
	t, again := s.h.Tests[test], ""
	if len(s.told[test]) > 0 {
		again = "Once more, to be sure: "
	}
	return fmt.Sprintf("%s%s (%s)", again, t.Do, cost(t.Plugs, t.Minutes))
}

// cost is what a test costs, in words.
func cost(plugs int, minutes float64) string {
	said := fmt.Sprintf("%d plugs to move", plugs)
	switch plugs {
	case 0:
		said = "no plug to move"
	case 1:
		said = "1 plug to move"
	}
	if minutes < 1 {
		return fmt.Sprintf("%s, %.0f s", said, 60*minutes)
	}
	return fmt.Sprintf("%s, %.3g min", said, minutes)
}

// Plan is the whole tree for paper, one line each, two spaces in per step. Branches less likely
// than rare are left out; where all are, it ends with what is known by then. A panic would be a
// mistake here: it answers with words of Changes and Sounds alone.
func (h *Hunt) Plan(rare float64) (lines []string) {
	var walk func(s *Search, p float64, depth int)
	walk = func(s *Search, p float64, depth int) {
		in := strings.Repeat("  ", depth)
		k, ok := s.Next()
		var q [3]float64
		for g, v := range s.p {
			for o, c := range s.chanceOf(k, g) {
				q[o] += v * c
			}
		}
		if !ok || p*slices.Max(q[:]) < rare {
			lines = append(lines, in+"→ "+s.Said())
			return
		}
		lines = append(lines, in+s.Ask(k))
		for o, word := range Changes {
			if p*q[o] < rare {
				continue
			}
			lines = append(lines, in+word+":")
			next := s.clone()
			if err := next.Answer(k, word); err != nil {
				panic(err) // the words are those of Changes
			}
			walk(next, p*q[o], depth+1)
		}
	}
	for k, word := range Sounds {
		s, p := h.Begin(), 0.0
		for g, v := range h.prior {
			p += v * h.sounds[g][k]
		}
		if err := s.Hear(word); err != nil {
			panic(err) // the words are those of Sounds
		}
		lines = append(lines, "Is it a "+word+"?")
		walk(s, p, 1)
	}
	return lines
}

// Skip is for a test that cannot be done: it is not proposed again.
func (s *Search) Skip(test int) {
	s.skipped = append(slices.Clip(s.skipped), test)
}
