package file

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
)

// key is a key of a chain file.
type key[T any] = table.Key[*reader, T]

// reader walks one file and gathers its faults.
type reader struct {
	yamltext.Reader

	declared   []string            // names of blocks, as far as they could be read
	undeclared bool                // blocks could not be read at all: no name can be called unknown
	places     map[string]ast.Node // where each block is declared
	read       map[string]bool     // names of blocks whose kind is known
	used       map[string]bool     // names that some order holds, or seems to mean
	targets    []key[board.Chain]  // what a take may set

	decks     Decks    // what reads decks; nil where nothing does
	deckPaths []string // of those that are named

	cabinets []*board.Cabinet    // impulse responses that are named
	guitars  map[string]ast.Node // where each named guitar is declared
	supplies []board.Supply
	switcher string                // the name of the block that is one; "" for none
	loops    []board.Loop          // its loops
	presets  []string              // names of presets
	presetAt []map[string]ast.Node // where each preset has its keys
	takes    []readTake
	powerAt  map[string]ast.Node         // where each block says what it is plugged into
	setAt    map[*board.Setting]ast.Node // where each setting of a take or a preset is
}

// readTake is where the file has a take.
type readTake struct {
	node ast.Node
	keys map[string]ast.Node
}

// Text implements table.Reader.
func (r *reader) Text() *yamltext.Reader { return &r.Reader }

// Astray implements table.Reader: it faults a preset that names a pedal where a key belongs.
func (r *reader) Astray(path string, key ast.Node) bool {
	name := key.GetToken().Value
	if !strings.HasPrefix(path, "presets.") || !slices.Contains(r.declared, name) {
		return false
	}
	if in := board.LoopOf(r.loops, name); in != nil {
		r.At(key, "%s is in loop %d of %s; did you mean loops: [%d], or set: {%s.…: …}?", name, in.Number, r.switcher, in.Number, name)
	} else {
		r.At(key, "%s is in no loop; did you mean on: [%s], or set: {%s.…: …}?", name, name, name)
	}
	return true
}
