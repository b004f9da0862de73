package experiment

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// Cancellation is how far the two paths of a split cancel when they are summed: in one
// loudspeaker, or at a listener between two. It is of the small-signal responses to the two ends,
// from 80 Hz to 5 kHz, with as much power in every octave, as music has it on the whole: from the
// pickup, or from behind the last block in front of both paths that states no response. Where a
// block in one of the paths states none, as a reverb, it is of what such a sound makes at the two
// ends when it is rendered, cancelLevel loud at the pickup.
type Cancellation struct {
	Rendered    bool    // by rendering, not by the responses
	Correlation float64 // of the two ends, -1 to 1
	// level of their sum re the sum of their powers: 3 dB for two that are equal, 0 for two that
	// are uncorrelated
	MonoDB  float64
	WorstHz float64 // the middle of the octave in which the sum is lowest
	WorstDB float64 // and its level there
}

// The rule. Under a correlation of -0.5, two paths of one level sum to 3 dB less than their powers:
// turning one of them up makes it softer. In an octave alone, it takes 6 dB. Common practice, no
// source: meters of correlation are read as trouble below 0, and two microphones that share a
// source by accident stay above -0.5.
const (
	cancelCorrelation = -0.5
	cancelOctave      = -6.0 // dB
)

// Cancels reports whether the two paths cancel, by the rule.
func (x Cancellation) Cancels() bool {
	return x.Correlation < cancelCorrelation || x.WorstDB <= cancelOctave
}

func (x Cancellation) String() string {
	by := ""
	if x.Rendered {
		by = " (by rendering)"
	}
	level := func(db float64) string {
		if db < -100 {
			return "under -100 dB"
		}
		return fmt.Sprintf("%.1f dB", db)
	}
	return fmt.Sprintf("correlation %.2f%s, the sum %s re the sum of powers, lowest in the octave of %.0f Hz: %s",
		x.Correlation, by, level(x.MonoDB), x.WorstHz, level(x.WorstDB))
}

// The octaves in which cancellation is looked for, each in cancelSteps.
const (
	cancelLow     = 80.0
	cancelOctaves = 6
	cancelSteps   = 48
)

// CancellationOf looks at the two paths of a split, with knobs that move where they are at 0 s. The
// error is of a take that does not split, of a path through which nothing comes, or of a render.
func CancellationOf(c *board.Chain, ctx context.Context, rate dsp.Hertz) (Cancellation, error) {
	if c.Split == nil {
		return Cancellation{}, fmt.Errorf("take %q does not split", c.Take)
	}
	plain := *c.At(0)
	// the source is the pickup then; what the recording was made into is the same for both paths
	plain.Recording.Load = nil
	x := Cancellation{WorstDB: math.Inf(1)}
	octaves, err := octavesByResponse(&plain, rate)
	if err != nil {
		x.Rendered = true
		if octaves, err = octavesByRendering(&plain, ctx, rate); err != nil {
			return x, fmt.Errorf("take %q: %w", c.Take, err)
		}
	}
	var whole paths
	for o, p := range octaves {
		whole.left, whole.right, whole.cross = whole.left+p.left, whole.right+p.right, whole.cross+p.cross
		if db := dsp.ToDB(math.Sqrt(p.sum() / (p.left + p.right))); p.left+p.right > 0 && db < x.WorstDB {
			x.WorstHz, x.WorstDB = cancelLow*math.Pow(2, float64(o)+0.5), db
		}
	}
	if whole.left == 0 || whole.right == 0 {
		return x, fmt.Errorf("take %q: nothing comes through one of the two paths", c.Take)
	}
	x.Correlation = whole.cross / math.Sqrt(whole.left*whole.right)
	x.MonoDB = dsp.ToDB(math.Sqrt(whole.sum() / (whole.left + whole.right)))
	return x, nil
}

// paths is the powers of the two ends in a band, and what they have in common.
type paths struct{ left, right, cross float64 }

// sum is the power of both together.
func (p paths) sum() float64 { return max(0, p.left+p.right+2*p.cross) }

// octavesByResponse is an error where a stage in one of the paths states no response.
func octavesByResponse(c *board.Chain, rate dsp.Hertz) (list [cancelOctaves]paths, err error) {
	r := wiring.NewResponder(wiring.Of(c, rate, section.Draft))
	// what states no response in front of both paths is the same for both
	r.Begin = func(owner string) bool {
		return slices.ContainsFunc(c.Blocks, func(b board.Placed) bool { return b.Name == owner })
	}
	for o := range list {
		for k := range cancelSteps {
			f := dsp.Hertz(cancelLow * math.Pow(2, float64(o)+(float64(k)+0.5)/cancelSteps))
			a, err := r.At(board.OutLeft, f)
			if err != nil {
				return list, err
			}
			b, err := r.At(board.OutRight, f)
			if err != nil {
				return list, err
			}
			p := &list[o]
			p.left, p.right, p.cross = p.left+dsp.Abs2(a), p.right+dsp.Abs2(b), p.cross+real(a*cmplx.Conj(b))
		}
	}
	return list, nil
}

// What is rendered: as many tones in every octave, at chance in their places, so that no echo finds
// them in step; after a second, when a reverb has come up, for two more, which leaves a tenth of
// chance in the lowest octave. From memory, a guitar's pickup while it is played: tens of
// millivolts.
const (
	cancelLevel  = 50e-3 // V RMS at the pickup
	cancelSettle = 1.0   // s
	cancelListen = 2.0   // s
	cancelFFT    = 8192
)

// octavesByRendering is of the chain as it is, with its non-linearities.
func octavesByRendering(c *board.Chain, ctx context.Context, rate dsp.Hertz) (list [cancelOctaves]paths, err error) {
	in := make([]float64, int((cancelSettle+cancelListen)*float64(rate)))
	chance := rand.New(rand.NewPCG(1, 2))
	amplitude := cancelLevel * math.Sqrt(2/float64(cancelOctaves*cancelSteps))
	for k := range cancelOctaves * cancelSteps {
		f := cancelLow * math.Pow(2, (float64(k)+chance.Float64())/cancelSteps)
		z, step := cmplx.Rect(amplitude, 2*math.Pi*chance.Float64()), cmplx.Rect(1, 2*math.Pi*f/float64(rate))
		for n := range in {
			in[n] += real(z)
			z *= step
		}
	}
	held := *c
	held.Changes = nil
	r, err := render.PlanOf(&held, rate, section.Draft).Renderer(board.OutLeft, board.OutRight)
	if err != nil {
		return list, err
	}
	var ends [3][]float64 // left, right, and both together
	if err := r.Run(ctx, render.Volts(in), 0, func(taps [][]float64) error {
		ends[0], ends[1] = append(ends[0], taps[0]...), append(ends[1], taps[1]...)
		return nil
	}); err != nil {
		return list, err
	}
	for k, v := range ends[0] {
		ends[2] = append(ends[2], v+ends[1][k])
	}
	var power [3]measure.Spectrum
	for k, x := range ends {
		if power[k], err = measure.Welch(x[int(cancelSettle*float64(rate)):], float64(rate), cancelFFT); err != nil {
			return list, err
		}
	}
	for o := range list {
		low, high := cancelLow*math.Pow(2, float64(o)), cancelLow*math.Pow(2, float64(o)+1)
		p := paths{left: power[0].Power(low, high), right: power[1].Power(low, high)}
		p.cross = (power[2].Power(low, high) - p.left - p.right) / 2
		list[o] = p
	}
	return list, nil
}
