package engine

import (
	"math"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// guess estimates the gains of a preview from what has been rendered of it so far.
// The loudness of a whole loop is that of what was heard before, corrected by how much louder the
// preview is over the same stretch of it; with nothing heard before, it is that of the stretch,
// where the recording is not softer there than on the whole.
type guess struct {
	p        *playing
	old      *Sound  // heard before; nil for none
	oldGain  float64 // of that
	other    float64 // the gain of the other side, where it is known
	skip     int     // samples at the beginning that do not count
	at       int     // in the loop, of the next
	now, was measure.LevelMeter
	nowLoud  *measure.LoudnessMeter
	wasLoud  *measure.LoudnessMeter
	peak     float64
	told     float64 // the last gain that was sent
}

func (p *playing) guess(start, settled int) *guess {
	g := &guess{p: p, skip: settled / 2, at: start}
	rate := float64(p.loop.rate)
	g.nowLoud, g.wasLoud = measure.NewLoudnessMeter(rate, measure.Mono), measure.NewLoudnessMeter(rate, measure.Mono)
	both := p.meta.Channels == 2 || len(p.other.ears()) == 2
	for _, h := range p.heard {
		if s, err := h.settled(p.ctx, both); err == nil && s.Matched {
			g.old, g.oldGain = h, s.Gain
			break
		}
	}
	if s := p.engine.Known(p.engine.wired(p.otherLoop, p.other).key); s != nil {
		if level, err := s.settled(p.ctx, both); err == nil && level.Matched {
			g.other = level.Gain
		}
	}
	return g
}

// push takes the next samples of the preview.
func (g *guess) push(taps [][]float64) {
	n := len(taps[0])
	drop := min(g.skip, n)
	g.skip -= drop
	if drop < n {
		now, was := make([]float64, n-drop), make([]float64, n-drop)
		mean(now, taps, drop)
		for _, x := range taps {
			for _, v := range x[drop:] {
				g.peak = max(g.peak, math.Abs(v))
			}
		}
		if g.old != nil {
			for k := range was {
				at := (g.at + drop + k) % int(g.p.n)
				if at < 0 {
					at += int(g.p.n)
				}
				for _, x := range g.old.volts {
					was[k] += float64(x[at]) / float64(len(g.old.volts))
				}
			}
		} else {
			g.p.loop.round(was, g.at+drop)
		}
		g.now.Push(now)
		g.was.Push(was)
		g.nowLoud.Push(now)
		g.wasLoud.Push(was)
	}
	g.at += n
}

// mean is the mean of all channels from a sample on.
func mean(dst []float64, channels [][]float64, from int) {
	for _, x := range channels {
		for k, v := range x[from:] {
			dst[k] += v / float64(len(channels))
		}
	}
}

// worthRetelling is by how many dB a gain must have changed to be sent again.
const worthRetelling = 0.2

// better puts the gains into meta, and says whether they are worth telling.
func (g *guess) better(m *Meta) bool {
	gain := g.gain()
	if most := dsp.FromDB(experiment.Ceiling) / max(g.peak, measures.Silence); gain > most {
		gain = most
	}
	if g.told != 0 && math.Abs(dsp.ToDB(gain/g.told)) < worthRetelling && gain*g.peak <= dsp.FromDB(experiment.Ceiling) {
		return false
	}
	g.told = gain
	common := gain
	if g.other > 0 {
		common = min(common, g.other)
	}
	m.gains(gain, common)
	return true
}

// gain is the gain that brings the whole loop to the usual loudness, as far as can be told.
func (g *guess) gain() float64 {
	now, err := g.now.Levels()
	if err != nil || now.RMS < measures.Silence {
		return max(g.oldGain, 1)
	}
	was, err := g.was.Levels()
	if err != nil || was.RMS < measures.Silence {
		was.RMS = now.RMS
	}
	if g.old == nil {
		softer := 1.0
		if levels, err := measure.MeasureLevels(g.p.loop.x); err == nil {
			softer = max(1, levels.RMS/was.RMS)
		}
		return dsp.FromDB(experiment.Target) / (now.RMS * softer)
	}
	louder := dsp.ToDB(now.RMS / was.RMS)
	a, err := g.nowLoud.Integrated()
	if err == nil {
		if b, err := g.wasLoud.Integrated(); err == nil {
			louder = a - b
		}
	}
	return g.oldGain * dsp.FromDB(-louder)
}
