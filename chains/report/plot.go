package report

import (
	"fmt"
	"math"
	"strings"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
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
	width, height vg.Length
	letter        vg.Length
	minor         bool // label all of 1-2-5, not only the decades' ones
}{
	{"wide", 1040, 380, 13, true},
	{"narrow", 350, 270, 11.5, false},
}

// dashes and markers tell the curves apart where colours do not. In pixels.
var dashes = [][]vg.Length{nil, {9, 4}, {2, 3}, {11, 3, 2, 3}, {5, 2, 5, 6}, {1, 5}}

// line is the dashes and the marker of a take. Colours begin again after six takes; together with
// these there are 36.
func line(k int) ([]vg.Length, draw.GlyphDrawer) {
	round := k / 6
	return dashes[(k+round)%6], markers[(k+2*round)%6]
}

var markers = []draw.GlyphDrawer{draw.CircleGlyph{}, draw.BoxGlyph{}, draw.PyramidGlyph{}, diamond{}, draw.RingGlyph{}, draw.SquareGlyph{}}

// diamond is a filled square that stands on its corner.
type diamond struct{}

// DrawGlyph implements draw.GlyphDrawer.
func (diamond) DrawGlyph(c *draw.Canvas, s draw.GlyphStyle, at vg.Point) {
	r := s.Radius * 1.25
	var p vg.Path
	p.Move(vg.Point{X: at.X, Y: at.Y + r})
	p.Line(vg.Point{X: at.X + r, Y: at.Y})
	p.Line(vg.Point{X: at.X, Y: at.Y - r})
	p.Line(vg.Point{X: at.X - r, Y: at.Y})
	p.Close()
	c.SetColor(s.Color)
	c.Fill(p)
}

// lettering measures texts in the font that the page brings along.
var lettering = func() text.Handler {
	parsed, err := opentype.Parse(goregular.TTF)
	if err != nil {
		panic(err)
	}
	return text.Plain{Fonts: font.NewCache(font.Collection{{Font: face, Face: parsed}})}
}()

var face = font.Font{Typeface: "Go"}

// frequencies are the ticks of a logarithmic axis from 20 Hz to 20 kHz; every multiple of a power
// of ten, some with a label.
type frequencies struct{ full bool }

// Ticks implements plot.Ticker.
func (f frequencies) Ticks(low, high float64) []plot.Tick {
	var list []plot.Tick
	for decade := 10.0; decade <= high; decade *= 10 {
		for n := 1.0; n < 10; n++ {
			hz := n * decade
			if hz < low*0.999 || hz > high*1.001 {
				continue
			}
			t := plot.Tick{Value: hz}
			if n == 1 || hz == 20 || hz == 20000 || f.full && (n == 2 || n == 5) {
				t.Label = hertz(hz)
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

// decades are the ticks of an axis in dB: every 10, or 20 where there are many.
type decibels struct{}

// Ticks implements plot.Ticker.
func (decibels) Ticks(low, high float64) []plot.Tick {
	step := 10.0
	switch {
	case high-low > 80:
		step = 20
	case high-low <= 25:
		step = 5
	}
	var list []plot.Tick
	for v := step * math.Ceil(low/step); v <= high; v += step {
		list = append(list, plot.Tick{Value: v, Label: minus(fmt.Sprintf("%g", v))})
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
func (c curves) draw() ([]drawing, error) {
	var list []drawing
	for _, s := range sizes {
		p := plot.New()
		p.BackgroundColor = nil
		p.TextHandler = lettering
		style := func(t *text.Style, size vg.Length, color ink) {
			t.Font, t.Handler, t.Color = font.From(face, size), lettering, color
		}
		style(&p.Title.TextStyle, s.letter, "ink")
		for _, a := range []*plot.Axis{&p.X, &p.Y} {
			a.Color, a.Tick.Color = ink("soft"), ink("soft")
			a.Width, a.Tick.Width, a.Tick.Length = 1, 1, 5
			a.Padding = 0
			style(&a.Tick.Label, s.letter, "soft")
			style(&a.Label.TextStyle, s.letter, "soft")
		}
		p.Legend.TextStyle = p.X.Label.TextStyle
		p.X.Scale = plot.LogScale{}
		p.X.Tick.Marker, p.Y.Tick.Marker = frequencies{s.minor}, decibels{}
		p.X.Label.Text, p.X.Label.Padding = "frequency, Hz", 4
		p.Y.Label.Text, p.Y.Label.Padding = c.label, 4

		g := grid{}
		p.Add(g)
		for k, t := range c.takes {
			dash, marker := line(t.take)
			stretches, err := lineOf(c.hz, t)
			if err != nil {
				return nil, err
			}
			for _, l := range stretches {
				l.LineStyle = draw.LineStyle{Color: take(t.take), Width: 2, Dashes: dash}
				p.Add(l)
			}
			if marks := c.marks(k, t); len(marks) > 0 {
				dots, err := plotter.NewScatter(marks)
				if err != nil {
					return nil, err
				}
				dots.GlyphStyle = draw.GlyphStyle{Color: take(t.take), Radius: 3.5, Shape: marker}
				p.Add(dots)
			}
		}
		p.X.Min, p.X.Max = 20, 20000
		p.Y.Min, p.Y.Max = c.span()

		cv := newCanvas(s.width, s.height)
		all := draw.Crop(draw.NewCanvas(cv, s.width, s.height), 1, -16, 1, -8)
		p.Draw(all)
		data := p.DataCanvas(all)
		list = append(list, drawing{
			Class: s.class, Width: float64(s.width), Height: float64(s.height),
			Left: float64(data.Min.X), Right: float64(data.Max.X),
			Top: float64(s.height - data.Max.Y), Bottom: float64(s.height - data.Min.Y),
			Body: cv.body.String(),
		})
	}
	return list, nil
}

// grid is a line for every tick, the labelled ones stronger.
type grid struct{}

// Plot implements plot.Plotter.
func (grid) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		color := ink("faint")
		if t.Label != "" {
			color = "rule"
		}
		c.StrokeLine2(draw.LineStyle{Color: color, Width: 1}, x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
	}
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		color := ink("faint")
		if t.Value == 0 {
			color = "soft"
		}
		c.StrokeLine2(draw.LineStyle{Color: color, Width: 1}, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
}

// lineOf is a curve as lines, one for each stretch without a gap.
func lineOf(hz []float64, t curve) ([]*plotter.Line, error) {
	var list []*plotter.Line
	var run plotter.XYs
	flush := func() error {
		if len(run) > 1 {
			l, err := plotter.NewLine(run)
			if err != nil {
				return err
			}
			list = append(list, l)
		}
		run = nil
		return nil
	}
	for k, v := range t.db {
		if math.IsNaN(v) {
			if err := flush(); err != nil {
				return nil, err
			}
			continue
		}
		run = append(run, plotter.XY{X: hz[k], Y: v})
	}
	err := flush()
	return list, err
}

// marks is where a curve has markers: some seven of them, each curve's beside the others'.
func (c curves) marks(k int, t curve) plotter.XYs {
	var list plotter.XYs
	low, _ := c.span()
	step := max(1, len(c.hz)/7)
	for at := (k*step/max(1, len(c.takes)) + step/4) % step; at < len(t.db); at += step {
		if v := t.db[at]; !math.IsNaN(v) && v >= low {
			list = append(list, plotter.XY{X: c.hz[at], Y: v})
		}
	}
	return list
}

// sample is a take's line as a legend shows it.
func sample(k int) string {
	c := newCanvas(36, 14)
	dc := draw.NewCanvas(c, 36, 14)
	dash, marker := line(k)
	dc.StrokeLine2(draw.LineStyle{Color: take(k), Width: 2, Dashes: dash}, 1, 7, 35, 7)
	dc.DrawGlyph(draw.GlyphStyle{Color: take(k), Radius: 3.5, Shape: marker}, vg.Point{X: 18, Y: 7})
	return c.body.String()
}
