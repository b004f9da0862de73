package experiment

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/parallel"
)

// A block has two ceilings, each the peak, at its input jack, of a steady sine of 1 kHz: where it
// begins to colour, with a total harmonic distortion of 1 % at its output, and where it breaks up.
// That a rated output is one at a stated distortion is IEC 60268-3's distortion-limited output
// voltage (from memory). It breaks up with 10 %, which the output of valve amplifiers is rated at,
// or where its gain has fallen by 1 dB since it began to colour: what is clipped stops to grow,
// also where a filter behind it hides its harmonics, as in an overdrive. 1 %, 10 % and 1 dB: common
// practice, no source. Of a sine that is clipped hard both are nearly one: with 10 % it has lost
// 1.1 dB (closed form). What only compresses does not break up, since it does not colour.
const (
	CeilingTone = dsp.Hertz(1000)

	colourTHD  = 0.01
	breakUpTHD = 0.1
	breakUpDB  = 1.0 // of gain

	ceilingLow  = 0.1e-3 // V peak at the source: where looking begins
	ceilingHigh = 30.0   // and ends
	ceilingStep = 0.06   // dB: how finely
)

// BlockCeiling is the ceilings of a block in its place in a chain: V peak at its input jack.
type BlockCeiling struct {
	Block    string
	Colours  measures.Figure
	BreaksUp measures.Figure
}

// Ceilings is the ceilings of every block, in the order of Every. What is before a block is taken
// for a source with the magnitude of its small-signal impedance at 1 kHz, what is after it for a
// resistor of that of its input. The error is of a render.
func Ceilings(c *board.Chain, ctx context.Context, rate dsp.Hertz) ([]BlockCeiling, error) {
	return ceilings(c, ctx, rate, func(string) bool { return true })
}

// ceilings is Ceilings of those blocks that are wanted; of the others nothing is said.
func ceilings(c *board.Chain, ctx context.Context, rate dsp.Hertz, wanted func(block string) bool) ([]BlockCeiling, error) {
	hands, err := wiring.Handovers(c, CeilingTone)
	if err != nil {
		return nil, err
	}
	all := c.Every()
	list := make([]BlockCeiling, len(all))
	faults := make([]error, len(all))
	parallel.For(len(all), func(k int) {
		at := handover(c, k)
		if list[k].Block = all[k].Name; !wanted(list[k].Block) {
			return
		}
		list[k], faults[k] = CeilingOf(all[k], ctx, rate, dsp.Ohm(cmplx.Abs(hands[at].Source)), dsp.Ohm(cmplx.Abs(hands[at+1].Input)))
	})
	for k, err := range faults {
		if err != nil {
			return nil, fmt.Errorf("take %q: ceiling of %s: %w", c.Take, all[k].Name, err)
		}
	}
	return list, nil
}

// CeilingOf looks ceilings up where the same block between the same impedances has been measured
// before; takes have most of them in common. The error is of a render.
func CeilingOf(p board.Placed, ctx context.Context, rate dsp.Hertz, source, load dsp.Ohm) (BlockCeiling, error) {
	if p.Piece != nil || p.Kind == nil {
		return measureCeiling(p, ctx, rate, source, load)
	}
	key := fmt.Sprintf("%s %v %x %x %x %s", p.Kind.Key(), p.Off, float64(rate), float64(source), float64(load), p.Settings)
	if known, ok := knownCeilings.Load(key); ok {
		c := known.(BlockCeiling)
		c.Block = p.Name
		return c, nil
	}
	c, err := measureCeiling(p, ctx, rate, source, load)
	if err == nil {
		knownCeilings.Store(key, c)
	}
	return c, err
}

// knownCeilings is what measureCeiling has found, by all that it depends on.
var knownCeilings sync.Map

func measureCeiling(p board.Placed, ctx context.Context, rate dsp.Hertz, source, load dsp.Ohm) (BlockCeiling, error) {
	look := BlockCeiling{Block: p.Name}
	w := wiring.Between(p, rate, source, load)
	if len(w.Stages) == 0 && w.Circuit.Linear() {
		look.Colours = measures.None("nothing in it clips")
		look.BreaksUp = look.Colours
		return look, nil
	}
	alone := render.NewPlan(w)
	s := seeker{try: func(level float64) (tried, error) { return playAlone(p, ctx, alone, CeilingTone, level, 2) }}
	began, err := s.at(ceilingLow)
	if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
		return look, err
	}
	for _, c := range []struct {
		to     *measures.Figure
		past   func(tried) bool
		limits string
	}{
		{&look.Colours, func(t tried) bool { return t.thd >= colourTHD }, fmt.Sprintf("%g %%", 100*colourTHD)},
		{&look.BreaksUp, func(t tried) bool {
			return t.thd >= breakUpTHD || t.thd >= colourTHD && dsp.ToDB(began.gain/t.gain) >= breakUpDB
		}, fmt.Sprintf("%g %%", 100*breakUpTHD)},
	} {
		var at tried
		if *c.to, at, err = s.seek(c.past, c.limits); errors.As(err, new(measure.NotMeasurable)) {
			// at some level, if not at all of them: with its level at 0, say
			*c.to, err = measures.None("no tone comes through"), nil
		}
		if err != nil {
			return look, err
		}
		if c.to.OK() {
			began = at
		}
	}
	return look, nil
}

// tried is a tone at a level, V peak at the source, and what came of it: its THD as a ratio, its
// peak at the input in volts, and the gain of its fundamental.
type tried struct{ level, thd, peak, gain float64 }

// seeker finds the levels at which tones pass limits, and tries none twice.
type seeker struct {
	try   func(level float64) (tried, error)
	known []tried
}

func (s *seeker) at(level float64) (tried, error) {
	for _, t := range s.known {
		if t.level == level {
			return t, nil
		}
	}
	t, err := s.try(level)
	if err == nil {
		s.known = append(s.known, t)
	}
	return t, err
}

// seek finds the peak at the input at which a tone passes a limit, with the tone, or why there is
// none.
func (s *seeker) seek(past func(tried) bool, limit string) (measures.Figure, tried, error) {
	high, err := s.at(ceilingHigh)
	if err != nil {
		return measures.Figure{}, high, err
	}
	if !past(high) {
		return measures.None("%.3g V at its input do not bring %s of distortion", high.peak, limit), high, nil
	}
	low, err := s.at(ceilingLow)
	if errors.As(err, new(measure.NotMeasurable)) {
		return measures.None("no soft tone comes through"), low, nil
	}
	if err != nil {
		return measures.Figure{}, low, err
	}
	if past(low) {
		return measures.None("it distorts however small the tone"), low, nil
	}
	from, to := low, high
	for _, t := range s.known {
		if past(t) && t.level < to.level {
			to = t
		}
	}
	for _, t := range s.known {
		if t.level < to.level && t.level > from.level {
			from = t
		}
	}
	for dsp.ToDB(to.level/from.level) > ceilingStep {
		t, err := s.at(math.Sqrt(from.level * to.level))
		if err != nil {
			return measures.Figure{}, t, err
		}
		if past(t) {
			to = t
		} else {
			from = t
		}
	}
	return measures.Figure{Value: to.peak}, to, nil
}
