package experiment

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"drywire/chains/internal/sketch"
	"drywire/chains/measures"
)

// SVG is the diagram as an SVG document, the takes side by side on one scale. It takes the colour
// of the text around it.
func (l *Ladder) SVG() []byte {
	w, h := l.size()
	return sketch.SVG(w, h, "Level diagram of "+strings.Join(l.names(), " and "), l.words(), l.draw)
}

// PNG is the same as a picture. The error is of the encoder.
func (l *Ladder) PNG(dark bool) ([]byte, error) {
	w, h := l.size()
	return sketch.PNG(w, h, dark, l.draw)
}

func (l *Ladder) names() []string {
	var names []string
	for _, t := range l.Takes {
		names = append(names, t.Take)
	}
	return names
}

// words is the diagram in words, for screen readers.
func (l *Ladder) words() string {
	var b strings.Builder
	for _, t := range l.Takes {
		fmt.Fprintf(&b, "%s.", t.Take)
		for _, r := range t.Rungs {
			fmt.Fprintf(&b, " %s: peak %s dBu, average %s dBu, noise %s dBu, colours from %s dBu, ceiling %s dBu.", r.label(), r.Peak.Text(0), r.Average.Text(0), r.Noise.Text(0), r.Colour.Text(0), r.Ceiling.Text(0))
		}
		b.WriteString(" ")
	}
	return strings.TrimSpace(b.String())
}

// The measures of the drawing in pixels.
const (
	ladderLeft   = 52  // the scale
	ladderRight  = 92  // the names of what is drawn
	ladderTop    = 98  // key and titles
	ladderBottom = 48  // the names of the jacks
	ladderBody   = 340 // the scale's height
	ladderGap    = 28  // between takes
	ladderNext   = 34  // for the titles of another row
	letter       = 6.4 // the width of a letter of the size of names, at most on average
)

// column is the width of a rung: no narrower than its name.
func (l *Ladder) column() float64 {
	longest := 0
	for _, t := range l.Takes {
		for _, r := range t.Rungs {
			// of BLOCK.in
			longest = max(longest, utf8.RuneCountInString(r.Into), utf8.RuneCountInString(r.Jack)-3)
		}
	}
	return math.Max(68, 10+letter*float64(longest))
}

// size is that of the drawing, whose takes stand in rows: as many side by side as are no wider than
// mostWide, and one at least.
func (l *Ladder) size() (w, h float64) {
	rows := l.rows()
	for _, row := range rows {
		w = math.Max(w, l.width(row))
	}
	return math.Max(w, keyWidth()), ladderTop + float64(len(rows))*(ladderBody+ladderBottom) + float64(len(rows)-1)*ladderNext
}

// mostWide is from where on takes stand under each other, in pixels of the drawing: a PNG picture
// then has two for each.
const mostWide = sketch.MostPixels / 2

func (l *Ladder) width(row []LadderTake) float64 {
	w := ladderLeft + ladderRight + float64(len(row)-1)*ladderGap
	for _, t := range row {
		w += l.column() * float64(len(t.Rungs))
	}
	return w
}

func (l *Ladder) rows() (rows [][]LadderTake) {
	for _, t := range l.Takes {
		if last := len(rows) - 1; last >= 0 && l.width(append(slices.Clone(rows[last]), t)) <= mostWide {
			rows[last] = append(rows[last], t)
		} else {
			rows = append(rows, []LadderTake{t})
		}
	}
	if rows == nil {
		rows = [][]LadderTake{nil} // the scale alone
	}
	return rows
}

// ladderKey says what the three bands are.
var ladderKey = []struct {
	paint sketch.Paint
	text  string
}{
	{sketch.Blue, "signal, average to peak"},
	{sketch.Third, "noise: heard when nobody plays"},
	{sketch.Hot, "ceiling: it colours from the thin line, breaks up from the thick"},
}

// keyStep is from one entry of the key to the next, keyWidth the whole of it.
func keyStep(text string) float64 { return 36 + 6.7*float64(utf8.RuneCountInString(text)) }

func keyWidth() float64 {
	w := 8.0
	for _, k := range ladderKey {
		w += keyStep(k.text)
	}
	return w
}

func (l *Ladder) draw(s sketch.Sketch) {
	low, high := l.span()
	y := func(db float64) float64 {
		return ladderTop + ladderBody*(high-math.Min(high, math.Max(low, db)))/(high-low)
	}
	x := 8.0
	for _, k := range ladderKey {
		s.Box(x, 12, 12, 12, k.paint)
		s.Text(x+18, 22.5, 12.5, "start", false, sketch.Ink, k.text)
		x += keyStep(k.text)
	}
	s.Text(8, 46, 12.5, "start", false, sketch.Muted, LadderWords)

	for k, row := range l.rows() {
		l.row(sketch.Lower{Sketch: s, By: float64(k) * (ladderBody + ladderBottom + ladderNext)}, row, low, high, y)
	}
}

// row draws takes side by side.
func (l *Ladder) row(s sketch.Sketch, takes []LadderTake, low, high float64, y func(float64) float64) {
	for db := low; db <= high; db += 20 {
		text := fmt.Sprintf("%+.0f", db)
		if db == 0 {
			text = "0"
		}
		s.Text(ladderLeft-8, y(db)+4, 11.5, "end", false, sketch.Muted, strings.Replace(text, "-", "−", 1))
	}
	s.Text(ladderLeft-8, ladderTop-14, 11.5, "end", false, sketch.Muted, "dBu")
	s.Text(ladderLeft-8, ladderTop+ladderBody+18, 11.5, "end", false, sketch.Muted, "into")

	x := float64(ladderLeft)
	column := l.column()
	for k, t := range takes {
		if k > 0 {
			x += ladderGap
		}
		whole := column * float64(len(t.Rungs))
		for db := low; db <= high; db += 20 {
			s.Line(x, y(db), x+whole, y(db), 1, sketch.Faint)
		}
		s.Text(x, ladderTop-14, 14, "start", true, sketch.Ink, cut(t.Take, max(8, int(whole/7.6))))
		for n, r := range t.Rungs {
			l.rung(s, r, x+column*float64(n), column, y, high)
		}
		x += whole
	}
	// What is drawn is named beside the last take, where there is room.
	if k := len(takes) - 1; k >= 0 && len(takes[k].Rungs) > 0 {
		l.labels(s, takes[k].Rungs, x+8, y)
	}
}

// rung draws one column.
func (l *Ladder) rung(s sketch.Sketch, r Rung, x, w float64, y func(float64) float64, high float64) {
	middle := x + w/2
	bottom := ladderTop + ladderBody + 0.0
	if r.Noise.OK() {
		s.Box(x, y(r.Noise.Value), w, bottom-y(r.Noise.Value), sketch.Third)
		s.Text(middle, y(r.Noise.Value)-5, 11, "middle", false, sketch.Muted, signed(r.Noise))
	}
	if r.Ceiling.OK() {
		s.Box(x, y(high), w, y(r.Ceiling.Value)-y(high), sketch.HotZone)
	}
	if r.Peak.OK() && r.Average.OK() {
		top := y(r.Peak.Value)
		side := math.Min(26, w*0.42)
		foot := math.Max(y(r.Average.Value), top+2)
		s.Box(middle-side/2, top, side, foot-top, sketch.Blue)
		if r.Ceiling.OK() && r.Ceiling.Value < r.Peak.Value {
			s.Box(middle-side/2, top, side, math.Min(foot, y(r.Ceiling.Value))-top, sketch.Hot)
		}
		s.Text(middle, top-5, 11.5, "middle", true, sketch.Ink, signed(r.Peak))
	}
	if r.Colour.OK() {
		s.Line(x+1, y(r.Colour.Value), x+w-1, y(r.Colour.Value), 1, sketch.Hot)
	}
	if r.Ceiling.OK() {
		s.Line(x+1, y(r.Ceiling.Value), x+w-1, y(r.Ceiling.Value), 3, sketch.Hot)
	}
	name := r.Into
	if name == "" {
		name = r.Jack
	}
	s.Text(middle, bottom+18, 12, "middle", false, sketch.Ink, name)
	if r.HeadroomDB.OK() {
		word := "spare"
		if r.HeadroomDB.Value < 0 {
			word = "over"
		}
		s.Text(middle, bottom+34, 10.5, "middle", false, sketch.Muted, fmt.Sprintf("%.0f dB %s", math.Abs(r.HeadroomDB.Value), word))
	}
}

func signed(f measures.Figure) string {
	text := fmt.Sprintf("%+.0f", f.Value)
	if text == "+0" || text == "-0" {
		return "0"
	}
	return strings.Replace(text, "-", "−", 1)
}

// labels names the bands beside the last rung, kept apart from each other.
func (l *Ladder) labels(s sketch.Sketch, rungs []Rung, x float64, y func(float64) float64) {
	type label struct {
		at   float64
		text string
		p    sketch.Paint
	}
	var list []label
	end := rungs[len(rungs)-1]
	if end.Peak.OK() {
		list = append(list, label{y(end.Peak.Value) + 4, "peak", sketch.Blue})
	}
	if end.Average.OK() {
		list = append(list, label{y(end.Average.Value) + 4, "average", sketch.Blue})
	}
	if end.Noise.OK() {
		list = append(list, label{y(end.Noise.Value) + 4, "noise", sketch.Muted})
	}
	for _, r := range slices.Backward(rungs) {
		if r.Ceiling.OK() {
			list = append(list, label{y(r.Ceiling.Value) + 4, "ceiling", sketch.Hot})
			break
		}
	}
	slices.SortStableFunc(list, func(a, b label) int {
		return int(math.Copysign(1, a.at-b.at))
	})
	for k := 1; k < len(list); k++ {
		list[k].at = math.Max(list[k].at, list[k-1].at+15)
	}
	for _, v := range list {
		s.Text(x, v.at, 12, "start", false, v.p, v.text)
	}
}
