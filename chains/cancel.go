package chains

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"drywire/dsp"
	"drywire/dsp/section"
)

// Cancellation is what becomes of the two paths of a split when they are heard as one: from one loudspeaker, or by a listener between two. It is of the
// small-signal responses to the two ends, from 80 Hz to 5 kHz, with as much power in every octave, as music has it on the whole: from the pickup, or from
// behind the last block in front of both paths that states no response.
type Cancellation struct {
	Correlation float64 // of the two ends, -1 to 1
	MonoDB      float64 // level of their sum re the sum of their powers: 3 dB for two that are equal, 0 for two that know nothing of each other
	WorstHz     float64 // the middle of the octave in which the sum is lowest
	WorstDB     float64 // and its level there
}

// The rule. Under a correlation of -0.5, two paths of one level sum to 3 dB less than their powers: turning one of them up makes it softer. In an octave
// alone, it takes 6 dB. Common practice, no source: meters of correlation are read as trouble below 0, and two microphones that share a source by
// accident stay above -0.5.
const (
	cancelCorrelation = -0.5
	cancelOctave      = -6.0 // dB
)

// Cancels says whether the two paths cancel, by the rule.
func (x Cancellation) Cancels() bool {
	return x.Correlation < cancelCorrelation || x.WorstDB <= cancelOctave
}

func (x Cancellation) String() string {
	return fmt.Sprintf("correlation %.2f, the sum %.1f dB re the sum of powers, lowest in the octave of %.0f Hz: %.1f dB",
		x.Correlation, x.MonoDB, x.WorstHz, x.WorstDB)
}

// cancelOctaves are the octaves, each in so many steps.
const (
	cancelLow     = 80.0
	cancelOctaves = 6
	cancelSteps   = 48
)

// Cancellation looks at the two paths of a split. It is an error where a stage in one of the paths states no response.
func (c *Chain) Cancellation(rate dsp.Hertz) (Cancellation, error) {
	if c.Split == nil {
		return Cancellation{}, fmt.Errorf("take %q does not split", c.Take)
	}
	plain := *c
	plain.Recording.Load = nil // the source is the pickup then; what the recording was made into is the same for both paths
	r := newResponder(plain.Wire(rate, section.Draft))
	r.begin = func(stage string) bool { // what states no response in front of both paths is the same for both
		return slices.ContainsFunc(c.Blocks, func(b Placed) bool { return strings.HasPrefix(stage, b.Name+".") })
	}
	var x Cancellation
	var left, right, cross, sum float64
	x.WorstDB = math.Inf(1)
	for o := range cancelOctaves {
		var power, mono float64
		for k := range cancelSteps {
			f := dsp.Hertz(cancelLow * math.Pow(2, float64(o)+(float64(k)+0.5)/cancelSteps))
			a, err := r.at(outLeft, f)
			if err != nil {
				return x, fmt.Errorf("take %q: %w", c.Take, err)
			}
			b, err := r.at(outRight, f)
			if err != nil {
				return x, fmt.Errorf("take %q: %w", c.Take, err)
			}
			left, right, cross = left+square(a), right+square(b), cross+real(a*cmplx.Conj(b))
			power, mono = power+square(a)+square(b), mono+square(a+b)
		}
		sum += mono
		if db := dsp.ToDB(math.Sqrt(mono / power)); power > 0 && db < x.WorstDB {
			x.WorstHz, x.WorstDB = cancelLow*math.Pow(2, float64(o)+0.5), db
		}
	}
	if left == 0 || right == 0 {
		return x, fmt.Errorf("take %q: nothing comes through one of the two paths", c.Take)
	}
	x.Correlation = cross / math.Sqrt(left*right)
	x.MonoDB = dsp.ToDB(math.Sqrt(sum / (left + right)))
	return x, nil
}
