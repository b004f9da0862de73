package experiment

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/parallel"
)

// The ceiling of a block is the peak, at its input jack, of a steady sine of 1 kHz whose total
// harmonic distortion at the block's output is 1 %. That a rated output is one at a stated
// distortion is IEC 60268-3's distortion-limited output voltage (from memory); 1 % is common
// practice, no source. It is the same for a stage that clips at its rails and for a circuit that
// distorts long before its supply.
const (
	CeilingTone = dsp.Hertz(1000)

	ceilingTHD   = 0.01
	ceilingLow   = 0.1e-3 // V peak at the source: where looking begins
	ceilingHigh  = 30.0   // and ends
	ceilingSteps = 11     // halvings of 110 dB: to 0.05 dB
)

// BlockCeiling is the ceiling of a block in its place in a chain.
type BlockCeiling struct {
	Block string
	Volts float64 // peak at its input jack; 0 where it has none
	Why   string  // it has none
}

// Ceilings is the ceiling of every block, in the order of Every. What is before a block is taken
// for a source with the magnitude of its small-signal impedance at 1 kHz, what is after it for a
// resistor of that of its input.
func Ceilings(c *board.Chain, ctx context.Context, rate dsp.Hertz) ([]BlockCeiling, error) {
	return ceilings(c, ctx, rate, func(string) bool { return true })
}

// ceilings is Ceilings of those blocks that are wanted; the others have none.
func ceilings(c *board.Chain, ctx context.Context, rate dsp.Hertz, wanted func(block string) bool) ([]BlockCeiling, error) {
	hands, err := wiring.Handovers(c, CeilingTone)
	if err != nil {
		return nil, err
	}
	all := c.Every()
	list := make([]BlockCeiling, len(all))
	faults := make([]error, len(all))
	parallel.For(len(all), func(k int) {
		at := k // of its hand-over: one more per list of blocks
		if c.Split != nil && k >= len(c.Blocks) {
			at++
			if k >= len(c.Blocks)+len(c.Split.Left) {
				at++
			}
		}
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

// CeilingOf looks a ceiling up where the same block between the same impedances has been measured
// before; takes have most of them in common.
func CeilingOf(p board.Placed, ctx context.Context, rate dsp.Hertz, source, load dsp.Ohm) (BlockCeiling, error) {
	if p.Piece != nil || p.Kind == nil {
		return measureCeiling(p, ctx, rate, source, load)
	}
	key := fmt.Sprintf("%s %v %x %x %x %s", p.Kind.Name, p.Off, float64(rate), float64(source), float64(load), p.Settings)
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
	if w := wiring.Between(p, rate, source, load); len(w.Stages) == 0 && w.Circuit.Linear() {
		look.Why = "nothing in it clips"
		return look, nil
	}
	// distortion is the THD at the output, and the peak at the input, for a tone at the source.
	distortion := func(level float64) (thd, peak float64, err error) {
		w := render.NewPlan(wiring.Between(p, rate, source, load))
		r, err := w.Renderer(p.In(), p.Out())
		if err != nil {
			return 0, 0, err
		}
		last := int(0.1 * float64(rate))
		n := int((0.1+math.Min(2, float64(w.Tail())))*float64(rate)) + last
		in := make([]float64, n)
		for k := range in {
			in[k] = level * math.Sin(2*math.Pi*float64(CeilingTone)/float64(rate)*float64(k))
		}
		var taps [2][]float64
		if err := r.Run(ctx, render.Volts(in), 0, func(b [][]float64) error {
			for k := range taps {
				taps[k] = append(taps[k], b[k]...)
			}
			return nil
		}); err != nil {
			return 0, 0, err
		}
		before, err := measure.FitHarmonics(taps[0][n-last:], float64(rate), float64(CeilingTone), 1)
		if err != nil {
			return 0, 0, err
		}
		after, err := measure.FitHarmonics(taps[1][n-last:], float64(rate), float64(CeilingTone), 10)
		if err != nil {
			return 0, 0, err
		}
		return after.THD(), before.Amplitude[0], nil
	}
	var err error
	look.Volts, look.Why, err = seek(distortion)
	// at some level, if not at all of them: with its level at 0, say
	if errors.As(err, new(measure.NotMeasurable)) {
		look.Volts, look.Why, err = 0, "no tone comes through", nil
	}
	return look, err
}

// seek finds the peak at the input at which the distortion passes ceilingTHD, or why there is none.
func seek(distortion func(level float64) (thd, peak float64, err error)) (volts float64, why string, err error) {
	high, peak, err := distortion(ceilingHigh)
	if err != nil {
		return 0, "", err
	}
	if high < ceilingTHD {
		return 0, fmt.Sprintf("%.3g V at its input do not bring 1 %% of distortion", peak), nil
	}
	low, _, err := distortion(ceilingLow)
	if errors.As(err, new(measure.NotMeasurable)) {
		return 0, "no soft tone comes through", nil
	}
	if err != nil {
		return 0, "", err
	}
	if low > ceilingTHD {
		return 0, "it distorts however small the tone", nil
	}
	from, to := math.Log(ceilingLow), math.Log(ceilingHigh)
	for range ceilingSteps {
		middle := (from + to) / 2
		thd, at, err := distortion(math.Exp(middle))
		if err != nil {
			return 0, "", err
		}
		if thd < ceilingTHD {
			from = middle
		} else {
			to = middle
		}
		volts = at
	}
	return volts, "", nil
}
