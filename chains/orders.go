package chains

import (
	"context"
	"math"
	"sync"

	"drywire/blocks"
	"drywire/dsp"
)

// NoiseLevels works out the noise at the jack out of many chains that are made of the same blocks, and remembers what they have in common. Its methods may
// be called from several goroutines.
type NoiseLevels struct {
	mu sync.Mutex
	m  *noiseMeter
}

// NewNoiseLevels is for recordings of that rate.
func NewNoiseLevels(rate dsp.Hertz) *NoiseLevels {
	return &NoiseLevels{m: newNoiseMeter(rate, noiseCells/4)} // within some 0.05 dB, as for NoiseMoves
}

// AWeighted is the A-weighted RMS in V of the chain's Ledger at the jack out.
func (n *NoiseLevels) AWeighted(c *Chain) (float64, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	l, err := n.m.ledger(c, "out")
	if err != nil {
		return 0, err
	}
	return l.RMS(AWeighted), nil
}

// StagePeaks finds out how high the signals of a memo go at the stages, and remembers it for all chains that have the same signal there. Its methods
// may be called from several goroutines.
type StagePeaks struct {
	Memo *Memo

	mu    sync.Mutex
	known map[[32]byte]float64
}

// Stage is the highest voltage, peak, that the stage of a wiring senses or puts out.
func (p *StagePeaks) Stage(ctx context.Context, w *Wiring, s blocks.Stage) (float64, error) {
	top := 0.0
	for _, node := range s.Sense {
		v, err := p.peak(w.key(node), func() ([]float64, error) { return p.Memo.node(ctx, w, node) })
		if err != nil {
			return 0, err
		}
		top = max(top, v)
	}
	for _, drive := range s.Drive {
		v, err := p.peak(w.driveKey(drive), func() ([]float64, error) { return p.Memo.driven(ctx, w, drive) })
		if err != nil {
			return 0, err
		}
		top = max(top, v)
	}
	return top, nil
}

func (p *StagePeaks) peak(key [32]byte, signal func() ([]float64, error)) (float64, error) {
	p.mu.Lock()
	v, ok := p.known[key]
	p.mu.Unlock()
	if ok {
		return v, nil
	}
	x, err := signal()
	if err != nil {
		return 0, err
	}
	v = 0
	for _, y := range x {
		v = math.Max(v, math.Abs(y))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.known == nil {
		p.known = map[[32]byte]float64{}
	}
	p.known[key] = v
	return v, nil
}
