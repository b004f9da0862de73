package blocks

import "drywire/dsp"

// TrebleBleed is what lets treble past a volume pot that is turned down: a capacitor from its top
// to its wiper. The zero value is none.
type TrebleBleed struct {
	Capacitor dsp.Farad
	Series    dsp.Ohm // in series with the capacitor; 0: none
	Parallel  dsp.Ohm // beside both; 0: none
}

// TrebleBleed adds a treble bleed between the top and the wiper of a pot.
func (b *Bench) TrebleBleed(name, top, wiper string, t TrebleBleed) {
	if t.Capacitor == 0 {
		return
	}
	from := top
	if t.Series > 0 {
		from = name + ".middle"
		b.R(name+".series", top, from, t.Series)
	}
	b.C(name, from, wiper, t.Capacitor)
	if t.Parallel > 0 {
		b.R(name+".parallel", top, wiper, t.Parallel)
	}
}
