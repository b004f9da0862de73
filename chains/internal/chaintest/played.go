package chaintest

import (
	"testing"

	"drywire/chains/board"
)

// Played is five plucked-like notes in volts at the pickup: partials of 1/n that fall by 20 dB in 2
// s, as hard as a hard single note is, at 48 kHz.
func Played() []float64 {
	const rate = 48000
	x := make([]float64, 4*rate)
	for k, hz := range []float64{110, 147, 196, 247, 330} {
		from := k * rate / 2
		for n := 1; n <= 12; n++ {
			for j, v := range Tone(len(x)-from, rate, hz*float64(n), 0.12/float64(n)) {
				fall := 1.0
				if j < 96 {
					fall = float64(j) / 96
				}
				x[from+j] += v * fall * decay(j, n)
			}
		}
	}
	return x
}

func decay(sample, partial int) float64 {
	t := float64(sample) / 48000 * (1 + 0.15*float64(partial))
	v := 1.0
	for ; t > 0.1; t -= 0.1 {
		v *= 0.891 // 1 dB every 0.1 s
	}
	return v
}

// Own is a file of those blocks, orders and takes, with a recording in volts.
func Own(t testing.TB, text string) *board.File {
	t.Helper()
	return MustParse(t, "drywire: 1\nrecording: {file: a.wav, full_scale: 1 V, load: none}\n"+text)
}
