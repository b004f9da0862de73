package lesson

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// Version is the version of a lesson's language, the value of its first key.
const Version = "1"

// Parse reads a lesson. name is what messages call the text; the lesson itself is called by it
// without its folders and its ending. The error is file.Faults: every mistake that was found, by
// its place. What only a simulation can tell is left to Bench.
//
// The language is that of chain files: YAML without anchors, tags and further documents, of at most
// 64 kB, with the keys of Schema.
func Parse(name string, src []byte) (l *Lesson, err error) {
	r := &reader{Reader: *yamltext.NewReader(name), name: name, facts: map[string]ast.Node{}}
	defer func() {
		// the YAML parser's panics: whatever it meets is the file's fault
		if p := recover(); p != nil {
			r.Fault(1, 1, "not readable as YAML: %v", p)
			l, err = nil, r.Report()
		}
	}()
	r.source = strings.Split(strings.ReplaceAll(string(bytes.TrimPrefix(src, []byte("\ufeff"))), "\r\n", "\n"), "\n")
	body := r.Guard(src)
	if body == nil {
		return nil, r.Report()
	}
	l = &Lesson{Name: plainName(name)}
	places := readMap(r, "", body, "lesson: 1", lessonKeys(), l)
	if places != nil {
		r.whole(l, body, places)
	}
	if len(r.Faults) > 0 {
		return nil, r.Report()
	}
	return l, nil
}

// plainName is a path's last part without its ending.
func plainName(path string) string {
	name := path[strings.LastIndexAny(path, `/\`)+1:]
	if k := strings.LastIndex(name, "."); k > 0 {
		name = name[:k]
	}
	return name
}

func lessonKeys() []key[Lesson] {
	return []key[Lesson]{
		{name: "lesson", brief: "the version of this language; the file begins with lesson: 1", must: true, schema: object{"const": 1},
			read: func(r *reader, path string, n ast.Node, _ *Lesson) {
				if s, ok := r.Scalar(path, n, Version); ok && s != Version {
					r.At(n, "lesson: unsupported version %s; want lesson: %s", s, Version)
				}
			}},
		lineKey("title", "what the lesson is called", "a line of text", true, func(l *Lesson, s string) { l.Title = s }),
		numberKey("place", "its place in the course, from 1; left out, it is in none", 1, 99, false, func(l *Lesson, v float64) { l.Place = int(v) }),
		numberKey("minutes", "how many minutes it takes", 1, 30, true, func(l *Lesson, v float64) { l.Minutes = v }),
		linesKey("after", "the lessons that it builds on, by name", "of names", false, func(l *Lesson, s []string) { l.After = s }),
		textKey("enables", "what one can do with it", true, func(l *Lesson, s string) { l.Enables = s }),
		namedKey("words", "the words of the trade that it introduces, and what they mean", "headroom: how much louder it may get", func(l *Lesson, list [][2]string) {
			for _, w := range list {
				l.Words = append(l.Words, Word{w[0], w[1]})
			}
		}),
		textKey("caution", "what to heed: ears, mains, valve amplifiers", true, func(l *Lesson, s string) { l.Caution = s }),
		lineKey("chain", "the chain file, a shipped one by its name", "the name of a shipped chain file", false, func(l *Lesson, s string) { l.Board.Chain = s }),
		boardKey("board", func(l *Lesson, b Board) { l.Board.Text, l.Board.File = b.Text, b.File }),
		textKey("scene", "what the question is about", true, func(l *Lesson, s string) { l.Scene = s }),
		factsKey("facts", "the numbers that the simulation gives, by name", true, func(l *Lesson, f []Fact) { l.Facts = f }),
		mapKey("predict", "what is asked before anything sounds", "{ask: …, choices: …, proof: …}", true, questionKeys(), func(l *Lesson, q Question) { l.Predict = q }),
		mapKey("hear", "two takes that are played blind, at one loudness", "{takes: [a, b], …}", true, hearingKeys(), func(l *Lesson, h Hearing) { l.Hear = h }),
		textKey("measured", "what was measured; {NAME} is the number of a fact", true, func(l *Lesson, s string) { l.Measured = s }),
		textKey("why", "why it is so", true, func(l *Lesson, s string) { l.Why = s }),
		listKey("look", "where to look on the ladder", "{take: …, jack: …, says: …}", true, lookKeys(), func(l *Lesson, list []Look) { l.Look = list }),
		textKey("not", "what this does not show", true, func(l *Lesson, s string) { l.Not = s }),
		mapKey("transfer", "a question on another board", "{board: …, ask: …, choices: …}", true, transferKeys(), func(l *Lesson, t Transfer) { l.Transfer = t }),
		mapKey("hands", "what there is to do with the board", "{take: …, knobs: …, goal: …}", false, handsKeys(), func(l *Lesson, h Hands) { l.Hands = &h }),
		namedKey("given", "numbers in the texts that no simulation gives, and what they are", "9 V: what a battery gives", func(l *Lesson, list [][2]string) {
			for _, g := range list {
				l.Given = append(l.Given, Given{g[0], g[1]})
			}
		}),
		linesKey("sources", "where what is said comes from", "of lines", true, func(l *Lesson, s []string) { l.Sources = s }),
	}
}

func questionKeys() []key[Question] {
	return []key[Question]{
		textKey("ask", "the question", true, func(q *Question, s string) { q.Ask = s }),
		listKey("choices", "the answers, one of them right", "{say: …, belief: …, thinks: …}", true, choiceKeys(), func(q *Question, list []Choice) { q.Choices = list }),
		listKey("proof", "what of the facts proves it", "{fact: …, over: …}", true, claimKeys(), func(q *Question, list []Claim) { q.Proof = list }),
	}
}

func choiceKeys() []key[Choice] {
	return []key[Choice]{
		textKey("say", "the answer", true, func(c *Choice, s string) { c.Say = s }),
		lineKey("belief", "what one believes who gives it, in a few words", "a few words", true, func(c *Choice, s string) { c.Belief = s }),
		textKey("thinks", "what one thinks who gives it, and what is the matter with that", true, func(c *Choice, s string) { c.Thinks = s }),
		lineKey("idea", "in predict, the wrong idea behind it, in the words of the other lessons that have it", "a few words", false, func(c *Choice, s string) { c.Idea = s }),
		yesKey("right", "whether it is the right one", false, func(c *Choice, v bool) { c.Right = v }),
	}
}

func hearingKeys() []key[Hearing] {
	return []key[Hearing]{
		{name: "takes", brief: "the two takes", must: true, schema: object{"type": "array", "items": object{"type": "string"}, "minItems": 2, "maxItems": 2},
			read: func(r *reader, path string, n ast.Node, h *Hearing) {
				nodes, ok := r.List(path, n, "of two takes")
				if !ok {
					return
				}
				if len(nodes) != 2 {
					r.At(n, "%s has %d takes; want two", path, len(nodes))
					return
				}
				for k, node := range nodes {
					h.Takes[k], _ = r.Line(path, node, "the name of a take")
				}
			}},
		yesKey("heard", "whether a listener tells them apart", true, func(h *Hearing, v bool) { h.Heard = v }),
		yesKey("noise", "whether the board's hiss and hum are in the sound", false, func(h *Hearing, v bool) { h.Noise = v }),
		quantityKey("from", "where in the recording it begins", dsp.Seconds, 0, 60, false, func(h *Hearing, v float64) { h.From = dsp.Second(v) }),
		quantityKey("for", "for how long it plays", dsp.Seconds, 0.5, 12, true, func(h *Hearing, v float64) { h.For = dsp.Second(v) }),
		textKey("ask", "what to listen for, as a question that one of the takes answers", true, func(h *Hearing, s string) { h.Ask = s }),
		lineKey("right", "the take that is the answer, or neither", "the name of a take, or neither", true, func(h *Hearing, s string) { h.Right = slices.Index([]string{h.Takes[0], h.Takes[1], "neither"}, s) }),
		textKey("tells", "what there is to hear", true, func(h *Hearing, s string) { h.Tells = s }),
		listKey("proof", "what of the facts proves it", "{fact: …, over: …}", true, claimKeys(), func(h *Hearing, list []Claim) { h.Proof = list }),
	}
}

func lookKeys() []key[Look] {
	return []key[Look]{
		lineKey("take", "the take", "the name of a take", true, func(l *Look, s string) { l.Take = s }),
		lineKey("jack", "the jack", "a jack, like drive.in", true, func(l *Look, s string) { l.Jack = s }),
		textKey("says", "what is to be seen there", true, func(l *Look, s string) { l.Says = s }),
	}
}

func transferKeys() []key[Transfer] {
	return []key[Transfer]{
		lineKey("chain", "its chain file, a shipped one by its name", "the name of a shipped chain file", false, func(t *Transfer, s string) { t.Board.Chain = s }),
		boardKey("board", func(t *Transfer, b Board) { t.Board.Text, t.Board.File = b.Text, b.File }),
		textKey("scene", "what it is about", true, func(t *Transfer, s string) { t.Scene = s }),
		factsKey("facts", "the numbers that the simulation gives, by name", true, func(t *Transfer, f []Fact) { t.Facts = f }),
		textKey("ask", "the question", true, func(t *Transfer, s string) { t.Ask = s }),
		listKey("choices", "the answers, one of them right", "{say: …, belief: …, thinks: …}", true, choiceKeys(), func(t *Transfer, list []Choice) { t.Choices = list }),
		listKey("proof", "what of the facts proves it", "{fact: …, over: …}", true, claimKeys(), func(t *Transfer, list []Claim) { t.Proof = list }),
		textKey("answer", "the answer, and why", true, func(t *Transfer, s string) { t.Answer = s }),
	}
}

func handsKeys() []key[Hands] {
	return []key[Hands]{
		lineKey("take", "the take to begin with", "the name of a take", true, func(h *Hands, s string) { h.Take = s }),
		linesKey("knobs", "the knobs that matter", "like [drive.level]", true, func(h *Hands, s []string) { h.Knobs = s }),
		textKey("goal", "what is to be reached", true, func(h *Hands, s string) { h.Goal = s }),
		factsKey("facts", "what is measured of the take as it stands", true, func(h *Hands, f []Fact) { h.Facts = f }),
		listKey("reach", "when it is reached", "{fact: …, over: …}", true, claimKeys(), func(h *Hands, list []Claim) { h.Reach = list }),
		lineKey("solution", "a take that has reached it", "the name of a take", true, func(h *Hands, s string) { h.Solution = s }),
	}
}

func claimKeys() []key[Claim] {
	rel := func(word, brief string) key[Claim] {
		return lineKey(word, brief, "a fact, or a number with its unit", false, func(c *Claim, s string) { c.Rel, c.Other = word, s })
	}
	return []key[Claim]{
		lineKey("fact", "the fact", "the name of a fact", true, func(c *Claim, s string) { c.Fact = s }),
		rel("over", "it is higher than this fact or number"),
		rel("under", "it is lower than this fact or number"),
		rel("near", "it is no further off than by"),
		lineKey("by", "by at least so much; with near, by at most so much", "a number with its unit", false, func(c *Claim, s string) { c.Text = s }),
	}
}

func factKeys() []key[Fact] {
	return []key[Fact]{
		{name: "measure", brief: "what is measured", schema: object{"description": "what is measured", "enum": readingNames()},
			read: func(r *reader, path string, n ast.Node, f *Fact) {
				if w, ok := r.Line(path, n, "a measure"); ok {
					if reading, known := readingOf(w); known {
						f.Measure, f.Unit = w, reading.Unit
					} else {
						r.Unknown(n, path+": no %q", w, yamltext.Nearest(w, readingNames()), "measures", nil)
					}
				}
			}},
		lineKey("take", "of which take", "the name of a take", false, func(f *Fact, s string) { f.Take = s }),
		lineKey("against", "compared with which take: by how much the first has more", "the name of a take", false, func(f *Fact, s string) { f.Other = s }),
		lineKey("jack", "at which jack; out where it is left out", "a jack, like drive.in", false, func(f *Fact, s string) { f.Jack = s }),
		lineKey("block", "of which block", "the name of a block", false, func(f *Fact, s string) { f.Block = s }),
		lineKey("cause", "of which cause", "a cause of noise, like hum", false, func(f *Fact, s string) { f.Cause = s }),
		quantityKey("hz", "at which frequency", dsp.Hertzes, 20, 20000, false, func(f *Fact, v float64) { f.Hz = dsp.Hertz(v) }),
		{name: "tone", brief: "a steady tone at the pickup in the place of the recording, like 440 Hz 50 mV (peak)", schema: object{"type": "string"},
			read: func(r *reader, path string, n ast.Node, f *Fact) {
				s, ok := r.Line(path, n, "a tone like 440 Hz 50 mV")
				if !ok {
					return
				}
				var err error
				if f.Tone, err = parseTone(s); err != nil {
					r.At(n, "%s: %v", path, err)
				}
			}},
		{name: "less", brief: "the difference of two facts above: the first less the second", schema: object{"type": "array", "items": object{"type": "string"}, "minItems": 2, "maxItems": 2},
			read: func(r *reader, path string, n ast.Node, f *Fact) {
				nodes, ok := r.List(path, n, "of two facts")
				if !ok || len(nodes) != 2 {
					r.At(n, "%s wants the names of two facts", path)
					return
				}
				for k, node := range nodes {
					f.Less[k], _ = r.Line(path, node, "the name of a fact")
				}
			}},
		lineKey("is", "the number that the texts state, with its unit", "a number with its unit", false, func(f *Fact, s string) { f.Text = s }),
		// fact reads it, with is
		lineKey("within", "how far off the simulation may be", "a number with its unit", false, func(*Fact, string) {}),
	}
}

var toneForm = regexp.MustCompile(`^(.*?Hz)\s+(.*)$`)

func parseTone(s string) (dsp.Tone, error) {
	m := toneForm.FindStringSubmatch(s)
	if m == nil {
		return dsp.Tone{}, fmt.Errorf("%q is no tone; want one like 440 Hz 50 mV", yamltext.Clipped(s, 40))
	}
	hz, err := dsp.ParseQuantity(m[1], dsp.Hertzes)
	if err != nil {
		return dsp.Tone{}, err
	}
	v, err := dsp.ParseQuantity(m[2], dsp.Volts)
	if err != nil {
		return dsp.Tone{}, err
	}
	if hz < 20 || hz > 15000 || v <= 0 || v > 20 {
		return dsp.Tone{}, errors.New("a tone is of 20 Hz to 15 kHz and up to 20 V")
	}
	return dsp.Tone{Hz: dsp.Hertz(hz), Volts: dsp.Volt(v)}, nil
}

// factsKey is facts by their names, in their order.
func factsKey[T any](name, brief string, must bool, set func(*T, []Fact)) key[T] {
	keys := factKeys()
	return key[T]{name: name, brief: brief, must: must,
		schema: object{"description": brief, "type": "object", "minProperties": 1, "propertyNames": object{"pattern": nameForm.String()}, "additionalProperties": mapSchema("a number", keys)},
		read: func(r *reader, path string, n ast.Node, v *T) {
			pairs, ok := r.Pairs(path, n, "loud: {measure: peak_volts, take: …, is: 1.2 V, within: 0.05 V}")
			if !ok {
				return
			}
			var list []Fact
			for _, p := range pairs {
				f := Fact{Name: p.Key.GetToken().Value}
				if !nameForm.MatchString(f.Name) {
					r.At(p.Key, "%q: a fact's name has lower-case letters, digits and -", yamltext.Clipped(f.Name, 40))
				}
				at := yamltext.Join(path, f.Name)
				if seen := readMap(r, at, p.Value, "{measure: peak_volts, …}", keys, &f); seen != nil {
					r.fact(at, p, seen, &f, list)
				}
				list = append(list, f)
			}
			set(v, list)
		}}
}

// fact checks what needs more than one key of a fact.
func (r *reader) fact(path string, p *ast.MappingValueNode, seen map[string]ast.Node, f *Fact, before []Fact) {
	if seen["less"] != nil {
		for _, key := range []string{"measure", "take", "against", "jack", "block", "cause", "hz", "tone"} {
			if seen[key] != nil {
				r.At(seen[key], "%s is the difference of two facts, which has no %s", path, key)
			}
		}
		for _, name := range f.Less {
			other, ok := factIn(before, name)
			if !ok {
				r.At(seen["less"], "%s: no fact %q above it", path, name)
				return
			}
			if f.Unit == "" {
				f.Unit = difference(other.Unit)
			} else if f.Unit != difference(other.Unit) {
				r.At(seen["less"], "%s: %s and %s are in different units", path, f.Less[0], f.Less[1])
			}
		}
	} else if f.Measure == "" {
		if seen["measure"] == nil {
			r.At(p.Key, "%s says neither measure nor less", path)
		}
		return
	} else {
		r.needs(path, p, seen, f)
	}
	if seen["is"] == nil {
		return // of Hands; whole says where it must be
	}
	var err error
	if f.Is, err = amount(f.Text, f.Unit); err != nil {
		r.At(seen["is"], "%s.is: %v", path, err)
		return
	}
	if seen["within"] == nil {
		r.At(p.Key, "%s.within is missing: how far off the simulation may be", path)
		return
	}
	text, _ := r.Scalar(path, yamltext.ValueOf(p.Value, "within"), "a number with its unit")
	if f.Within, err = amount(text, f.Unit); err != nil {
		r.At(seen["within"], "%s.within: %v", path, err)
		return
	}
	if most := tightness(*f); !(f.Within > 0) || f.Within > most*(1+1e-9) {
		r.At(seen["within"], "%s.within: %s is no bound for %s; want more than 0, and at most %.3g %s", path, text, f.Text, most, f.Unit)
	}
}

// tightness is the widest bound that a fact may have: 1 dB, or a tenth of what it is; of a chance
// of being told apart, five of a hundred, for it is near none or near all where it is stated.
func tightness(f Fact) float64 {
	if f.Measure == toldApart {
		return 5
	}
	if decibel(f.Unit) {
		return 1
	}
	return 0.1 * math.Abs(f.Is)
}

// decibel reports whether a unit is a level or a ratio in decibels.
func decibel(unit string) bool {
	return slices.Contains([]string{"dB", "dB(A)", "dBu", "dBu(A)", "dBV", "LU", "LUFS"}, unit)
}

// difference is the unit of a difference.
func difference(unit string) string {
	switch unit {
	case "dBu", "dBV":
		return "dB"
	case "dBu(A)":
		return "dB(A)"
	case "LUFS":
		return "LU"
	}
	return unit
}

// needs checks that a fact has what its measure wants, and nothing else.
func (r *reader) needs(path string, p *ast.MappingValueNode, seen map[string]ast.Node, f *Fact) {
	reading, _ := readingOf(f.Measure)
	for _, k := range []struct {
		key        string
		want, have bool
	}{
		{"against", reading.Two, seen["against"] != nil},
		{"hz", reading.needs == "hz", seen["hz"] != nil},
		{"tone", reading.needs == "tone", seen["tone"] != nil},
		{"block", reading.needs == "block", seen["block"] != nil},
		{"cause", reading.needs == "cause", seen["cause"] != nil},
	} {
		switch {
		case k.want && !k.have:
			r.At(p.Key, "%s.%s is missing: %s needs it", path, k.key, f.Measure)
		case k.have && !k.want:
			r.At(seen[k.key], "%s: %s has no %s", path, f.Measure, k.key)
		}
	}
	switch {
	case seen["jack"] != nil && !reading.jack:
		r.At(seen["jack"], "%s: %s is of a take, not of a jack", path, f.Measure)
	case reading.jack && f.Jack == "":
		f.Jack = "out"
	}
}

// amount is a number with a unit.
func amount(text, unit string) (float64, error) {
	text = strings.ReplaceAll(strings.TrimSpace(text), "\u2212", "-")
	switch unit {
	case "V":
		return dsp.ParseQuantity(text, dsp.Volts)
	case "Ω":
		return dsp.ParseQuantity(text, dsp.Ohms)
	case "Hz":
		return dsp.ParseQuantity(text, dsp.Hertzes)
	case "s":
		return dsp.ParseQuantity(text, dsp.Seconds)
	}
	number, ok := strings.CutSuffix(text, unit)
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !ok || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number in %s", yamltext.Clipped(text, 40), unit)
	}
	return v, nil
}

// boardKey is a chain file within the lesson, as text.
func boardKey[T any](name string, set func(*T, Board)) key[T] {
	const brief = "the chain file, as text (board: |)"
	return key[T]{name: name, brief: brief, schema: object{"description": brief, "type": "string"},
		read: func(r *reader, path string, n ast.Node, v *T) {
			literal, ok := n.(*ast.LiteralNode)
			if !ok {
				r.At(n, "%s wants a chain file as text, below %s: |", path, name)
				return
			}
			text := literal.Value.Value
			f, err := file.Parse(r.name, []byte(text))
			var faults file.Faults
			if errors.As(err, &faults) {
				r.within(literal, text, faults)
				return
			}
			set(v, Board{Text: []byte(text), File: f})
		}}
}

// within puts the faults of a chain file where they are in the lesson.
func (r *reader) within(n *ast.LiteralNode, text string, faults file.Faults) {
	first := n.Start.Position.Line // of the sign |, above the text
	body := strings.Split(text, "\n")
	indent := 0
	for first < len(r.source) && strings.TrimSpace(r.source[first]) == "" && len(body) > 0 && strings.TrimSpace(body[0]) != "" {
		first++
	}
	if first < len(r.source) && len(body) > 0 {
		indent = len([]rune(r.source[first])) - len([]rune(strings.TrimRight(body[0], " ")))
	}
	for _, f := range faults {
		r.Fault(f.Line+first, f.Column+max(0, indent), "%s", f.Text)
	}
}

// whole checks what needs more than one key of the lesson.
func (r *reader) whole(l *Lesson, body ast.Node, places map[string]ast.Node) {
	r.board("", body, places, &l.Board)
	transfer := yamltext.ValueOf(body, "transfer")
	if places["transfer"] != nil {
		at := map[string]ast.Node{}
		if pairs, ok := r.QuietPairs(transfer); ok {
			for _, p := range pairs {
				at[p.Key.GetToken().Value] = p.Key
			}
		}
		r.board("transfer.", places["transfer"], at, &l.Transfer.Board)
	}
	r.takes("facts", places["facts"], l.Board.File, l.Facts, true)
	r.takes("transfer.facts", places["transfer"], l.Transfer.Board.File, l.Transfer.Facts, true)
	r.question("predict", places["predict"], &l.Predict, l.Facts)
	r.question("transfer", places["transfer"], &l.Transfer.Question, l.Transfer.Facts)
	r.beliefs(l, places["transfer"])
	if n := places["hear"]; n != nil {
		r.known("hear", n, l.Board.File, l.Hear.Takes[:]...)
		r.claims("hear", n, l.Hear.Proof, l.Facts)
		switch {
		case l.Hear.Right < 0:
			r.At(n, "hear.right is neither of the two takes, and not neither")
		case l.Hear.Heard == (l.Hear.Right == Neither):
			r.At(n, "hear: heard and right contradict each other; what is not heard has right: neither")
		}
	}
	for k, look := range l.Look {
		r.known(fmt.Sprintf("look[%d]", k+1), places["look"], l.Board.File, look.Take)
		if l.Board.File != nil {
			if c, err := l.Board.File.Take(look.Take); err == nil {
				if err := c.Jack(look.Jack); err != nil {
					r.At(places["look"], "look[%d]: %v", k+1, err)
				}
			}
		}
	}
	if h := l.Hands; h != nil {
		r.known("hands", places["hands"], l.Board.File, h.Take, h.Solution)
		r.takes("hands.facts", places["hands"], l.Board.File, h.Facts, false)
		r.claims("hands", places["hands"], h.Reach, h.Facts)
	}
	r.texts(l, body, places)
}

// board finds a shipped chain file, and sees that there is one board.
func (r *reader) board(path string, n ast.Node, places map[string]ast.Node, b *Board) {
	switch {
	case places["chain"] != nil && places["board"] != nil:
		r.At(yamltext.Later(places["chain"], places["board"]), "%schain and %sboard are both there; want one of them", path, path)
	case places["chain"] == nil && places["board"] == nil:
		r.At(n, "%sboard is missing: a chain file below board: |, or a shipped one by its name under chain", path)
	case b.Chain != "":
		text, err := chains.ReadShipped(b.Chain)
		if err != nil {
			r.At(places["chain"], "%schain: %v", path, err)
			return
		}
		f, err := file.Parse(b.Chain+".yaml", text)
		if err != nil {
			r.At(places["chain"], "%schain: %v", path, err)
			return
		}
		b.Text, b.File = text, f
	}
}

// known faults names of takes that a board does not have.
func (r *reader) known(path string, n ast.Node, f *board.File, names ...string) {
	if f == nil {
		return
	}
	var takes []string
	for _, t := range f.Takes {
		takes = append(takes, t.Name)
	}
	for _, name := range names {
		if name != "" && !slices.Contains(takes, name) {
			r.Unknown(n, path+": no take %q", name, yamltext.Nearest(name, takes), "takes", takes)
		}
	}
}

// takes checks the takes of facts; those of a whole lesson name theirs and state their numbers.
func (r *reader) takes(path string, n ast.Node, f *board.File, facts []Fact, stated bool) {
	for _, fact := range facts {
		at := path + "." + fact.Name
		r.known(at, n, f, fact.Take, fact.Other)
		switch {
		case stated && fact.Text == "":
			r.At(n, "%s.is is missing: the number that the texts state", at)
		case stated && fact.Measure != "" && fact.Take == "":
			r.At(n, "%s.take is missing", at)
		case !stated && (fact.Take != "" || fact.Other != "" || fact.Text != ""):
			r.At(n, "%s is of the take as it stands: it has no take, no against and no is", at)
		}
		if f == nil || fact.Jack == "" || fact.Take == "" {
			continue
		}
		if c, err := f.Take(fact.Take); err == nil && !strings.HasPrefix(fact.Measure, "source_") && !strings.HasPrefix(fact.Measure, "input_") {
			if err := c.Jack(fact.Jack); err != nil {
				r.At(n, "%s: %v", at, err)
			}
		}
	}
}

func (r *reader) question(path string, n ast.Node, q *Question, facts []Fact) {
	if n == nil {
		return
	}
	right := 0
	for _, c := range q.Choices {
		if c.Right {
			right++
		}
		if c.Idea != "" && (c.Right || path != "predict") {
			r.At(n, "%s: %q has an idea; only the wrong choices of predict have one", path, c.Belief)
		}
	}
	if len(q.Choices) < 2 || right != 1 {
		r.At(n, "%s has %d choices, of which %d are right; want two and more, and one that is right", path, len(q.Choices), right)
	}
	r.claims(path, n, q.Proof, facts)
}

// beliefs sees that in a course the second question asks for the same beliefs: it is what shows
// whether they have changed.
func (r *reader) beliefs(l *Lesson, n ast.Node) {
	if l.Place == 0 {
		return // in no course, the second question may be about another thing
	}
	var known []string
	for _, c := range l.Predict.Choices {
		if slices.Contains(known, c.Belief) {
			r.At(n, "predict: two choices have the belief %q", c.Belief)
		}
		known = append(known, c.Belief)
	}
	for _, c := range l.Transfer.Choices {
		if !slices.Contains(known, c.Belief) {
			r.Unknown(n, "transfer: no belief %q in predict", c.Belief, yamltext.Nearest(c.Belief, known), "beliefs", known)
		}
	}
	if a, b := l.Predict.Right(), l.Transfer.Right(); a >= 0 && b >= 0 && l.Predict.Choices[a].Belief != l.Transfer.Choices[b].Belief {
		r.At(n, "transfer: the right choice has the belief %q, and that of predict has %q", l.Transfer.Choices[b].Belief, l.Predict.Choices[a].Belief)
	}
}

// claims resolves what claims are about.
func (r *reader) claims(path string, n ast.Node, list []Claim, facts []Fact) {
	if n != nil && len(list) == 0 {
		r.At(n, "%s has no proof", path)
	}
	for k := range list {
		c := &list[k]
		f, ok := factIn(facts, c.Fact)
		var err error
		switch {
		case !ok:
			r.At(n, "%s, proof %d: no fact %q", path, k+1, c.Fact)
			continue
		case c.Rel == "":
			r.At(n, "%s, proof %d: %s says none of over, under and near", path, k+1, c.Fact)
			continue
		}
		if other, ok := factIn(facts, c.Other); ok {
			if difference(other.Unit) != difference(f.Unit) {
				r.At(n, "%s, proof %d: %s and %s are in different units", path, k+1, c.Fact, c.Other)
			}
		} else if c.Value, err = amount(c.Other, f.Unit); err != nil {
			r.At(n, "%s, proof %d: no fact %q, and %v", path, k+1, c.Other, err)
			continue
		} else {
			c.Other = ""
		}
		if c.Text != "" {
			if c.By, err = amount(c.Text, difference(f.Unit)); err != nil {
				r.At(n, "%s, proof %d: by: %v", path, k+1, err)
			}
		}
		if !(c.By > 0) {
			r.At(n, "%s, proof %d: by is missing: by at least how much, or with near by at most how much", path, k+1)
		}
	}
}

var (
	placeForm  = regexp.MustCompile(`\{([^{}]*)\}`)
	numberForm = regexp.MustCompile(`[-\x{2212}+]?[0-9]+(?:[.,][0-9]+)?[ \x{a0}]?(?:%|dBu\(A\)|dB\(A\)|(?:dBu|dBV|dB|LUFS|LU|mV|V|kΩ|MΩ|Ω|kHz|Hz|ms|mW|W|mA|pF|nF)\b)`)
)

// texts checks that every {NAME} is a fact, that every fact is used, and that every other number
// with a unit is one that is given.
func (r *reader) texts(l *Lesson, body ast.Node, places map[string]ast.Node) {
	var given []string
	for _, g := range l.Given {
		given = append(given, g.Number)
	}
	used := map[string]bool{}
	check := func(path string, n ast.Node, facts []Fact, texts ...string) {
		for _, text := range texts {
			for _, m := range placeForm.FindAllStringSubmatch(text, -1) {
				if _, ok := factIn(facts, m[1]); !ok {
					r.At(n, "%s: no fact %q for {%s}", path, m[1], m[1])
				}
				used[path[:min(len(path), 8)]+m[1]] = true
			}
			for _, number := range numberForm.FindAllString(placeForm.ReplaceAllString(text, ""), -1) {
				if !slices.Contains(given, number) {
					r.At(n, "%s: %s stands in the text by itself; state it as a fact and write {NAME}, or say under given what it is", path, number)
				}
			}
		}
	}
	choices := func(list []Choice) (texts []string) {
		for _, c := range list {
			texts = append(texts, c.Say, c.Belief, c.Thinks)
		}
		return texts
	}
	check("title", places["title"], nil, l.Title)
	check("scene", places["scene"], nil, l.Scene)
	check("enables", places["enables"], nil, l.Enables)
	check("caution", places["caution"], nil, l.Caution)
	check("predict", places["predict"], l.Facts, append(choices(l.Predict.Choices), l.Predict.Ask)...)
	check("hear", places["hear"], l.Facts, l.Hear.Ask, l.Hear.Tells)
	check("measured", places["measured"], l.Facts, l.Measured)
	check("why", places["why"], l.Facts, l.Why)
	check("not", places["not"], l.Facts, l.Not)
	for _, look := range l.Look {
		check("look", places["look"], l.Facts, look.Says)
	}
	for _, w := range l.Words {
		check("words", places["words"], l.Facts, w.Means)
	}
	check("transfer", places["transfer"], l.Transfer.Facts, append(choices(l.Transfer.Choices), l.Transfer.Scene, l.Transfer.Ask, l.Transfer.Answer)...)
	if l.Hands != nil {
		check("hands", places["hands"], nil, l.Hands.Goal)
	}
}
