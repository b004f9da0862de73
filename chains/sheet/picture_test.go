package sheet

import (
	"bytes"
	"image/png"
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/internal/chaintest"
	"drywire/chains/internal/sketch"
)

// seen notes what is written, and what lies outside of the paper or in letters that are too small.
type seen struct {
	t     *testing.T
	name  string
	texts []string
}

func (n *seen) inside(what string, left, top, right, bottom float64) {
	n.t.Helper()
	if left < edge-9 || right > paperWide-edge+1 || top < edge-1 || bottom > paperHigh-edge+1 {
		n.t.Errorf("%s: %s reaches from %.0f, %.0f to %.0f, %.0f", n.name, what, left, top, right, bottom)
	}
}

func (n *seen) Box(x, y, w, h float64, _ sketch.Paint) { n.inside("a box", x, y, x+w, y+h) }
func (n *seen) Line(x1, y1, x2, y2, _ float64, _ sketch.Paint) {
	n.inside("a line", math.Min(x1, x2), math.Min(y1, y2), math.Max(x1, x2), math.Max(y1, y2))
}
func (n *seen) Text(x, y, size float64, anchor string, bold bool, _ sketch.Paint, s string) {
	wide := sketch.Width(s, size, bold)
	x -= wide * map[string]float64{"start": 0, "middle": 0.5, "end": 1}[anchor]
	if n.inside(s, x, y-size, x+wide, y+0.25*size); size < 9.5/0.75 {
		n.t.Errorf("%s: %q in letters of %.1f pixels", n.name, s, size)
	}
	n.texts = append(n.texts, s)
}

// The picture of every board that ships is two pages at most, nothing on it lies outside of the
// paper, no letters are under 9.5 points, and it says all that the sheet does.
func TestPictureOfEveryBoard(t *testing.T) {
	for _, name := range chains.Shipped() {
		s, err := New(chaintest.ShippedFile(t, name), "")
		if err != nil {
			t.Fatal(err)
		}
		pages := s.laid().pages
		if len(pages) > 2 {
			t.Errorf("%s: %d pages", name, len(pages))
		}
		n := &seen{t: t, name: name}
		for _, page := range pages {
			for _, draw := range page {
				draw(n)
			}
		}
		said := strings.Join(n.texts, " ")
		var want []string
		for _, c := range s.Cables {
			want = append(want, c.From, c.To, c.Length)
		}
		for _, b := range s.Blocks {
			for _, k := range b.Knobs {
				want = append(want, k.Name, k.Value)
			}
		}
		for _, p := range s.Presets {
			want = append(want, p.Name, p.Trim)
			for _, c := range p.Changes {
				want = append(want, strings.Fields(c)...)
			}
		}
		for _, o := range s.Outputs {
			want = append(want, o.Output)
		}
		for _, list := range [][]string{s.Cautions, s.Checks} {
			for _, line := range list {
				want = append(want, strings.Fields(line)...)
			}
		}
		for _, w := range want {
			if !strings.Contains(said, w) {
				t.Errorf("%s: %q is not on the picture", name, w)
			}
		}
		if len(want) < 10 {
			t.Errorf("%s: only %d things looked for", name, len(want))
		}
	}
}

// Names as long as they may be, and more blocks than a page holds, stay on the paper too.
func TestPictureOfMuch(t *testing.T) {
	s, err := New(chaintest.ShippedFile(t, "big-board"), "")
	if err != nil {
		t.Fatal(err)
	}
	long := strings.Repeat("unbreakable", 12)
	s.Title, s.Cautions = long+" "+long, append(s.Cautions, long)
	s.Cables[3].From, s.Outputs[0].Blocks = "low-and-lower-and-lowest-of-all.out", []string{strings.Repeat("swirl ", 30)}
	for range 3 {
		s.Blocks = append(s.Blocks, slices.Clone(s.Blocks)...)
	}
	n := &seen{t: t, name: "much"}
	pages := s.laid().pages
	for _, page := range pages {
		for _, draw := range page {
			draw(n)
		}
	}
	if len(pages) < 4 {
		t.Errorf("%d pages for %d blocks", len(pages), len(s.Blocks))
	}
}

// The picture is its pages under each other, two pixels to 1/96 inch.
func TestPictureIsPNG(t *testing.T) {
	s, err := New(chaintest.ShippedFile(t, "big-board"), "")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := s.PNG(&b); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got.X != 2*paperWide || got.Y != 2*2*paperHigh {
		t.Errorf("the picture is %v", got)
	}
	dark := 0
	for y := 2 * int(paperHigh); y < 4*int(paperHigh); y += 2 {
		for x := 0; x < 2*int(paperWide); x += 2 {
			if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
				dark++
			}
		}
	}
	if dark < 2000 {
		t.Errorf("the second page has %d dark pixels: it is not written on", dark)
	}
}
