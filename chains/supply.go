package chains

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Supply is a power supply with several outputs.
//
// Where its outputs are not isolated, or where the file says so, they have a ripple: of the mains rectified, tones at 100 Hz and its multiples to the tenth,
// each as many times softer as its number (common practice, no source), together of the voltage Ripple. It comes into the chain by what each block's
// circuit makes of it, or by what its kind rejects of it at its output. Not in the model: what the blocks' currents do to a common supply and its
// ground, and clocks that come in by it.
type Supply struct {
	Name     string
	Isolated bool     // its outputs share nothing; else they are one voltage behind several sockets
	Ripple   dsp.Volt // RMS
	Outputs  []Output
}

// Output is one of a supply's.
type Output struct {
	Name           string
	Voltage        dsp.Volt
	Current        dsp.Ampere // the most that it gives
	CentrePositive bool       // the plug's centre; pedals want it negative
}

// usualRipple is that of a common adapter without a regulator for each output: common practice, no source.
const usualRipple dsp.Volt = 5e-3

// find is the output that a name such as brick.1 means.
func find(supplies []Supply, power string) (*Supply, *Output) {
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
	if _, o := find(supplies, p.Power); o != nil {
		p.Settings = p.Settings.With("supply", float64(o.Voltage))
	}
}

// refused says why a block of that kind may not be plugged into an output; "" where it may.
func refused(kind *blocks.Kind, o *Output) string {
	knob, _ := kind.Knob("supply")
	lowest, highest := knob.Min, knob.Max
	if kind.Volts[1] > 0 {
		highest = math.Min(highest, float64(kind.Volts[1]))
	}
	has := dsp.FormatQuantity(float64(o.Voltage), dsp.Volts)
	switch {
	case o.CentrePositive:
		return fmt.Sprintf("caution: the plug is centre-positive, and a %s wants it centre-negative; the wrong way round it may be destroyed", kind.Name)
	case float64(o.Voltage) > highest:
		return fmt.Sprintf("caution: %s is too much for a %s, which takes %s at most; it may be destroyed", has, kind.Name, dsp.FormatQuantity(highest, dsp.Volts))
	case float64(o.Voltage) < lowest:
		return fmt.Sprintf("%s is too little for a %s; what it does under %s is not modelled", has, kind.Name, dsp.FormatQuantity(lowest, dsp.Volts))
	}
	return ""
}

// Plugged is an output with what is plugged into it, as the file has it: a board is powered whether its loops are in or out.
type Plugged struct {
	Output   string // like brick.1
	Voltage  dsp.Volt
	Current  dsp.Ampere // the most that it gives
	Draw     dsp.Ampere // of all that is plugged into it
	Isolated bool
	Ripple   dsp.Volt
	Blocks   []string
	Warnings []string // too much is drawn from it, or a block starves
}

// Plugged is every output of the file's supplies.
func (f *File) Plugged() []Plugged {
	var list []Plugged
	for _, s := range f.Supplies {
		for _, o := range s.Outputs {
			p := Plugged{Output: s.Name + "." + o.Name, Voltage: o.Voltage, Current: o.Current, Isolated: s.Isolated, Ripple: s.Ripple}
			for _, b := range f.Blocks {
				if b.Power != p.Output {
					continue
				}
				p.Blocks = append(p.Blocks, b.Name)
				p.Draw += b.Kind.Draw
				if o.Voltage < b.Kind.Volts[0] {
					p.Warnings = append(p.Warnings, fmt.Sprintf("%s starves: it is made for %s and more, and %s gives %s", b.Name,
						dsp.FormatQuantity(float64(b.Kind.Volts[0]), dsp.Volts), p.Output, dsp.FormatQuantity(float64(o.Voltage), dsp.Volts)))
				}
			}
			p.Draw = dsp.Ampere(math.Round(float64(p.Draw)*1e6) / 1e6) // no sum of microamperes is finer
			if p.Draw > p.Current {
				p.Warnings = append(p.Warnings, fmt.Sprintf("%s is overloaded: %s draw up to %s, and it gives %s", p.Output, strings.Join(p.Blocks, ", "),
					dsp.FormatQuantity(float64(p.Draw), dsp.Amperes), dsp.FormatQuantity(float64(p.Current), dsp.Amperes)))
			}
			list = append(list, p)
		}
	}
	return list
}

// What ripple is made of.
const (
	rippleTone      = 100.0 // Hz: mains of 50 Hz, rectified both ways
	rippleHarmonics = 10
)

// rippleLines is the tones of a ripple by their mean squares.
func rippleLines(volts dsp.Volt) []Line {
	sum := 0.0
	for k := 1.0; k <= rippleHarmonics; k++ {
		sum += 1 / (k * k)
	}
	var lines []Line
	for k := 1.0; k <= rippleHarmonics; k++ {
		lines = append(lines, Line{k * rippleTone, float64(volts*volts) / (k * k) / sum})
	}
	return lines
}

// rippling is a block of the chain and the supply that it is plugged into; nil where that has no ripple.
func (c *Chain) rippling(owner string) (*Placed, *Supply) {
	for _, p := range c.Every() {
		if s, _ := find(c.Supplies, p.Power); p.Name == owner && s != nil && s.Ripple > 0 {
			return &p, s
		}
	}
	return nil, nil
}

// rippleIn adds the ripple of every supply that a block has in this section. transfer is the gain from a source to the jack
// at a frequency.
func (n *noiseWalk) rippleIn(part *circuit.Netlist, transfer func(input string, f float64) complex128) {
	for _, source := range part.Supplies() {
		if p, s := n.w.Chain.rippling(source.Owner); p != nil {
			n.addRipple(p, s, func(f float64) float64 { return dsp.Abs2(transfer(source.Name, f)) })
		}
	}
}

// rippleOf adds the ripple of the block whose last stage this is, where its circuit has no supply, at that stage's output.
// gain is the power gain from its outputs to the jack.
func (n *noiseWalk) rippleOf(stage blocks.Stage, gain func(f float64) float64) {
	p, s := n.w.Chain.rippling(stage.Owner)
	if p == nil || slices.ContainsFunc(n.w.Circuit.Supplies(), func(e circuit.Part) bool { return e.Owner == p.Name }) {
		return
	}
	last := ""
	for _, other := range n.w.Stages {
		if other.Owner == p.Name {
			last = other.Name
		}
	}
	if stage.Name == last {
		rejected := math.Pow(10, -p.Kind.Rejection/10)
		n.addRipple(p, s, func(f float64) float64 { return rejected * gain(f) })
	}
}

// addRipple adds the ripple of a supply to the shares of a block, given the power gain from there to the jack.
func (n *noiseWalk) addRipple(p *Placed, s *Supply, gain func(f float64) float64) {
	share := n.share(p.Name, p.Name+".supply", "ripple")
	for _, l := range rippleLines(s.Ripple) {
		share.Lines = append(share.Lines, Line{l.Frequency, l.Power * gain(l.Frequency)})
	}
}
