package sheet

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"

	"drywire/chains/internal/sketch"
	"drywire/dsp"
)

//go:embed sheet.html
var page string

var pages = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"dial":     dial,
	"quantity": func(v dsp.Volt) string { return dsp.FormatQuantity(float64(v), dsp.Volts) },
	"milli":    func(a dsp.Ampere) string { return fmt.Sprintf("%.4g", 1e3*float64(a)) },
	"mm":       func(v float64) string { return fmt.Sprintf("%.1fmm", v) },
	"least":    func(a, b int) int { return min(a, b) },
}).Parse(page))

// dial is a knob seen from above: its tick goes from 7 o'clock at 0 round to 5 o'clock at 1.
func dial(turn float64) template.HTML {
	x, y := pointing(turn)
	return template.HTML(fmt.Sprintf(`<svg class="dial" viewBox="-12 -12 24 24" aria-hidden="true"><circle r="10" fill="none" stroke="#000" stroke-width="1.4"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#000" stroke-width="2.6"/></svg>`,
		2*x, 2*y, 11.5*x, 11.5*y))
}

// pointing is where a dial's tick points to, of length 1, to the right and down.
func pointing(turn float64) (x, y float64) {
	angle := (210 + 300*turn) * math.Pi / 180 // clockwise from the top
	return math.Sin(angle), -math.Cos(angle)
}

// view is what the page is filled with.
type view struct {
	*Sheet
	Tape       int
	Top, Below float64
	Labels     []Label
	Halves     [][]Cable
	Letters    template.CSS
}

// HTML writes the sheet as one page that loads nothing, laid out for A4 paper, with labels for a
// tape of that height in mm, which has to be one of Tapes. Another is an error; else the error is
// w's.
func (s *Sheet) HTML(w io.Writer, tape int) error {
	if !slices.Contains(Tapes, tape) {
		return fmt.Errorf("no labels for a tape of %d mm", tape)
	}
	v := view{Sheet: s, Tape: tape, Labels: s.Labels(tape), Letters: template.CSS(sketch.Faces(false))}
	v.Top, v.Below = Letters(tape)
	half := (len(s.Cables) + 1) / 2
	v.Halves = [][]Cable{s.Cables[:half], s.Cables[half:]}
	return pages.Execute(w, v)
}
