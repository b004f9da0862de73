package file

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/table"
)

// Schema is the JSON Schema (draft 2020-12) of the chain file, for editors that complete and check
// while one types. It comes from the tables that Parse reads by. What takes more than one key to
// judge is left to Parse: whether every block is used, once, and which settings a take may change.
func Schema() []byte {
	return schema(blocks.Kinds())
}

func schema(kinds []*blocks.Kind) []byte {
	top := table.Map("a chain file: what is wired to what, and which takes to compare", fileKeys(kinds))
	top["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	top["$id"] = "urn:drywire:chain"
	top["title"] = "Drywire chain file"
	defs := table.Object{}
	for _, k := range append(slices.Clone(kinds), blocks.AnyCircuit()) {
		def := table.Map(k.Brief, blockKeys(k))
		if k.Name == blocks.CircuitKind { // its deck says which knobs there are
			def["additionalProperties"] = table.CurveSchema(table.Object{"type": []string{"string", "number"}})
			def["oneOf"] = []any{table.Object{"required": []string{"file"}}, table.Object{"required": []string{"sample"}}}
		}
		if _, ok := k.Knob("supply"); ok {
			def["not"] = table.Object{"required": []string{"power", "supply"}}
		}
		defs["block-"+k.Name] = def
	}
	defs[table.CurveDef] = table.AnyCurve()
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

func recordingSchema(brief string, keys []key[board.Recording]) table.Object {
	s := table.Map(brief, keys)
	needs := func(keys ...string) table.Object { return table.Object{"required": keys} }
	s["oneOf"] = []any{needs("file"), needs("sample")}
	s["not"] = needs("peak", "full_scale")
	s["if"] = needs("file")
	s["then"] = table.Object{"anyOf": []any{needs("peak"), needs("full_scale")}}
	return s
}

// blocksSchema chooses the keys of a block by its kind.
func blocksSchema(kinds []*blocks.Kind) table.Object {
	var branches []any
	kinds = append(slices.Clone(kinds), blocks.AnyCircuit())
	for _, k := range kinds {
		branches = append(branches, table.Object{
			"if":   table.Object{"properties": table.Object{"kind": table.Object{"const": k.Name}}, "required": []string{"kind"}},
			"then": table.Object{"$ref": "#/$defs/block-" + k.Name},
		})
	}
	block := table.Object{
		"type":       "object",
		"properties": table.Object{"kind": table.Object{"enum": KindNames(kinds), "description": "what kind of block it is"}},
		"required":   []string{"kind"},
	}
	if branches != nil {
		block["allOf"] = branches
	}
	return table.Object{
		"type": "object", "description": "the blocks by name",
		"propertyNames":        table.Object{"pattern": table.NamePattern, "not": table.Object{"enum": reserved}},
		"additionalProperties": block,
	}
}

func orderSchema(brief string) table.Object {
	return table.Object{"type": "array", "description": brief, "items": table.Object{"type": "string", "pattern": table.NamePattern}, "uniqueItems": true}
}

func setSchema(kinds []*blocks.Kind, brief string) table.Object {
	properties := table.Object{}
	for _, t := range commonTargets() {
		properties[t.Name] = t.Schema
	}
	knobs := false
	for _, kind := range kinds {
		knobs = knobs || len(kind.Knobs) > 0
	}
	set := table.Object{
		"type": "object", "description": brief,
		"properties": properties, "additionalProperties": false,
	}
	if knobs {
		// Which knobs a circuit has, its deck says.
		pattern := strings.TrimSuffix(table.NamePattern, "$") + `\.[a-z_][a-z0-9_]*$`
		set["patternProperties"] = table.Object{pattern: table.CurveSchema(table.Object{"type": []string{"string", "number", "boolean"}})}
	}
	return set
}

// splitOrderSchema is an order that may end in a split.
func splitOrderSchema(brief string) table.Object {
	s := orderSchema(brief)
	s["items"] = table.Object{"anyOf": []any{s["items"], splitSchema()}}
	return s
}

func takesSchema(kinds []*blocks.Kind) table.Object {
	set := setSchema(kinds, "settings that are changed in this take")
	keys := takeKeys()
	for i := range keys {
		if keys[i].Name == "set" {
			keys[i].Schema = set
		}
	}
	return table.Object{"type": "array", "description": "what to render and compare", "minItems": 1, "items": table.Map("one rendering", keys)}
}
