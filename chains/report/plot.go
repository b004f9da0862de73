package report

import (
	"fmt"
	"math"
	"strings"
)

// curves is a plot of levels over frequency, one curve per take.
type curves struct {
	label string // of the levels, with its unit
	hz    []float64
	takes []curve
	least float64 // dB: the range of the plot is at least so wide
	most  float64 // and no wider than this, measured from the top; 0 is no bound
}

type curve struct {
	take int // from 0
	name string
	db   []float64 // NaN where there is none
}

// drawing is a plot at one size, with the place of its data so that a script can point into it.
type drawing struct {
	Class string
	// the narrowest that it can be read at, pixels; 0: it may be scaled to its place
	Least         float64
	Width, Height float64
	Left, Right   float64 // of the data
	Top, Bottom   float64
	Body          string // SVG
}

// The widths at which plots are drawn: for a desk and for a telephone. An SVG that is scaled down
// takes its letters with it.
var sizes = []struct {
	class         string
	width, height float64 // pixels
	letter        float64 // pixels
	all           bool    // label all of 1-2-5, not only the decades' ones
}{
	{"wide", 1040, 380, 13, true},
	{"narrow", 350, 270, 11.5, false},
}

// dashes and markers tell the curves apart where colours do not. In pixels.
var dashes = [][]float64{nil, {9, 4}, {2, 3}, {11, 3, 2, 3}, {5, 2, 5, 6}, {1, 5}}

// markers draw one each, so large that all look alike in weight.
var markers = []func(c *canvas, color ink, at point){
	func(c *canvas, color ink, at point) { c.dot(color, at, 3.5) },
	func(c *canvas, color ink, at point) { c.box(at.x-3, at.y-3, 6, 6, color) },
	func(c *canvas, color ink, at point) {
		c.polygon(color, point{at.x, at.y - 4}, point{at.x + 4, at.y + 3}, point{at.x - 4, at.y + 3})
	},
	func(c *canvas, color ink, at point) {
		const r = 4.4
		c.polygon(color, point{at.x, at.y - r}, point{at.x + r, at.y}, point{at.x, at.y + r}, point{at.x - r, at.y})
	},
	func(c *canvas, color ink, at point) { c.ring(color, at, 3.5) },
	func(c *canvas, color ink, at point) {
		const r = 3
		a, b := point{at.x - r, at.y - r}, point{at.x + r, at.y + r}
		c.line(stroke{color: color, width: 1}, a, point{b.x, a.y}, b, point{a.x, b.y}, a, point{b.x, a.y})
	},
}

// look is the line and the marker of a take. Colours begin again after six takes; together with
// dashes and markers there are 36.
func look(k int) (stroke, func(*canvas, ink, point)) {
	round := k / 6
	return stroke{color: take(k), width: 2, dashes: dashes[(k+round)%6]}, markers[(k+2*round)%6]
}

// tick is a value on an axis; only some have a label.
type tick struct {
	value float64
	label string
}

// frequencies are the ticks of a logarithmic axis from low to high, Hz: every multiple of a power
// of ten; labels at the decades and both ends, or at all of 1-2-5.
func frequencies(low, high float64, all bool) []tick {
	var list []tick
	for decade := 10.0; decade <= high; decade *= 10 {
		for n := 1.0; n < 10; n++ {
			hz := n * decade
			if hz < low*0.999 || hz > high*1.001 {
				continue
			}
			t := tick{value: hz}
			if n == 1 || hz == low || hz == high || all && (n == 2 || n == 5) {
				t.label = hertz(hz)
			}
			list = append(list, t)
		}
	}
	return list
}

// hertz is a frequency as an axis names it.
func hertz(hz float64) string {
	if hz >= 1000 {
		return fmt.Sprintf("%gk", hz/1000)
	}
	return fmt.Sprintf("%g", hz)
}

// decibels are the ticks of an axis from low to high, dB: every 10, 20 where there are many, 5
// where there are few.
func decibels(low, high float64) []tick {
	step := 10.0
	switch {
	case high-low > 80:
		step = 20
	case high-low <= 25:
		step = 5
	}
	var list []tick
	for v := step * math.Ceil(low/step); v <= high; v += step {
		list = append(list, tick{v, minus(fmt.Sprintf("%g", v))})
	}
	return list
}

// minus puts a true minus in front.
func minus(number string) string { return strings.Replace(number, "-", "−", 1) }

// span is the range of levels.
func (c curves) span() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, t := range c.takes {
		for _, v := range t.db {
			if !math.IsNaN(v) {
				low, high = math.Min(low, v), math.Max(high, v)
			}
		}
	}
	if math.IsInf(low, 0) {
		return -60, 0
	}
	const step = 5
	high = step * math.Ceil((high+1)/step)
	low = step * math.Floor((low-1)/step)
	if c.most > 0 {
		low = math.Max(low, high-c.most)
	}
	return math.Min(low, high-c.least), high
}

// draw draws the plot at every size.
func (c curves) draw() []drawing {
	var list []drawing
	for _, s := range sizes {
		f := c.area(s.width, s.height, s.letter)
		cv := new(canvas)
		f.axes(cv, c.label, frequencies(f.lowHz, f.highHz, s.all), decibels(f.lowDB, f.highDB))
		for k, t := range c.takes {
			line, marker := look(t.take)
			for _, stretch := range f.stretches(c.hz, t.db) {
				cv.line(line, stretch...)
			}
			for _, at := range c.marks(k, t) {
				marker(cv, line.color, f.at(c.hz[at], t.db[at]))
			}
		}
		list = append(list, drawing{
			Class: s.class, Width: s.width, Height: s.height,
			Left: f.left, Right: f.right, Top: f.top, Bottom: f.bottom,
			Body: cv.body.String(),
		})
	}
	return list
}

// area is where the data of a plot stand, in pixels, and between which values.
type area struct {
	left, right, top, bottom float64
	lowHz, highHz            float64
	lowDB, highDB            float64
	letter                   float64
}

// digit is the width of a figure over the size of the letters, in the page's font.
const digit = 0.56

// area leaves room for the labels of the axes.
func (c curves) area(width, height, letter float64) area {
	f := area{top: 8, right: width - 2*letter, bottom: height - 3*letter, lowHz: 20, highHz: 20000, letter: letter}
	f.lowDB, f.highDB = c.span()
	longest := 0
	for _, t := range decibels(f.lowDB, f.highDB) {
		longest = max(longest, len([]rune(t.label)))
	}
	f.left = 1.7*letter + digit*letter*float64(longest) + 9
	return f
}

// at is the place of a level at a frequency.
func (f area) at(hz, db float64) point {
	return point{
		f.left + (f.right-f.left)*math.Log(hz/f.lowHz)/math.Log(f.highHz/f.lowHz),
		f.bottom - (f.bottom-f.top)*(db-f.lowDB)/(f.highDB-f.lowDB),
	}
}

// axes draws the grid, a line for every tick and the labelled ones stronger, and the axes.
func (f area) axes(c *canvas, levels string, hz, db []tick) {
	soft := stroke{color: "soft", width: 1}
	for _, t := range hz {
		x, color, length := f.at(t.value, f.lowDB).x, ink("faint"), 2.5
		if t.label != "" {
			color, length = "rule", 5
			c.label(x, f.bottom+5+f.letter*0.95, f.letter, "middle", "soft", t.label)
		}
		c.line(stroke{color: color, width: 1}, point{x, f.top}, point{x, f.bottom})
		c.line(soft, point{x, f.bottom}, point{x, f.bottom + length})
	}
	for _, t := range db {
		y, color := f.at(f.lowHz, t.value).y, ink("faint")
		if t.value == 0 {
			color = "soft"
		}
		c.line(stroke{color: color, width: 1}, point{f.left, y}, point{f.right, y})
		c.line(soft, point{f.left - 5, y}, point{f.left, y})
		c.label(f.left-8, y+f.letter*0.35, f.letter, "end", "soft", t.label)
	}
	c.line(soft, point{f.left, f.bottom}, point{f.right, f.bottom})
	c.line(soft, point{f.left, f.bottom}, point{f.left, f.top})
	c.label((f.left+f.right)/2, f.bottom+2.6*f.letter, f.letter, "middle", "soft", "frequency, Hz")
	c.upright(1.05*f.letter, (f.top+f.bottom)/2, f.letter, "soft", levels)
}

// stretches is a curve as lines, one for each stretch without a gap; what goes below the plot ends
// at its floor.
func (f area) stretches(hz, db []float64) [][]point {
	var list [][]point
	var run []point
	flush := func() {
		if len(run) > 1 {
			list = append(list, run)
		}
		run = nil
	}
	for k, v := range db {
		if math.IsNaN(v) {
			flush()
			continue
		}
		if v >= f.lowDB {
			if k > 0 && db[k-1] < f.lowDB {
				run = []point{f.floor(hz[k-1], db[k-1], hz[k], v)}
			}
			run = append(run, f.at(hz[k], v))
			continue
		}
		if k > 0 && db[k-1] >= f.lowDB {
			run = append(run, f.floor(hz[k-1], db[k-1], hz[k], v))
		}
		flush()
	}
	flush()
	return list
}

// floor is where the line between two values crosses the plot's floor.
func (f area) floor(hz1, db1, hz2, db2 float64) point {
	share := (f.lowDB - db1) / (db2 - db1)
	return f.at(hz1*math.Pow(hz2/hz1, share), f.lowDB)
}

// marks is where a curve has markers, as indices: some seven of them, each curve's beside the
// others'.
func (c curves) marks(k int, t curve) []int {
	var list []int
	low, _ := c.span()
	step := max(1, len(c.hz)/7)
	for at := (k*step/max(1, len(c.takes)) + step/4) % step; at < len(t.db); at += step {
		if v := t.db[at]; !math.IsNaN(v) && v >= low {
			list = append(list, at)
		}
	}
	return list
}

// sample is a take's line as a legend shows it, 36 by 14 pixels.
func sample(k int) string {
	c := new(canvas)
	line, marker := look(k)
	c.line(line, point{1, 7}, point{35, 7})
	marker(c, line.color, point{18, 7})
	return c.body.String()
}
