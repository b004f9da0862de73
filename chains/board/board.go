// Package board holds what a chain file says, as data: the recording, guitars, blocks, orders,
// takes, loops and presets, supplies, cables, and knobs that move. A Take of a File resolves into a
// Chain: what is wired to what, with every setting known and in its range.
//
// It knows no YAML and makes no sound: package file reads Files, package wiring lays a Chain out as
// a circuit.
//
// Start reading at File, then Chain.
package board

import (
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/internal/place"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// File is a chain file as it was written, checked: every name is known, every number in its range.
// Make one with Parse; turn it into what is wired with Chains or Take.
type File struct {
	Title     string
	Notes     string // free text
	Recording Recording
	Guitar    Guitar                 // that of a take which names none
	Guitars   []NamedGuitar          // others, in the order in which the file names them
	Load      Load                   // what the last jack is plugged into
	Patch     dsp.Metre              // length of each cable between two blocks
	Cables    map[string]blocks.Cord // those that are not like that, by the jack that they lead to
	Supplies  []Supply
	Cabinets  []*Cabinet  // impulse responses that speakers name, each once
	Decks     []string    // paths of decks that blocks are made of, as written
	Blocks    []Block     // in the order in which the file names them
	Order     []string    // the signal flows from the first to the last; names of blocks
	Split     *SplitOrder // where the order ends in two paths; nil where it does not
	Tray      []string    // blocks that wait off the board; they may be in no order
	Presets   []Preset
	Takes     []Take   // at least one
	Keep      Keep     // what a search for orders keeps to
	Prefer    []string // names of objectives; what a search goes by
	// how likely kinds of fault are, where the file says; see SuspectKinds
	Suspects map[string]float64
	Venues   []place.Venue // places that the same presets are played at, in the file's order
}

// Recording is the dry recording and what is known about its level and about what the guitar was
// plugged into while it was made.
type Recording struct {
	File   string // path as written; "" when Sample says which
	Sample string // name of a shipped recording; "" when File says which

	// At most one of the two is not 0. Both are 0 only for a shipped sample, which knows its full
	// scale.
	Peak dsp.Volt // the loudest moment at the guitar's jack, peak
	// digital full scale, peak: 10 dBu is the RMS of a full-scale sine, so 3.464 V here
	FullScale dsp.Volt

	// Load is what the guitar was plugged into. nil is nothing at all: the recording is the
	// open-circuit voltage of the pickup. When LoadGiven is false the file does not say: a Sample
	// knows its own load (and Load is nil), for a File it is DefaultLoad.
	Load      *Load
	LoadGiven bool

	Side string // what becomes of a stereo recording: "sum", "left" or "right"

	// what it was played on; nil in a File is that of the file's own guitar, a Chain has it
	// resolved
	Pickup *Pickup
}

// Guitar is the source of the signal: a pickup, two pots, a capacitor and a cable.
type Guitar struct {
	Pickup Pickup
	// in a File, 0 is what goes with the pickup of each take; a Chain has it resolved
	VolumePot     dsp.Ohm
	TonePot       dsp.Ohm // likewise
	ToneCapacitor dsp.Farad
	Volume, Tone  float64 // positions of the dials, 0 to 10
	// mains hum in series with the winding, RMS; in a File, negative is what goes with the pickup
	Hum         dsp.Volt
	Cable       dsp.Metre // from the guitar's jack to the first block
	Capacitance dsp.Farad // of a metre of that cable; 0: the usual one

	Second    SecondPickup
	Bleed     blocks.TrebleBleed // over the volume pot
	ToneAfter bool               // the tone control is at the jack, behind the volume, not at the pickup

	VolumeCurve, ToneCurve *Curve // of the dials, where they move; a Chain has them among its Turns
}

// NamedGuitar is a guitar that takes choose by its name.
type NamedGuitar struct {
	Name string
	Guitar
	// what was played on it; nil where it plays the file's recording at its pickup's level
	Recording *Recording
}

// Pickup is a pickup as a circuit.
type Pickup struct {
	Name        string // the preset's; "custom" for one given by its values
	Resistance  dsp.Ohm
	Inductance  dsp.Henry
	Capacitance dsp.Farad
	Eddy        dsp.Ohm // resistance parallel to part of the inductance; 0: none
	Coils       int     // in series, all of whose voltages add; 0: as many as the recording's
	Magnet      float64 // dB of a stronger magnet, or of one nearer to the strings
}

// SecondPickup is a pickup that plays together with a guitar's own: none where it has no Resistance.
// One recording has one signal: both pickups give that, each at its level.
type SecondPickup struct {
	Pickup
	Series bool // with the first; else parallel to it
	Out    bool // out of phase: the one's signal is taken from the other's
}

// Load is an input that something is plugged into, with the cable that leads to it.
type Load struct {
	Resistance  dsp.Ohm
	Cable       dsp.Metre
	Capacitance dsp.Farad // of a metre of the cable; 0: the usual one
}

// Cord is the cable from the guitar.
func (g Guitar) Cord() blocks.Cord { return blocks.Cord{Length: g.Cable, Capacitance: g.Capacitance} }

// Cord is the cable to the load.
func (l Load) Cord() blocks.Cord { return blocks.Cord{Length: l.Cable, Capacitance: l.Capacitance} }

// CordTo is the cable from one block to the next, by the jack that it leads to, like fuzz.in or
// board.return-2.
func (c *Chain) CordTo(jack string) blocks.Cord {
	if k, ok := c.Cables[jack]; ok {
		return k
	}
	return blocks.Cord{Length: c.Patch}
}

// DefaultLoad is an amplifier's or an interface's input behind a short cable: common practice, no
// source.
var DefaultLoad = Load{Resistance: 1e6, Cable: 3}

// Block is one block of the file, with the settings that it has where no take changes them.
type Block struct {
	Name     string
	Kind     *blocks.Kind
	Settings blocks.Settings
	Powered
	// "yes" or "no": whether its knobs follow a preset by themselves; "": as is usual of its kind
	Recall  string
	Off     bool     // bypassed, where neither a preset nor a take says otherwise
	Loops   []Loop   // of a switcher, by their numbers
	Cabinet *Cabinet // of a speaker; nil: its own cone

	Moves Curves // of the knobs that move; Settings has where they are at 0 s
}

// Take is one rendering: an order, changed settings, blocks that are off.
type Take struct {
	Name string
	// "" for the preset's, or where that names none the file's; OwnGuitar for the file's
	Guitar string
	Order  []string    // nil: the file's, and its split
	Split  *SplitOrder // of Order
	Preset string      // "" for none: every loop is out; of several in time, the first
	// presets that the switcher goes over to while the take plays, by their times, which rise
	Changes []PresetChange
	// what loops of the switcher hold in this take, by their numbers, in place of what it has in
	// them
	Loops  []Loop
	Toggle []int     // numbers of the loops that are the other way round than the preset has them
	Set    []Setting // in the order in which the file names them
	Off    []string
	On     []string // not bypassed, although the file or the preset has them off
}

// Setting is one changed setting of a take.
type Setting struct {
	Target string       // block.knob, guitar.volume, load.cable, …
	Text   string       // the value as written
	Apply  func(*Chain) // does it; nil in a setting that is only to be written
}

// Chain is one take, resolved: what is wired to what.
type Chain struct {
	Take        string // its name
	Title       string // the file's
	Recording   Recording
	GuitarName  string // "" for the file's own
	RecordingOf string // the guitar whose own it is; "" where it is the file's
	Guitar      Guitar
	Load        Load
	Patch       dsp.Metre
	Cables      map[string]blocks.Cord // as in File
	Supplies    []Supply
	// the signal flows from the first to the last; of a switcher, its pieces and what is in its
	// loops
	Blocks []Placed
	Split  *Split // what follows Blocks, where that is two paths
	Turns  []Turn // settings that move; everything else has where they are at 0 s

	// what the chain is from a time on, where its presets change while it plays; all else of it is
	// as it is at 0 s
	Changes []Change

	// the jack at which it is listened to, its voltage as it is with all that follows; "" for the
	// end
	Heard string

	switchers []Block // those of Blocks and Split: cables are plugged into all of their loops

	file        *File // that the chain is a take of, as it was then
	take        Take
	arrangement Arrangement

	pool map[string]*Placed // every block of the file, while takes and presets set their knobs
}

// Block is the block of that name while takes and presets set its knobs, whether the chain will
// hold it or not; nil at any other time.
func (c *Chain) Block(name string) *Placed { return c.pool[name] }

// Placed is a block in its place in a chain, or a piece of a switcher.
type Placed struct {
	// unique; a piece has the name of its switcher, or of the return jack that it begins at
	Name     string
	Kind     *blocks.Kind
	Settings blocks.Settings
	Off      bool // in the chain, but bypassed
	Powered       // as in Block
	// the switcher that it is a piece of, or in a loop of: it has its place there and no other
	Switcher string
	Cabinet  *Cabinet // as in Block

	Piece *blocks.SwitcherPiece // of a switcher; nil for every other block
	Moves Curves                // as in Block, while takes and presets set its knobs
}

// In is the block's input jack.
func (p Placed) In() string {
	if p.Piece != nil {
		return p.Piece.In
	}
	return p.Name + ".in"
}

// Out is the block's output jack.
func (p Placed) Out() string {
	if p.Piece != nil {
		return p.Piece.Out
	}
	return p.Name + ".out"
}

// Chains resolves every take of the file.
func (f *File) Chains() []*Chain {
	chains := make([]*Chain, 0, len(f.Takes))
	for _, t := range f.Takes {
		chains = append(chains, f.resolve(t))
	}
	return chains
}

// Take resolves the take of that name. The error names the nearest take and all takes there are.
func (f *File) Take(name string) (*Chain, error) {
	names := make([]string, 0, len(f.Takes))
	for _, t := range f.Takes {
		if t.Name == name {
			return f.resolve(t), nil
		}
		names = append(names, t.Name)
	}
	hint := ""
	if near := yamltext.Nearest(name, names); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return nil, fmt.Errorf("no take %q%s (there are: %s)", name, hint, quoted(names))
}

// Of resolves a take that is not in the file, made of what is: blocks, presets and guitars of the
// file, settings of package file. The take has to be one that the language allows; nothing checks
// that here.
func (f *File) Of(t Take) *Chain { return f.resolve(t) }

// OwnGuitar is what a take calls the file's own guitar by, where its preset names another.
const OwnGuitar = "guitar"

// guitarOf is the name of the guitar that a take is played on; "" for the file's own.
func (f *File) guitarOf(t Take) string {
	name := t.Guitar
	if p := f.Preset(t.Preset); p != nil && name == "" {
		name = p.Guitar
	}
	if name == OwnGuitar {
		return ""
	}
	return name
}

// fill gives a chain what a take has of everything but the order: its guitar, and in pool every
// block of the file, as the preset and the take set it.
func (f *File) fill(t Take) *Chain {
	c := &Chain{
		Take: t.Name, Title: f.Title,
		Recording: f.Recording, GuitarName: f.guitarOf(t), Guitar: f.Guitar, Load: f.Load, Patch: f.Patch, Cables: f.Cables, Supplies: f.Supplies,
		pool: map[string]*Placed{}, take: t,
	}
	file := *f
	c.file = &file
	played := f.Guitar.Pickup
	if f.Recording.Pickup != nil {
		played = *f.Recording.Pickup
	}
	if k := slices.IndexFunc(f.Guitars, func(g NamedGuitar) bool { return g.Name == c.GuitarName }); k >= 0 {
		c.Guitar = f.Guitars[k].Guitar
		if own := f.Guitars[k].Recording; own != nil {
			c.Recording, c.RecordingOf, played = *own, c.GuitarName, c.Guitar.Pickup
		}
	}
	if c.Recording.Load != nil {
		load := *c.Recording.Load
		c.Recording.Load = &load
	}
	c.Recording.Pickup = &played
	for _, b := range f.Blocks {
		c.pool[b.Name] = &Placed{Name: b.Name, Kind: b.Kind, Settings: b.Settings, Powered: b.Powered, Cabinet: b.Cabinet, Off: f.IsOff(t, b.Name), Moves: b.Moves}
	}
	if p := f.Preset(t.Preset); p != nil {
		for _, s := range p.Set {
			s.Apply(c)
		}
		if p.Trim != nil {
			s := c.pool[f.Switcher().Name]
			s.Settings = s.Settings.With("trim", *p.Trim)
		}
	}
	for _, s := range t.Set {
		s.Apply(c)
	}
	for _, p := range c.pool {
		p.Cabinet = f.cabinet(p.Cabinet)
		p.plug(f.Supplies)
	}
	return c
}

// AsSet is every block of the file in its order, as a take has it set and powered, whether its
// signal runs through it or not.
func (f *File) AsSet(t Take) []Placed {
	c := f.fill(t)
	all := make([]Placed, len(f.Blocks))
	for k, b := range f.Blocks {
		all[k] = *c.pool[b.Name]
	}
	return all
}

// IsOff reports whether a block is bypassed in a take: the last of the file, the preset and the
// take that says something says it.
func (f *File) IsOff(t Take, block string) bool {
	off := slices.ContainsFunc(f.Blocks, func(b Block) bool { return b.Name == block && b.Off })
	say := func(on, offs []string) {
		off = (off || slices.Contains(offs, block)) && !slices.Contains(on, block)
	}
	if p := f.Preset(t.Preset); p != nil {
		say(p.On, p.Off)
	}
	say(t.On, t.Off)
	return off
}

// Switched is the take with a block bypassed or not.
func (f *File) Switched(t Take, block string, off bool) Take {
	without := func(list []string) []string {
		return slices.DeleteFunc(slices.Clone(list), func(n string) bool { return n == block })
	}
	t.Off, t.On = without(t.Off), without(t.On)
	switch is := f.IsOff(t, block); {
	case off && !is:
		t.Off = append(t.Off, block)
	case !off && is:
		t.On = append(t.On, block)
	}
	return t
}

// resolve needs a take that Parse has checked.
func (f *File) resolve(t Take) *Chain {
	c := f.fill(t)
	order, split := t.Order, t.Split
	if order == nil {
		order, split = f.Order, f.Split
	}
	c.Blocks = f.line(c, order, t)
	if split != nil {
		c.Split = &Split{Left: f.line(c, split.Left, t), Right: f.line(c, split.Right, t), Mix: split.Mix}
	}
	c.arrangement = Arrangement{Order: order, Split: split}.Clone()
	if len(c.switchers) > 0 {
		c.arrangement.Switcher = c.switchers[0].Name
		on := f.LoopsOn(t)
		for _, l := range f.LoopsOf(t) {
			if slices.Contains(on, l.Number) {
				c.arrangement.Loops = append(c.arrangement.Loops, Loop{l.Number, slices.Clone(l.Blocks), l.Insert})
			}
		}
	}
	c.pool = nil
	c.gatherTurns()
	if c.Guitar.VolumePot == 0 {
		c.Guitar.VolumePot = usualPot(c.Guitar.Pickup)
	}
	if c.Guitar.TonePot == 0 {
		c.Guitar.TonePot = usualPot(c.Guitar.Pickup)
	}
	if c.Guitar.Hum < 0 {
		c.Guitar.Hum = usualHum(c.Guitar.Pickup)
	}
	f.change(c, t)
	return c
}

// line is the blocks of a list of names, with switchers taken apart.
func (f *File) line(c *Chain, names []string, t Take) []Placed {
	var line []Placed
	for _, name := range names {
		for _, b := range f.Blocks {
			switch {
			case b.Name != name:
			case b.Loops != nil:
				b.Loops = f.LoopsOf(t)
				c.switchers = append(c.switchers, b)
				line = append(line, b.pieces(c.pool, f.LoopsOn(t))...)
			default:
				line = append(line, *c.pool[name])
			}
		}
	}
	return line
}

// quoted lists names for a message.
func quoted(names []string) string {
	q := make([]string, len(names))
	for i, n := range names {
		q[i] = fmt.Sprintf("%q", n)
	}
	return strings.Join(q, ", ")
}
