package noise

import (
	"math"
	"sync"

	"drywire/chains/board"
	"drywire/dsp"
)

// NoiseLevels computes the noise at the jack out of many chains that are made of the same blocks,
// and remembers what they have in common. Its methods may be called from several goroutines.
type NoiseLevels struct {
	mu sync.Mutex
	m  *noiseMeter
}

// NewNoiseLevels is for recordings of that rate.
func NewNoiseLevels(rate dsp.Hertz) *NoiseLevels {
	return &NoiseLevels{m: newNoiseMeter(rate, noiseCells/4)} // within some 0.05 dB, as for Moves
}

// AWeighted is the A-weighted RMS in V of the chain's Ledger at the jack out.
func (n *NoiseLevels) AWeighted(c *board.Chain) (float64, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	l, err := n.m.ledger(c, c.Ends()[0])
	if err != nil {
		return 0, err
	}
	return l.RMS(AWeighted), nil
}

// Parts is the A-weighted RMS in V at the last jack of what is noise and of what is tones: hum and
// the ripple of supplies.
func (n *NoiseLevels) Parts(c *board.Chain) (hiss, tones float64, err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	l, err := n.m.ledger(c, c.Ends()[0])
	if err != nil {
		return 0, 0, err
	}
	whole := l.RMS(AWeighted)
	if l.Whole != nil { // rendered: once more without what makes tones
		l.Whole = nil
		if l.Shares, err = n.m.withoutTones(c); err != nil {
			return 0, 0, err
		}
	}
	for k := range l.Shares {
		l.Shares[k].Lines = nil
	}
	hiss = l.RMS(AWeighted)
	return hiss, math.Sqrt(math.Max(0, whole*whole-hiss*hiss)), nil
}
