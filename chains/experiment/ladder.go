package experiment

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"drywire/chains/measures"
	"drywire/dsp"
)

// Ladder is a level diagram: how loud the signal, the noise and the ceilings are at every hand-over
// of one take or more. It is also the JSON object that the command prints. The diagram is that of
// gain staging: the signal must fit between the noise below it and the ceiling above it, at
// every jack.
//
// All levels are in dBu of the voltage (0 dBu is 0.7746 V): average is the RMS over the whole
// recording, peak and ceilings are peak voltages, noise is RMS from 20 Hz to 20 kHz. What they are
// stands at JackMeasures.
type Ladder struct {
	Takes []LadderTake `json:"takes"`
}

// LadderTake is the ladder of one take.
type LadderTake struct {
	Take string `json:"take"`
	// what moves and stands still in noise and ceilings, as board.Held says it
	Held  string `json:"held,omitempty"`
	Rungs []Rung `json:"rungs"` // in the order of the signal
}

// Rung is one hand-over: what goes into a block, or comes out at the end.
type Rung struct {
	Jack       string          `json:"jack"`
	Into       string          `json:"into"` // the block; "" at the end
	Peak       measures.Figure `json:"peak_dbu"`
	Average    measures.Figure `json:"average_dbu"`
	Noise      measures.Figure `json:"noise_dbu"`
	Colour     measures.Figure `json:"colour_dbu"`        // where it begins to colour
	Ceiling    measures.Figure `json:"ceiling_dbu"`       // where it breaks up
	CleanDB    measures.Figure `json:"clean_headroom_db"` // from the peak up to the colour
	HeadroomDB measures.Figure `json:"headroom_db"`       // from the peak up to the ceiling
	RoomDB     measures.Figure `json:"room_db"`           // from the noise up to the average
	OverShare  measures.Figure `json:"over_share"`        // of the time over the ceiling
}

// LadderWords explains the diagram in a line.
const LadderWords = "Keep the signal above the noise and under the ceiling: over its ceiling, a block breaks up."

// NewLadder is the ladder of takes that were measured.
func NewLadder(takes ...*Measures) *Ladder {
	l := &Ladder{Takes: []LadderTake{}}
	for _, m := range takes {
		t := LadderTake{Take: m.Take, Held: m.Held, Rungs: []Rung{}}
		for _, j := range m.Jacks {
			into, isInput := strings.CutSuffix(j.Jack, ".in")
			if isEnd := j.Jack == "out" || strings.HasPrefix(j.Jack, "out."); !isInput && !isEnd {
				continue
			}
			r := Rung{
				Jack: j.Jack, Peak: j.Of(measures.PeakDBu), Average: j.Of(measures.RMSDBu), Noise: j.Of(measures.Noise), Colour: j.Of(measures.Colour), Ceiling: j.Of(measures.Ceiling),
				CleanDB:    j.Of(measures.CleanHeadroom),
				HeadroomDB: j.Of(measures.Headroom), RoomDB: j.Of(measures.SignalToNoise), OverShare: j.Of(measures.OverShare),
			}
			if isInput {
				r.Into = into
			}
			for _, c := range []*measures.Figure{&r.Colour, &r.Ceiling} {
				if c.OK() {
					c.Value = dsp.VoltsToDBu(c.Value)
				}
			}
			t.Rungs = append(t.Rungs, r)
		}
		l.Takes = append(l.Takes, t)
	}
	return l
}

// span is the range of levels that the diagram needs, in steps of 20 dB, at least -120 to +20 dBu.
func (l *Ladder) span() (low, high float64) {
	low, high = -120, 20
	for _, t := range l.Takes {
		for _, r := range t.Rungs {
			for _, f := range []measures.Figure{r.Peak, r.Noise, r.Colour, r.Ceiling, r.Average} {
				if f.OK() {
					low = math.Min(low, 20*math.Floor((f.Value-5)/20))
					high = math.Max(high, 20*math.Ceil((f.Value+5)/20))
				}
			}
		}
	}
	return math.Max(low, -240), high
}

// label names a rung.
func (r Rung) label() string {
	if r.Into == "" {
		return r.Jack
	}
	return "into " + r.Into
}

// textColumns is how wide the diagram is at most.
const textColumns = 100

// panel is how one take is laid out: the columns of its labels, its bars and each of its numbers,
// and every how many dB the scale has a number.
type panel struct {
	labels, bar, number int
	step                float64
	headings            [2][]string // over the numbers, in lines
	numbers             func(Rung) []measures.Figure
}

// A take alone has the whole width. Two stand side by side, the peak as a bar alone.
var (
	wide = panel{16, 51, 8, 20, [2][]string{{"peak", "clean", "head", "over"}, {"dBu", "room", "room", "noise"}},
		func(r Rung) []measures.Figure { return []measures.Figure{r.Peak, r.CleanDB, r.HeadroomDB, r.RoomDB} }}
	half = panel{12, 24, 6, 40, [2][]string{{"head", "over"}, {"room", "noise"}},
		func(r Rung) []measures.Figure { return []measures.Figure{r.HeadroomDB, r.RoomDB} }}
)

// Text is the diagram in at most 100 columns. Two takes stand side by side, more in pairs, all on
// one scale, so that every bar of one can be held against the other's.
func (l *Ladder) Text() string {
	low, high := l.span()
	var b strings.Builder
	fmt.Fprintf(&b, "█ signal, average to peak  ░ noise  ┃ ceiling: what it goes into breaks up, !  ╎ colours, ▒\n")
	fmt.Fprintf(&b, "%s\n", LadderWords)
	if len(l.Takes) == 1 {
		fmt.Fprintf(&b, "\n%s\n\n", strings.Join(wide.lines(l.Takes[0], low, high), "\n"))
		fmt.Fprintf(&b, "Clean room: dB from the peak up to where it begins to colour. ")
		fmt.Fprintf(&b, "Head room: up to where it breaks up.\n")
		return b.String()
	}
	width := (textColumns - 2) / 2
	for at := 0; at < len(l.Takes); at += 2 {
		left := half.lines(l.Takes[at], low, high)
		var right []string
		if at+1 < len(l.Takes) {
			right = half.lines(l.Takes[at+1], low, high)
		}
		b.WriteString("\n")
		for k := range max(len(left), len(right)) {
			line := ""
			if k < len(left) {
				line = left[k]
			}
			if k < len(right) {
				line += strings.Repeat(" ", width+2-utf8.RuneCountInString(line)) + right[k]
			}
			b.WriteString(strings.TrimRight(line, " ") + "\n")
		}
	}
	fmt.Fprintf(&b, "\nHeadroom: dB from the peak up to the ceiling; under 0 it breaks up.\nOver noise: dB from the noise up to the average.\n")
	return b.String()
}

// lines is a take's rungs as rows under a heading of its name, its scale and its numbers.
func (p panel) lines(t LadderTake, low, high float64) []string {
	at := func(v float64) int {
		return int(math.Round((v - low) / (high - low) * float64(p.bar-1)))
	}
	// columns of the scale before the bars: the first number is as wide as that on both sides
	const lead = 4
	scale := []rune(strings.Repeat(" ", lead+p.bar+3))
	marks := []rune(strings.Repeat(" ", p.bar))
	for db := p.step * math.Ceil(low/p.step); db <= high; db += p.step {
		text := fmt.Sprintf("%+.0f", db)
		if db == 0 {
			text = "0"
		}
		from := lead + at(db) - utf8.RuneCountInString(text)/2
		for k, c := range text {
			if i := from + k; i >= 0 && i < len(scale) {
				scale[i] = c
			}
		}
		marks[at(db)] = '·'
	}
	row := func(label, bar string, numbers []string) string {
		text := fmt.Sprintf("%-*s%-*s", p.labels, label, p.bar, bar)
		for _, n := range numbers {
			text += fmt.Sprintf("%*s", p.number, n)
		}
		return text
	}
	// its scale reaches over the edges of the bars
	heading := func(label, bar string, numbers []string) string {
		text := fmt.Sprintf("%-*s%-*s", p.labels-lead, label, lead+p.bar, strings.TrimRight(bar, " "))
		for k, n := range numbers {
			text += fmt.Sprintf("%*s", max(p.number-max(0, utf8.RuneCountInString(text)-p.labels-p.bar-k*p.number), 0), n)
		}
		return text
	}
	lines := []string{
		cut(t.Take, p.labels+p.bar+p.number*len(p.headings[0])),
		heading("dBu", string(scale), p.headings[0]),
		row("", "", p.headings[1]),
	}
	labels := p.names(t)
	for _, r := range t.Rungs {
		bar := slices.Clone(marks)
		if r.Noise.OK() {
			for k := 0; k <= at(r.Noise.Value); k++ {
				bar[k] = '░'
			}
		}
		if r.Peak.OK() && r.Average.OK() {
			for k := max(0, at(r.Average.Value)); k <= at(r.Peak.Value); k++ {
				bar[k] = '█'
				switch {
				case r.Ceiling.OK() && k > at(r.Ceiling.Value):
					bar[k] = '!'
				case r.Colour.OK() && k > at(r.Colour.Value):
					bar[k] = '▒'
				}
			}
		}
		if r.Colour.OK() {
			bar[max(0, at(r.Colour.Value))] = '╎'
		}
		if r.Ceiling.OK() {
			bar[max(0, at(r.Ceiling.Value))] = '┃'
		}
		var numbers []string
		for _, f := range p.numbers(r) {
			numbers = append(numbers, f.Text(1))
		}
		lines = append(lines, row(labels[len(lines)-3], string(bar), numbers))
	}
	return lines
}

// names is what the rungs are called within the columns for it, each by another name: where
// into does not fit, it is left out, and names that are too long lose their middle.
func (p panel) names(t LadderTake) []string {
	list := make([]string, len(t.Rungs))
	for k, r := range t.Rungs {
		if list[k] = r.label(); utf8.RuneCountInString(list[k]) >= p.labels {
			list[k] = within(strings.TrimPrefix(list[k], "into "), p.labels-1)
		}
		if at := slices.Index(list[:k], list[k]); at >= 0 {
			list[k] = within(list[k], p.labels-3) + fmt.Sprintf("%2d", k+1)
		}
	}
	return list
}

// within shortens a text to so many characters, in its middle.
func within(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	end := most / 2
	return string(runes[:most-1-end]) + "…" + string(runes[len(runes)-end:])
}

// cut shortens a text to so many characters.
func cut(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most-1]) + "…"
}
