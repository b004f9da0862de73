package sheet

import (
	"math"
	"strings"

	"drywire/chains/internal/sketch"
)

// piece is something that is drawn whole, in pixels of 1/96 inch.
type piece struct {
	high float64
	draw func(s sketch.Sketch, x, y float64)
}

// The paper, in pixels, and the letters on it: 9.5 points, as on the page that is printed.
const (
	paperWide = 794.0 // A4
	paperHigh = 1123.0
	edge      = 28.0
	letters   = 9.5 / 0.75
	line      = 1.15 * letters
	short     = paperHigh / 3
)

// flow puts pieces under each other, and begins a new page where one does not fit.
type flow struct {
	pages [][]func(sketch.Sketch)
	y     float64
}

func newFlow() *flow { return &flow{pages: [][]func(sketch.Sketch){nil}, y: edge} }

func (f *flow) turn() { f.pages, f.y = append(f.pages, nil), edge }

func (f *flow) put(p piece, x, y float64) {
	last := len(f.pages) - 1
	f.pages[last] = append(f.pages[last], func(s sketch.Sketch) { p.draw(s, x, y) })
}

// add puts pieces that stay together under what is there.
func (f *flow) add(list ...piece) {
	high := 0.0
	for _, p := range list {
		high += p.high
	}
	if f.y+high > paperHigh-edge && f.y > edge {
		f.turn()
	}
	for _, p := range list {
		f.put(p, edge, f.y)
		f.y += p.high
	}
}

// columns puts pieces into so many columns side by side, as even as they come and one after the
// other, under heads that stay with them. What is short is not divided; what else a page does not
// hold goes on on the next one.
func (f *flow) columns(heads []piece, list []piece, n int) {
	const gap = 18
	wide := columnWidth(n)
	over := 0.0
	for _, h := range heads {
		over += h.high
	}
	if len(list) > 0 {
		whole, _ := even(list, n, math.Inf(1))
		least := list[0].high
		if whole < short {
			least = whole
		}
		if f.y+over+least > paperHigh-edge {
			f.turn()
		}
	}
	f.add(heads...)
	for len(list) > 0 {
		room := paperHigh - edge - f.y
		high, ends := even(list, n, room)
		from := 0
		for k, to := range ends {
			y := f.y
			for _, p := range list[from:to] {
				f.put(p, edge+float64(k)*(wide+gap), y)
				y += p.high
			}
			from = to
		}
		f.y += high
		if list = list[from:]; len(list) > 0 {
			f.turn()
		}
	}
}

// columnWidth is how wide one of n columns is, in pixels.
func columnWidth(n int) float64 { return (paperWide - 2*edge - 18*float64(n-1)) / float64(n) }

// even is the least height, up to room, at which pieces fit into n columns, and where each column
// ends; at room what does not fit is left over, but for the first piece.
func even(list []piece, n int, room float64) (high float64, ends []int) {
	fill := func(limit float64) (ends []int, tallest float64) {
		at := 0
		for range n {
			y := 0.0
			for at < len(list) && (y+list[at].high <= limit || len(ends) == 0 && y == 0) {
				y += list[at].high
				at++
			}
			ends, tallest = append(ends, at), math.Max(tallest, y)
		}
		return ends, tallest
	}
	for limit := 4.0; limit < room; limit += 4 {
		if ends, tallest := fill(limit); ends[n-1] == len(list) {
			return tallest, ends
		}
	}
	ends, high = fill(room)
	return high, ends
}

// wrapped is a text in lines no wider than wide; a word that is wider is broken.
func wrapped(text string, wide float64, bold bool) (lines []string) {
	now := ""
	for _, word := range strings.Fields(text) {
		for {
			joined := strings.TrimSpace(now + " " + word)
			if sketch.Width(joined, letters, bold) <= wide {
				now = joined
				break
			}
			if now != "" {
				lines, now = append(lines, now), ""
				continue
			}
			runes := []rune(word)
			n := len(runes) - 1
			for n > 1 && sketch.Width(string(runes[:n]), letters, bold) > wide {
				n--
			}
			lines, word = append(lines, string(runes[:n])), string(runes[n:])
		}
	}
	return append(lines, now)
}

// said is a text over a width, behind a mark that hangs to its left.
func said(mark, text string, wide float64) piece {
	in := 0.0
	if mark != "" {
		in = sketch.Width(mark+" ", letters, true)
	}
	lines := wrapped(text, wide-in, false)
	return piece{line*float64(len(lines)) + 2, func(s sketch.Sketch, x, y float64) {
		s.Text(x, y+letters, letters, "start", true, sketch.Ink, mark)
		for k, l := range lines {
			s.Text(x+in, y+letters+line*float64(k), letters, "start", false, sketch.Ink, l)
		}
	}}
}

// headed is a section's head.
func headed(text string) piece {
	const size = 14
	return piece{size + 10, func(s sketch.Sketch, x, y float64) {
		s.Text(x, y+size+3, size, "start", true, sketch.Ink, text)
		s.Box(x, y+size+6, paperWide-2*edge, 2, sketch.Ink)
	}}
}

// column is one of a table.
type column struct {
	head   string
	bold   bool
	anchor string // "start", "middle" or "end"
}

// tabled is the head and the rows of a table. Its columns are as wide as what is in them, with what
// is over of wide shared out; where there is too little, the widest gives way.
func tabled(columns []column, rows [][]string, wide float64) (head piece, list []piece) {
	const pad = 10
	widths := make([]float64, len(columns))
	sum := 0.0
	for k, c := range columns {
		widths[k] = sketch.Width(c.head, letters, true)
		for _, r := range rows {
			widths[k] = math.Max(widths[k], sketch.Width(r[k], letters, c.bold))
		}
		sum += widths[k] + pad
	}
	widest := 0
	for k := range widths {
		if widths[k] > widths[widest] {
			widest = k
		}
	}
	if sum > wide {
		widths[widest] += wide - sum
	} else {
		for k := range widths {
			widths[k] += (wide - sum) / float64(len(widths))
		}
	}
	row := func(cells []string, bold bool) piece {
		texts, most := make([][]string, len(cells)), 1
		for k, c := range cells {
			texts[k] = wrapped(c, widths[k]+0.5, bold || columns[k].bold)
			most = max(most, len(texts[k]))
		}
		high := line*float64(most) + 3
		return piece{high, func(s sketch.Sketch, x, y float64) {
			at := x
			for k, c := range columns {
				to := map[string]float64{"start": at, "middle": at + widths[k]/2, "end": at + widths[k]}[c.anchor]
				for n, text := range texts[k] {
					s.Text(to, y+letters+line*float64(n), letters, c.anchor, bold || c.bold, sketch.Ink, text)
				}
				at += widths[k] + pad
			}
			weight := 0.6
			if bold {
				weight = 1.2
			}
			s.Box(x, y+high-weight, wide, weight, sketch.Muted)
		}}
	}
	var heads []string
	for _, c := range columns {
		heads = append(heads, c.head)
	}
	for _, r := range rows {
		list = append(list, row(r, false))
	}
	return row(heads, true), list
}
