package template

import (
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/file"
)

// Whatever a player answers, the file parses, has what was asked for in that order, and nothing is
// plugged into an output that does not suit it or that is too weak.
func TestBoard(t *testing.T) {
	var every []string
	for _, p := range Pedals() {
		every = append(every, p.Kind)
	}
	for _, a := range []Answers{
		{Pickup: "humbucker", Cable: 5, Amplifier: true},
		{Pickup: "single-coil", Cable: 6, Pedals: []string{"fuzz"}, Supply: "shared"},
		{Title: "it's: #1", Pickup: "humbucker", Cable: 3, Pedals: []string{"boost", "overdrive", "boost", "boost"}, Amplifier: true, Supply: "isolated"},
		{Recording: "my 'own' riff.wav", Peak: 0.3, Pickup: "humbucker", Cable: 3, Pedals: every, Supply: "isolated"},
		{Pickup: "humbucker", Cable: 3, Pedals: every, Amplifier: true, Supply: "shared"},
	} {
		src, err := Board(a)
		if err != nil {
			t.Fatal(err)
		}
		f, err := file.Parse("board.yaml", src)
		if err != nil {
			t.Fatalf("%v\n%s", err, src)
		}
		var kinds []string
		for _, name := range f.Order {
			for _, b := range f.Blocks {
				if b.Name == name && !slices.Contains([]string{"preamp", "poweramp", "speaker"}, b.Kind.Name) {
					kinds = append(kinds, b.Kind.Name)
				}
			}
		}
		if !slices.Equal(kinds, a.Pedals) {
			t.Errorf("pedals %v, want %v\n%s", kinds, a.Pedals, src)
		}
		if want := min(2, max(1, len(a.Pedals))); len(f.Takes) != want {
			t.Errorf("%d takes, want %d", len(f.Takes), want)
		}
		for _, p := range f.Plugged() {
			for _, w := range p.Warnings {
				t.Errorf("%s\n%s", w, src)
			}
		}
		for _, line := range strings.Split(string(src), "\n") {
			if len([]rune(line)) > 140 {
				t.Errorf("%d columns: %s", len([]rune(line)), line)
			}
		}
	}
	for _, a := range []Answers{{}, {Pedals: []string{"preamp"}}, {Pedals: []string{"fuzz"}, Supply: "mains"}, {Pedals: slices.Repeat([]string{"boost"}, MostPedals+1)}} {
		if _, err := Board(a); err == nil {
			t.Errorf("%v is taken", a)
		}
	}
}

// Every kind that a player calls a pedal is one of Pedals.
func TestPedalsAreAll(t *testing.T) {
	others := []string{"cable", "load-box", "patch-bay", "pedal", "poweramp", "preamp", "speaker", "switcher", "trim", "circuit"}
	for _, k := range blocks.Kinds() {
		if (doing(k.Name) == "") != slices.Contains(others, k.Name) {
			t.Errorf("%s: a pedal, or not?", k.Name)
		}
	}
}
