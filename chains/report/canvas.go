package report

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// ink is a colour by its name in page.css, so that a plot follows the page's dark mode and print.
type ink string

// take is the ink of a take, from 0. After six they begin again; dashes and markers go on (see
// plot.go).
func take(k int) ink { return ink("take-" + strconv.Itoa(k%6+1)) }

// canvas writes SVG that the page can style: colours are CSS variables, text is text in the page's
// font. Places and sizes are in pixels from the upper left corner.
type canvas struct{ body strings.Builder }

// stroke is how a line looks; dashes in pixels, drawn and left out in turn.
type stroke struct {
	color  ink
	width  float64
	dashes []float64
}

// point is a place in a drawing, pixels.
type point struct{ x, y float64 }

// line is a line through points.
func (c *canvas) line(s stroke, points ...point) {
	dashes := ""
	if len(s.dashes) > 0 {
		dashes = fmt.Sprintf(` stroke-dasharray="%s"`, places(s.dashes...))
	}
	fmt.Fprintf(&c.body, "<path fill=\"none\" stroke=\"var(--%s)\" stroke-width=\"%s\"%s d=\"%s\"/>\n", s.color, place(s.width), dashes, path(points))
}

// polygon is a filled polygon.
func (c *canvas) polygon(color ink, points ...point) {
	fmt.Fprintf(&c.body, "<path fill=\"var(--%s)\" d=\"%sZ\"/>\n", color, path(points))
}

// dot is a filled circle.
func (c *canvas) dot(color ink, at point, radius float64) {
	fmt.Fprintf(&c.body, "<circle fill=\"var(--%s)\" cx=\"%s\" cy=\"%s\" r=\"%s\"/>\n", color, place(at.x), place(at.y), place(radius))
}

// ring is a circle's line, a pixel wide.
func (c *canvas) ring(color ink, at point, radius float64) {
	fmt.Fprintf(&c.body, "<circle fill=\"none\" stroke=\"var(--%s)\" cx=\"%s\" cy=\"%s\" r=\"%s\"/>\n", color, place(at.x), place(at.y), place(radius))
}

// box is a filled rectangle; x and y are its upper left corner.
func (c *canvas) box(x, y, w, h float64, color ink) {
	if w > 0 && h > 0 {
		fmt.Fprintf(&c.body, "<rect x=\"%s\" y=\"%s\" width=\"%s\" height=\"%s\" fill=\"var(--%s)\"/>\n", place(x), place(y), place(w), place(h), color)
	}
}

// label is a text that stands on y; anchor ("start", "middle", "end") is the part of it at x.
func (c *canvas) label(x, y, size float64, anchor string, color ink, text string) {
	c.text(x, y, size, anchor, color, "", text)
}

// upright is a label that reads upwards, its middle at the height y, its letters standing on x.
func (c *canvas) upright(x, y, size float64, color ink, text string) {
	c.text(x, y, size, "middle", color, fmt.Sprintf(` transform="rotate(-90 %s %s)"`, place(x), place(y)), text)
}

func (c *canvas) text(x, y, size float64, anchor string, color ink, turn, text string) {
	fmt.Fprintf(&c.body, "<text x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\" fill=\"var(--%s)\"%s>%s</text>\n",
		place(x), place(y), place(size), anchor, color, turn, html.EscapeString(text))
}

// path is a line through points in the words of SVG.
func path(points []point) string {
	var b strings.Builder
	for k, p := range points {
		b.WriteByte("ML"[min(k, 1)])
		b.WriteString(places(p.x, p.y))
	}
	return b.String()
}

// place is a coordinate to a tenth of a pixel.
func place(v float64) string {
	text := strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
	if text == "-0" {
		return "0"
	}
	return text
}

// places are coordinates with a blank between them.
func places(list ...float64) string {
	var words []string
	for _, v := range list {
		words = append(words, place(v))
	}
	return strings.Join(words, " ")
}
