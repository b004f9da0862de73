// Package sheet makes the wiring sheet of a board: on a page or two the path with its jacks,
// cables, presets, knobs, supplies, and a checklist for before a gig; and labels to cut out.
//
// It works on what a chain file says, renders nothing and knows no floor plan: lengths are the
// file's. Start reading at New, then html.go (to print) and picture.go (to send).
package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/cables"
	"drywire/chains/internal/sketch"
	"drywire/dsp"
)

// Sheet is all that is on it.
type Sheet struct {
	Title    string
	Take     string // whose cables these are
	Paths    []Path
	Cables   []Cable
	Inside   []string // connections inside an amplifier
	Bay      []Crossing
	Shopping []Item
	Loops    []board.Loop
	Presets  []Preset
	Guitars  []Guitar
	Trims    []Trims // worked out by whoever renders; nil: each guitar's column is left to the ear
	Played   string  // the recording that Trims were worked out on
	Blocks   []Block
	Outputs  []Output
	OwnPower []string // blocks on a supply or a battery of their own
	Open     []string // blocks that wait for power --assign
	Checks   []string
	Cautions []string
}

// Path is a line of jacks and blocks, in the order of the signal.
type Path struct {
	Name  string // "", or the side of a split, or a loop
	Loop  bool
	Steps []string
}

// Cable is one to plug in.
type Cable struct {
	Number   int
	From, To string
	Length   string
	Use      string // guitar, patch, amplifier, loudspeaker or line
	Plugs    string
}

// Crossing is a jack at the board's edge: what comes in from the floor, or goes out to it.
type Crossing struct {
	In     bool
	Jack   string // on the board
	Other  string
	Number int // the cable's
}

// Item is a line of the shopping list.
type Item struct {
	Count int
	What  string
}

// Preset is what one switches and turns.
type Preset struct {
	Name    string
	Guitar  string
	In      []bool   // by loop
	Trim    string   // "" where there is no switcher
	Changes []string // knobs that differ from the base: "drive.drive 4 → 6"
	ByHand  string   // what has to be set by hand; "" for nothing
}

// Trims is what the switcher's output has to be trimmed by for every preset to be as loud as the
// others, on one guitar.
type Trims struct {
	Guitar string
	DB     []float64 // of Presets, one each
}

// Guitar is where the dials of a guitar stand.
type Guitar struct{ Name, Volume, Tone string }

// Block is a pedal with its knobs where they stand at the base.
type Block struct {
	Name, Kind string
	Off        bool
	Knobs      []Knob
}

// Knob is one knob. Turn is how far a dial is turned, 0 to 1; -1 where it is no dial.
type Knob struct {
	Name, Value string
	Turn        float64
}

// Output is one of a supply's.
type Output struct {
	board.Plugged
	Plug    string
	Percent int // of its current that is drawn at most
}

// What goes into which jack, and how long what the file does not measure is: common practice, no
// source.
const (
	plugsAngled   = "6.3 mm mono, angled both ends"
	plugsStraight = "6.3 mm mono, straight both ends"
	plugsSpeaker  = "as amplifier and box have them"
	plugsLine     = "as microphone and desk have them"
	leadPlug      = "5.5 × 2.1 mm barrel, or as the pedal has it"
)

// New is the sheet of a file, wired as in a take. The error names a take that is not there.
func New(f *board.File, take string) (*Sheet, error) {
	t := f.Takes[0]
	if take != "" {
		if _, err := f.Take(take); err != nil {
			return nil, err
		}
		t = f.Takes[slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == take })]
	}
	c, err := f.Take(t.Name)
	if err != nil {
		return nil, err
	}
	s := &Sheet{Title: f.Title, Take: t.Name, Loops: f.LoopsOf(t)}
	s.wire(f, c)
	s.recall(f, t)
	s.power(f)
	s.shop()
	s.advise(f, c)
	return s, nil
}

// Plug is what a cable ends in, by the letter that stands for it in a list of cables.
type Plug struct{ Letter, Text string }

// Letter is that of the cable's plugs in Plugs.
func (c Cable) Letter() string {
	switch c.Use {
	case "patch":
		return "A"
	case "loudspeaker":
		return "L"
	case "line":
		return "M"
	}
	return "S"
}

// Plugs is the letters that the cables have, with what they stand for.
func (s *Sheet) Plugs() (list []Plug) {
	for _, p := range []Plug{
		{"A", plugsAngled}, {"S", plugsStraight}, {"L", "loudspeaker cable, plugs " + plugsSpeaker}, {"M", "line, plugs " + plugsLine},
	} {
		if slices.ContainsFunc(s.Cables, func(c Cable) bool { return c.Letter() == p.Letter }) {
			list = append(list, p)
		}
	}
	return list
}

// TrimHeads is the heads of the columns of trims, in lines: the file's, and one for each guitar.
// There are none where no switcher trims.
func (s *Sheet) TrimHeads() (heads [][]string) {
	if len(s.Presets) == 0 || s.Presets[0].Trim == "" {
		return nil
	}
	if s.Trims != nil {
		heads = [][]string{{"trim in", "the file"}}
		for _, t := range s.Trims {
			heads = append(heads, []string{"equal on", t.Guitar})
		}
		return heads
	}
	heads = [][]string{{"trim"}}
	for _, g := range s.Guitars[1:] {
		heads = append(heads, []string{"by ear on", g.Name})
	}
	return heads
}

// TrimsOf is the cells of a preset, by its number from 0, under TrimHeads.
func (s *Sheet) TrimsOf(preset int) (cells []string) {
	heads := s.TrimHeads()
	if heads == nil {
		return nil
	}
	cells = make([]string, len(heads))
	cells[0] = s.Presets[preset].Trim
	for k, t := range s.Trims {
		cells[k+1] = inDB(t.DB[preset])
	}
	return cells
}

// TrimNote says where the trims come from; "" where the file says them all.
func (s *Sheet) TrimNote() string {
	switch {
	case s.Trims != nil:
		return fmt.Sprintf("“Equal on” a guitar: with these trims every preset is as loud as the others, on every guitar, played as in %s. Your hands differ: correct by ear.", s.Played)
	case len(s.TrimHeads()) > 1:
		return "By ear: turn the trim until the preset is as loud as the others on that guitar, and write it in."
	}
	return ""
}

// inDB is a trim as the sheet has it.
func inDB(trim float64) string {
	return strconv.FormatFloat(math.Round(trim*10)/10+0, 'f', 1, 64) + " dB"
}

// place is where the block that a jack belongs to stands, and its kind; nil for the guitar and the
// load.
func place(f *board.File, jack string) *blocks.Kind {
	name, _, _ := strings.Cut(jack, ".")
	for _, b := range f.Blocks {
		if b.Name == name {
			return b.Kind
		}
	}
	return nil
}

func metres(m dsp.Metre) string { return dsp.FormatQuantity(float64(m), dsp.Metres) }

// wire lists path, cables, and what crosses the board's edge.
func (s *Sheet) wire(f *board.File, c *board.Chain) {
	onBoard := func(k *blocks.Kind) bool { return k != nil && k.Place == blocks.OnTheBoard }
	var guessed []string
	for _, k := range s.inTurn(f, c) {
		from, to := place(f, k.Out), place(f, k.In)
		cable := Cable{From: k.Out, To: k.In}
		switch {
		case from != nil && to != nil && from.Place != blocks.OnTheBoard && to.Place != blocks.OnTheBoard && !to.Loads:
			s.Inside = append(s.Inside, k.String())
			continue
		case from != nil && from.Drives:
			cable.Use, cable.Plugs, cable.Length = "loudspeaker", plugsSpeaker, "-"
		case from == nil:
			cable.Use, cable.Plugs, cable.Length = "guitar", plugsStraight, metres(c.Guitar.Cable)
		case to == nil && from.Place != blocks.OnTheBoard:
			cable.Use, cable.Plugs, cable.Length = "line", plugsLine, metres(c.Load.Cable)
		case to == nil:
			cable.Use, cable.Plugs, cable.Length = "amplifier", plugsStraight, metres(c.Load.Cable)
		case onBoard(from) && onBoard(to):
			cable.Use, cable.Plugs, cable.Length = "patch", plugsAngled, metres(c.CordTo(k.In).Length)
		default:
			cable.Use, cable.Plugs, cable.Length = "amplifier", plugsStraight, metres(c.CordTo(k.In).Length)
		}
		cable.Number = len(s.Cables) + 1
		if _, said := c.Cables[k.In]; !said && cable.Use == "amplifier" && to != nil {
			guessed = append(guessed, fmt.Sprint(cable.Number))
		}
		s.Cables = append(s.Cables, cable)
		switch {
		case !onBoard(from) && onBoard(to):
			s.Bay = append(s.Bay, Crossing{true, k.In, k.Out, cable.Number})
		case onBoard(from) && !onBoard(to):
			s.Bay = append(s.Bay, Crossing{false, k.Out, k.In, cable.Number})
		}
	}
	if len(guessed) > 0 {
		s.Cautions = append(s.Cautions, fmt.Sprintf("Cable %s to or from an amplifier: the file has no length of its own for it, so it has that of a patch cable here. Measure it.", strings.Join(guessed, ", ")))
	}
	// The path is read from the cables of the file's order: a switcher whole, and each of its loops
	// as a line of its own.
	steps := func(line []board.Placed) (steps []string) {
		for _, b := range line {
			switch {
			case b.Piece != nil && b.Piece.First:
				steps = append(steps, b.Switcher)
			case b.Piece == nil && b.Switcher == "":
				steps = append(steps, b.Name)
			}
		}
		return steps
	}
	guitar := "guitar"
	if c.GuitarName != "" {
		guitar += " " + c.GuitarName
	}
	main := Path{Steps: append([]string{guitar}, steps(c.Blocks)...)}
	if c.Split == nil {
		main.Steps = append(main.Steps, "out")
	}
	s.Paths = append(s.Paths, main)
	if c.Split != nil {
		s.Paths = append(s.Paths, Path{"left", false, append(steps(c.Split.Left), board.OutLeft)}, Path{"right", false, append(steps(c.Split.Right), board.OutRight)})
	}
	for _, l := range s.Loops {
		s.Paths = append(s.Paths, Path{fmt.Sprint("loop ", l.Number), true, append(append([]string{fmt.Sprint("send ", l.Number)}, l.Blocks...), fmt.Sprint("return ", l.Number))})
	}
}

// inTurn is the chain's cables in the order in which one plugs them in: up to the switcher, its
// loops by their numbers, what follows.
func (s *Sheet) inTurn(f *board.File, c *board.Chain) []cables.Cable {
	all := c.Cabling()
	w := f.Switcher()
	if w == nil {
		return all
	}
	entered := slices.IndexFunc(all, func(k cables.Cable) bool { return k.In == w.Name+".in" })
	turn := map[cables.Cable]int{}
	for k, cable := range all {
		from, _, _ := strings.Cut(cable.Out, ".")
		turn[cable] = len(s.Loops) + 1
		for n, l := range s.Loops {
			if cable.Out == fmt.Sprintf("%s.send-%d", w.Name, l.Number) || slices.Contains(l.Blocks, from) {
				turn[cable] = n + 1
			}
		}
		if k <= entered {
			turn[cable] = 0
		}
	}
	slices.SortStableFunc(all, func(a, b cables.Cable) int { return turn[a] - turn[b] })
	return all
}

// inWords is a knob as people read it.
func inWords(b board.Placed, k blocks.Knob) string {
	switch {
	case k.Words != nil:
		return b.Settings.Word(k.Name)
	case k.Unit == dsp.Dial:
		return strconv.FormatFloat(b.Settings.Number(k.Name), 'g', 3, 64)
	}
	v, _ := strconv.ParseFloat(strconv.FormatFloat(b.Settings.Number(k.Name), 'g', 3, 64), 64)
	return dsp.FormatQuantity(v, k.Unit)
}

// turned reports whether a hand can turn a knob: not what is a part inside, nor what the supply
// gives.
func turned(k blocks.Knob) bool {
	return k.Name != "supply" && k.Name != "bypass" && !strings.HasPrefix(k.Still, "it belongs to a part")
}

// recall lists knobs, presets and guitars.
func (s *Sheet) recall(f *board.File, t board.Take) {
	base := f.AsSet(board.Take{})
	placed := s.names()
	for k, b := range base {
		if !slices.Contains(placed, b.Name) {
			continue
		}
		block := Block{Name: b.Name, Kind: b.Kind.Name, Off: f.IsOff(board.Take{}, b.Name)}
		for _, q := range b.Kind.Knobs {
			if !turned(q) || q.Name == "trim" && b.Kind.Name == board.SwitcherKind && len(f.Presets) > 0 {
				continue
			}
			knob := Knob{Name: strings.ReplaceAll(q.Name, "_", " "), Value: inWords(b, q), Turn: -1}
			if q.Unit == dsp.Dial {
				knob.Turn = b.Settings.Number(q.Name) / 10
			}
			if f.Blocks[k].Moves[q.Name] != nil {
				knob.Value += ", moves"
			}
			block.Knobs = append(block.Knobs, knob)
		}
		if len(block.Knobs) > 0 {
			s.Blocks = append(s.Blocks, block)
		}
	}
	hands := map[string]string{}
	for _, h := range f.ByHand() {
		hands[h.Preset] = strings.Join(append(slices.Clone(h.Knobs), h.Steps...), ", ")
	}
	for _, p := range f.Presets {
		preset := Preset{Name: p.Name, Guitar: p.Guitar, ByHand: hands[p.Name]}
		if trim, ok := f.TrimOf(p.Name); ok {
			preset.Trim = inDB(trim)
		}
		for _, l := range s.Loops {
			preset.In = append(preset.In, l.Insert || slices.Contains(p.Loops, l.Number))
		}
		set := f.AsSet(board.Take{Preset: p.Name})
		for k, b := range set {
			for _, q := range b.Kind.Knobs {
				if was, is := inWords(base[k], q), inWords(b, q); was != is && !(q.Name == "trim" && b.Kind.Name == board.SwitcherKind) {
					preset.Changes = append(preset.Changes, fmt.Sprintf("%s %s: %s → %s", b.Name, strings.ReplaceAll(q.Name, "_", " "), was, is))
				}
			}
			if was, is := f.IsOff(board.Take{}, b.Name), f.IsOff(board.Take{Preset: p.Name}, b.Name); was != is {
				preset.Changes = append(preset.Changes, b.Name+": "+map[bool]string{true: "off", false: "on"}[is])
			}
		}
		for _, change := range p.Set { // the guitar's and the cables'
			if part, _, _ := strings.Cut(change.Target, "."); !slices.ContainsFunc(f.Blocks, func(b board.Block) bool { return b.Name == part }) {
				preset.Changes = append(preset.Changes, change.Target+": "+change.Text)
			}
		}
		s.Presets = append(s.Presets, preset)
	}
	dial := func(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }
	s.Guitars = append(s.Guitars, Guitar{"guitar", dial(f.Guitar.Volume), dial(f.Guitar.Tone)})
	for _, g := range f.Guitars {
		s.Guitars = append(s.Guitars, Guitar{g.Name, dial(g.Volume), dial(g.Tone)})
	}
}

// names is every block that a path names.
func (s *Sheet) names() (names []string) {
	for _, p := range s.Paths {
		names = append(names, p.Steps...)
	}
	return names
}

// Changes reports whether any preset differs from the base by more than its loops.
func (s *Sheet) Changes() bool {
	return slices.ContainsFunc(s.Presets, func(p Preset) bool { return len(p.Changes) > 0 || p.ByHand != "" })
}

// power lists the outputs.
func (s *Sheet) power(f *board.File) {
	for _, p := range f.Plugged() {
		_, o := board.FindOutput(f.Supplies, p.Output)
		out := Output{Plugged: p, Plug: map[bool]string{false: "centre −", true: "centre +"}[o.CentrePositive]}
		out.Percent = int(math.Ceil(100 * float64(p.Draw) / float64(p.Current)))
		s.Outputs = append(s.Outputs, out)
	}
	for _, b := range f.Blocks {
		if _, ok := f.Needs(b.Name); !ok || !slices.Contains(s.names(), b.Name) {
			continue
		}
		switch b.Power {
		case "":
			s.OwnPower = append(s.OwnPower, b.Name)
		case board.AutoPower:
			s.Open = append(s.Open, b.Name)
		}
	}
}

// shop adds up what to buy: equal cables in one line, then leads.
func (s *Sheet) shop() {
	add := func(what string) {
		if k := slices.IndexFunc(s.Shopping, func(i Item) bool { return i.What == what }); k >= 0 {
			s.Shopping[k].Count++
			return
		}
		s.Shopping = append(s.Shopping, Item{1, what})
	}
	for _, use := range []string{"guitar", "patch", "amplifier", "loudspeaker", "line"} {
		for _, c := range s.Cables {
			if c.Use == use {
				length := " " + c.Length
				if c.Length == "-" {
					length = ""
				}
				add(c.Use + " cable" + length + ", " + c.Plugs)
			}
		}
	}
	for _, o := range s.Outputs {
		for range o.Blocks {
			add("supply lead, " + leadPlug + ", " + o.Plug)
		}
	}
}

// groundsMeet is common practice, no source: the model has no currents in a ground.
const groundsMeet = "Four cables: the amplifier's ground comes onto the board twice. Where that hums, lay the four side by side, and put an isolating transformer into the one from its send; never lift a safety earth."

// advise is the checklist, and the cautions.
func (s *Sheet) advise(f *board.File, c *board.Chain) {
	s.Checks = append(s.Checks,
		"Volumes down. Then supplies on, then amplifiers; off the other way round.",
		fmt.Sprintf("Pull gently at each of the %d cables: nothing moves, nothing crackles.", len(s.Cables)))
	if len(s.Outputs) > 0 {
		s.Checks = append(s.Checks, "Every supply lead at its output: voltage, plug and block as in the table.")
	}
	if len(s.Presets) > 0 {
		s.Checks = append(s.Checks, fmt.Sprintf("Every preset once (%d), with each guitar: all loops sound, none jumps in loudness.", len(s.Presets)))
	}
	s.Checks = append(s.Checks,
		"Knobs where this sheet has them. Guitar's volume to 0: listen for hum and hiss.",
		"In the case: one spare of each cable and lead, a battery, this sheet.")
	for _, o := range s.Outputs {
		for _, w := range o.Warnings {
			s.Cautions = append(s.Cautions, strings.ToUpper(w[:1])+w[1:]+".")
		}
	}
	if c.FourCables() != nil {
		s.Cautions = append(s.Cautions, groundsMeet)
	}
	for _, w := range c.Warnings() {
		s.Cautions = append(s.Cautions, strings.ToUpper(w[:1])+w[1:]+".")
	}
	if len(s.Open) > 0 {
		s.Cautions = append(s.Cautions, "Not plugged in yet: "+strings.Join(s.Open, ", ")+".")
	}
	var positive []string
	for _, b := range f.Blocks {
		if n, _ := f.Needs(b.Name); slices.Contains(n.Grounds, blocks.Positive) && slices.Contains(s.names(), b.Name) {
			positive = append(positive, b.Name)
		}
	}
	if len(positive) > 0 {
		s.Cautions = append(s.Cautions, strings.Join(positive, ", ")+": ground at the positive pole. An isolated output or a battery for each alone, never shared.")
	}
	if len(s.Outputs) > 0 {
		s.Cautions = append(s.Cautions, "A wrong voltage or polarity destroys pedals: read what is printed on pedal and supply before you plug in.")
	}
	for _, b := range c.Every() {
		if b.Kind.Drives {
			s.Cautions = append(s.Cautions, "Loudspeaker before power: an amplifier's output never without its load, and on a loudspeaker cable, never on a guitar cable.")
			break
		}
	}
	s.Cautions = append(s.Cautions,
		"Never lift an earth against hum. Mains, and the inside of amplifiers, are for licensed people, by local codes.",
		"Loud playing harms hearing: start soft, protect your ears.")
}

// Label is one to cut out: two lines on a tape of a height in mm.
type Label struct {
	Top, Below string
	Width      float64 // mm
}

// Tapes are the heights of tape that labels are made for, in mm.
var Tapes = []int{9, 12, 19}

// Letters is the height of the two lines of a label on a tape, in mm: as large as its printable
// height of eight tenths holds (common practice, no source).
func Letters(tape int) (top, below float64) {
	return 0.37 * float64(tape), 0.32 * float64(tape)
}

// Labels are those of the blocks, of both ends of every cable, and of the supply leads.
func (s *Sheet) Labels(tape int) (list []Label) {
	big, small := Letters(tape)
	add := func(top, below string) {
		const margins = 3.4 // mm: 1.3 at both sides, and the line
		width := max(sketch.Width(top, big, true), sketch.Width(below, small, false)) + margins
		list = append(list, Label{top, below, math.Ceil(width)})
	}
	for _, b := range s.Blocks {
		in := ""
		for _, l := range s.Loops {
			if slices.Contains(l.Blocks, b.Name) {
				in = fmt.Sprint("loop ", l.Number)
			}
		}
		for _, o := range s.Outputs {
			if slices.Contains(o.Blocks, b.Name) {
				in = strings.TrimPrefix(in+", "+o.Output, ", ")
			}
		}
		if k := slices.IndexFunc(s.Cables, func(c Cable) bool { return strings.HasPrefix(c.To, b.Name+".") && c.Use != "line" }); k >= 0 {
			add(b.Name, in)
		}
	}
	for _, c := range s.Cables {
		add(fmt.Sprint(c.Number, " ", c.From), "to "+c.To)
		add(fmt.Sprint(c.Number, " ", c.To), "from "+c.From)
	}
	for _, o := range s.Outputs {
		for _, b := range o.Blocks {
			add(o.Output+" "+dsp.FormatQuantity(float64(o.Voltage), dsp.Volts), b+", "+o.Plug)
		}
	}
	return list
}
