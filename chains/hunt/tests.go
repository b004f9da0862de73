package hunt

import (
	"fmt"
	"slices"

	"drywire/chains/board"
)

// Test is one thing that a player can do, and put back.
type Test struct {
	Name string
	Do   string // as an order
	// that are pulled out or put in, to do it and to put it back; one that changes its jack counts
	// once
	Plugs   int
	Minutes float64

	kind   string
	effect []effect // of each suspect
}

// effect is how likely a suspect's noise is gone, softer or the same.
type effect [3]float64

// The effects. Assumptions: common practice, no source.
var (
	cured   = effect{.93, .05, .02}
	mostly  = effect{.78, .12, .10}
	halved  = effect{.10, .78, .12}
	perhaps = effect{.45, .35, .20}
	little  = effect{.06, .26, .68}
	none    = effect{.005, .015, .98}
)

// minutesPerPlug is what a plug costs beside the minutes of its test: the risk and the bother of
// moving it.
const minutesPerPlug = 0.6

func (t *Test) cost() float64 { return t.Minutes + minutesPerPlug*float64(t.Plugs) }

// tests lists what can be done on a chain. None of it touches the mains, an earth, or what is
// inside anything.
func tests(f *board.File, take board.Take, things []thing, list []Suspect) (all []Test) {
	add := func(kind, name, do string, plugs int, minutes float64, of func(s *Suspect) effect) {
		t := Test{Name: name, Do: do, Plugs: plugs, Minutes: minutes, kind: kind}
		for k := range list {
			t.effect = append(t.effect, of(&list[k]))
		}
		all = append(all, t)
	}
	is := func(kind string, e effect) func(*Suspect) effect {
		return func(s *Suspect) effect {
			if s.Kind == kind {
				return e
			}
			return none
		}
	}
	add("volume", "guitar's volume at 0", "Turn the guitar's volume to 0.", 0, 0.2, is("pickup", cured))
	add("turn", "guitar turned", "Turn yourself and the guitar by 90°.", 0, 0.3, is("pickup", effect{.40, .50, .10}))
	add("lamps", "lamps and chargers off", "Switch off dimmers, lamps, chargers and screens nearby by their own switches.", 0, 1, func(s *Suspect) effect {
		switch s.Kind {
		case "mains":
			return mostly
		case "pickup":
			return effect{.15, .25, .60}
		}
		return none
	})
	ampOf := func(path int) (at int) {
		for k, t := range things {
			if t.amp && t.path == path {
				at = 2*k + 1
				break
			}
		}
		return at
	}
	split := ampOf(1) > 0
	// upstream is the effect of silencing what lies before a place in a path.
	upstream := func(at, path int) func(*Suspect) effect {
		where := map[string]int{}
		for k, t := range things {
			where[t.name] = 2*k + 1
		}
		return func(s *Suspect) effect {
			switch {
			case s.Kind == "supply":
				in := 0
				for _, b := range s.feeds {
					if where[b] < at {
						in++
					}
				}
				switch {
				case in == len(s.feeds) && path == 0:
					return mostly
				case in > 0:
					return effect{.25, .45, .30}
				}
				return none
			case s.at == 0 || s.at >= at:
				return none
			case path == 0 || s.path == path:
				return cured
			case s.path == 0:
				return halved // the other amplifier has it still
			}
			return none
		}
	}
	seen := map[string]bool{}
	for k, t := range things {
		at := 2*k + 1
		if k > 0 && (!t.amp || split || k == len(things)-1 || !seen["amp"]) {
			jack := "the input of " + t.name
			if t.block != nil {
				jack = t.block.In()
			}
			add("dummy", "dummy plug into "+jack, fmt.Sprintf("Pull the plug out of %s, and put a dummy plug (its tip joined to its sleeve) in.", jack), 4, 0.7, upstream(at, t.path))
		}
		if t.amp {
			seen["amp"] = true
		}
		if t.block == nil || seen[t.name] {
			continue
		}
		seen[t.name] = true
		if _, ok := t.block.Kind.Knob("bypass"); ok && t.block.Piece == nil && !t.block.Off {
			add("bypass", t.name+" bypassed", "Switch "+t.name+" off with its own footswitch.", 0, 0.2, func(s *Suspect) effect {
				switch {
				case s.block == t.name:
					return mostly
				case slices.Contains(s.feeds, t.name):
					return little
				}
				return none
			})
		}
		last := at // of a switcher, where it is left for good
		for j, o := range things {
			if o.name == t.name {
				last = 2*j + 1
			}
		}
		if t.block.Piece != nil {
			add("out", t.name+" plugged past", fmt.Sprintf("Take %s and its loops out of the chain: move the plug from its input to the next input.", t.name), 4, 0.7, func(s *Suspect) effect {
				switch {
				case s.at >= at && s.at <= last:
					return cured
				case s.at == last+1 && s.path == t.path:
					return mostly
				case s.at == at-1 && s.path == t.path:
					return little
				case s.Kind == "supply":
					return perhaps
				}
				return none
			})
		} else {
			add("out", t.name+" plugged past", fmt.Sprintf("Take %s out of the chain: move the plug from its input to the next input.", t.name), 4, 0.7, func(s *Suspect) effect {
				switch {
				case s.block == t.name:
					return cured
				case s.at == at+1 && s.path == t.path:
					return mostly
				case s.at == at-1 && s.path == t.path, slices.Contains(s.feeds, t.name):
					return little // plugs that were moved make contact for a while
				}
				return none
			})
		}
	}
	for _, l := range f.LoopsOf(take) {
		if l.Insert || !slices.Contains(f.LoopsOn(take), l.Number) {
			continue
		}
		inside := map[int]bool{}
		for k, t := range things {
			if slices.Contains(l.Blocks, t.name) {
				inside[2*k], inside[2*k+1], inside[2*k+2] = true, true, true
			}
		}
		if len(inside) == 0 {
			continue
		}
		add("loop", fmt.Sprintf("loop %d out", l.Number), fmt.Sprintf("Switch loop %d of %s out.", l.Number, f.Switcher().Name), 0, 0.1, func(s *Suspect) effect {
			switch {
			case inside[s.at]:
				return cured
			case slices.ContainsFunc(s.feeds, func(b string) bool { return slices.Contains(l.Blocks, b) }):
				return little
			}
			return none
		})
	}
	for k := range list {
		s := list[k]
		switch {
		case s.at > 0 && s.at%2 == 0:
			add("swap", "another cable for "+s.Name, "Put a cable that is known to be good in the place of "+s.Name+".", 4, 0.7, func(o *Suspect) effect {
				switch {
				case o.Name == s.Name:
					return mostly
				case o.block != "" && (o.at == s.at-1 || o.at == s.at+1):
					return effect{.04, .08, .88}
				}
				return none
			})
		case s.Kind == "supply":
			add("battery", "a battery in place of "+s.Name, fmt.Sprintf("Feed %s from batteries of the same voltage and polarity, where they take batteries, and pull the others' plugs.", among(s.feeds)), 4*len(s.feeds), 1+0.5*float64(len(s.feeds)), func(o *Suspect) effect {
				if o.Name == s.Name {
					return cured
				}
				return none
			})
			if len(s.feeds) > 1 {
				add("battery", "a battery for "+s.feeds[0], fmt.Sprintf("Feed %s alone from a battery of the same voltage and polarity, if it takes one.", s.feeds[0]), 4, 1, func(o *Suspect) effect {
					if o.Name == s.Name {
						return perhaps
					}
					return none
				})
			}
		}
	}
	past := func(s *Suspect) effect { // the guitar straight into an amplifier
		switch {
		case s.Kind == "pickup" || s.at == 2 || s.Kind == "mains" || s.Kind == "amplifier" && s.path < 2:
			return none
		case s.Kind == "supply" || s.Kind == "ground-loop" || s.at > 0:
			return cured
		}
		return none
	}
	add("straight", "guitar straight into the amplifier", "Plug the guitar's own lead straight into the amplifier, past the whole board.", 4, 0.7, past)
	if split {
		for path, side := range []string{1: "left", 2: "right"} {
			if path == 0 {
				continue
			}
			at := ampOf(path)
			own := func(s *Suspect) effect {
				switch {
				case s.path == path:
					return cured
				case s.Kind == "mains" || s.at > 0 || s.Kind == "supply":
					return halved
				}
				return none
			}
			add("off", side+" amplifier off", "Switch the "+side+" amplifier off by its own switch; leave its loudspeaker plugged in.", 0, 0.5, func(s *Suspect) effect {
				if s.Kind == "ground-loop" {
					return halved
				}
				return own(s)
			})
			add("unplug", "lead out of the "+side+" amplifier", "Pull the lead out of the "+side+" amplifier's input.", 2, 0.3, func(s *Suspect) effect {
				switch {
				case s.Kind == "ground-loop":
					return cured
				case s.at > 0 && s.at < at && s.path == path:
					return cured
				case s.at > 0 && s.path == 0 || s.Kind == "supply":
					return halved
				}
				return none
			})
		}
	}
	add("mute", "amplifier's volume at 0", "Turn the volume of every amplifier's input to 0, and leave its master volume.", 0, 0.2, func(s *Suspect) effect {
		switch {
		case s.Kind == "amplifier":
			return effect{.35, .30, .35}
		case s.Kind == "mains":
			return effect{.25, .35, .40}
		}
		return cured
	})
	return all
}

func among(list []string) string {
	if len(list) == 1 {
		return list[0]
	}
	text := ""
	for k, n := range list {
		switch {
		case k == len(list)-1:
			text += " and "
		case k > 0:
			text += ", "
		}
		text += n
	}
	return text
}
