package chains

import (
	"strings"

	"drywire/dsp"
)

// Supply is a power supply with several outputs.
type Supply struct {
	Name     string
	Isolated bool // its outputs share nothing; else they are one voltage behind several sockets
	Outputs  []Output
}

// Output is one of a supply's.
type Output struct {
	Name           string
	Voltage        dsp.Volt
	Current        dsp.Ampere // the most it gives
	CentrePositive bool       // the plug's centre; most pedals want it negative
}

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
