package experiment

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Figure is a measured number, or the reason why there is none. In JSON it is a number, or an object {"not_measurable": "why"}.
type Figure struct {
	Value float64
	Why   string // "" where there is a value
}

// figure takes what a meter says. Other errors than measure.NotMeasurable do not come from meters.
func figure(v float64, err error) Figure {
	var none measure.NotMeasurable
	switch {
	case errors.As(err, &none):
		text := string(none.Reason)
		if none.Detail != "" {
			text += ": " + none.Detail
		}
		return Figure{Why: text}
	case err != nil:
		return Figure{Why: err.Error()}
	case math.IsNaN(v) || math.IsInf(v, 0):
		return Figure{Why: "no finite value"}
	}
	return Figure{Value: v}
}

func noFigure(format string, args ...any) Figure { return Figure{Why: fmt.Sprintf(format, args...)} }

// levelOf is the level in dB of a ratio of voltages.
func levelOf(ratio float64, why string) Figure {
	if ratio == 0 {
		return Figure{Why: why}
	}
	return figure(dsp.ToDB(ratio), nil)
}

// minus is the difference of two levels.
func (f Figure) minus(g Figure) Figure {
	switch {
	case f.Why != "":
		return f
	case g.Why != "":
		return g
	}
	return Figure{Value: f.Value - g.Value}
}

// OK says whether there is a value.
func (f Figure) OK() bool { return f.Why == "" }

// Text is the value with so many digits after the point, or a dash.
func (f Figure) Text(digits int) string {
	if !f.OK() {
		return "-"
	}
	text := fmt.Sprintf("%.*f", digits, f.Value)
	if zero := fmt.Sprintf("%.*f", digits, 0.0); text == "-"+zero {
		return zero
	}
	return text
}

// MarshalJSON implements json.Marshaler.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.OK() {
		return json.Marshal(struct {
			Why string `json:"not_measurable"`
		}{f.Why})
	}
	return json.Marshal(f.Value)
}

// silent is the peak, in volts, under which there is nothing to measure: that of a take that counts as silent.
const silent = Silence
