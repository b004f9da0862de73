package experiment

import "drywire/chains/board"

// Dry is what was played, in volts, all at one rate: the file's recording, and those of the guitars
// that have one of their own.
type Dry struct {
	Volts []float64
	Own   map[string][]float64 // by the guitar
}

// Of is what a chain plays, in volts.
func (d Dry) Of(c *board.Chain) []float64 {
	if c.RecordingOf == "" {
		return d.Volts
	}
	return d.Own[c.RecordingOf]
}

// alone is for a chain and what it plays.
func alone(x []float64, c *board.Chain) Dry {
	if c.RecordingOf == "" {
		return Dry{Volts: x}
	}
	return Dry{Own: map[string][]float64{c.RecordingOf: x}}
}

// Each is what was played with something done to each recording, in volts.
func (d Dry) Each(do func(x []float64) []float64) Dry {
	e := Dry{do(d.Volts), map[string][]float64{}}
	for guitar, x := range d.Own {
		e.Own[guitar] = do(x)
	}
	return e
}
