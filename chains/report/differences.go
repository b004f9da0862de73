package report

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"drywire/chains/experiment"
	"drywire/chains/measures"
)

// How takes differ: the pairs, and the map of swaps.

type pairView struct {
	A, B          takeView
	Sentence      string
	Because       string
	Heard, Likely string
	Level         string // of hearing: most, some, none or unknown
}

// heardWords are the answers to whether a listener could tell, and how strongly they are drawn.
var heardWords = map[string]struct{ words, level string }{
	experiment.HeardMostly:  {"heard", "most"},
	experiment.HeardInParts: {"heard in places", "some"},
	experiment.HeardNot:     {"not heard", "none"},
	experiment.HeardSame:    {"the same", "none"},
	experiment.HeardUnknown: {"not measurable", "unknown"},
	experiment.HeardApart:   {"played apart", "unknown"},
}

func (v *view) pairs(p Page) {
	if len(p.Pairs) == 0 {
		return
	}
	t := differences("Every pair in numbers, the second against the first", "pair")
	for k, d := range p.Pairs {
		w := heardWords[d.Heard]
		a, b := v.Takes[d.A-1], v.Takes[d.B-1]
		view := pairView{A: a, B: b, Sentence: said(d.Sentence, b.Name, a.Name), Heard: w.words, Level: w.level}
		if len(p.Because) > 0 {
			view.Because = unit.ReplaceAllString(p.Because[k], "$1\u00a0$2")
		}
		if d.Hearing.Probability.OK() && d.Heard != experiment.HeardSame {
			view.Likely = percent(d.Hearing.Probability.Value)
		}
		v.Pairs = append(v.Pairs, view)
		t.Rows = append(t.Rows, difference(fmt.Sprintf("%d and %d", d.A, d.B), d))
	}
	v.PairTable = t
}

// differences is an empty table of pairs.
func differences(caption, what string) *table {
	return &table{
		Caption: caption,
		Head:    append([]headView{{what, "", true}, {"heard", "", true}, {"likely", "%", false}}, heads(measures.Printed(measures.Changes(), nil))...),
		Note: fmt.Sprintf("All but the level is after both were brought to one loudness. Likely: how likely a listener tells the two apart in a moment, averaged over the take, by a model of hearing "+
			"(ITU-R BS.1387) with full scale at %.0f dB SPL. Left over: what remains when one is taken from the other. Bass ends at 250 Hz, treble begins at 2 kHz. A dash is what cannot be measured.",
			experiment.Playback),
	}
}

func difference(name string, d experiment.Pair) rowView {
	likely := "–"
	if d.Hearing.Probability.OK() {
		likely = number(100*d.Hearing.Probability.Value, 0)
	}
	return rowView{"", name, append([]string{heardWords[d.Heard].words, likely}, cells(measures.Printed(measures.Changes(), nil), d.Values)...)}
}

// unit is a number with its unit behind a space, which no line should break at.
var unit = regexp.MustCompile(`(\d) (dB|LU|kHz|Hz|s|%)`)

// said is the sentence of a pair without its subject, which the page says in another way, and with
// its numbers kept together.
func said(sentence, b, a string) string {
	rest := strings.TrimPrefix(sentence, fmt.Sprintf("%q against %q: ", b, a))
	if first, size := utf8.DecodeRuneInString(rest); size > 0 {
		rest = string(unicode.ToUpper(first)) + rest[size:]
	}
	return unit.ReplaceAllString(strings.ReplaceAll(rest, "(-", "(−"), "$1\u00a0$2")
}

func percent(share float64) string { return number(100*share, 0) + " %" }

// swapsView is the map of swaps: a triangle, and the sentences, strongest first.
type swapsView struct {
	Take, Seconds string
	Columns       []string
	Rows          []swapRow
	Sentences     []swapView
	Quiet         string
	Omitted       []string
	Table         *table
}

type swapRow struct {
	Name  string
	Cells []swapView
}

type swapView struct {
	First, Second, Heard, Level, Respects, Sentence string
	Empty                                           bool
}

func (v *view) swaps(m *experiment.SwapMap) {
	if m == nil || len(m.Swaps) == 0 {
		return
	}
	names := m.Blocks()
	w := &swapsView{Take: m.Take, Seconds: number(m.Seconds, 1), Columns: names[:len(names)-1], Omitted: m.Omitted(), Table: differences("Every swap in numbers, against the take as it is", "swapped")}
	quiet := 0
	for _, s := range m.Swaps {
		if len(s.Respects) > 0 || s.Heard == experiment.HeardMostly || s.Heard == experiment.HeardInParts || s.Heard == experiment.HeardUnknown {
			w.Sentences = append(w.Sentences, swap(s))
		} else {
			quiet++
		}
		w.Table.Rows = append(w.Table.Rows, difference(s.First+" and "+s.Second, s.Pair))
	}
	if quiet > 0 {
		w.Quiet = count(quiet, "swap", "swaps") + " nobody is likely to hear."
	}
	for b := 1; b < len(names); b++ {
		row := swapRow{Name: names[b]}
		for a := range len(names) - 1 {
			at := slices.IndexFunc(m.Swaps, func(s experiment.Swap) bool { return s.First == names[a] && s.Second == names[b] })
			if at < 0 {
				row.Cells = append(row.Cells, swapView{Empty: true})
				continue
			}
			row.Cells = append(row.Cells, swap(m.Swaps[at]))
		}
		w.Rows = append(w.Rows, row)
	}
	v.Swaps = w
}

func swap(s experiment.Swap) swapView {
	w := heardWords[s.Heard]
	return swapView{First: s.First, Second: s.Second, Heard: w.words, Level: w.level, Respects: strings.Join(s.Respects, ", "), Sentence: said(s.Sentence, s.First+" and "+s.Second+" swapped", "as it is")}
}
