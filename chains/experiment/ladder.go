package experiment

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"drywire/dsp"
)

// Ladder is a level diagram: how loud the signal, the noise and the ceiling are at every hand-over of one take or more. It is also the JSON object that
// the command prints. The diagram is that of gain staging: the signal must find room between the noise below it and the ceiling above it, at every jack.
//
// All levels are in dBu of the voltage (0 dBu is 0.7746 V): average is the RMS over the whole recording, peak and ceiling are peak voltages, noise is RMS
// from 20 Hz to 20 kHz. What they are is told at JackMeasures.
type Ladder struct {
	Takes []LadderTake `json:"takes"`
}

// LadderTake is the ladder of one take.
type LadderTake struct {
	Take  string `json:"take"`
	Rungs []Rung `json:"rungs"` // in the order of the signal
}

// Rung is one hand-over: what goes into a block, or comes out at the end.
type Rung struct {
	Jack       string `json:"jack"`
	Into       string `json:"into"` // the block; "" at the end
	Peak       Figure `json:"peak_dbu"`
	Average    Figure `json:"average_dbu"`
	Noise      Figure `json:"noise_dbu"`
	Ceiling    Figure `json:"ceiling_dbu"`
	HeadroomDB Figure `json:"headroom_db"` // from the peak up to the ceiling
	RoomDB     Figure `json:"room_db"`     // from the noise up to the average
	OverShare  Figure `json:"over_share"`  // of the time over the ceiling
}

// LadderWords explains the diagram in a line.
const LadderWords = "Keep the signal above the noise and under the ceiling: over its ceiling, a block distorts."

// NewLadder is the ladder of takes that were measured.
func NewLadder(takes ...*Measures) *Ladder {
	l := &Ladder{Takes: []LadderTake{}}
	dBu := Figure{Value: dsp.VoltsToDBV(dsp.DBu)}
	for _, m := range takes {
		t := LadderTake{Take: m.Take, Rungs: []Rung{}}
		for _, j := range m.Jacks {
			into, isInput := strings.CutSuffix(j.Jack, ".in")
			if isEnd := j.Jack == "out" || strings.HasPrefix(j.Jack, "out."); !isInput && !isEnd {
				continue
			}
			r := Rung{
				Jack: j.Jack, Peak: j.PeakDBV.minus(dBu), Average: j.DBu, Noise: j.NoiseDBu, Ceiling: j.CeilingVolts,
				HeadroomDB: j.HeadroomDB, RoomDB: j.SNR, OverShare: j.OverShare,
			}
			if isInput {
				r.Into = into
			}
			if r.Ceiling.OK() {
				r.Ceiling.Value = dsp.VoltsToDBu(r.Ceiling.Value)
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
			for _, f := range []Figure{r.Peak, r.Noise, r.Ceiling, r.Average} {
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

// Text is the diagram in at most 100 columns. The takes are one below the other on one scale, so that every bar of one can be held against the other's.
func (l *Ladder) Text() string {
	const labels, bar, columns = 16, 51, 100
	low, high := l.span()
	at := func(v float64) int {
		return int(math.Round((v - low) / (high - low) * (bar - 1)))
	}
	const lead = 4 // columns of the scale before the bars: the first number is as wide as that on both sides
	scale := []rune(strings.Repeat(" ", lead+bar+3))
	marks := []rune(strings.Repeat(" ", bar))
	for db := low; db <= high; db += 20 {
		text := fmt.Sprintf("%+.0f", db)
		if db == 0 {
			text = "0"
		}
		from := lead + at(db) - utf8.RuneCountInString(text)/2
		for k, c := range text {
			if p := from + k; p >= 0 && p < len(scale) {
				scale[p] = c
			}
		}
		marks[at(db)] = '·'
	}
	var b strings.Builder
	fmt.Fprintf(&b, "█ signal, from its average to its peak    ░ noise    ┃ ceiling of what it goes into    ! over it\n")
	fmt.Fprintf(&b, "%s\n", LadderWords)
	for _, t := range l.Takes {
		fmt.Fprintf(&b, "\n%s\n", cut(t.Take, columns))
		fmt.Fprintf(&b, "%*s%-*s %8s %10s %10s\n", labels-lead, "dBu ", lead+bar, strings.TrimRight(string(scale), " "), "peak", "headroom", "over noise")
		fmt.Fprintf(&b, "%*s%-*s %8s %10s %10s\n", labels, "", bar, "", "dBu", "dB", "dB")
		for _, r := range t.Rungs {
			row := append([]rune(nil), marks...)
			if r.Noise.OK() {
				for k := 0; k <= at(r.Noise.Value); k++ {
					row[k] = '░'
				}
			}
			if r.Peak.OK() && r.Average.OK() {
				for k := max(0, at(r.Average.Value)); k <= at(r.Peak.Value); k++ {
					row[k] = '█'
					if r.Ceiling.OK() && k > at(r.Ceiling.Value) {
						row[k] = '!'
					}
				}
			}
			if r.Ceiling.OK() {
				row[max(0, at(r.Ceiling.Value))] = '┃'
			}
			fmt.Fprintf(&b, "%-*s%s %8s %10s %10s\n", labels, cut(r.label(), labels-1), string(row), r.Peak.Text(1), r.HeadroomDB.Text(1), r.RoomDB.Text(1))
		}
	}
	return b.String()
}

// cut shortens a text to so many characters.
func cut(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most-1]) + "…"
}
