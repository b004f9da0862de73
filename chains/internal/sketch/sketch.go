// Package sketch draws boxes, lines and texts, laid out once, as SVG and as PNG. It brings the two
// faces that a PNG picture and a page are written in, and says how wide a text is in them.
//
// It knows nothing of what is drawn. Start reading at Sketch, then at SVG and PNG.
package sketch

import (
	"bytes"
	"encoding/base64"
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
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// Sketch is what a drawing is made of, in pixels from the upper left corner.
type Sketch interface {
	// Box is filled; x and y are its upper left corner.
	Box(x, y, w, h float64, p Paint)
	Line(x1, y1, x2, y2, width float64, p Paint)
	// Text stands on the baseline y, in letters of a size in pixels; anchor is "start", "middle" or
	// "end" of it at x.
	Text(x, y, size float64, anchor string, bold bool, p Paint, s string)
}

// Lower is a sketch that much further down, in pixels.
type Lower struct {
	Sketch
	By float64
}

// Box is of Sketch.
func (l Lower) Box(x, y, w, h float64, p Paint) { l.Sketch.Box(x, y+l.By, w, h, p) }

// Line is of Sketch.
func (l Lower) Line(x1, y1, x2, y2, width float64, p Paint) {
	l.Sketch.Line(x1, y1+l.By, x2, y2+l.By, width, p)
}

// Text is of Sketch.
func (l Lower) Text(x, y, size float64, anchor string, bold bool, p Paint, s string) {
	l.Sketch.Text(x, y+l.By, size, anchor, bold, p, s)
}

// Paint is a colour by its name, "ink" or #rrggbb, and how much of it, 0 to 1.
type Paint struct {
	Name    string
	Opacity float64
}

// The colours: blue and vermilion of a set for colour-blind readers (Nature Methods 8, 441, 2011),
// the blue a little lighter so that it also stands on black; Ink is the text's own.
var (
	Ink     = Paint{"ink", 1}
	Faint   = Paint{"ink", 0.14}
	Third   = Paint{"ink", 0.3}
	Muted   = Paint{"ink", 0.7}
	Blue    = Paint{"#2b8cc4", 1}
	Hot     = Paint{"#d55e00", 1}
	HotZone = Paint{"#d55e00", 0.12}
)

// svg draws as a fragment in the colour of the text around it, and so follows a page's dark mode.
type svg struct{ b strings.Builder }

func number(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (p Paint) svg() string {
	name := p.Name
	if name == "ink" {
		name = "currentColor"
	}
	if p.Opacity < 1 {
		return fmt.Sprintf(`%s" opacity="%s`, name, strconv.FormatFloat(p.Opacity, 'g', -1, 64))
	}
	return name
}

// Box is of Sketch.
func (s *svg) Box(x, y, w, h float64, p Paint) {
	fmt.Fprintf(&s.b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`+"\n", number(x), number(y), number(w), number(h), p.svg())
}

// Line is of Sketch.
func (s *svg) Line(x1, y1, x2, y2, width float64, p Paint) {
	fmt.Fprintf(&s.b, `<path d="M%s %sL%s %s" stroke-width="%s" stroke="%s"/>`+"\n", number(x1), number(y1), number(x2), number(y2), number(width), p.svg())
}

// Text is of Sketch.
func (s *svg) Text(x, y, size float64, anchor string, bold bool, p Paint, text string) {
	weight := ""
	if bold {
		weight = ` font-weight="600"`
	}
	fmt.Fprintf(&s.b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s fill="%s">%s</text>`+"\n", number(x), number(y), number(size), anchor, weight, p.svg(), escaped(text))
}

func escaped(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}

// SVG is a drawing as an SVG document, with words for those who cannot see it.
func SVG(width, height float64, title, description string, draw func(Sketch)) []byte {
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

func (r *raster) paint(p Paint) *image.Uniform {
	c := r.ink
	if p.Name != "ink" {
		if _, err := fmt.Sscanf(p.Name, "#%02x%02x%02x", &c.R, &c.G, &c.B); err != nil {
			panic("sketch: no colour " + p.Name)
		}
	}
	return image.NewUniform(color.NRGBA{c.R, c.G, c.B, uint8(math.Round(255 * p.Opacity))})
}

// fill fills a polygon of places x, y in the drawing, smooth at its edges.
func (r *raster) fill(p Paint, places ...[2]float64) {
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

// Box is of Sketch.
func (r *raster) Box(x, y, w, h float64, p Paint) {
	if w > 0 && h > 0 {
		r.fill(p, [2]float64{x, y}, [2]float64{x + w, y}, [2]float64{x + w, y + h}, [2]float64{x, y + h})
	}
}

// Line is of Sketch.
func (r *raster) Line(x1, y1, x2, y2, width float64, p Paint) {
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

// Text is of Sketch.
func (r *raster) Text(x, y, size float64, anchor string, bold bool, p Paint, s string) {
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

// MostPixels is the widest a PNG picture is: what chats and word processors still show whole
// (common practice, no source).
const MostPixels = 3000

// PNG is a drawing as a PNG picture of twice as many pixels, or of as many as there may be,
// black on white, or light on dark. The
// error is of the encoder.
func PNG(width, height float64, dark bool, sketched func(Sketch)) ([]byte, error) {
	page, pen := color.RGBA{255, 255, 255, 255}, color.RGBA{26, 28, 32, 255}
	if dark {
		page, pen = color.RGBA{22, 24, 28, 255}, color.RGBA{232, 234, 238, 255}
	}
	scale := math.Min(2, MostPixels/width)
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

// Width is how wide a text is in letters of a size, in the unit of the size.
func Width(text string, size float64, bold bool) float64 {
	// advances are proportional to the size where nothing is hinted
	const fine = 100
	r := &measured
	r.mu.Lock()
	defer r.mu.Unlock()
	return float64(font.MeasureString(r.face(lettering{fine, bold}), text)) / 64 / fine * size
}

// measured is the faces that widths are measured in.
var measured = struct {
	mu sync.Mutex
	raster
}{raster: raster{faces: map[lettering]font.Face{}}}

// Faces brings a page its letters: the Go fonts (BSD licence) as CSS, regular and bold, and with
// mono the one of equal widths, so that texts are as wide as Width has them on every machine.
func Faces(mono bool) string {
	var b strings.Builder
	for _, f := range []struct {
		name, weight string
		file         []byte
	}{{"Go", "400", goregular.TTF}, {"Go", "700", gobold.TTF}, {"Go Mono", "400", gomono.TTF}} {
		if f.name != "Go Mono" || mono {
			fmt.Fprintf(&b, "@font-face{font-family:%q;font-weight:%s;src:url(data:font/ttf;base64,%s) format(\"truetype\")}\n", f.name, f.weight, base64.StdEncoding.EncodeToString(f.file))
		}
	}
	return b.String()
}
