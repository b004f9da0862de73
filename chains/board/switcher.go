package board

import (
	"fmt"
	"slices"

	"drywire/blocks"
	"drywire/chains/cables"
)

// Loop is a loop of a switcher.
type Loop struct {
	Number int      `json:"number"`
	Blocks []string `json:"blocks"` // from the send to the return; an empty one is a cable
	// no relay switches it: it is always in, for an amplifier between the loops in front of it and
	// those in its effects loop
	Insert bool `json:"insert,omitempty"`
}

// Preset is what a switcher remembers: which loops are in, and what is set.
type Preset struct {
	Name   string
	Loops  []int
	Set    []Setting
	Off    []string // blocks that are bypassed, in a loop or not
	On     []string // blocks that are not, although the file has them off
	Guitar string   // that it is for; "" for the file's own
	Trim   *float64 // dB, at the switcher's output; nil: as the switcher has it
}

// SwitcherKind is the kind of block that the file gives loops.
const SwitcherKind = "switcher"

// Switcher is the file's switcher, or nil.
func (f *File) Switcher() *Block {
	for k := range f.Blocks {
		if f.Blocks[k].Kind.Name == SwitcherKind {
			return &f.Blocks[k]
		}
	}
	return nil
}

// LoopsOf is what the loops of the file's switcher hold in a take, by their numbers: what the take
// says, and where it says nothing, what the switcher says. nil where the file has no switcher with
// loops.
func (f *File) LoopsOf(t Take) []Loop {
	for _, b := range f.Blocks {
		if b.Loops != nil {
			return Overlaid(b.Loops, t.Loops)
		}
	}
	return nil
}

// Overlaid is loops with what some of them hold replaced.
func Overlaid(loops, own []Loop) []Loop {
	loops = slices.Clone(loops)
	for k, l := range loops {
		if at := slices.IndexFunc(own, func(o Loop) bool { return o.Number == l.Number }); at >= 0 {
			loops[k].Blocks = own[at].Blocks
		}
	}
	return loops
}

// LoopOf is the loop that a block is in, or nil.
func LoopOf(loops []Loop, name string) *Loop {
	for k := range loops {
		if slices.Contains(loops[k].Blocks, name) {
			return &loops[k]
		}
	}
	return nil
}

// Preset is the preset of that name, or nil.
func (f *File) Preset(name string) *Preset {
	for k := range f.Presets {
		if f.Presets[k].Name == name {
			return &f.Presets[k]
		}
	}
	return nil
}

// LoopsOn is the numbers of the loops that are in, in a take.
func (f *File) LoopsOn(t Take) []int {
	var on []int
	if p := f.Preset(t.Preset); p != nil {
		on = slices.Clone(p.Loops)
	}
	for _, l := range f.LoopsOf(t) {
		if l.Insert {
			on = append(on, l.Number)
		}
	}
	for _, n := range t.Toggle {
		if at := slices.Index(on, n); at >= 0 {
			on = slices.Delete(on, at, at+1)
		} else {
			on = append(on, n)
		}
	}
	slices.Sort(on)
	return on
}

// FourCables is the cables of the four-cable method, of a switcher around an amplifier: into its
// input, from its
// insert to the amplifier's input, from the amplifier's send back into the insert, and from its
// output to the amplifier's return. nil where no block is in an insert.
func (c *Chain) FourCables() (four []cables.Cable) {
	for _, s := range c.switchers {
		at := slices.IndexFunc(s.Loops, func(l Loop) bool { return l.Insert && len(l.Blocks) > 0 })
		if at < 0 {
			continue
		}
		n := s.Loops[at].Number
		for _, k := range c.Cabling() {
			if slices.Contains([]string{s.Name + ".in", returnJack(s.Name, n)}, k.In) || slices.Contains([]string{sendJack(s.Name, n), s.Name + ".out"}, k.Out) {
				four = append(four, k)
			}
		}
	}
	return four
}

func sendJack(switcher string, loop int) string { return fmt.Sprintf("%s.send-%d", switcher, loop) }

func returnJack(switcher string, loop int) string {
	return fmt.Sprintf("%s.return-%d", switcher, loop)
}

// pieces takes a switcher apart: its pieces, and between them the blocks of the loops that are in.
func (b *Block) pieces(pool map[string]*Placed, on []int) []Placed {
	own := *pool[b.Name]
	own.Switcher = b.Name
	var line []Placed
	piece := blocks.SwitcherPiece{In: b.Name + ".in", First: true}
	for _, l := range b.Loops {
		if !l.Insert {
			piece.Contacts++
		}
		if !slices.Contains(on, l.Number) {
			continue
		}
		piece.Out = sendJack(b.Name, l.Number)
		line = append(line, own.with(piece))
		for _, name := range l.Blocks {
			p := *pool[name]
			p.Switcher = b.Name
			line = append(line, p)
		}
		piece = blocks.SwitcherPiece{In: returnJack(b.Name, l.Number)}
		if !l.Insert {
			piece.Contacts = 1
		}
		own.Name = piece.In
	}
	piece.Out, piece.Last = b.Name+".out", true
	return append(line, own.with(piece))
}

func (p Placed) with(piece blocks.SwitcherPiece) Placed {
	p.Piece = &piece
	return p
}

// OnPreset is the file's order on a preset and a guitar, by their names; guitar is "" for the one
// that the preset is for, and OwnGuitar for the file's own. Where trim is not nil, it takes the
// place of the preset's. Both names must be the file's.
func (f *File) OnPreset(preset, guitar string, trim *float64) *Chain {
	g := *f
	if trim != nil {
		g.Presets = slices.Clone(f.Presets)
		g.Preset(preset).Trim = trim
	}
	return g.resolve(Take{Name: preset, Preset: preset, Guitar: guitar})
}

// TrimOf is the trim that the switcher has in a preset, in dB; ok is false where the file's order
// has no switcher.
func (f *File) TrimOf(preset string) (trim float64, ok bool) {
	for _, b := range f.OnPreset(preset, "", nil).Every() {
		if b.Kind.Name == SwitcherKind {
			return b.Settings.Number("trim"), true
		}
	}
	return 0, false
}
