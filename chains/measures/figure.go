package measures

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Figure is a measured number, or the reason why there is none. In JSON it is a number, or an
// object {"not_measurable": "why"}.
type Figure struct {
	Value float64
	Why   string // "" where there is a value
	By    string // the block that it speaks of, where that has to be told; not in JSON
}

// Read takes what a meter says: its value, or why it has none, which is also the case of a value
// that is not finite.
func Read(v float64, err error) Figure {
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

// None is no value, and why.
func None(format string, args ...any) Figure { return Figure{Why: fmt.Sprintf(format, args...)} }

// Level is the level in dB of a ratio of voltages; why is the reason for that of 0.
func Level(ratio float64, why string) Figure {
	if ratio == 0 {
		return Figure{Why: why}
	}
	return Read(dsp.ToDB(ratio), nil)
}

// Minus is the difference of two figures in the same unit; without one of them, its reason.
func (f Figure) Minus(g Figure) Figure {
	switch {
	case f.Why != "":
		return f
	case g.Why != "":
		return g
	}
	return Figure{Value: f.Value - g.Value}
}

// OK reports whether there is a value.
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

// UnmarshalJSON implements json.Unmarshaler.
func (f *Figure) UnmarshalJSON(text []byte) error {
	*f = Figure{}
	if len(text) > 0 && text[0] == '{' {
		var none struct {
			Why *string `json:"not_measurable"`
		}
		if err := json.Unmarshal(text, &none); err != nil {
			return err
		}
		if none.Why == nil || *none.Why == "" {
			return fmt.Errorf("%.40s is no figure", text)
		}
		f.Why = *none.Why
		return nil
	}
	var v *float64
	if err := json.Unmarshal(text, &v); err != nil || v == nil {
		return fmt.Errorf("%.40s is no figure", text)
	}
	f.Value = *v
	return nil
}
