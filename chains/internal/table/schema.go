package table

import (
	"fmt"

	"drywire/dsp"
)

// Object is a JSON object. Its keys are printed in the order of the alphabet.
type Object = map[string]any

// Map is a map with these keys and no others.
func Map[R Reader, T any](brief string, keys []Key[R, T]) Object {
	return Closed(brief, len(keys), func(k int) (string, Object, bool) { return keys[k].Name, keys[k].Schema, keys[k].Must })
}

// Closed is a map with so many keys and no others: of each its name, what it holds, and whether it
// has to be there.
func Closed(brief string, count int, key func(k int) (name string, schema Object, must bool)) Object {
	properties := Object{}
	var required []string
	for k := range count {
		name, schema, must := key(k)
		properties[name] = schema
		if must {
			required = append(required, name)
		}
	}
	s := Object{"type": "object", "description": brief, "properties": properties, "additionalProperties": false}
	if required != nil {
		s["required"] = required
	}
	return s
}

// bare reports whether the unit is also written as a number alone, which YAML takes for a number.
func bare(u dsp.Unit) bool { return u == dsp.None || u == dsp.Dial || u == dsp.Ratios }

// QuantitySchema is a quantity as text; of a unit that is also written as a number alone, a number
// too. initial is the value where the key is missing, as text; "" for none.
func QuantitySchema(brief string, unit dsp.Unit, low, high float64, initial string) Object {
	s := Object{
		"description": fmt.Sprintf("%s (%s, from %s to %s)", brief, unit.Means(), dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit)),
		"examples":    unit.Examples(),
	}
	if initial != "" {
		s["default"] = initial
	}
	text := Object{"type": "string", "pattern": unit.Pattern()}
	if bare(unit) {
		s["anyOf"] = []any{Object{"type": "number", "minimum": low, "maximum": high}, text}
		return s
	}
	s["type"], s["pattern"] = text["type"], text["pattern"]
	return s
}

// ChoiceSchema is one of some words. initial is the one where the key is missing; "" for none.
func ChoiceSchema(brief string, words []string, initial string) Object {
	values := []any{}
	for _, w := range words {
		values = append(values, w)
		if w == "true" || w == "false" { // YAML reads these words as truth values
			values = append(values, w == "true")
		}
	}
	s := Object{"description": brief, "enum": values}
	if initial != "" {
		s["default"] = initial
	}
	return s
}

// LineSchema takes numbers too: YAML reads the title 1984 as one.
func LineSchema(brief string) Object {
	return Object{"description": brief, "type": []string{"string", "number", "boolean"}, "minLength": 1, "maxLength": 200}
}
