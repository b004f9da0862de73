package experiment

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"drywire/chains/internal/sketch"
	"drywire/chains/measures"
)

// volts is the voltage of a level in dBu: 0 dBu is √0.6 V.
func volts(dBu float64) float64 { return math.Sqrt(0.6) * math.Pow(10, dBu/20) }

// laddered is a take as Measure would give it: at every block's input a peak of -10 dBu, an average
// of -20, a noise of -100 and a ceiling of top.
func laddered(name string, top float64, blocks ...string) *Measures {
	m := &Measures{Take: name}
	v := func(x float64) measures.Figure { return measures.Figure{Value: x} }
	m.Jacks = append(m.Jacks, JackMeasures{Jack: "guitar"})
	for _, b := range blocks {
		m.Jacks = append(m.Jacks, JackMeasures{
			Jack: b + ".in", Values: of(measures.PeakDBu, v(-10), measures.RMSDBu, v(-20), measures.Noise, v(-100), measures.SignalToNoise, v(80),
				measures.Ceiling, v(volts(top)), measures.Headroom, v(top+10), measures.OverShare, v(0)),
		}, JackMeasures{Jack: b + ".out"})
	}
	none := measures.Figure{Why: "it leads into nothing that is known"}
	m.Jacks = append(m.Jacks, JackMeasures{
		Jack: "out", Values: of(measures.PeakDBu, v(-10), measures.RMSDBu, v(-20), measures.Noise, v(-100), measures.SignalToNoise, v(80),
			measures.Ceiling, none, measures.Headroom, none, measures.OverShare, none),
	})
	return m
}

func TestLadderRungs(t *testing.T) {
	l := NewLadder(laddered("one", 6, "a", "b"), laddered("two", -40, "b"))
	if len(l.Takes) != 2 || len(l.Takes[0].Rungs) != 3 || len(l.Takes[1].Rungs) != 2 {
		t.Fatalf("takes and rungs: %+v", l.Takes)
	}
	r := l.Takes[0].Rungs[1]
	if r.Jack != "b.in" || r.Into != "b" {
		t.Errorf("second rung is %q into %q", r.Jack, r.Into)
	}
	near(t, "peak", r.Peak, -10, 1e-9, "dBu")
	near(t, "average", r.Average, -20, 1e-9, "dBu")
	near(t, "ceiling", r.Ceiling, 6, 1e-9, "dBu")
	near(t, "headroom", r.HeadroomDB, 16, 1e-9, "dB")
	if out := l.Takes[0].Rungs[2]; out.Ceiling.OK() || out.Into != "" {
		t.Errorf("out has a ceiling: %+v", out)
	}
}

// Every bar is where the scale says, of one take alone and of two side by side: a column is 140 dB
// / 50 wide, or 140 dB / 23.
func TestLadderText(t *testing.T) {
	one, two := laddered("one", 6, "fuzz", "a-name-that-is-far-too-long-for-it"), laddered("two", -15, "b")
	for _, c := range []struct {
		name        string
		takes       []*Measures
		begins, bar []int // columns at which a take's rows and bars begin
		steps       float64
	}{
		{"alone", []*Measures{one}, []int{0}, []int{16}, 50},
		{"the other alone", []*Measures{two}, []int{0}, []int{16}, 50},
		{"side by side", []*Measures{one, two}, []int{0, 51}, []int{12, 63}, 23},
		{"three", []*Measures{one, two, one}, []int{0, 51}, []int{12, 63}, 23},
	} {
		text := NewLadder(c.takes...).Text()
		for _, line := range strings.Split(text, "\n") {
			if n := utf8.RuneCountInString(line); n > 100 {
				t.Errorf("%s: %d columns: %q", c.name, n, line)
			}
		}
		for _, unit := range []string{"dBu", "dB"} {
			if !strings.Contains(text, unit) {
				t.Errorf("%s: no unit %s", c.name, unit)
			}
		}
		at := func(db float64) int { return int(math.Round((db + 120) / 140 * c.steps)) }
		for k, m := range c.takes {
			prefix, want := "into fuzz", map[int]rune{0: '░', at(-100): '░', at(-20): '█', at(-15): '█', at(-10): '█', at(6): '┃', at(-50): ' '}
			if m == two {
				prefix, want = "into b ", map[int]rune{0: '░', at(-10): '!', at(-15): '┃', at(-20): '█'}
			}
			var bar []rune
			for _, line := range strings.Split(text, "\n") {
				if row := []rune(line); len(row) > c.bar[k%2] && strings.HasPrefix(string(row[c.begins[k%2]:]), prefix) {
					bar = row[c.bar[k%2]:]
				}
			}
			if bar == nil {
				t.Fatalf("%s: no row %q in\n%s", c.name, prefix, text)
			}
			for column, mark := range want {
				if bar[column] != mark {
					t.Errorf("%s: column %d of %q is %q, want %q", c.name, column, string(bar), bar[column], mark)
				}
			}
		}
	}
}

// elements reads a drawing as XML and counts elements by colour.
func elements(t *testing.T, drawing []byte) map[string]int {
	t.Helper()
	count := map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(drawing))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return count
		}
		if err != nil {
			t.Fatalf("no XML: %v", err)
		}
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "fill" && e.Name.Local == "rect" {
					count[a.Value]++
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s has %s=%q", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
}

func TestLadderSVG(t *testing.T) {
	l := NewLadder(laddered("one & <two>", 6, "a", "b"), laddered("two", -40, "b"))
	got := elements(t, l.SVG())
	// A blue box in the key and at each of five rungs, each over its noise; under three ceilings a
	// zone, and the key's box; one signal is over its ceiling.
	for colour, want := range map[string]int{"#2b8cc4": 1 + 5, "currentColor": 1 + 5, "#d55e00": 1 + 3 + 1} {
		if got[colour] != want {
			t.Errorf("%d boxes of %s, want %d", got[colour], colour, want)
		}
	}
	if strings.Contains(string(l.SVG()), "#000") || !strings.Contains(string(l.SVG()), "one &amp; &lt;two&gt;") {
		t.Error("text has a colour of its own, or is not escaped")
	}
	// A silent take has noise and ceilings, no signal.
	m := laddered("silent", 6, "a")
	for k := range m.Jacks {
		if v := m.Jacks[k].Values; v != nil {
			// peak and RMS
			v[0].Figure, v[1].Figure = measures.None("silence"), measures.None("silence")
		}
	}
	quiet := NewLadder(m)
	if got := elements(t, quiet.SVG()); got["#2b8cc4"] != 1 || got["currentColor"] != 1+2 {
		t.Errorf("a silent take is drawn with %v", got)
	}
	if text := quiet.Text(); strings.Count(text, "█") != 1 || strings.Contains(text, "NaN") {
		t.Errorf("a silent take is written as\n%s", text)
	}
}

// placed notes how far right each text may reach.
type placed struct{ right float64 }

func (p *placed) Box(x, y, w, h float64, _ sketch.Paint)         {}
func (p *placed) Line(x1, y1, x2, y2, w float64, _ sketch.Paint) {}
func (p *placed) Text(x, y, size float64, anchor string, bold bool, _ sketch.Paint, s string) {
	switch width := sketch.Width(s, size, bold); anchor {
	case "middle":
		x += width / 2
	case "start":
		x += width
	}
	p.right = math.Max(p.right, x)
}

// Nothing is written past the edge, not even the key of a short ladder.
func TestLadderTextStaysInside(t *testing.T) {
	for _, l := range []*Ladder{NewLadder(), NewLadder(laddered("one", 6, "a")), NewLadder(laddered("fuzz first", 6, "fuzz", "buffer"), laddered("buffered", 6, "buffer", "fuzz"))} {
		var p placed
		l.draw(&p)
		if w, _ := l.size(); p.right > w {
			t.Errorf("a text reaches to %.0f in a drawing %.0f wide", p.right, w)
		}
	}
}

func TestLadderPNG(t *testing.T) {
	var many []string
	for k := range 12 {
		many = append(many, fmt.Sprintf("block-%d", k))
	}
	for _, l := range []*Ladder{NewLadder(laddered("one", 6, "a")), NewLadder(laddered("one", 6, many...), laddered("two", -90, many...)), NewLadder()} {
		b, err := l.PNG(false)
		if err != nil {
			t.Fatal(err)
		}
		again, err := l.PNG(false)
		if err != nil || !bytes.Equal(b, again) {
			t.Errorf("the same ladder is drawn in two ways (%v)", err)
		}
		img, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		w, h := l.size()
		if w > mostWide {
			t.Errorf("%.0f wide, and two takes under each other would not be", w)
		}
		if got := img.Bounds().Size(); math.Abs(float64(got.X)-2*w) > 2 || math.Abs(float64(got.Y)-2*h) > 2 {
			t.Errorf("the picture is %v, want twice %.0f by %.0f", got, w, h)
		}
		if len(l.Takes) == 0 {
			continue
		}
		// The middle of the signal's box of the first rung is blue: #2b8cc4.
		low, high := l.span()
		y := ladderTop + ladderBody*(high+15)/(high-low)
		r, g, blue, _ := img.At(int(2*(ladderLeft+l.column()/2)), int(2*y)).RGBA()
		if r>>8 != 0x2b || g>>8 != 0x8c || blue>>8 != 0xc4 {
			t.Errorf("the signal at -15 dBu has the colour %x %x %x", r>>8, g>>8, blue>>8)
		}
	}
}

// A picture is no wider than sketch.MostPixels: takes stand under each other, and where one alone
// is wider than that, it has fewer pixels.
func TestLadderPNGIsNoWider(t *testing.T) {
	var many []string
	for k := range 40 {
		many = append(many, fmt.Sprintf("block-%d", k))
	}
	b, err := NewLadder(laddered("one", 6, many...), laddered("two", 6, many...)).PNG(false)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got.X > sketch.MostPixels || got.X < sketch.MostPixels-60 || got.Y < 500 {
		t.Errorf("the picture is %v", got)
	}
}

// No two blocks of a take are called alike, however long their names.
func TestLadderLabelsDoNotCollapse(t *testing.T) {
	for _, names := range [][]string{
		{"clear", "clear-power", "clear-box", "rough", "rough-power", "rough-box"},
		{"a-long-name-of-a-pedal-1", "a-long-name-of-a-pedal-2"},
		{"abcdef-one-ghijk", "abcdef-two-ghijk"},
	} {
		for _, p := range []panel{wide, half} {
			got := p.names(NewLadder(laddered("one", 6, names...)).Takes[0])
			for k, n := range got {
				if slices.Contains(got[:k], n) || utf8.RuneCountInString(n) >= p.labels {
					t.Errorf("%q of %q", n, names)
				}
			}
		}
	}
}
