package measures

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/dsp/measure"
)

// ClearRepeats plays one note for as long as the delay takes and another one over its repeat.
//
// Both notes and the window are so chosen that every harmonic of either falls on a line of the
// transform, and that the lines of the two have no common factor. What a non-linear block makes of
// both together, and what a reverb smears, falls between.
var ClearRepeats = &Measure{
	Name: "clear repeats", Unit: "dB", Better: Higher, Step: 0.5, Digits: 1,
	Brief:      "a repeat of the delay stays apart from what is played over it",
	Definition: "while a second note is played, what the first repeat of a first note has at its own harmonics over all that belongs to neither note",
	OfTake:     repeatsOf,
}

// RepeatsChange is how much clearer the repeats are.
var RepeatsChange = &Measure{Key: "clear_repeats_db", Name: "clear repeats", Unit: "dB", Digits: 1,
	Definition: "what the first repeat of a note has at its own harmonics over all that belongs to neither it nor the note played over it",
	Facts:      []*Measure{ClearRepeats},
	Change:     func(s *Sides) Figure { return s.fact(ClearRepeats) }}

func repeatsOf(ctx context.Context, p Take) (Figure, error) {
	delays := p.Delays()
	switch len(delays) {
	case 0:
		return None("no delay in the chain"), nil
	case 1:
	default:
		return None("two delays: which repeat is meant?"), nil
	}
	time := delays[0]
	rate := p.Rate()
	length := int(math.Round(time * rate))
	size := 1 << 14
	settle := int(0.02 * rate)
	for size+settle > length {
		if size /= 2; float64(size) < 0.04*rate {
			return None("%s: a delay of %.0f ms; it takes 60 ms and more to tell notes apart", measure.TooShort, 1e3*time), nil
		}
	}
	low, high := repeatLines(size, rate)
	name := fmt.Sprintf("repeats %d %d", length, size)
	x, err := p.Play(ctx, name, AsItIs, func() []float64 { return twoNotes(length, size, rate) })
	if err != nil {
		return Figure{}, err
	}
	return repeatClarity(x[length+settle:][:size], low, high, rate), nil
}

// repeatLines is the lines of the first and the second note: about 330 Hz and 440 Hz, in numbers
// without a common factor.
func repeatLines(size int, rate float64) (low, high int) {
	low = int(math.Round(330 * float64(size) / rate))
	high = int(math.Round(440 * float64(size) / rate))
	for gcd(low, high) > 1 {
		high++
	}
	return low, high
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// twoNotes is one note of the given length in samples, and another as long right after it, each
// swelling and falling within 10 ms.
func twoNotes(length, size int, rate float64) []float64 {
	low, high := repeatLines(size, rate)
	x := make([]float64, 2*length)
	edge := int(0.01 * rate)
	for part, line := range []int{low, high} {
		for k := range length {
			g := 1.0
			if e := min(k, length-1-k); e < edge {
				g = 0.5 - 0.5*math.Cos(math.Pi*float64(e)/float64(edge))
			}
			x[part*length+k] = g * float64(TestTone.Volts) * math.Sin(2*math.Pi*float64(line)*float64(k)/float64(size))
		}
	}
	return x
}

// repeatClarity is the power at the harmonics of the low note over that at no harmonic of either,
// 20 Hz to 20 kHz, in dB. A Hann window is as wide as two lines to either side; so far do lines
// belong to a harmonic.
func repeatClarity(x []float64, low, high int, rate float64) Figure {
	n := len(x)
	windowed := make([]float64, n)
	for k, v := range x {
		windowed[k] = v * (0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(n)))
	}
	const wide = 2
	of := func(k, note int) bool {
		r := k % note
		return k > note/2 && min(r, note-r) <= wide
	}
	var own, rest float64
	for k, z := range fourier.NewFFT(n).Coefficients(nil, windowed) {
		f := float64(k) * rate / float64(n)
		if f < measure.BandLow || f > measure.BandHigh {
			continue
		}
		p := real(z)*real(z) + imag(z)*imag(z)
		switch {
		case of(k, high):
		case of(k, low):
			own += p
		default:
			rest += p
		}
	}
	if own < 1e-12*rest || own == 0 {
		return None("no repeat is heard")
	}
	if rest == 0 {
		return None("nothing beside the notes")
	}
	return Figure{Value: 10 * math.Log10(own/rest)}
}
