package report

import (
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// ink is a colour by its name in page.css, so that a plot follows the page's dark mode and print.
// It is a color.Color for the plotting library, which only hands it on; what it says of itself as a
// colour is never looked at.
type ink string

// RGBA implements color.Color.
func (ink) RGBA() (r, g, b, a uint32) { return 0, 0, 0, 0xffff }

// take is the ink of a take, from 0. After six they begin again; dashes and markers go on (see
// plot.go).
func take(k int) ink { return ink("take-" + strconv.Itoa(k%6+1)) }

// canvas draws what the plotting library draws as SVG that the page can style: colours are CSS
// variables, text is text in the page's font. The library's own SVG has fixed colours, names a font
// that is not there, and says every style anew with every line.
//
// It knows lines and polygons, text, and no transform but the quarter turn of an axis label; what
// else the library may ask for is a mistake here and panics.
type canvas struct {
	width, height vg.Length
	body          strings.Builder
	state         pen
	stack         []pen
}

type pen struct {
	color  ink
	line   vg.Length
	dashes string
	turned bool
}

func newCanvas(width, height vg.Length) *canvas {
	return &canvas{width: width, height: height, state: pen{color: "ink", line: 1}}
}

// Size implements vg.CanvasSizer.
func (c *canvas) Size() (x, y vg.Length) { return c.width, c.height }

// SetLineWidth implements vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) { c.state.line = w }

// SetLineDash implements vg.Canvas.
func (c *canvas) SetLineDash(pattern []vg.Length, _ vg.Length) {
	var list []string
	for _, l := range pattern {
		list = append(list, place(l))
	}
	c.state.dashes = strings.Join(list, " ")
}

// SetColor implements vg.Canvas.
func (c *canvas) SetColor(to color.Color) {
	if i, ok := to.(ink); ok {
		c.state.color = i
		return
	}
	panic(fmt.Sprintf("report: a plot in %v, which is no ink", to))
}

// Rotate implements vg.Canvas.
func (c *canvas) Rotate(angle float64) {
	if math.Abs(angle-math.Pi/2) > 1e-9 || c.state.turned {
		panic("report: only a quarter turn is known")
	}
	c.state.turned = true
}

// Translate implements vg.Canvas.
func (c *canvas) Translate(vg.Point) { panic("report: no plot is moved") }

// Scale implements vg.Canvas.
func (c *canvas) Scale(float64, float64) { panic("report: no plot is scaled") }

// Push implements vg.Canvas.
func (c *canvas) Push() { c.stack = append(c.stack, c.state) }

// Pop implements vg.Canvas.
func (c *canvas) Pop() { c.state, c.stack = c.stack[len(c.stack)-1], c.stack[:len(c.stack)-1] }

// DrawImage implements vg.Canvas.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) { panic("report: no plot holds a picture") }

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(p vg.Path) {
	if c.state.line <= 0 || len(p) == 0 {
		return
	}
	dashes := ""
	if c.state.dashes != "" {
		dashes = fmt.Sprintf(` stroke-dasharray="%s"`, c.state.dashes)
	}
	fmt.Fprintf(&c.body, "<path fill=\"none\" stroke=\"var(--%s)\" stroke-width=\"%s\"%s d=\"%s\"/>\n", c.state.color, place(c.state.line), dashes, c.data(p))
}

// Fill implements vg.Canvas.
func (c *canvas) Fill(p vg.Path) {
	fmt.Fprintf(&c.body, "<path fill=\"var(--%s)\" d=\"%s\"/>\n", c.state.color, c.data(p))
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f font.Face, at vg.Point, text string) {
	x, y, turn := at.X, c.height-at.Y, ""
	if c.state.turned { // what lies at (x, y) in the turned plane lies at (-y, x) in this one
		x, y = -at.Y, c.height-at.X
		turn = fmt.Sprintf(` transform="rotate(-90 %s %s)"`, place(x), place(y))
	}
	fmt.Fprintf(&c.body, "<text x=\"%s\" y=\"%s\" font-size=\"%s\" fill=\"var(--%s)\"%s>%s</text>\n",
		place(x), place(y), place(f.Font.Size), c.state.color, turn, html.EscapeString(text))
}

// data is a path in the words of SVG. A circle comes as an arc of a whole turn.
func (c *canvas) data(p vg.Path) string {
	var b strings.Builder
	for _, e := range p {
		x, y := e.Pos.X, c.height-e.Pos.Y
		switch e.Type {
		case vg.MoveComp:
			fmt.Fprintf(&b, "M%s %s", place(x), place(y))
		case vg.LineComp:
			fmt.Fprintf(&b, "L%s %s", place(x), place(y))
		case vg.CloseComp:
			b.WriteString("Z")
		case vg.ArcComp:
			r := e.Radius
			fmt.Fprintf(&b, "M%[1]s %[2]sa%[3]s %[3]s 0 1 0 %[4]s 0a%[3]s %[3]s 0 1 0 -%[4]s 0", place(x-r), place(y), place(r), place(2*r))
		default:
			panic("report: no plot has curves")
		}
	}
	return b.String()
}

// place is a coordinate to a tenth of a pixel.
func place(l vg.Length) string {
	text := strconv.FormatFloat(math.Round(float64(l)*10)/10, 'f', -1, 64)
	if text == "-0" {
		return "0"
	}
	return text
}
