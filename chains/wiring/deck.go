package wiring

import (
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// DeckStep and DeckTolerance make a run of a deck a reference: at a step of 0.35 µs and a relative
// tolerance of 1e-5 a general circuit simulator has converged to -96 dB or better on a fuzz with a
// guitar (measured with ngspice 39.3). DeckStop is how long it runs.
const (
	DeckStep      dsp.Second = 0.35e-6
	DeckTolerance            = 1e-5
	DeckStop      dsp.Second = 50e-3
)

// Deck prints the chain as a deck for a SPICE simulator, driven by a tone: all its sections, joined
// by its stages, up to the first stage that is more than a gain between two limits; a comment says
// where it stopped. The recording's place is taken by the source Vdry; a jack's node is its name
// with _ for a dot.
func (w *Wiring) Deck(tone dsp.Tone) string {
	var kept []*circuit.Netlist
	followers := map[string]string{} // driven source: what it does
	driven := []string{Source}
	comments := []string{w.sourceComment()}
	for _, n := range w.Sections { // in the order of the signal
		if slices.ContainsFunc(n.Inputs(), func(in string) bool { return !slices.Contains(driven, in) }) {
			continue
		}
		kept = append(kept, n)
		for _, s := range w.Stages {
			if !slices.ContainsFunc(s.Sense, n.HasNode) {
				continue
			}
			f, ok := s.Shape().(*blocks.Follower)
			if !ok {
				comments = append(comments, fmt.Sprintf("The deck stops at %s: the stage %s is signal processing, which a circuit deck cannot hold.",
					circuit.SPICEName(s.Sense[0]), circuit.SPICEName(s.Name)))
				continue
			}
			driven = append(driven, s.Drive...)
			followers[s.Drive[0]] = fmt.Sprintf("V={min(%v, max(%v, %v*v(%s)))}", float64(f.Hi), float64(f.Lo), f.Gain, circuit.SPICEName(s.Sense[0]))
		}
	}
	return w.deck(kept, Source, followers, tone, comments)
}

// DeckOf prints the one section that holds the input of the named block, with its driving source
// under the name Vdry. The error is of a block that is not there, or of a section that nothing
// drives.
func (w *Wiring) DeckOf(block string, tone dsp.Tone) (string, error) {
	b, err := placedIn(w.Chain, block)
	if err != nil {
		return "", err
	}
	in := b.In()
	n := w.Section(in)
	inputs := n.Inputs()
	if len(inputs) == 0 {
		return "", fmt.Errorf("block %q, take %q: nothing drives the section that holds its input", block, w.Chain.Take)
	}
	comments := []string{fmt.Sprintf("The section that holds %s, the input of the block %s.", circuit.SPICEName(in), block)}
	if inputs[0] == Source {
		comments = append(comments, w.sourceComment())
	} else {
		comments = append(comments, fmt.Sprintf("Vdry is the output of the stage %s.", circuit.SPICEName(inputs[0])))
	}
	for _, in := range inputs[1:] {
		comments = append(comments, fmt.Sprintf("The stage output %s rests.", circuit.SPICEName(in)))
	}
	return w.deck([]*circuit.Netlist{n}, inputs[0], nil, tone, comments), nil
}

// placedIn is the block of that name in a chain. The error names the nearest.
func placedIn(c *board.Chain, block string) (board.Placed, error) {
	all := c.Every()
	var names []string
	for _, b := range all {
		if b.Name == block {
			return b, nil
		}
		names = append(names, b.Name)
	}
	hint := ""
	if near := yamltext.Nearest(block, names); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return board.Placed{}, fmt.Errorf("no block %q in take %q%s (there are: %s)", block, c.Take, hint, strings.Join(names, ", "))
}

// Subckt prints a block of the chain, at its settings there, as a .subckt: see blocks.Deck. The
// error names the nearest block, or says why no deck can hold this one.
func Subckt(c *board.Chain, block string) (string, error) {
	b, err := placedIn(c, block)
	if err != nil {
		return "", err
	}
	switch {
	case b.Piece != nil:
		return "", fmt.Errorf("%s is a switcher: what is in its loops is between its parts", block)
	case b.Cabinet != nil:
		return "", fmt.Errorf("%s has an impulse response, which no deck can hold", block)
	}
	return blocks.Deck(b.Kind, b.Settings, circuit.SPICEName(block))
}

// sourceComment says what voltage the recording is.
func (w *Wiring) sourceComment() string {
	if w.Chain.Recording.Load == nil {
		return "Vdry is the recording: the open-circuit voltage of the pickup (load: none)."
	}
	return "Vdry is the recording: the voltage that the guitar's jack had while it fed the load that it was recorded with."
}

// deck prints some of the sections as one deck. circuit prints a section at a time, so what closes
// a deck is taken off each and put behind them all, once.
func (w *Wiring) deck(parts []*circuit.Netlist, driving string, followers map[string]string, tone dsp.Tone, comments []string) string {
	var body, models []string
	var probes []string
	sine := fmt.Sprintf("SIN(0 %v %v)", float64(tone.Volts), float64(tone.Hz))
	for k, n := range parts {
		text := n.Deck(circuit.Deck{Title: fmt.Sprintf("section %d", k+1), Drive: map[string]string{driving: sine}})
		for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
			switch {
			case strings.HasPrefix(line, ".model"):
				if !slices.Contains(models, line) {
					models = append(models, line)
				}
				continue
			case strings.HasPrefix(line, "."):
				continue
			}
			body = append(body, sourceCard(line, n, driving, followers))
		}
		for _, j := range w.Chain.Jacks() {
			if n.HasNode(j) {
				probes = append(probes, j)
			}
		}
	}
	slices.SortFunc(probes, func(a, b string) int {
		jacks := w.Chain.Jacks()
		return slices.Index(jacks, a) - slices.Index(jacks, b)
	})
	slices.Sort(models)

	var b strings.Builder
	title := w.Chain.Title
	if title == "" {
		title = "chain"
	}
	fmt.Fprintf(&b, "* %s: %s\n", yamltext.OneLine(title), yamltext.OneLine(w.Chain.Take))
	for _, c := range comments {
		fmt.Fprintf(&b, "* %s\n", c)
	}
	fmt.Fprintf(&b, "* A tone of %v Hz and %v V peak.\n", float64(tone.Hz), float64(tone.Volts))
	for _, line := range append(body, models...) {
		fmt.Fprintln(&b, line)
	}
	fmt.Fprintf(&b, ".options method=trap reltol=%v temp=27 tnom=27\n", DeckTolerance)
	fmt.Fprintf(&b, ".tran %[1]v %[2]v 0 %[1]v\n", float64(DeckStep), float64(DeckStop))
	list := ""
	for _, p := range probes {
		list += " v(" + circuit.SPICEName(p) + ")"
	}
	fmt.Fprintf(&b, ".save%s\n.print tran%s\n.end\n", list, list)
	return b.String()
}

// sourceCard is a line of a section's deck, with what drives the section in place of a source at
// rest: a stage without memory becomes an expression, and the driving source is called Vdry.
func sourceCard(line string, n *circuit.Netlist, driving string, followers map[string]string) string {
	for _, in := range n.Inputs() {
		name := circuit.SPICEName(in)
		card := name
		if !strings.HasPrefix(name, "V") {
			card = "V" + name
		}
		rest, ok := strings.CutPrefix(line, card+" ")
		if !ok {
			continue
		}
		if in == driving {
			return Source + " " + rest
		}
		if f, ok := followers[in]; ok {
			return fmt.Sprintf("B%s %s 0 %s", name, name, f)
		}
	}
	return line
}
