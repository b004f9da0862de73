package file

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
)

// object is a JSON object. Its keys are printed in the order of the alphabet.
type object = map[string]any

// Schema is the JSON Schema (draft 2020-12) of the chain file, for editors that complete and check
// while one types. It comes from the tables that Parse reads by. What takes more than one key to
// judge is left to Parse: whether every block is used, once, and which settings a take may change.
func Schema() []byte {
	return schema(blocks.Kinds())
}

func schema(kinds []*blocks.Kind) []byte {
	top := mapSchema("a chain file: what is wired to what, and which takes to compare", fileKeys(kinds))
	top["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	top["$id"] = "urn:drywire:chain"
	top["title"] = "Drywire chain file"
	defs := object{}
	for _, k := range kinds {
		def := mapSchema(k.Brief, blockKeys(k))
		if _, ok := k.Knob("supply"); ok {
			def["not"] = object{"required": []string{"power", "supply"}}
		}
		defs["block-"+k.Name] = def
	}
	defs[curveDef] = anyCurveSchema()
	top["$defs"] = defs
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(top); err != nil {
		panic(fmt.Sprintf("chains: schema: %v", err)) // numbers of knobs are finite
	}
	return b.Bytes()
}

// mapSchema is a map with these keys and no others.
func mapSchema[T any](brief string, keys []key[T]) object {
	properties := object{}
	var must []string
	for _, k := range keys {
		properties[k.name] = k.schema
		if k.must {
			must = append(must, k.name)
		}
	}
	s := object{"type": "object", "description": brief, "properties": properties, "additionalProperties": false}
	if must != nil {
		s["required"] = must
	}
	return s
}

// bare reports whether the unit is also written as a number alone, which YAML takes for a number.
func bare(u dsp.Unit) bool { return u == dsp.None || u == dsp.Dial || u == dsp.Ratios }

func quantitySchema(brief string, unit dsp.Unit, low, high float64, initial string) object {
	s := object{
		"description": fmt.Sprintf("%s (%s, from %s to %s)", brief, unit.Means(), dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit)),
		"examples":    unit.Examples(),
	}
	if initial != "" {
		s["default"] = initial
	}
	text := object{"type": "string", "pattern": unit.Pattern()}
	if bare(unit) {
		s["anyOf"] = []any{object{"type": "number", "minimum": low, "maximum": high}, text}
		return s
	}
	s["type"], s["pattern"] = text["type"], text["pattern"]
	return s
}

func choiceSchema(brief string, words []string, initial string) object {
	values := []any{}
	for _, w := range words {
		values = append(values, w)
		if w == "true" || w == "false" { // YAML reads these words as truth values
			values = append(values, w == "true")
		}
	}
	s := object{"description": brief, "enum": values}
	if initial != "" {
		s["default"] = initial
	}
	return s
}

// lineSchema takes numbers too: YAML reads the title 1984 as one.
func lineSchema(brief string) object {
	return object{"description": brief, "type": []string{"string", "number", "boolean"}, "minLength": 1, "maxLength": 200}
}

func recordingSchema() object {
	s := mapSchema("the dry recording, and what is known about its level", recordingKeys())
	needs := func(keys ...string) object { return object{"required": keys} }
	s["oneOf"] = []any{needs("file"), needs("sample")}
	s["not"] = needs("peak", "full_scale")
	s["if"] = needs("file")
	s["then"] = object{"anyOf": []any{needs("peak"), needs("full_scale")}}
	return s
}

func pickupSchema() object {
	return object{"anyOf": []any{
		choiceSchema("a pickup by its name", board.PickupNames(), board.DefaultPickup),
		mapSchema("a pickup by its values", pickupKeys()),
	}}
}

// blocksSchema chooses the keys of a block by its kind.
func blocksSchema(kinds []*blocks.Kind) object {
	var branches []any
	for _, k := range kinds {
		branches = append(branches, object{
			"if":   object{"properties": object{"kind": object{"const": k.Name}}, "required": []string{"kind"}},
			"then": object{"$ref": "#/$defs/block-" + k.Name},
		})
	}
	block := object{
		"type":       "object",
		"properties": object{"kind": object{"enum": KindNames(kinds), "description": "what kind of block it is"}},
		"required":   []string{"kind"},
	}
	if branches != nil {
		block["allOf"] = branches
	}
	return object{
		"type": "object", "description": "the blocks by name",
		"propertyNames":        object{"pattern": namePattern, "not": object{"enum": reserved}},
		"additionalProperties": block,
	}
}

func orderSchema(brief string) object {
	return object{"type": "array", "description": brief, "items": object{"type": "string", "pattern": namePattern}, "uniqueItems": true}
}

func setSchema(kinds []*blocks.Kind, brief string) object {
	properties := object{}
	for _, t := range commonTargets() {
		properties[t.name] = t.schema
	}
	var knobs []string
	for _, kind := range kinds {
		if kind.Name == board.SpeakerKind {
			knobs = append(knobs, "file")
		}
		for _, k := range kind.Knobs {
			if name := regexp.QuoteMeta(k.Name); !slices.Contains(knobs, name) {
				knobs = append(knobs, name)
			}
			if k.Name == "supply" && !slices.Contains(knobs, "power") {
				knobs = append(knobs, "power")
			}
		}
	}
	set := object{
		"type": "object", "description": brief,
		"properties": properties, "additionalProperties": false,
	}
	if knobs != nil {
		slices.Sort(knobs)
		pattern := strings.TrimSuffix(namePattern, "$") + `\.(` + strings.Join(knobs, "|") + ")$"
		set["patternProperties"] = object{pattern: curveSchema(object{"type": []string{"string", "number", "boolean"}})}
	}
	return set
}

// splitOrderSchema is an order that may end in a split.
func splitOrderSchema(brief string) object {
	s := orderSchema(brief)
	s["items"] = object{"anyOf": []any{s["items"], splitSchema()}}
	return s
}

func takesSchema(kinds []*blocks.Kind) object {
	set := setSchema(kinds, "settings that are changed in this take")
	keys := takeKeys()
	for i := range keys {
		if keys[i].name == "set" {
			keys[i].schema = set
		}
	}
	return object{"type": "array", "description": "what to render and compare", "minItems": 1, "items": mapSchema("one rendering", keys)}
}
