package yamltext

import (
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/dsp"
)

// nextKey is a key that a value has swallowed, as in 5 tone: 6.
var nextKey = regexp.MustCompile(`\s([a-z_]+):(\s|$)`)

// Quantity is a number with its unit, inside its range; ok is false after a fault.
func (r *Reader) Quantity(path string, n ast.Node, unit dsp.Unit, low, high float64) (float64, bool) {
	text, ok := r.Scalar(path, n, unit.Means()+" like "+unit.Examples()[0])
	if !ok {
		return 0, false
	}
	v, err := dsp.ParseQuantity(text, unit)
	if next := nextKey.FindStringSubmatch(text); err != nil && next != nil {
		r.At(n, "%s: a comma is missing in front of %s", path, next[1])
		return 0, false
	}
	if err != nil {
		r.At(n, "%s: %v", path, err)
		return 0, false
	}
	return v, r.Within(path, n, text, v, unit, low, high)
}

// Within faults a quantity that is out of its range, and reports whether it is inside.
func (r *Reader) Within(path string, n ast.Node, text string, v float64, unit dsp.Unit, low, high float64) bool {
	if v >= low && v <= high {
		return true
	}
	r.At(n, "%s: %s is out of range; it goes from %s to %s", path, strings.TrimSpace(text), dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit))
	return false
}

// Held faults a value that is written as a curve and may not be one, and reports whether it did;
// why says why.
func (r *Reader) Held(path string, n ast.Node, why string) bool {
	pairs, ok := r.QuietPairs(n)
	if !ok || !slices.ContainsFunc(pairs, func(p *ast.MappingValueNode) bool { return p.Key.GetToken().Value == "at" }) {
		return false
	}
	r.At(n, "%s cannot move: %s", path, why)
	return true
}
