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

// UsualRipple is that of a common adapter without a regulator for each output: common practice, no source.
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

// Refused says why a block of that kind may not be plugged into an output; "" where it may.
func Refused(kind *blocks.Kind, o *Output) string {
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
