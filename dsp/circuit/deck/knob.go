package deck

import (
	"strings"

	"drywire/dsp"
)

// knobComment is what a comment says of a knob.
type knobComment struct {
	name, brief string
	at          place
	dial        bool
	unit        dsp.Unit
	low, high   float64
}

var units = map[string]dsp.Unit{
	"": dsp.None, "ohm": dsp.Ohms, "f": dsp.Farads, "h": dsp.Henries, "v": dsp.Volts, "a": dsp.Amperes,
	"hz": dsp.Hertzes, "s": dsp.Seconds, "db": dsp.Decibels,
}

// readKnob reads "knob NAME: what it does" and "knob NAME LOW HIGH UNIT: what it does".
func readKnob(c card, f *faulty) (k knobComment, ok bool) {
	head, brief, _ := strings.Cut(c.text, ":")
	fields := strings.Fields(strings.ToLower(strings.NewReplacer("µ", "u", "Ω", "ohm").Replace(head)))[1:]
	k.at, k.brief = c.place(0), strings.TrimSpace(brief)
	wrong := func() (knobComment, bool) {
		f.at(k.at, "want * knob NAME: what it does, of a dial; or * knob NAME LOW HIGH UNIT: what it does (units: ohm, F, H, V, A, Hz, s, dB, or none)")
		return k, false
	}
	if len(fields) == 0 || len([]rune(k.brief)) > 200 {
		return wrong()
	}
	k.name = fields[0]
	if k.dial = len(fields) == 1; k.dial {
		return k, true
	}
	if len(fields) < 3 || len(fields) > 4 {
		return wrong()
	}
	var err error
	if k.low, err = number(fields[1]); err != nil {
		return wrong()
	}
	if k.high, err = number(fields[2]); err != nil {
		return wrong()
	}
	if len(fields) == 4 {
		if k.unit, ok = units[fields[3]]; !ok {
			return wrong()
		}
	}
	if k.low >= k.high {
		return wrong()
	}
	return k, true
}
