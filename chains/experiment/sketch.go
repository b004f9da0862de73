package experiment

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strconv"
	"strings"

	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// sketch is what a drawing is made of, in pixels from the upper left corner. A drawing is laid out
// once and comes out as SVG and as PNG.
type sketch interface {
	box(x, y, w, h float64, p paint)
	line(x1, y1, x2, y2, width float64, p paint)
	// text stands on the baseline y; anchor is "start", "middle" or "end" of it at x.
	text(x, y, size float64, anchor string, bold bool, p paint, s string)
}

// paint is a colour by its name, and how much of it.
type paint struct {
	name    string
	opacity float64
}

// The colours: blue and vermilion of a set for colour-blind readers (Nature Methods 8, 441, 2011),
// the blue a little lighter so that it also stands on black; ink is the text's own.
var (
	ink     = paint{"ink", 1}
	faint   = paint{"ink", 0.14}
	noised  = paint{"ink", 0.3}
	muted   = paint{"ink", 0.7}
	blue    = paint{"#2b8cc4", 1}
	hot     = paint{"#d55e00", 1}
	hotZone = paint{"#d55e00", 0.12}
)

// svg draws as a fragment in the colour of the text around it, and so follows a page's dark mode.
type svg struct{ b strings.Builder }

func number(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (p paint) svg() string {
	name := p.name
	if name == "ink" {
		name = "currentColor"
	}
	if p.opacity < 1 {
		return fmt.Sprintf(`%s" opacity="%s`, name, strconv.FormatFloat(p.opacity, 'g', -1, 64))
	}
	return name
}

func (s *svg) box(x, y, w, h float64, p paint) {
	fmt.Fprintf(&s.b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`+"\n", number(x), number(y), number(w), number(h), p.svg())
}

func (s *svg) line(x1, y1, x2, y2, width float64, p paint) {
	fmt.Fprintf(&s.b, `<path d="M%s %sL%s %s" stroke-width="%s" stroke="%s"/>`+"\n", number(x1), number(y1), number(x2), number(y2), number(width), p.svg())
}

func (s *svg) text(x, y, size float64, anchor string, bold bool, p paint, text string) {
	weight := ""
	if bold {
		weight = ` font-weight="600"`
	}
	fmt.Fprintf(&s.b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s fill="%s">%s</text>`+"\n", number(x), number(y), number(size), anchor, weight, p.svg(), escaped(text))
}

func escaped(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}

// drawSVG is a drawing as an SVG document, with words for those who cannot see it.
func drawSVG(width, height float64, title, description string, draw func(sketch)) []byte {
	var s svg
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" style="max-width:100%%;height:auto" role="img" aria-label="%s" font-family="system-ui, sans-serif">`+"\n",
		number(width), number(height), number(width), number(height), escaped(title))
	fmt.Fprintf(&s.b, "<title>%s</title>\n<desc>%s</desc>\n", escaped(title), escaped(description))
	draw(&s)
	s.b.WriteString("</svg>\n")
	return []byte(s.b.String())
}

// raster draws on a white or dark page.
type raster struct {
	canvas *vgimg.Canvas
	height float64
	ink    color.RGBA
	faces  *font.Cache
}

// pixel is a pixel of a drawing in points: 96 to the inch, 72 points to the inch.
const pixel = vg.Length(72. / 96)

func (r *raster) at(x, y float64) vg.Point {
	return vg.Point{X: vg.Length(x) * pixel, Y: vg.Length(r.height-y) * pixel}
}

func (r *raster) paint(p paint) {
	c := r.ink
	if p.name != "ink" {
		if _, err := fmt.Sscanf(p.name, "#%02x%02x%02x", &c.R, &c.G, &c.B); err != nil {
			panic("experiment: no colour " + p.name)
		}
	}
	r.canvas.SetColor(color.NRGBA{c.R, c.G, c.B, uint8(math.Round(255 * p.opacity))})
}

func (r *raster) box(x, y, w, h float64, p paint) {
	r.paint(p)
	var path vg.Path
	path.Move(r.at(x, y))
	path.Line(r.at(x+w, y))
	path.Line(r.at(x+w, y+h))
	path.Line(r.at(x, y+h))
	path.Close()
	r.canvas.Fill(path)
}

func (r *raster) line(x1, y1, x2, y2, width float64, p paint) {
	r.paint(p)
	r.canvas.SetLineWidth(vg.Length(width) * pixel)
	var path vg.Path
	path.Move(r.at(x1, y1))
	path.Line(r.at(x2, y2))
	r.canvas.Stroke(path)
}

func (r *raster) text(x, y, size float64, anchor string, bold bool, p paint, s string) {
	r.paint(p)
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = stdfont.WeightBold
	}
	face := r.faces.Lookup(f, vg.Length(size)*pixel)
	at := r.at(x, y)
	switch anchor {
	case "middle":
		at.X -= face.Width(s) / 2
	case "end":
		at.X -= face.Width(s)
	}
	r.canvas.FillString(face, at, s)
}

// mostPixels is the widest a PNG picture is: what chats and word processors still show whole
// (common practice, no source).
const mostPixels = 3000

// drawPNG is a drawing as a PNG picture of twice as many pixels, or of as many as there may be,
// black on white, or light on dark.
func drawPNG(width, height float64, dark bool, draw func(sketch)) ([]byte, error) {
	page, pen := color.RGBA{255, 255, 255, 255}, color.RGBA{26, 28, 32, 255}
	if dark {
		page, pen = color.RGBA{22, 24, 28, 255}, color.RGBA{232, 234, 238, 255}
	}
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(width)*pixel, vg.Length(height)*pixel), vgimg.UseDPI(int(math.Min(192, 96*mostPixels/width))), vgimg.UseBackgroundColor(page))
	draw(&raster{c, height, pen, font.NewCache(liberation.Collection())})
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
