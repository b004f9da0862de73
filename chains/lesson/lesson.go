// Package lesson is lessons: a question about a board, what people believe about it, two takes to
// be told apart by ear, what is measured, why, and a question on another board. A lesson is a text
// like a chain file. This package reads it (Parse), says what is wrong with it and where, and
// proves it: every number in it, the right answers, and whether the two takes are told apart, by
// simulation (Bench).
//
// It touches no file and knows no recording: whoever calls it brings voltages.
//
// Start reading at Lesson, then parse.go (the tables of keys), then readings.go (what can be
// measured), prove.go, and from.go (a lesson of anybody's board).
package lesson

import (
	"fmt"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/dsp"
)

// Lesson is one lesson, as its text says it. Texts are in plain words; {NAME} in them stands for
// the number of the fact of that name, and Filled puts it in.
type Lesson struct {
	Name    string
	Title   string
	Place   int      // in the course, from 1; 0 in none
	Minutes float64  // that it takes
	After   []string // the lessons that it builds on, by name
	Enables string   // what one can do with it
	Words   []Word   // that it introduces
	Caution string   // what to heed
	Board   Board
	Scene   string // what the question is about
	Predict Question
	Hear    Hearing
	Facts   []Fact
	// what was measured, why it is so, and what that does not show
	Measured, Why, Not string
	Look               []Look
	Transfer           Transfer
	Hands              *Hands // nil: none
	Given              []Given
	Sources            []string
}

// Word is a word of the trade, and what it means.
type Word struct{ Term, Means string }

// Board is the chain file of a lesson or of its transfer question.
type Board struct {
	Chain string // the name of a shipped one; "" where Text is the lesson's own
	Text  []byte
	File  *board.File
}

// Preferring is the chain file's text for the commands that print some facts: those that rank prints
// are what a chain file prefers.
func (b Board) Preferring(facts []Fact) []byte {
	var list []string
	for _, f := range facts {
		r, ok := readingOf(f.Measure)
		if ok && r.objective != "" && !slices.Contains(b.File.Prefer, r.objective) && !slices.Contains(list, r.objective) {
			list = append(list, r.objective)
		}
	}
	if len(list) == 0 || len(b.File.Prefer) > 0 { // a second list would be a mistake in the file
		return b.Text
	}
	return append(slices.Clone(b.Text), "\n# what rank is to print\nprefer: ["+strings.Join(list, ", ")+"]\n"...)
}

// Question has choices of which one is right, and claims on facts that prove which.
type Question struct {
	Ask     string
	Choices []Choice
	Proof   []Claim
}

// Right is the number of the right choice, from 0.
func (q Question) Right() int {
	return slices.IndexFunc(q.Choices, func(c Choice) bool { return c.Right })
}

// Choice is one of the answers to a question.
type Choice struct {
	Say    string
	Belief string // in a few words, the same ones in the transfer question
	Thinks string // what one thinks who chooses it
	Idea   string // the wrong idea behind it, in the words of the other lessons that have it; may be ""
	Right  bool
}

// Hearing is two takes that are played blind, at one loudness.
type Hearing struct {
	Takes [2]string
	Heard bool // whether they are told apart
	Noise bool // with the hiss and hum of the board
	From  dsp.Second
	For   dsp.Second
	Ask   string
	Right int    // 0 or 1 of Takes; Neither
	Tells string // what there is to hear
	Proof []Claim
}

// Neither is the answer that no difference is heard.
const Neither = 2

// Look is a place on the ladder of a take to look at.
type Look struct{ Take, Jack, Says string }

// Transfer is the question on another board.
type Transfer struct {
	Board Board
	Scene string
	Question
	Facts  []Fact
	Answer string
}

// Hands is the practical part: rewire one take of the board towards a goal that is measured. The
// claims are of facts about the take as it stands.
type Hands struct {
	Take     string
	Knobs    []string // BLOCK.KNOB, or guitar.KNOB
	Goal     string
	Facts    []Fact
	Reach    []Claim
	Solution string // a take that has reached the goal
}

// Given is a number in the texts that no simulation gives: a setting, a definition.
type Given struct{ Number, Because string }

// Fact is a number that the simulation gives.
type Fact struct {
	Name    string
	Measure string // a Reading
	Take    string // "" in Hands: the take as it stands
	Other   string // the take that it is compared with: for readings of two
	Jack    string
	Block   string
	Cause   string
	Hz      dsp.Hertz
	Tone    dsp.Tone
	Less    [2]string // names of two facts, the first less the second; then there is no measure
	Is      float64
	Text    string // of Is, as it is written
	Within  float64
	Unit    string
}

// Claim is a relation between a fact and another one, or a number.
type Claim struct {
	Fact  string
	Rel   string // "over", "under", "near"
	Other string // a fact; "" where Value is meant
	Value float64
	By    float64 // over: at least by so much more; near: at most so far off
	Text  string  // as it is written
}

// Idea is the wrong idea behind a belief of either question; "" where there is none.
func (l *Lesson) Idea(belief string) string {
	for _, c := range l.Predict.Choices {
		if c.Belief == belief {
			return c.Idea
		}
	}
	return ""
}

// factIn is a fact by its name.
func factIn(list []Fact, name string) (Fact, bool) {
	k := slices.IndexFunc(list, func(f Fact) bool { return f.Name == name })
	if k < 0 {
		return Fact{}, false
	}
	return list[k], true
}

// Filled is a text with the numbers of facts in the places of their names.
func Filled(text string, facts []Fact) string {
	for _, f := range facts {
		text = strings.ReplaceAll(text, "{"+f.Name+"}", f.Text)
	}
	return strings.ReplaceAll(text, " -", " \u2212")
}

// Paragraphs is a text by its paragraphs, in which no line ends between a number and its unit.
func Paragraphs(text string) (list []string) {
	for _, p := range strings.Split(text, "\n\n") {
		if p = strings.Join(strings.Fields(p), " "); p != "" {
			list = append(list, numberForm.ReplaceAllStringFunc(p, func(n string) string { return strings.ReplaceAll(n, " ", "\u00a0") }))
		}
	}
	return list
}

// Command is the command line that prints a fact's number, for a chain file of that name.
func (f Fact) Command(file string) string {
	at := ""
	if f.Take != "" {
		at = fmt.Sprintf(" --take %q", f.Take)
	}
	r, ok := readingOf(f.Measure)
	if !ok {
		return ""
	}
	return "drywire " + r.command(f, file, at)
}

// Sort puts lessons into the order of the course.
func Sort(list []*Lesson) {
	slices.SortStableFunc(list, func(a, b *Lesson) int { return a.Place - b.Place })
}
