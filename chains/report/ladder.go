package report

import (
	"fmt"
	"math"
	"unicode/utf8"

	"drywire/chains/experiment"
	"drywire/chains/measures"
)

// The level diagram of one take in the page's own lines and letters; experiment.Ladder has the
// numbers. All takes of a page have one scale.

// ladderSizes are the widths at which diagrams are drawn: two beside each other on a desk, one on a
// telephone.
var ladderSizes = []struct {
	class         string
	width, height float64
	letter        float64
}{
	{"wide", 530, 340, 13},
	{"narrow", 350, 310, 11.5},
}

// span is the scale that all takes of a ladder fit into, in dBu, by tens of 20 dB.
func span(l *experiment.Ladder) (low, high float64) {
	low, high = -100, 0
	for _, t := range l.Takes {
		for _, r := range t.Rungs {
			for _, f := range []measures.Figure{r.Peak, r.Average, r.Noise, r.Colour, r.Ceiling} {
				if f.OK() {
					low = math.Min(low, 20*math.Floor((f.Value-4)/20))
					high = math.Max(high, 20*math.Ceil((f.Value+4)/20))
				}
			}
		}
	}
	return math.Max(low, -200), high
}

// drawLadder draws the k-th take's diagram on a scale from low to high.
func drawLadder(k int, rungs []experiment.Rung, low, high float64) []drawing {
	var list []drawing
	for _, s := range ladderSizes {
		left, right, top := 3.2*s.letter, 4.6*s.letter, 1.6*s.letter
		bottom := s.height - 4*s.letter
		width, least := s.width, 0.0
		if need := left + right + 4.3*s.letter*float64(len(rungs)); need > width {
			width, least = math.Ceil(need), math.Ceil(need)
		}
		column := (width - left - right) / float64(max(1, len(rungs)))
		c := new(canvas)
		y := func(db float64) float64 {
			return bottom - (bottom-top)*(math.Max(low, math.Min(high, db))-low)/(high-low)
		}

		end := left + column*float64(len(rungs))
		for n, r := range rungs { // the grounds, under the scale's lines
			x := left + column*float64(n)
			if r.Ceiling.OK() {
				c.box(x, top, column, y(r.Ceiling.Value)-top, "over")
			}
			if r.Noise.OK() {
				over := 0.0
				if n+1 < len(rungs) && rungs[n+1].Noise.OK() {
					over = 0.5 // so that no seam shows
				}
				c.box(x, y(r.Noise.Value), column+over, bottom-y(r.Noise.Value), "ground")
			}
		}
		for db := low; db <= high; db += 20 {
			c.box(left, y(db)-0.5, end-left, 1, "hair")
			c.label(left-7, y(db)+s.letter*0.35, s.letter, "end", "soft", signed(db, 0))
		}
		c.label(left-7, top-0.7*s.letter, s.letter, "end", "soft", "dBu")
		for n, r := range rungs {
			x := left + column*float64(n)
			middle := x + column/2
			if r.Noise.OK() {
				c.box(x, y(r.Noise.Value)-1, column, 2, "soft")
				at := y(r.Noise.Value) + 1.2*s.letter
				if at > bottom-0.3*s.letter {
					at = y(r.Noise.Value) - 0.45*s.letter
				}
				c.label(middle, at, s.letter*0.92, "middle", "ink", signed(r.Noise.Value, 0))
			}
			if r.Peak.OK() && r.Average.OK() {
				side := math.Min(24, column*0.4)
				c.box(middle-side/2, y(r.Peak.Value), side, math.Max(2, y(r.Average.Value)-y(r.Peak.Value)), take(k))
			}
			if r.Colour.OK() {
				c.box(x+2, y(r.Colour.Value)-0.5, column-4, 1, "warn")
			}
			if r.Ceiling.OK() {
				c.box(x+2, y(r.Ceiling.Value)-1.5, column-4, 3, "warn")
			}
			if r.Peak.OK() && r.Average.OK() {
				at := y(r.Peak.Value) - 0.45*s.letter
				// the ceiling's line would go through it
				if r.Ceiling.OK() && y(r.Ceiling.Value) > at-1.1*s.letter && y(r.Ceiling.Value) < at+3 {
					at = y(r.Ceiling.Value) - 0.45*s.letter
				}
				c.label(middle, at, s.letter, "middle", "ink", signed(r.Peak.Value, 0))
			}
			name := r.Into
			if name == "" {
				name = "out"
			}
			c.label(middle, bottom+1.35*s.letter, s.letter, "middle", "ink", cut(name, int(column/(0.56*s.letter))))
			if r.HeadroomDB.OK() {
				word, color := "spare", ink("soft")
				if r.HeadroomDB.Value < 0 {
					word, color = "over", "warn"
				}
				small, room := s.letter*0.92, fmt.Sprintf("%.0f dB", math.Abs(r.HeadroomDB.Value))
				if column > 11*0.56*small {
					c.label(middle, bottom+2.6*s.letter, small, "middle", color, room+" "+word)
				} else {
					c.label(middle, bottom+2.6*s.letter, small, "middle", color, room)
					c.label(middle, bottom+3.7*s.letter, small, "middle", color, word)
				}
			}
		}
		c.names(rungs, end+6, s.letter, y)
		list = append(list, drawing{Class: s.class, Least: least, Width: width, Height: s.height, Body: c.body.String()})
	}
	return list
}

// names says beside the last rungs what is drawn, each name clear of the next.
func (c *canvas) names(rungs []experiment.Rung, x, letter float64, y func(float64) float64) {
	type name struct {
		at    float64
		text  string
		color ink
	}
	var list []name
	put := func(f measures.Figure, text string, color ink) {
		if f.OK() {
			list = append(list, name{y(f.Value) + letter*0.35, text, color})
		}
	}
	for k := len(rungs) - 1; k >= 0; k-- {
		if rungs[k].Ceiling.OK() {
			put(rungs[k].Ceiling, "ceiling", "warn")
			break
		}
	}
	if len(rungs) > 0 {
		last := rungs[len(rungs)-1]
		put(last.Peak, "peak", "ink")
		put(last.Average, "average", "ink")
		put(last.Noise, "noise", "soft")
	}
	for k := range list {
		if k > 0 {
			list[k].at = math.Max(list[k].at, list[k-1].at+1.15*letter)
		}
		c.label(x, list[k].at, letter, "start", list[k].color, list[k].text)
	}
}

// ladderWords is a diagram in words, for screen readers.
func ladderWords(rungs []experiment.Rung) string {
	text := ""
	for _, r := range rungs {
		where := "At the end"
		if r.Into != "" {
			where = "Into " + r.Into
		}
		text += fmt.Sprintf("%s: peak %s dBu, average %s dBu, noise %s dBu", where, figure(r.Peak, 0), figure(r.Average, 0), figure(r.Noise, 0))
		if r.Ceiling.OK() {
			text += fmt.Sprintf(", ceiling %s dBu", figure(r.Ceiling, 0))
		}
		if r.Colour.OK() {
			text += fmt.Sprintf(", colours from %s dBu", figure(r.Colour, 0))
		}
		text += ". "
	}
	return text
}

// cut shortens a text to so many characters.
func cut(text string, most int) string {
	if most < 2 || utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most-1]) + "…"
}
