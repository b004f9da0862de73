package file

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

// movingKey is a quantityKey whose value may also be a curve. move gets the curve, or nil for a
// value that holds; set gets the value, or that at 0 s. still says why the setting cannot move; ""
// where it can.
func movingKey[T any](name, brief string, unit dsp.Unit, low, high float64, initial, still string, set func(*T, float64), move func(*T, *board.Curve)) key[T] {
	k := quantityKey(name, brief, unit, low, high, initial, set)
	number := k.read
	if still == "" {
		k.schema = curveSchema(k.schema)
	}
	k.read = func(r *reader, path string, n ast.Node) func(*T) {
		if !yamltext.IsMap(n) {
			apply := number(r, path, n)
			if apply == nil {
				return nil
			}
			return func(t *T) { apply(t); move(t, nil) }
		}
		if still != "" {
			r.At(n, "%s cannot move: %s", path, still)
			return nil
		}
		if pairs, ok := r.QuietPairs(n); ok && !slices.ContainsFunc(pairs, func(p *ast.MappingValueNode) bool {
			return yamltext.Nearest(p.Key.GetToken().Value, []string{"at"}) != ""
		}) {
			r.Wrong(path, n, unit.Means()+" like "+unit.Examples()[0]+", or a curve like at: "+curveLike(unit, low, high))
			return nil
		}
		c, ok := r.curve(path, n, unit, low, high)
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
func (r *reader) curve(path string, n ast.Node, unit dsp.Unit, low, high float64) (*board.Curve, bool) {
	like := curveLike(unit, low, high)
	faults := len(r.Faults)
	var c *board.Curve
	readMap(r, path, n, "at: "+like, []key[struct{}]{{
		name: "at", brief: "values by their times, like at: " + like, must: true,
		read: func(r *reader, path string, n ast.Node) func(*struct{}) {
			pairs, ok := r.Pairs(path, n, like)
			if !ok {
				return nil
			}
			if len(pairs) > maxPoints {
				r.At(pairs[maxPoints].Key, "%s has more than %d points", path, maxPoints)
				return nil
			}
			if len(pairs) < 2 && len(r.Faults) == faults {
				r.At(n, "%s has %d of two points or more, like at: %s; a value that holds needs none", path, len(pairs), like)
				return nil
			}
			var times, values []float64
			for _, p := range pairs {
				t, ok := r.quantity(path, p.Key, dsp.Seconds, 0, maxTime)
				text := p.Key.GetToken().Value
				if ok && len(times) > 0 {
					if last := times[len(times)-1]; t <= last {
						r.At(p.Key, "%s: %s does not come after %s; times rise from point to point", path, text, dsp.FormatQuantity(last, dsp.Seconds))
						ok = false
					} else if t-last < leastApart*(1-1e-9) {
						r.At(p.Key, "%s: %s comes less than 10 ms after the point before; nobody turns a knob that fast", path, text)
						ok = false
					}
				}
				v, good := r.quantity(yamltext.Join(path, text), p.Value, unit, low, high)
				if ok && good {
					times, values = append(times, t), append(values, v)
				}
			}
			if len(r.Faults) == faults {
				c = board.NewCurve(times, values, unit, low, high)
			}
			return nil
		},
	}}, &struct{}{})
	return c, c != nil
}

// held says why a value that is written as a curve may not be one, where it is.
func (r *reader) held(path string, n ast.Node, why string) bool {
	pairs, ok := r.QuietPairs(n)
	if !ok || !slices.ContainsFunc(pairs, func(p *ast.MappingValueNode) bool { return p.Key.GetToken().Value == "at" }) {
		return false
	}
	r.At(n, "%s cannot move: %s", path, why)
	return true
}

// curveSchema is a value of that schema, or a curve. The range of a curve's values is left to
// Parse.
func curveSchema(value object) object {
	s, plain := object{}, object{}
	for k, v := range value {
		switch k {
		case "description", "default", "examples":
			s[k] = v
		default:
			plain[k] = v
		}
	}
	s["anyOf"] = []any{plain, object{"$ref": "#/$defs/" + curveDef}}
	return s
}

// curveDef is the name of the schema of curves.
const curveDef = "curve"

func anyCurveSchema() object {
	return object{
		"type": "object", "required": []string{"at"}, "additionalProperties": false,
		"properties": object{"at": object{
			"type": "object", "description": "values by their times: before the first and after the last the value holds, between them it moves smoothly",
			"minProperties": 2, "maxProperties": maxPoints,
			"propertyNames": object{"pattern": dsp.Seconds.Pattern()}, "additionalProperties": object{"type": []string{"string", "number"}},
		}},
	}
}
