package lesson

import (
	"bytes"
	"encoding/json"
	"fmt"

	"drywire/chains/internal/table"
)

// Schema is the JSON Schema (draft 2020-12) of a lesson, for editors that complete and check while
// one types. It comes from the tables that Parse reads by. What takes more than one key to judge is
// left to Parse.
func Schema() []byte {
	top := mapSchema("a lesson: a question about a board, what people believe, what is heard and measured, and why", lessonKeys())
	top["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	top["$id"] = "urn:drywire:lesson"
	top["title"] = "Drywire lesson"
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(top); err != nil {
		panic(fmt.Sprintf("lesson: schema: %v", err)) // numbers of ranges are finite
	}
	return b.Bytes()
}

// mapSchema is a map with these keys and no others.
func mapSchema[T any](brief string, keys []key[T]) object {
	return table.Closed(brief, len(keys), func(k int) (string, object, bool) { return keys[k].name, keys[k].schema, keys[k].must })
}
