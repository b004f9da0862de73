package board

import (
	"fmt"
	"math"
	"strings"

	"drywire/blocks"
	"drywire/dsp"
)

// Supply is a power supply with several outputs.
//
// Where its outputs are not isolated, or where the file says so, they have a ripple: of the mains
// rectified, tones at 100 Hz and its multiples to the tenth, each as many times softer as its
// number (common practice, no source), together of the voltage Ripple. It enters the chain through
// each block's circuit, or by its kind's supply rejection, referred to its output. Not in the
// model: the blocks' currents in a common supply's and ground's impedance, and clock noise.
type Supply struct {
	Name     string
	Isolated bool     // its outputs share nothing; else they are one voltage behind several sockets
	Ripple   dsp.Volt // RMS
	Outputs  []Output
}

// Output is one of a supply's.
type Output struct {
	Name           string // as printed on it
	Voltage        dsp.Volt
	Highest        dsp.Volt   // what it can be switched up to; 0 where it has one voltage
	Current        dsp.Ampere // the most that it gives
	CentrePositive bool       // the plug's centre; pedals want it negative
}

// Powered is what a block wants of its supply, and where it gets it.
type Powered struct {
	// the supply's output that it is plugged into, like brick.1; "" for a supply of its own
	Power string
	Draw  dsp.Ampere // the most that it takes; 0: what is usual of its kind
	// from what voltage to what it may be fed; 0: what is usual of its kind
	Takes          [2]dsp.Volt
	CentrePositive bool        // the plug that it wants
	Ground         blocks.Pole // "": that of its kind
	Ripple         *dsp.Volt   // RMS, of what it is plugged into; nil: the supply's
}

// draw is the most that a block of that kind takes.
func (p Powered) draw(kind *blocks.Kind) dsp.Ampere {
	if p.Draw > 0 {
		return p.Draw
	}
	return kind.Draw
}

// volts is what a block of that kind is made for: under that it starves, over that it may be
// destroyed.
func (p Powered) volts(kind *blocks.Kind) [2]dsp.Volt {
	if p.Takes[1] > 0 {
		return p.Takes
	}
	return kind.Volts
}

// pole is which pole of its supply the block's ground is; "" for what takes no supply.
func (p Powered) pole(kind *blocks.Kind, s blocks.Settings) blocks.Pole {
	switch {
	case p.Ground != "" || kind.Ground == nil:
		return p.Ground
	}
	return kind.Ground(s)
}

// RippleOf is the RMS voltage of the ripple on what a block is plugged into.
func RippleOf(supplies []Supply, p Powered) dsp.Volt {
	if p.Ripple != nil {
		return *p.Ripple
	}
	if s, _ := FindOutput(supplies, p.Power); s != nil {
		return s.Ripple
	}
	return 0
}

// UsualRipple is that of a common adapter without a regulator for each output: common practice, no
// source.
const UsualRipple dsp.Volt = 5e-3

// FindOutput is the output that a name such as brick.1 means.
func FindOutput(supplies []Supply, power string) (*Supply, *Output) {
	supply, output, _ := strings.Cut(power, ".")
	for i := range supplies {
		for j := range supplies[i].Outputs {
			if supplies[i].Name == supply && supplies[i].Outputs[j].Name == output {
				return &supplies[i], &supplies[i].Outputs[j]
			}
		}
	}
	return nil, nil
}

// plug gives a block the voltage of the output that it is plugged into.
func (p *Placed) plug(supplies []Supply) {
	if _, o := FindOutput(supplies, p.Power); o != nil {
		p.Settings = p.Settings.With("supply", float64(o.Voltage))
	}
}

// Refused says why a block of that kind, which wants that of its supply, may not be plugged into an
// output; "" where it may.
func Refused(kind *blocks.Kind, wants Powered, o *Output) string {
	knob, _ := kind.Knob("supply")
	lowest, highest := knob.Min, knob.Max
	if most := wants.volts(kind)[1]; most > 0 {
		highest = math.Min(highest, float64(most))
	}
	plug := map[bool]string{false: "centre-negative", true: "centre-positive"}
	has := dsp.FormatQuantity(float64(o.Voltage), dsp.Volts)
	switch {
	case o.CentrePositive != wants.CentrePositive:
		return fmt.Sprintf("caution: the plug is %s, and a %s wants it %s; the wrong way round it may be destroyed", plug[o.CentrePositive], kind.Name, plug[wants.CentrePositive])
	case float64(o.Voltage) > highest:
		return fmt.Sprintf("caution: %s is too much for a %s, which takes %s at most; it may be destroyed", has, kind.Name, dsp.FormatQuantity(highest, dsp.Volts))
	case float64(o.Voltage) < lowest:
		return fmt.Sprintf("%s is too little for a %s; what it does under %s is not modelled", has, kind.Name, dsp.FormatQuantity(lowest, dsp.Volts))
	}
	return ""
}

// Plugged is an output with what is plugged into it, as the file has it: a board is powered whether
// its loops are in or out.
type Plugged struct {
	Output   string // like brick.1
	Voltage  dsp.Volt
	Current  dsp.Ampere // the most that it gives
	Draw     dsp.Ampere // of all that is plugged into it
	Isolated bool
	Ripple   dsp.Volt
	Blocks   []string
	Overload bool // more is drawn than it gives
	// too much is drawn from it, a block starves, or one turn of a switch would harm one
	Warnings []string
}

// Plugged is every output of the file's supplies.
func (f *File) Plugged() []Plugged {
	volts := func(v dsp.Volt) string { return dsp.FormatQuantity(float64(v), dsp.Volts) }
	milliamps := func(a dsp.Ampere) string { return dsp.FormatQuantity(math.Round(float64(a)*1e6)/1e6, dsp.Amperes) }
	var list []Plugged
	for _, s := range f.Supplies {
		for _, o := range s.Outputs {
			p := Plugged{Output: s.Name + "." + o.Name, Voltage: o.Voltage, Current: o.Current, Isolated: s.Isolated, Ripple: s.Ripple}
			var each []string
			var most Block // that draws the most
			for _, b := range f.Blocks {
				if b.Power != p.Output {
					continue
				}
				p.Blocks = append(p.Blocks, b.Name)
				p.Draw += b.draw(b.Kind)
				each = append(each, b.Name+" "+milliamps(b.draw(b.Kind)))
				takes := b.volts(b.Kind)
				if o.Voltage < takes[0] {
					p.Warnings = append(p.Warnings, fmt.Sprintf("%s starves: it is made for %s and more, and %s gives %s", b.Name, volts(takes[0]), p.Output, volts(o.Voltage)))
				}
				if most.Kind == nil || b.draw(b.Kind) > most.draw(most.Kind) {
					most = b
				}
				if most := takes[1]; most > 0 && o.Highest > most {
					p.Warnings = append(p.Warnings, fmt.Sprintf("%s can be switched up to %s, and %s takes %s at most: see that it stands at %s before you plug it in", p.Output, volts(o.Highest), b.Name, volts(most), volts(o.Voltage)))
				}
			}
			// no sum of microamperes is finer
			p.Draw = dsp.Ampere(math.Round(float64(p.Draw)*1e6) / 1e6)
			if p.Draw > p.Current {
				p.Overload = true
				free := ""
				if outputs := f.Free(most.Kind, most.Powered); len(outputs) > 0 {
					free = fmt.Sprintf("; free for %s: %s", most.Name, strings.Join(outputs, ", "))
				}
				p.Warnings = append(p.Warnings, fmt.Sprintf("%s is overloaded by %s: %s draw up to %s, and it gives %s%s", p.Output, milliamps(p.Draw-p.Current),
					strings.Join(each, ", "), milliamps(p.Draw), milliamps(p.Current), free))
			}
			list = append(list, p)
		}
	}
	return list
}

// Short is two blocks whose grounds are opposite poles of one supply: their cables join the
// grounds, and with them the poles.
type Short struct {
	Positive, Negative string // the names of the blocks, by the pole that is their ground
	// the output that both are plugged into; or the supply, where its outputs are not isolated
	On       string
	Isolated bool // then On is an output
}

// Shorts is every short of a take, one for each block with a positive ground, whatever is switched
// on.
func (f *File) Shorts(t Take) []Short {
	var list []Short
	all := f.AsSet(t)
	for _, a := range all {
		s, _ := FindOutput(f.Supplies, a.Power)
		if s == nil || a.pole(a.Kind, a.Settings) != blocks.Positive {
			continue
		}
		for _, b := range all {
			on, _ := FindOutput(f.Supplies, b.Power)
			if on != s || s.Isolated && b.Power != a.Power || b.pole(b.Kind, b.Settings) != blocks.Negative {
				continue
			}
			short := Short{Positive: a.Name, Negative: b.Name, On: s.Name, Isolated: s.Isolated}
			if s.Isolated {
				short.On = a.Power
			}
			list = append(list, short)
			break
		}
	}
	return list
}

// Free is the isolated outputs that nothing is plugged into yet, and that give such a block what it
// wants.
func (f *File) Free(kind *blocks.Kind, wants Powered) []string {
	var free []string
	for _, s := range f.Supplies {
		for k, o := range s.Outputs {
			name := s.Name + "." + o.Name
			if !s.Isolated || Refused(kind, wants, &s.Outputs[k]) != "" || o.Current < wants.draw(kind) {
				continue
			}
			taken := false
			for _, b := range f.Blocks {
				taken = taken || b.Power == name
			}
			if !taken {
				free = append(free, name)
			}
		}
	}
	return free
}
