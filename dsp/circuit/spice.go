package circuit

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"drywire/dsp"
)

// Deck is what a SPICE deck of a circuit says beside the circuit.
type Deck struct {
	Title    string
	Comments []string
	// Drive is what each driven source does, by its name: what follows the nodes on a voltage
	// source's card, such as "SIN(0 0.2 330)", or "V=" and an expression in time. A source without
	// an entry rests at 0 V with AC 1.
	Drive map[string]string
	// Noise says to print what makes the noise of amplifiers and valves too, for which a simulator
	// has no model, and the flicker noise of transistors.
	Noise  bool
	Lines  []string   // further cards, as they are
	Step   dsp.Second // longest time step
	Stop   dsp.Second // 0: no transient
	RelTol float64    // 0: 1e-5
	Probes []string   // nodes to print
}

// SPICEName is a node's or element's name in a deck: dots and dashes become underscores.
func SPICEName(name string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case '.', '-', ' ', '/':
			return '_'
		}
		return r
	}, name)
}

// num is a value as decks have it.
func num[V ~float64](x V) string { return strconv.FormatFloat(float64(x), 'g', -1, 64) }

// spiceElement is an element's name on its card: the letter is added unless the name has it (Vdry).
func spiceElement(letter, name string) string {
	name = SPICEName(name)
	if letter == "V" && strings.HasPrefix(name, "V") {
		return name
	}
	return letter + name
}

// deckWriter is a deck while it is written.
type deckWriter struct {
	Deck
	strings.Builder
	models  map[string]string
	flicker bool // print that of transistors
}

// card writes a card: letter and name, nodes, and the rest.
func (d *deckWriter) card(letter, name string, nodes []string, rest ...string) {
	fmt.Fprintln(d, spiceElement(letter, name), strings.Join(nodes, " "), strings.Join(rest, " "))
}

// Deck prints the circuit as a deck for a SPICE simulator. It runs as printed; abstol and vntol
// stay at their defaults, since tighter ones stall.
func (n *Netlist) Deck(d Deck) string {
	b := &deckWriter{Deck: d, models: map[string]string{}}
	fmt.Fprintf(b, "* %s\n", strings.ReplaceAll(d.Title, "\n", " "))
	for _, c := range d.Comments {
		fmt.Fprintf(b, "* %s\n", c)
	}
	for _, p := range n.parts {
		var nodes []string
		for _, k := range p.nodes {
			nodes = append(nodes, SPICEName(n.nodeName(k)))
		}
		p.card(b, p.name, nodes)
	}
	for _, line := range d.Lines {
		fmt.Fprintln(b, line)
	}
	var names []string
	for name := range b.models {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		fmt.Fprintf(b, ".model %s %s\n", name, b.models[name])
	}
	tol := d.RelTol
	if tol == 0 {
		tol = 1e-5
	}
	fmt.Fprintf(b, ".options method=trap reltol=%s temp=27 tnom=27\n", num(tol))
	if d.Stop > 0 {
		fmt.Fprintf(b, ".tran %s %s 0 %s\n", num(float64(d.Step)), num(float64(d.Stop)), num(float64(d.Step)))
	} else {
		fmt.Fprintln(b, ".op")
	}
	if len(d.Probes) > 0 {
		list := ""
		for _, p := range d.Probes {
			list += " v(" + SPICEName(p) + ")"
		}
		fmt.Fprintln(b, ".save"+list)
		if d.Stop > 0 {
			fmt.Fprintln(b, ".print tran"+list)
		}
	}
	fmt.Fprintln(b, ".end")
	return b.String()
}
