package table

import (
	"slices"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// A curve in the file: {at: {0 s: 10, 4 s: 3}} in place of a number.

// More points than a song has, an hour, and less time than a foot needs.
const (
	maxPoints  = 100
	maxTime    = 3600.0
	leastApart = 10e-3
)

// Moving is a Quantity whose value may also be a curve. move gets the curve, or nil for a value
// that holds; set gets the value, or that at 0 s. still says why the setting cannot move; "" where
// it can.
func Moving[R Reader, T any](name, brief string, unit dsp.Unit, low, high float64, initial, still string, set func(*T, float64), move func(*T, *board.Curve)) Key[R, T] {
	k := Quantity[R](name, brief, unit, low, high, initial, set)
	number := k.Read
	if still == "" {
		k.Schema = CurveSchema(k.Schema)
	}
	k.Read = func(r R, path string, n ast.Node) func(*T) {
		if !yamltext.IsMap(n) {
			apply := number(r, path, n)
			if apply == nil {
				return nil
			}
			return func(t *T) { apply(t); move(t, nil) }
		}
		if still != "" {
			r.Text().At(n, "%s cannot move: %s", path, still)
			return nil
		}
		if pairs, ok := r.Text().QuietPairs(n); ok && !slices.ContainsFunc(pairs, func(p *ast.MappingValueNode) bool {
			return yamltext.Nearest(p.Key.GetToken().Value, []string{"at"}) != ""
		}) {
			r.Text().Wrong(path, n, unit.Means()+" like "+unit.Examples()[0]+", or a curve like at: "+curveLike(unit, low, high))
			return nil
		}
		c, ok := curve(r, path, n, unit, low, high)
		if !ok {
			return nil
		}
		return func(t *T) { set(t, c.At(0)); move(t, c) }
	}
	return k
}

func curveLike(unit dsp.Unit, low, high float64) string {
	return "{0 s: " + dsp.FormatQuantity(high, unit) + ", 4 s: " + dsp.FormatQuantity(low, unit) + "}"
}

// curve is a value over time.
func curve[R Reader](r R, path string, n ast.Node, unit dsp.Unit, low, high float64) (*board.Curve, bool) {
	like := curveLike(unit, low, high)
	faults := len(r.Text().Faults)
	var c *board.Curve
	Read(r, path, n, "at: "+like, []Key[R, struct{}]{{
		Name: "at", Brief: "values by their times, like at: " + like, Must: true,
		Read: func(r R, path string, n ast.Node) func(*struct{}) {
			pairs, ok := r.Text().Pairs(path, n, like)
			if !ok {
				return nil
			}
			if len(pairs) > maxPoints {
				r.Text().At(pairs[maxPoints].Key, "%s has more than %d points", path, maxPoints)
				return nil
			}
			if len(pairs) < 2 && len(r.Text().Faults) == faults {
				r.Text().At(n, "%s has %d of two points or more, like at: %s; a value that holds needs none", path, len(pairs), like)
				return nil
			}
			var times, values []float64
			for _, p := range pairs {
				t, ok := r.Text().Quantity(path, p.Key, dsp.Seconds, 0, maxTime)
				text := p.Key.GetToken().Value
				if ok && len(times) > 0 {
					if last := times[len(times)-1]; t <= last {
						r.Text().At(p.Key, "%s: %s does not come after %s; times rise from point to point", path, text, dsp.FormatQuantity(last, dsp.Seconds))
						ok = false
					} else if t-last < leastApart*(1-1e-9) {
						r.Text().At(p.Key, "%s: %s comes less than 10 ms after the point before; nobody turns a knob that fast", path, text)
						ok = false
					}
				}
				v, good := r.Text().Quantity(yamltext.Join(path, text), p.Value, unit, low, high)
				if ok && good {
					times, values = append(times, t), append(values, v)
				}
			}
			if len(r.Text().Faults) == faults {
				c = board.NewCurve(times, values, unit, low, high)
			}
			return nil
		},
	}}, &struct{}{})
	return c, c != nil
}

// CurveSchema is a value of that schema, or a curve. The range of a curve's values is left to
// Parse.
func CurveSchema(value Object) Object {
	s, plain := Object{}, Object{}
	for k, v := range value {
		switch k {
		case "description", "default", "examples":
			s[k] = v
		default:
			plain[k] = v
		}
	}
	s["anyOf"] = []any{plain, Object{"$ref": "#/$defs/" + CurveDef}}
	return s
}

// CurveDef is the name of the schema of curves.
const CurveDef = "curve"

// AnyCurve is the schema of a curve, whatever its unit; it goes under CurveDef among the
// definitions of a schema that has a CurveSchema in it.
func AnyCurve() Object {
	return Object{
		"type": "object", "required": []string{"at"}, "additionalProperties": false,
		"properties": Object{"at": Object{
			"type": "object", "description": "values by their times: before the first and after the last the value holds, between them it moves smoothly",
			"minProperties": 2, "maxProperties": maxPoints,
			"propertyNames": Object{"pattern": dsp.Seconds.Pattern()}, "additionalProperties": Object{"type": []string{"string", "number"}},
		}},
	}
}
