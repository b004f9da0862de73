package sheet

import (
	"fmt"
	"io"
	"math"
	"strings"

	"drywire/chains/internal/sketch"
	"drywire/dsp"
)

// PNG writes the sheet without its labels as a picture: pages of A4, one under the other, two
// pixels to 1/96 inch, in letters of 9.5 points. The error is of the encoder or of w.
func (s *Sheet) PNG(w io.Writer) error {
	pages := s.laid().pages
	picture, err := sketch.PNG(paperWide, paperHigh*float64(len(pages)), false, func(k sketch.Sketch) {
		for n, page := range pages {
			top := paperHigh * float64(n)
			if n > 0 {
				k.Box(0, top-0.5, paperWide, 1, sketch.Third)
			}
			for _, draw := range page {
				draw(sketch.Lower{Sketch: k, By: top})
			}
		}
	})
	if err != nil {
		return err
	}
	_, err = w.Write(picture)
	return err
}

// laid is the sheet on its pages, in the order in which the printed one has it.
func (s *Sheet) laid() *flow {
	f := newFlow()
	f.add(titled(s.Title))
	f.path(s)
	f.presets(s)
	f.cables(s)
	wide := columnWidth(2)
	var cautions []piece
	for _, c := range s.Cautions {
		cautions = append(cautions, said("!", c, wide))
	}
	f.columns([]piece{headed("Caution")}, cautions, 2)
	f.power(s)
	f.knobs(s)
	f.changes(s)
	var checks, buy []piece
	for _, c := range s.Checks {
		checks = append(checks, ticked(c, wide))
	}
	for _, i := range s.Shopping {
		buy = append(buy, said(fmt.Sprint(i.Count, " ×"), i.What, wide))
	}
	f.columns([]piece{headed("Before a gig")}, checks, 2)
	f.columns([]piece{headed("To buy")}, buy, 2)
	return f
}

// titled is the sheet's title.
func titled(text string) piece {
	if text == "" {
		text = "Board"
	}
	const size = 17
	by := size / letters
	lines := wrapped(text, (paperWide-2*edge)/by, true)
	return piece{1.15*size*float64(len(lines)) + 2, func(s sketch.Sketch, x, y float64) {
		for k, l := range lines {
			s.Text(x, y+size+1.15*size*float64(k), size, "start", true, sketch.Ink, l)
		}
	}}
}

// ticked is a line with a box to tick.
func ticked(text string, wide float64) piece {
	p := said("", text, wide-18)
	return piece{p.high, func(s sketch.Sketch, x, y float64) {
		framed(s, x+1, y+2, 10, 10)
		p.draw(s, x+18, y)
	}}
}

// framed is a rectangle's line, a pixel wide.
func framed(s sketch.Sketch, x, y, w, h float64) {
	s.Line(x, y, x+w, y, 1, sketch.Ink)
	s.Line(x, y+h, x+w, y+h, 1, sketch.Ink)
	s.Line(x, y-0.5, x, y+h+0.5, 1, sketch.Ink)
	s.Line(x+w, y-0.5, x+w, y+h+0.5, 1, sketch.Ink)
}

func (f *flow) path(s *Sheet) {
	title := "Path"
	if s.Take != "" {
		title += " (wired as in: " + s.Take + ")"
	}
	lines := func(loop bool, wide float64) (list []piece) {
		for _, p := range s.Paths {
			if p.Loop == loop {
				list = append(list, said(p.Name, strings.Join(p.Steps, " → "), wide))
			}
		}
		return list
	}
	main := lines(false, columnWidth(1))
	f.columns([]piece{headed(title)}, main, 1)
	f.columns(nil, lines(true, columnWidth(2)), 2)
}

func (f *flow) presets(s *Sheet) {
	if len(s.Presets) == 0 {
		return
	}
	columns := []column{{"preset", true, "start"}}
	for _, l := range s.Loops {
		columns = append(columns, column{fmt.Sprint(l.Number), false, "middle"})
	}
	for _, lines := range s.TrimHeads() {
		columns = append(columns, column{strings.Join(lines, " "), false, "end"})
	}
	var rows [][]string
	for k, p := range s.Presets {
		row := []string{p.Name}
		if p.Guitar != "" {
			row[0] += " (" + p.Guitar + ")"
		}
		for _, in := range p.In {
			row = append(row, map[bool]string{true: "●", false: "·"}[in])
		}
		rows = append(rows, append(row, s.TrimsOf(k)...))
	}
	head, list := tabled(columns, rows, columnWidth(1))
	f.columns([]piece{headed("Presets, and the loops that are in"), head}, list, 1)
	if note := s.TrimNote(); note != "" {
		f.add(said("", note, columnWidth(1)))
	}
}

func (f *flow) cables(s *Sheet) {
	var rows [][]string
	for _, c := range s.Cables {
		rows = append(rows, []string{fmt.Sprint(c.Number), c.From, c.To, c.Length, c.Letter()})
	}
	_, list := tabled([]column{{"no.", true, "start"}, {"from", false, "start"}, {"to", false, "start"}, {"length", false, "end"}, {"plugs", true, "start"}}, rows, columnWidth(2))
	f.columns([]piece{headed("Cables: number, from, to, length, plugs")}, list, 2)
	var plugs []string
	for _, p := range s.Plugs() {
		plugs = append(plugs, p.Letter+": "+p.Text)
	}
	f.add(said("", strings.Join(plugs, "; ")+".", columnWidth(1)))
	if len(s.Inside) > 0 {
		f.add(said("", "Inside an amplifier, nothing to plug: "+strings.Join(s.Inside, "; ")+".", columnWidth(1)))
	}
	var bay []piece
	for _, b := range s.Bay {
		text := fmt.Sprintf("%s → %s, cable %d", b.Other, b.Jack, b.Number)
		if !b.In {
			text = fmt.Sprintf("%s → %s, cable %d", b.Jack, b.Other, b.Number)
		}
		bay = append(bay, said(map[bool]string{true: "in", false: "out"}[b.In], text, columnWidth(2)))
	}
	f.columns([]piece{headed("At the edge of the board")}, bay, 2)
}

func (f *flow) power(s *Sheet) {
	if len(s.Outputs) > 0 {
		var rows [][]string
		for _, o := range s.Outputs {
			plug := o.Plug
			if !o.Isolated {
				plug += ", shared"
			}
			feeds := strings.Join(o.Blocks, ", ")
			if feeds == "" {
				feeds = "-"
			}
			load := fmt.Sprintf("%.4g of %.4g mA, %d %%", 1e3*float64(o.Draw), 1e3*float64(o.Current), o.Percent)
			if o.Overload {
				load += ", TOO MUCH"
			}
			rows = append(rows, []string{o.Output, dsp.FormatQuantity(float64(o.Voltage), dsp.Volts), plug, feeds, load})
		}
		head, list := tabled([]column{{"output", true, "start"}, {"voltage", false, "end"}, {"plug", false, "start"}, {"feeds", false, "start"}, {"load", false, "end"}}, rows, columnWidth(1))
		f.columns([]piece{headed("Power"), head}, list, 1)
	}
	if len(s.OwnPower) > 0 {
		f.add(said("", "On a supply or a battery of their own: "+strings.Join(s.OwnPower, ", ")+".", columnWidth(1)))
	}
}

// knobs is each block with its knobs, as numbers and as dials.
func (f *flow) knobs(s *Sheet) {
	wide := columnWidth(3)
	var list []piece
	for k, g := range s.Guitars {
		name := g.Name
		if k > 0 {
			name += " (guitar)"
		}
		list = append(list, knobbed(name, []Knob{{"volume", g.Volume, -1}, {"tone", g.Tone, -1}}, wide))
	}
	for _, b := range s.Blocks {
		name := b.Name
		if b.Kind != b.Name {
			name += " (" + b.Kind + ")"
		}
		if b.Off {
			name += " off"
		}
		list = append(list, knobbed(name, b.Knobs, wide))
	}
	f.columns([]piece{headed("Knob positions of the base sound")}, list, 3)
}

// knobbed is one block.
func knobbed(name string, knobs []Knob, wide float64) piece {
	const dialWide, gap = 18.0, 9.0
	type place struct{ x, y float64 }
	places := make([]place, len(knobs))
	x, y := 0.0, 1.25*line
	for k, n := range knobs {
		own := sketch.Width(n.Name+" ", letters, false) + sketch.Width(n.Value, letters, true)
		if n.Turn >= 0 {
			own += dialWide
		}
		if x > 0 && x+own > wide {
			x, y = 0, y+1.3*line
		}
		places[k] = place{x, y}
		x += own + gap
	}
	high := y + 1.25*line + 3
	return piece{high, func(s sketch.Sketch, x, y float64) {
		s.Text(x, y+letters, letters, "start", true, sketch.Ink, name)
		for k, n := range knobs {
			at, base := x+places[k].x, y+places[k].y+letters
			s.Text(at, base, letters, "start", false, sketch.Ink, n.Name)
			at += sketch.Width(n.Name+" ", letters, false)
			if n.Turn >= 0 {
				pointed(s, at+7, base-4.5, n.Turn)
				at += dialWide
			}
			s.Text(at, base, letters, "start", true, sketch.Ink, n.Value)
		}
		s.Box(x, y+high-2, wide, 0.6, sketch.Muted)
	}}
}

// pointed is a dial: a ring, and its tick from 7 o'clock at 0 round to 5 o'clock at 1.
func pointed(s sketch.Sketch, x, y, turn float64) {
	const radius, sides = 7.0, 20
	for k := range sides {
		a, b := 2*math.Pi*float64(k)/sides, 2*math.Pi*float64(k+1)/sides
		s.Line(x+radius*math.Sin(a), y-radius*math.Cos(a), x+radius*math.Sin(b), y-radius*math.Cos(b), 1, sketch.Ink)
	}
	dx, dy := pointing(turn)
	s.Line(x+0.2*radius*dx, y+0.2*radius*dy, x+1.1*radius*dx, y+1.1*radius*dy, 2.2, sketch.Ink)
}

func (f *flow) changes(s *Sheet) {
	if !s.Changes() {
		return
	}
	var list []piece
	for _, p := range s.Presets {
		text := strings.Join(p.Changes, "; ")
		if p.ByHand != "" {
			text = strings.TrimPrefix(text+"; by hand: "+p.ByHand, "; ")
		}
		if text != "" {
			list = append(list, said(p.Name, text, columnWidth(1)))
		}
	}
	f.columns([]piece{headed("What presets change")}, list, 1)
}
