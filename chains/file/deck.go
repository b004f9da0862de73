package file

import (
	"errors"
	"slices"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/dsp/circuit/deck"
)

// deckKeys say what a circuit's deck is. They are read before all others, since the deck says which
// knobs there are: see circuit.
func deckKeys() []key[board.Block] {
	nothing := func(*reader, string, ast.Node) func(*board.Block) { return nil }
	const file = "a SPICE deck with a .subckt of your own, relative to this file; its parameters are the knobs"
	const sample = "a deck that comes with the program"
	return []key[board.Block]{
		{Name: "file", Brief: file, Schema: table.LineSchema(file), Read: nothing},
		{Name: "sample", Brief: sample, Schema: table.ChoiceSchema(sample, blocks.SampleDecks(), ""), Read: nothing},
	}
}

// circuit is the kind that the deck of a block makes; nil after a fault.
func (r *reader) circuit(name string, n ast.Node) *blocks.Kind {
	var file, sample ast.Node
	pairs, _ := r.QuietPairs(n)
	for _, p := range pairs {
		switch p.Key.GetToken().Value {
		case "file":
			file = p.Value
		case "sample":
			sample = p.Value
		}
	}
	switch {
	case file != nil && sample != nil:
		r.At(yamltext.Later(file, sample), "%s has a file and a sample; want one of them", name)
		return nil
	case sample != nil:
		word, ok := r.Line(name+".sample", sample, "the name of a deck that comes with the program")
		if !ok {
			return nil
		}
		k := blocks.SampleCircuit(word)
		if k == nil {
			r.Unknown(sample, name+".sample: no deck %q", word, yamltext.Nearest(word, blocks.SampleDecks()), "decks", append(blocks.SampleDecks(), "or file: my-pedal.cir"))
		}
		return k
	case file == nil:
		r.At(n, "%s says no file and no sample; want one of them, like file: my-pedal.cir (drywire blocks circuit shows one)", name)
		return nil
	}
	path, ok := r.Line(name+".file", file, "the path of a SPICE deck")
	if !ok {
		return nil
	}
	if r.decks == nil {
		r.At(file, "%s.file: no deck can be read from here; one that comes with the program can be named with sample", name)
		return nil
	}
	if !slices.Contains(r.deckPaths, path) {
		r.deckPaths = append(r.deckPaths, path)
	}
	k, err := r.decks(path)
	var faults deck.Faults
	if errors.As(err, &faults) {
		for _, f := range faults[:min(len(faults), mostOfDeck)] {
			r.At(file, "%v", f)
		}
		return nil
	}
	if err != nil {
		r.At(file, "%s.file: %v", name, err)
		return nil
	}
	return k
}

// mostOfDeck is how many faults of one deck are told.
const mostOfDeck = 5
