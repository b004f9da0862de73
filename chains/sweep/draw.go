package sweep

import (
	"fmt"
	"html"
	"math"
	"strings"

	"drywire/chains/measures"
)

// The measures of the drawing in pixels.
const (
	left   = 52
	top    = 92
	panel  = 380 // the width of a take
	body   = 300 // the height of the scale
	gap    = 40
	bottom = 112 // the clock, and what ends the travel
)

// SVG draws the travel of every take side by side on one scale, in dBu at the input of the next
// block: average to peak, noise, both ceilings, and where its useful travel ends. It takes the
// colour of the text around it.
func (a *Answer) SVG() []byte {
	low, high := a.span()
	width := left + len(a.Takes)*(panel+gap)
	y := func(v float64) float64 { return top + body*(high-min(max(v, low), high))/(high-low) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" style="max-width:100%%;height:auto" role="img" font-family="system-ui, sans-serif" fill="currentColor">`+"\n", width, top+body+bottom, width, top+body+bottom)
	knob := a.Block + "." + a.Knob
	fmt.Fprintf(&b, "<title>%s over its travel</title>\n<desc>", html.EscapeString(knob))
	for _, t := range a.Takes {
		b.WriteString(html.EscapeString(t.Sentence(knob)) + " ")
	}
	b.WriteString("</desc>\n")
	text := func(x, y float64, size float64, anchor, colour, s string) {
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" font-size="%g" text-anchor="%s" fill="%s">%s</text>`+"\n", x, y, size, anchor, colour, html.EscapeString(s))
	}
	const blue, hot, ink = "#2b8cc4", "#d55e00", "currentColor" // as the level diagram has them
	text(8, 22, 15, "start", ink, knob+" over its travel")
	text(8, 42, 12, "start", blue, "signal, average to peak")
	text(160, 42, 12, "start", hot, "what comes next colours (thin), breaks up")
	text(8, 58, 12, "start", ink, "- - -  noise when nobody plays")
	for v := low; v <= high; v += 20 {
		text(left-8, y(v)+4, 11, "end", ink, strings.Replace(fmt.Sprintf("%+.0f", v), "-", "−", 1))
	}
	text(left-8, top-10, 11, "end", ink, "dBu")
	for n, t := range a.Takes {
		x0 := float64(left + n*(panel+gap))
		x := func(share float64) float64 { return x0 + panel*share }
		next := t.Next
		if next == "" {
			next = "the end"
		}
		text(x0, top-10, 13, "start", ink, clip(t.Take+", into "+next, 52))
		for v := low; v <= high; v += 20 {
			fmt.Fprintf(&b, `<path d="M%.1f %.1fH%.1f" stroke="currentColor" opacity="0.14"/>`+"\n", x0, y(v), x0+panel)
		}
		if n := len(t.Ends); n > 0 {
			e := t.Ends[0]
			fmt.Fprintf(&b, `<rect x="%.1f" y="%d" width="%.1f" height="%d" fill="%s" opacity="0.12"/>`+"\n", x(e.At), top, panel*(1-e.At), body, hot)
		}
		line := func(of func(Point) measures.Figure, style string) {
			pen := "M"
			fmt.Fprintf(&b, `<path fill="none" %s d="`, style)
			for k, p := range t.Points {
				f := of(p)
				if !f.OK() {
					pen = "M"
					continue
				}
				fmt.Fprintf(&b, "%s%.1f %.1f", pen, x(float64(k)/float64(len(t.Points)-1)), y(f.Value))
				pen = "L"
			}
			b.WriteString(`"/>` + "\n")
		}
		line(func(p Point) measures.Figure { return p.Average }, `stroke="`+blue+`" stroke-width="2"`)
		line(func(p Point) measures.Figure { return p.Peak }, `stroke="`+blue+`" stroke-width="3"`)
		line(func(p Point) measures.Figure { return p.Noise }, `stroke="currentColor" stroke-width="2" stroke-dasharray="6 5"`)
		line(func(p Point) measures.Figure { return p.Colour }, `stroke="`+hot+`" stroke-width="1"`)
		line(func(p Point) measures.Figure { return p.Ceiling }, `stroke="`+hot+`" stroke-width="3"`)
		for k, p := range t.Points {
			text(x(float64(k)/float64(len(t.Points)-1)), top+body+16, 11, "middle", ink, p.Clock)
		}
		for k, e := range t.Ends {
			if k > 3 {
				break
			}
			fmt.Fprintf(&b, `<path d="M%.1f %dV%d" stroke="%s" stroke-width="1.5" stroke-dasharray="2 3"/>`+"\n", x(e.At), top, top+body, hot)
			text(x0, float64(top+body+38+18*k), 11.5, "start", ink, clip(fmt.Sprintf("%s o'clock: %s", e.Clock, e.Text), 66))
		}
		if len(t.Ends) == 0 {
			text(x0, top+body+38, 11.5, "start", ink, "of use over all of its travel")
		}
	}
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

// span is the range of levels that the drawing needs, in steps of 20 dB.
func (a *Answer) span() (low, high float64) {
	low, high = -80, 20
	for _, t := range a.Takes {
		for _, p := range t.Points {
			for _, f := range []measures.Figure{p.Average, p.Peak, p.Noise, p.Colour, p.Ceiling} {
				if f.OK() {
					low, high = min(low, 20*math.Floor(f.Value/20)), max(high, 20*math.Ceil(f.Value/20))
				}
			}
		}
	}
	return max(low, -160), high
}

func clip(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most-1]) + "…"
}
