package blocks

import (
	"embed"
	"path"
	"slices"
	"strings"
	"sync"

	"drywire/dsp/circuit/deck"
)

//go:embed decks/*.cir
var decks embed.FS

// SampleDecks is the names of the decks that come with the program, in alphabetical order.
func SampleDecks() []string { return slices.Clone(sampleNames()) }

var sampleNames = sync.OnceValue(func() (names []string) {
	list, err := decks.ReadDir("decks")
	if err != nil {
		panic(err) // it is in the program
	}
	for _, e := range list {
		names = append(names, strings.TrimSuffix(e.Name(), ".cir"))
	}
	return names
})

// SampleDeck is the text of a deck that comes with the program, "" where there is none.
func SampleDeck(name string) string {
	text, err := decks.ReadFile(path.Join("decks", name+".cir"))
	if err != nil {
		return ""
	}
	return string(text)
}

// SampleCircuit is the kind of block that a deck makes which comes with the program, nil where
// there is none. It panics where such a deck does not parse; a test holds that all do.
func SampleCircuit(name string) *Kind {
	if !slices.Contains(sampleNames(), name) {
		return nil
	}
	samples.Lock()
	defer samples.Unlock()
	if samples.made == nil {
		samples.made = map[string]*Kind{}
	}
	if samples.made[name] == nil {
		d, err := deck.Read(name+".cir", []byte(SampleDeck(name)))
		if err != nil {
			panic(err) // it is in the program, and tested
		}
		k, err := Circuit(d)
		if err != nil {
			panic(err)
		}
		samples.made[name] = k
	}
	return samples.made[name]
}

// samples is the kinds of decks that come with the program, once they were asked for: a deck is one
// kind.
var samples struct {
	sync.Mutex
	made map[string]*Kind
}

// AnyCircuit is what every kind has that a deck makes, for what describes them all: it builds
// nothing.
func AnyCircuit() *Kind {
	return &Kind{Name: CircuitKind, Brief: CircuitBrief, Knobs: []Knob{supplyKnob(9, 3, 48)}}
}
