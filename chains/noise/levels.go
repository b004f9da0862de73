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

// AWeighted is the A-weighted RMS in V of the chain's Ledger at the jack out. The errors are At's.
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
// the ripple of supplies. Only one of them may be wanted: where the noise has to be rendered, what
// is noise takes one rendering and what is tones two. Brief renders 0.3 s of what is noise after
// 0.5 s, and does not wait for echoes to fill: what that leaves out is much the same in chains that
// are nearly alike, and so is to be compared with others that were. Tones, which add up over all
// repeats, are waited for all the same. The errors are At's.
func (n *NoiseLevels) Parts(c *board.Chain, tones, brief bool) (hiss, hum float64, err error) {
	end := c.Ends()[0]
	l, q, near, err := n.small(c, end)
	if err != nil {
		return 0, 0, err
	}
	how := coarsely
	if brief && !tones {
		how = briefly
	}
	if !how.waits { // nothing of the meter is written to
		return n.parts(q, l, near, end, tones, how)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.parts(q, l, near, end, tones, how)
}

func (n *NoiseLevels) small(c *board.Chain, end string) (*Ledger, *quiet, []threshold, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	q := n.m.quiet(c)
	l, near, err := n.m.linear(q, []string{end}, true)
	return l, q, near, err
}

func (n *NoiseLevels) parts(q *quiet, l *Ledger, near []threshold, end string, tones bool, how hearing) (hiss, hum float64, err error) {
	whole := 0.0
	if len(near) == 0 || tones {
		if len(near) > 0 {
			if err := n.m.render(q.plan, l, []string{end}, near, how); err != nil {
				return 0, 0, err
			}
		}
		whole = l.RMS(AWeighted)
	}
	if len(near) > 0 { // once more without what makes tones
		l.Whole = nil
		if l.Shares, err = n.m.withoutTones(q.chain, how); err != nil {
			return 0, 0, err
		}
	}
	for k := range l.Shares {
		l.Shares[k].Lines = nil
	}
	hiss = l.RMS(AWeighted)
	return hiss, math.Sqrt(math.Max(0, whole*whole-hiss*hiss)), nil
}
