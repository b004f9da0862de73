package board

import (
	"slices"

	"drywire/blocks"
	"drywire/dsp"
)

// AutoPower in place of an output's name is a block that is to be plugged in somewhere: package
// power works out where. Until then it is on a supply of its own.
const AutoPower = "auto"

// Needs is what a block wants of its supply: what the file says, else what is usual of its kind.
type Needs struct {
	Draw           dsp.Ampere    // the most that it takes
	Volts          [2]dsp.Volt   // under the first it starves, over the second it may be destroyed
	CentrePositive bool          // the plug that it wants
	Grounds        []blocks.Pole // which pole is its ground: one, or both where takes change it
	Digital        bool          // digital: its clock is heard in what shares its supply, in some take
}

// Needs is what the block of that name wants; ok is false for what takes no supply of a board.
func (f *File) Needs(name string) (n Needs, ok bool) {
	at := slices.IndexFunc(f.Blocks, func(b Block) bool { return b.Name == name })
	if at < 0 {
		return n, false
	}
	b := f.Blocks[at]
	if n.Draw = b.draw(b.Kind); n.Draw == 0 {
		return n, false
	}
	n.Volts, n.CentrePositive = b.volts(b.Kind), b.CentrePositive
	for _, t := range f.Takes {
		p := f.AsSet(t)[at]
		if pole := p.pole(p.Kind, p.Settings); pole != "" && !slices.Contains(n.Grounds, pole) {
			n.Grounds = append(n.Grounds, pole)
		}
		n.Digital = n.Digital || p.Kind.Digital != nil && p.Kind.Digital(p.Settings)
	}
	return n, true
}

// Fits reports whether a block may be plugged into an output for good: nothing is harmed, whichever
// way a switch of it stands, and the block does not starve.
func (f *File) Fits(name string, o *Output) bool {
	at := slices.IndexFunc(f.Blocks, func(b Block) bool { return b.Name == name })
	if at < 0 {
		return false
	}
	b := f.Blocks[at]
	volts := b.volts(b.Kind)
	return Refused(b.Kind, b.Powered, o) == "" && o.Voltage >= volts[0] && (volts[1] == 0 || o.Highest <= volts[1])
}
