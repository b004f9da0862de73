// Package deck reads a circuit that somebody wrote as a SPICE deck, a .subckt, so that it can be
// built into any other circuit: who has a schematic of a pedal can plug it in.
//
// Reading and building are apart: Read makes a Circuit of a text, or Faults with their places, and
// touches no circuit; Circuit.Build adds it to whatever can add parts. It reads the cards of what
// package circuit has, in the form in which that prints them, and refuses everything else: a card
// that was passed over would be another circuit.
//
// A parameter of the .subckt that is from 0 to 1 is a dial; a comment "* knob NAME LOW HIGH UNIT:
// what it does" makes any other a knob with a range. Source of the format: SPICE2 (UCB/ERL M520,
// 1975, appendix A), with the parameters, braces and B cards of SPICE3 (UCB/ERL M89/42, 1989) and
// its successors.
//
// Start reading at Read, then cards.go (what each card is), flatten.go (circuits within circuits)
// and build.go.
package deck

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"slices"

	"drywire/dsp"
)

// Circuit is a deck that was read: it can be built with any positions of its knobs. It never
// changes.
type Circuit struct {
	Name   string   // of the .subckt
	File   string   // what Read was told
	Supply Polarity // whether it has a pin for a supply, and which pole of that
	Knobs  []Knob   // in the order of the .subckt's parameters
	Notes  []string // what of the deck is not simulated, a sentence each
	Parts  int      // how many it is built of
	Nodes  int      // how many it has, pins among them
	Hash   [32]byte // of the text: what has the same is the same
	// Line and Column are the place of the .subckt's name.
	Line, Column int

	parts []part
}

// Polarity is what a circuit's pin for its supply is.
type Polarity int

// The polarities.
const (
	NoSupply Polarity = iota
	Positive          // vcc, vdd, supply: volts above ground
	Negative          // vee, vss: below, as of circuits with positive ground
)

// Knob is a parameter of the circuit that can be turned.
type Knob struct {
	Name      string
	Brief     string // what it does; "" where the deck does not say
	Dial      bool   // from 0 to 1 in the deck, from 0 to 10 to a player
	Unit      dsp.Unit
	Low, High float64 // as the deck has it, and
	Default   float64
}

// Pins of a circuit that Build is given parts between, beside circuit.Ground and the circuit's own
// nodes.
const (
	In         = "in"
	Out        = "out"
	SupplyNode = "vcc"
)

// aliases are what decks call the pins.
var aliases = map[string]string{
	"in": In, "input": In, "out": Out, "output": Out,
	"0": "0", "gnd": "0", "ground": "0",
	"vcc": SupplyNode, "vdd": SupplyNode, "supply": SupplyNode, "vee": SupplyNode, "vss": SupplyNode,
}

// Read reads a deck. name is what messages call it. The error is Faults, each with its place.
func Read(name string, src []byte) (*Circuit, error) {
	f := &faulty{file: name}
	if len(src) > MaxSize {
		f.at(place{1, 1}, "the file has %d kB; a deck has at most %d kB", (len(src)+1023)>>10, MaxSize>>10)
		return nil, f.err()
	}
	cards, comments := cardsOf(src, f)
	if len(f.list) == 0 && len(cards) == 0 {
		f.at(place{1, 1}, "there is no card in the file; want .subckt NAME in out gnd vcc, the parts, and .ends")
	}
	if len(f.list) > 0 {
		return nil, f.err()
	}
	lib := readLibrary(cards, f)
	root := lib.root(f)
	if root == nil || len(f.list) > 0 {
		return nil, f.err()
	}
	c := &Circuit{Name: root.name, File: name, Hash: sha256.Sum256(src), Line: root.at.line, Column: root.at.column}
	c.pins(root, f)
	c.knobs(root, comments, f)
	if len(f.list) > 0 {
		return nil, f.err()
	}
	c.parts = flatten(lib, root, f)
	if len(f.list) > 0 {
		return nil, f.err()
	}
	c.Parts = len(c.parts)
	c.connected(root, f)
	c.tried(f)
	if err := f.err(); err != nil {
		return nil, err
	}
	c.Notes = lib.notes
	return c, nil
}

// pins finds out which pin is which.
func (c *Circuit) pins(root *subckt, f *faulty) {
	seen := map[string]bool{}
	for k, pin := range root.pins {
		to, ok := aliases[pin]
		switch at := root.pinAt[k]; {
		case !ok:
			f.at(at, "no pin %q of a pedal; its pins are in, out, gnd, and vcc for a supply (or vee, of one below ground)", clip(pin))
		case seen[to]:
			f.at(at, "%s is a second pin for %s", pin, map[string]string{In: "the input", Out: "the output", "0": "ground", SupplyNode: "a supply; a pedal has one"}[to])
		case to == SupplyNode:
			c.Supply = Positive
			if pin == "vee" || pin == "vss" {
				c.Supply = Negative
			}
		}
		seen[to] = true
	}
	for _, must := range []string{In, Out} {
		if !seen[must] {
			f.at(root.at, "%s has no pin %q; want .subckt %s in out gnd vcc", root.name, must, root.name)
		}
	}
}

// reserved are the keys that any block of a chain file has.
var reserved = []string{"kind", "file", "sample", "supply", "power", "bypass", "off", "recall", "draw", "takes", "plug", "ground", "ripple", "loops", "insert"}

// knobs makes the .subckt's parameters what a player can turn.
func (c *Circuit) knobs(root *subckt, comments []card, f *faulty) {
	said := map[string]knobComment{}
	for _, comment := range comments {
		k, ok := readKnob(comment, f)
		if !ok {
			continue
		}
		if !slices.ContainsFunc(root.params, func(p namedExpr) bool { return p.name == k.name }) {
			f.at(k.at, "%s has no parameter %q that could be a knob; name it behind the pins: params: %s=0.5", root.name, clip(k.name), k.name)
		}
		if _, twice := said[k.name]; twice {
			f.at(k.at, "a second comment on the knob %s", k.name)
		}
		said[k.name] = k
	}
	if len(root.params) > maxKnobs {
		f.at(root.params[maxKnobs].at, "more than %d knobs", maxKnobs)
		return
	}
	for _, p := range root.params {
		v, err := p.e.value(func(name string, at place) (float64, error) {
			return 0, placed{at, fmt.Sprintf("a knob's position is a number, and %s is none", clip(name))}
		})
		if err != nil {
			f.at(err.(placed).at, "%v", err)
			continue
		}
		comment, ok := said[p.name]
		k := Knob{Name: p.name, Brief: comment.brief, Unit: comment.unit, Low: comment.low, High: comment.high, Default: v}
		if !ok || comment.dial {
			k.Dial, k.Unit, k.Low, k.High = true, dsp.Dial, 0, 1
		}
		switch {
		case slices.Contains(reserved, p.name):
			f.at(p.at, "a knob may not be called %q: every block has that key", p.name)
		case k.Dial && (v < 0 || v > 1):
			f.at(p.at, "%s is %g, and a dial goes from 0 to 1; a comment says how far any other knob goes, like * knob %s 10k 1meg ohm: what it does", p.name, v, p.name)
		case v < k.Low || v > k.High:
			f.at(p.at, "%s is %g, out of the range of its knob", p.name, v)
		}
		c.Knobs = append(c.Knobs, k)
	}
}

// connected faults what hangs in the air.
func (c *Circuit) connected(root *subckt, f *faulty) {
	touched, where := map[string]int{}, map[string]place{}
	for _, p := range c.parts {
		for _, n := range p.nodes {
			touched[n]++
			where[n] = p.at
		}
	}
	for k, pin := range root.pins {
		if node := aliases[pin]; node != "0" {
			if touched[node] == 0 {
				f.at(root.pinAt[k], "nothing is connected to the pin %s", pin)
			}
			touched[node]++
		}
	}
	for n, count := range touched {
		if count == 1 && n != "0" {
			f.at(where[n], "the node %s is at this part alone: nothing else is connected to it", clip(n))
		}
	}
	c.Nodes = len(touched)
}

// tried works all values out at the knobs' ends, in their middle and at some places between.
func (c *Circuit) tried(f *faulty) {
	low, mid, high, usual := map[string]float64{}, map[string]float64{}, map[string]float64{}, c.Defaults()
	for _, k := range c.Knobs {
		low[k.Name], mid[k.Name], high[k.Name] = k.Low, (k.Low+k.High)/2, k.High
	}
	positions := []map[string]float64{usual, low, high, mid}
	with := func(name string, v float64) map[string]float64 {
		m := map[string]float64{}
		for k, x := range usual {
			m[k] = x
		}
		m[name] = v
		return m
	}
	for _, k := range c.Knobs {
		positions = append(positions, with(k.Name, k.Low), with(k.Name, k.High), with(k.Name, mid[k.Name]))
	}
	random := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		m := map[string]float64{}
		for _, k := range c.Knobs {
			m[k.Name] = k.Low + (k.High-k.Low)*random.Float64()
		}
		positions = append(positions, m)
	}
	for _, m := range positions {
		if c.resolve(m, f); len(f.list) > 0 {
			return
		}
	}
}

// Defaults is the positions of the knobs that the deck has.
func (c *Circuit) Defaults() map[string]float64 {
	m := map[string]float64{}
	for _, k := range c.Knobs {
		m[k.Name] = k.Default
	}
	return m
}
