// Package dynamics holds a compressor: the static curve, the detector and the gain.
//
// It is feed-forward and works in the log domain: level, curve, smoothing, gain (the recommended
// form of "Digital dynamic range compressor design", J. Audio Eng. Soc. 60(6), 399-408, 2012). It
// looks at peaks, not at RMS, does not look ahead, and so has no latency. Signals are volts, levels
// dBV of the peak: 0 dBV is an instantaneous 1 V.
//
// Start reading at Curve, then Compressor.
package dynamics

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// Curve is the static relation of output level to input level.
type Curve struct {
	Threshold float64 // dBV
	Ratio     float64 // dB in per dB out above the threshold, from 1 up; +Inf limits
	Knee      float64 // dB, width of the soft knee, centred on the threshold; 0 is a hard corner
}

// At is the output level in dBV for an input level in dBV.
func (c Curve) At(level float64) float64 { return level - c.reduction(level) }

// reduction is by how many dB the curve lowers a level: none below the knee, a parabola in it (eq.
// 4 of the paper in the package comment), a straight line above.
func (c Curve) reduction(level float64) float64 {
	slope := 1 - 1/c.Ratio
	over := level - c.Threshold
	switch {
	case 2*over <= -c.Knee:
		return 0
	case 2*over < c.Knee:
		return slope * (over + c.Knee/2) * (over + c.Knee/2) / (2 * c.Knee)
	}
	return slope * over
}

// Compressor lowers what is above the threshold of its curve.
type Compressor struct {
	Curve
	makeup float64 // dB

	onset   float64 // volts, where the knee begins
	attack  float64 // what a smoother keeps of its memory from sample to sample
	release float64
	hold    float64 // dB, the peak of the reduction asked for, falling with the release
	now     float64 // dB, the reduction applied
	most    float64 // dB, the largest of the last call
}

// New makes a compressor.
//
// After a step of level up, the reduction has done 63.2 % (1 - 1/e) of its way in the attack time;
// after a step down, in the release time. It cannot let go faster than it takes hold: a release
// shorter than the attack is as long as the attack. Makeup is a gain in dB after all. It panics
// unless ratio >= 1, knee >= 0, both times are positive and the rest is finite.
func New(curve Curve, attack, release dsp.Second, makeup float64, rate dsp.Hertz) *Compressor {
	finite := !math.IsNaN(curve.Threshold+curve.Knee+makeup) && !math.IsInf(curve.Threshold+curve.Knee+makeup+float64(attack+release), 0)
	if !(finite && curve.Ratio >= 1 && curve.Knee >= 0 && attack > 0 && release > 0 && rate > 0) {
		panic(fmt.Sprintf("dynamics: %+v, attack %v s, release %v s, makeup %v dB, rate %v Hz",
			curve, float64(attack), float64(release), makeup, float64(rate)))
	}
	c := &Compressor{Curve: curve, makeup: makeup}
	c.onset = dsp.FromDB(curve.Threshold - curve.Knee/2)
	c.attack = math.Exp(-1 / (float64(attack) * float64(rate)))
	if first := firstRelease(float64(attack), float64(release)); first > 0 {
		c.release = math.Exp(-1 / (first * float64(rate)))
	}
	return c
}

// firstRelease is the time constant of the falling peak that, followed by a smoother with the
// attack's time constant a, has gone 63.2 % of its way down in the time t. Two smoothers with a and
// r in turn leave (r·e^(-t/r) - a·e^(-t/a))/(r - a).
func firstRelease(a, t float64) float64 {
	left := func(r float64) float64 {
		if math.Abs(r-a) < 1e-6*a {
			return (1 + t/a) * math.Exp(-t/a)
		}
		return (r*math.Exp(-t/r) - a*math.Exp(-t/a)) / (r - a)
	}
	if t <= a {
		return 0
	}
	lo, hi := 0.0, t
	for range 60 {
		if mid := (lo + hi) / 2; left(mid) < math.Exp(-1) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// Process compresses src into dst, both in volts, of equal length; dst may be src. It panics where
// the lengths differ.
//
// The detector is the decoupled one: the peak of the reduction, which falls with the release, is
// smoothed with the attack. Unlike the branching form it has no corner in the reduction, and so
// distorts less.
func (c *Compressor) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("dynamics: Process needs len(dst) == len(src)")
	}
	const (
		octave = 6.020599913279624 // dB, 20·log10 2
		// gone is the reduction in dB that is taken for none. Below it a recovering detector would
		// creep towards denormal numbers, which processors are slow with.
		gone = 1e-12
	)
	slope, bend := 1-1/c.Ratio, 0.0
	if c.Knee > 0 {
		bend = slope / (2 * c.Knee)
	}
	attack, release, hold, now, most := c.attack, c.release, c.hold, c.now, 0.0
	steady := dsp.FromDB(c.makeup)
	dst = dst[:len(src)]
	for i, x := range src {
		want := 0.0
		if v := math.Abs(x); v > c.onset && v <= math.MaxFloat64 {
			over := octave*log2(v) - c.Threshold
			if 2*over < c.Knee {
				d := over + c.Knee/2
				want = bend * d * d
			} else {
				want = slope * over
			}
		}
		hold = max(want, want+release*(hold-want))
		now = hold + attack*(now-hold)
		if now < gone {
			if hold < gone {
				hold, now = 0, 0
			}
			dst[i] = x * steady
			continue
		}
		most = max(most, now)
		dst[i] = x * exp2((c.makeup-now)*(1/octave))
	}
	c.hold, c.now, c.most = hold, now, most
}

// Reduction is the largest gain reduction of the last call of Process, in dB, makeup not counted.
func (c *Compressor) Reduction() float64 { return c.most }

// Latency is the delay in samples: none.
func (c *Compressor) Latency() int { return 0 }

// Reset puts the detector at rest.
func (c *Compressor) Reset() { c.hold, c.now, c.most = 0, 0, 0 }

// log2 is the binary logarithm of a positive normal number, within 2e-9 (1e-8 dB). It is the series
// of 2·artanh around one, for a mantissa within a factor of √2 of it.
func log2(x float64) float64 {
	// makes a mantissa from √2 up count as the lower half of the next octave
	const carry = 1<<52 - 0x6a09e667f3bcd
	bits := math.Float64bits(x)
	exponent := int64((bits+carry)>>52) - 1023
	m := math.Float64frombits(bits - uint64(exponent)<<52) // from √½ to √2
	t := (m - 1) / (m + 1)
	q := t * t
	return float64(exponent) + t*(2/math.Ln2)*(1+q*(1.0/3+q*(1.0/5+q*(1.0/7+q*(1.0/9)))))
}

// exp2 is 2 to the power x, within 1e-8 of it (1e-7 dB), for |x| under 1000. It is the Taylor
// series around the nearest whole number.
func exp2(x float64) float64 {
	const shift = 3 << 51 // adding it rounds to a whole number, left in the low bits
	r := x + shift
	k := int64(math.Float64bits(r)) << 12 >> 12
	f := (x - (r - shift)) * math.Ln2 // from -0.35 to 0.35
	f2 := f * f
	low := 1 + f + f2*(1.0/2+f*(1.0/6))
	high := 1.0/24 + f*(1.0/120) + f2*(1.0/720+f*(1.0/5040))
	return (low + f2*f2*high) * math.Float64frombits(uint64(k+0x3ff)<<52)
}
