package experiment

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
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
	page  *image.RGBA
	scale float64 // pixels of the picture to one of the drawing
	ink   color.RGBA
	faces map[lettering]font.Face
}

// lettering is a size of letters, in pixels of the picture, and whether they are bold.
type lettering struct {
	size float64
	bold bool
}

func (r *raster) paint(p paint) *image.Uniform {
	c := r.ink
	if p.name != "ink" {
		if _, err := fmt.Sscanf(p.name, "#%02x%02x%02x", &c.R, &c.G, &c.B); err != nil {
			panic("experiment: no colour " + p.name)
		}
	}
	return image.NewUniform(color.NRGBA{c.R, c.G, c.B, uint8(math.Round(255 * p.opacity))})
}

// fill fills a polygon of places x, y in the drawing, smooth at its edges.
func (r *raster) fill(p paint, places ...[2]float64) {
	left, top, right, bottom := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for k := range places {
		x, y := places[k][0]*r.scale, places[k][1]*r.scale
		places[k] = [2]float64{x, y}
		left, right = math.Min(left, x), math.Max(right, x)
		top, bottom = math.Min(top, y), math.Max(bottom, y)
	}
	at := image.Rect(int(math.Floor(left)), int(math.Floor(top)), int(math.Ceil(right)), int(math.Ceil(bottom)))
	shape := vector.NewRasterizer(at.Dx(), at.Dy())
	for k, q := range places {
		x, y := float32(q[0]-float64(at.Min.X)), float32(q[1]-float64(at.Min.Y))
		if k == 0 {
			shape.MoveTo(x, y)
		} else {
			shape.LineTo(x, y)
		}
	}
	shape.ClosePath()
	shape.Draw(r.page, at, r.paint(p), image.Point{})
}

func (r *raster) box(x, y, w, h float64, p paint) {
	if w > 0 && h > 0 {
		r.fill(p, [2]float64{x, y}, [2]float64{x + w, y}, [2]float64{x + w, y + h}, [2]float64{x, y + h})
	}
}

func (r *raster) line(x1, y1, x2, y2, width float64, p paint) {
	length := math.Hypot(x2-x1, y2-y1)
	if length == 0 {
		return
	}
	dx, dy := (y1-y2)/length*width/2, (x2-x1)/length*width/2 // half the width, across
	r.fill(p, [2]float64{x1 + dx, y1 + dy}, [2]float64{x2 + dx, y2 + dy}, [2]float64{x2 - dx, y2 - dy}, [2]float64{x1 - dx, y1 - dy})
}

// fonts are the two faces' outlines.
var fonts = sync.OnceValue(func() (list [2]*opentype.Font) {
	for k, data := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(data)
		if err != nil {
			panic(err)
		}
		list[k] = f
	}
	return list
})

// face is a font at a size, made once.
func (r *raster) face(want lettering) font.Face {
	if f, ok := r.faces[want]; ok {
		return f
	}
	outline := fonts()[0]
	if want.bold {
		outline = fonts()[1]
	}
	f, err := opentype.NewFace(outline, &opentype.FaceOptions{Size: want.size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic(err)
	}
	r.faces[want] = f
	return f
}

func (r *raster) text(x, y, size float64, anchor string, bold bool, p paint, s string) {
	d := font.Drawer{Dst: r.page, Src: r.paint(p), Face: r.face(lettering{size * r.scale, bold})}
	at := x * r.scale
	switch width := float64(d.MeasureString(s)) / 64; anchor {
	case "middle":
		at -= width / 2
	case "end":
		at -= width
	}
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(64 * at)), Y: fixed.Int26_6(math.Round(64 * y * r.scale))}
	d.DrawString(s)
}

// mostPixels is the widest a PNG picture is: what chats and word processors still show whole
// (common practice, no source).
const mostPixels = 3000

// drawPNG is a drawing as a PNG picture of twice as many pixels, or of as many as there may be,
// black on white, or light on dark.
func drawPNG(width, height float64, dark bool, sketched func(sketch)) ([]byte, error) {
	page, pen := color.RGBA{255, 255, 255, 255}, color.RGBA{26, 28, 32, 255}
	if dark {
		page, pen = color.RGBA{22, 24, 28, 255}, color.RGBA{232, 234, 238, 255}
	}
	scale := math.Min(2, mostPixels/width)
	size := image.Rect(0, 0, int(math.Round(width*scale)), int(math.Round(height*scale)))
	r := &raster{image.NewRGBA(size), scale, pen, map[lettering]font.Face{}}
	draw.Draw(r.page, size, image.NewUniform(page), image.Point{}, draw.Src)
	sketched(r)
	var b bytes.Buffer
	if err := png.Encode(&b, r.page); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
