package hunt

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/noise"
	"drywire/dsp"
)

// Words is what a player may say of a noise: what it is, or how it is after a test.
var (
	Sounds  = []string{"hum", "hiss", "buzz", "crackle", "squeal"}
	Changes = []string{"gone", "softer", "same"}
)

// kind is a sort of suspect: how likely one of it is at fault against others, and how likely it
// sounds like each of Sounds. All of it is assumption: common practice, no source. A chain file
// changes weights under suspects.
type kind struct {
	name   string
	weight float64
	sounds [5]float64
}

// The kinds; those in board.SuspectKinds, in that order.
var kinds = []kind{
	{"pickup", 1, [5]float64{.62, .02, .32, .02, .02}}, // single-coil: four times that
	// long and trodden on: the guitar's, and those to amplifiers
	{"lead", 3, [5]float64{.22, .02, .22, .52, .02}},
	{"cable", 1, [5]float64{.22, .02, .22, .52, .02}},
	// a part of it that fails, or rings; with its share of the hiss
	{"pedal", 1.5, [5]float64{.10, .35, .10, .25, .20}},
	{"supply", 1.5, [5]float64{.45, .05, .25, .02, .23}},
	{"ground-loop", 5, [5]float64{.72, .01, .25, .01, .01}},
	{"amplifier", 1.5, [5]float64{.40, .25, .10, .20, .05}},
	{"mains", 1.5, [5]float64{.25, .02, .65, .07, .01}},
}

func kindOf(name string) kind {
	return kinds[slices.IndexFunc(kinds, func(k kind) bool { return k.name == name })]
}

// Suspect is one thing that may make the noise.
type Suspect struct {
	Kind   string
	Name   string // as in "it is …"
	Mend   string // what to do about it
	Weight float64

	sounds [5]float64
	// its place: things are at odd numbers from the guitar on, and what leads to them is one less;
	// 0, 1 or 2, where the path splits
	at, path int
	block    string   // of pedals
	feeds    []string // of supplies
}

// thing is a guitar, pedal or amplifier in the path.
type thing struct {
	name  string
	block *board.Placed // nil: the guitar, or an amplifier that the file does not name
	amp   bool
	path  int
}

// layout is what is in the path of a chain, in the order of the signal.
func layout(c *board.Chain) []thing {
	list := []thing{{name: "the guitar"}}
	run := func(line []board.Placed, path int, side string) {
		amp := false
		for _, p := range line {
			name := p.Name
			if p.Switcher != "" && p.Piece != nil {
				name = p.Switcher
			}
			switch {
			case p.Kind != nil && p.Kind.Place != blocks.OnTheBoard:
				if !amp || !list[len(list)-1].amp {
					list = append(list, thing{"the " + side + "amplifier (" + name + ")", nil, true, path})
				}
				amp = true
			case list[len(list)-1].name != name || list[len(list)-1].path != path:
				list = append(list, thing{name, &p, false, path})
			}
		}
		if !amp {
			list = append(list, thing{"the " + side + "amplifier", nil, true, path})
		}
	}
	if c.Split == nil {
		run(c.Blocks, 0, "")
		return list
	}
	for _, p := range c.Blocks {
		name := p.Name
		if p.Piece != nil {
			name = p.Switcher
		}
		if list[len(list)-1].name != name {
			list = append(list, thing{name, &p, false, 0})
		}
	}
	run(c.Split.Left, 1, "left ")
	run(c.Split.Right, 2, "right ")
	return list
}

// suspects lists what may be at fault.
func suspects(f *board.File, c *board.Chain, things []thing, rate dsp.Hertz) (list []Suspect) {
	hiss := hissOf(c, rate)
	add := func(name string, factor float64, s Suspect) {
		k := kindOf(name)
		w, ok := f.Suspects[name]
		if !ok {
			w = k.weight
		}
		if s.Kind, s.Weight = name, w*factor; s.sounds == ([5]float64{}) {
			s.sounds = k.sounds
		}
		if s.Weight > 0 {
			list = append(list, s)
		}
	}
	coil := 1.0
	if c.Guitar.Hum > 0 {
		coil = 4
	}
	add("pickup", coil, Suspect{Name: "the guitar's pickup in a magnetic field", Mend: "keep away from transformers, screens and amplifiers, or turn", at: 1})
	fed := map[string][]string{}
	for k, t := range things {
		at := 2*k + 1
		if k > 0 {
			from := things[k-1]
			if t.path == 2 && from.path == 1 { // the second path begins at the split
				for j := k - 1; j >= 0; j-- {
					if things[j].path == 0 {
						from = things[j]
						break
					}
				}
			}
			what, name := "cable", "the cable"
			if t.amp || from.block == nil {
				what, name = "lead", "the lead"
			}
			add(what, 1, Suspect{Name: fmt.Sprintf("%s from %s to %s", name, from.name, t.name), Mend: "swap it; where that does not help, one of the two jacks that it is plugged into", at: at - 1, path: t.path})
		}
		switch {
		case t.amp:
			add("amplifier", 1, Suspect{Name: t.name, Mend: "have it looked at by someone who may open it: there are deadly voltages inside", at: at, path: t.path})
		case t.block != nil:
			if slices.ContainsFunc(list, func(s Suspect) bool { return s.Kind == "pedal" && s.block == t.name }) {
				continue // a switcher, again
			}
			factor := 0.6 + hiss[t.name]*3
			s := Suspect{Name: t.name, Mend: "have it looked at, or put another in its place", at: at, path: t.path, block: t.name}
			s.sounds = kindOf("pedal").sounds
			s.sounds[1] += 2 * hiss[t.name] // its own noise, as simulated
			s.sounds = normal(s.sounds)
			if t.block.Off {
				factor = 0.3
			}
			add("pedal", factor, s)
			if t.block.Kind != nil && t.block.Kind.Draw > 0 {
				supply, _, _ := strings.Cut(t.block.Power, ".")
				fed[supply] = append(fed[supply], t.name)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(fed)) {
		factor, said := 2.0, "the pedals' adapter, which the file does not name"
		for _, s := range f.Supplies {
			if s.Name == name {
				if said = "the supply " + name; s.Isolated {
					factor = 0.5
				}
			}
		}
		add("supply", factor, Suspect{Name: said, Mend: "feed noisy digital pedals alone, or from a supply with isolated outputs; never with another voltage or polarity", feeds: fed[name]})
	}
	if amps := slices.DeleteFunc(slices.Clone(things), func(t thing) bool { return !t.amp }); len(amps) > 1 && c.Split != nil {
		add("ground-loop", 1, Suspect{Name: "a ground loop between the two amplifiers", Mend: "put an isolating transformer for signals into one lead; never lift an earth"})
	}
	add("mains", 1, Suspect{Name: "something else on the mains: a dimmer, a lamp, a charger, a screen", Mend: "leave it off, or plug the rig in elsewhere"})
	return list
}

func normal(p [5]float64) [5]float64 {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	for k := range p {
		p[k] /= sum
	}
	return p
}

// hissOf is each block's share of the A-weighted noise at rest; even where the ledger has none.
func hissOf(c *board.Chain, rate dsp.Hertz) map[string]float64 {
	shares := map[string]float64{}
	l, err := noise.At(c, rate, c.Ends()[0])
	if err != nil {
		return shares
	}
	sum := 0.0
	for k := range l.Shares {
		p := l.Power(k, noise.AWeighted)
		shares[l.Shares[k].Block] += p
		sum += p
	}
	for name := range shares {
		if shares[name] /= sum; sum == 0 || math.IsNaN(shares[name]) {
			shares[name] = 0
		}
	}
	return shares
}
