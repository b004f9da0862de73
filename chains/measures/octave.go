package measures

import (
	"context"
	"math"
	"math/cmplx"

	"drywire/dsp"
)

// OctaveInStep says how well an octave below is kept. A divider that flips at the wrong moment
// turns the octave upside down: its phase jumps by half a turn, which an octave that is kept never
// does.
//
// The note is a low E of a stiff string (partials at n·f·sqrt(1+B·n²), Fletcher, J. Acoust. Soc.
// Am. 36, 203, 1964, from memory), plucked and sensed where a bridge pickup has them: that is where
// players know dividers to stumble (common practice, no source).
var OctaveInStep = &Measure{
	Name: "octave in step", Unit: "%", Better: Higher, Step: 2, Digits: 0,
	Brief:      "an octave divider keeps its octave on a low note",
	Definition: "share of two seconds of a low E (82.4 Hz, stiff string) in which the phase of the octave below goes on as it did, within a quarter turn a cycle of the note",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		x, err := t.Play(ctx, "low E", AsItIs, func() []float64 { return lowE(t.Rate(), t.Tone().Volts) })
		if err != nil {
			return Figure{}, err
		}
		return inStep(x, t.Rate()), nil
	}}

// The note: its stiffness is that of a wound sixth string, where it is plucked and sensed parts of
// its length, and how fast its partials fall.
const (
	lowEHz    = 82.407
	lowEB     = 8e-5
	lowEPick  = 0.16
	lowECoil  = 0.08
	lowETime  = 2.5 // s
	lowEFirst = 0.4 // s that are not looked at
)

func lowE(rate float64, peak dsp.Volt) []float64 {
	x := make([]float64, int(lowETime*rate))
	top := 0.0
	for k := range x {
		s := float64(k) / rate
		for n := 1.0; n <= 24; n++ {
			amplitude := math.Sin(n*math.Pi*lowEPick) / n * math.Sin(n*math.Pi*lowECoil)
			hz := n * lowEHz * math.Sqrt(1+lowEB*n*n)
			x[k] += amplitude * math.Exp(-s*(0.6+0.15*n)) * math.Sin(2*math.Pi*hz*s)
		}
		top = math.Max(top, math.Abs(x[k]))
	}
	for k := range x {
		x[k] *= float64(peak) / top
	}
	return x
}

// faint is how far the octave may be under the whole before there is none: 40 dB, common practice,
// no source.
const faint = 1e-4

// inStep is the share of the time in which the octave's phase goes on, in percent. Every window is
// eight cycles of the note, so that its first null (Hann) is at the second octave below, and the
// next one begins a cycle later.
func inStep(x []float64, rate float64) Figure {
	if f := Unplayed(x); !f.OK() {
		return f
	}
	cycle := rate / lowEHz * 1 / math.Sqrt(1+lowEB)
	n := int(math.Round(8 * cycle))
	var own, second, all float64
	var phases []float64
	for from := lowEFirst * rate; int(from)+n <= len(x); from += cycle {
		var z, below complex128
		at := int(math.Round(from))
		for k, v := range x[at : at+n] {
			w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(n))
			z += complex(w*v, 0) * cmplx.Rect(1, -math.Pi*float64(at+k)/cycle)
			below += complex(w*v, 0) * cmplx.Rect(1, -math.Pi/2*float64(at+k)/cycle)
			all += w * w * v * v
		}
		second += real(below)*real(below) + imag(below)*imag(below)
		own += real(z)*real(z) + imag(z)*imag(z)
		phases = append(phases, cmplx.Phase(z))
	}
	if own < faint*all*float64(n) {
		return None("there is no octave below")
	}
	if second > own/4 { // 6 dB under it: common practice, no source
		return None("a second octave below covers the first")
	}
	kept := 0
	for k := 1; k < len(phases); k++ {
		turn := math.Abs(math.Remainder(phases[k]-phases[k-1], 2*math.Pi))
		if turn < math.Pi/4 {
			kept++
		}
	}
	return Figure{Value: 100 * float64(kept) / float64(len(phases)-1)}
}
