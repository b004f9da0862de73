package measure

import "math"

// The masking threshold lies this many dB under the excitation: BS.1387-1 Annex 2 clause 2.1, from
// memory.
const (
	maskLow   = 3.0  // dB, up to maskKnee
	maskKnee  = 12.0 // Bark
	maskSlope = 0.25 // dB per Bark, beyond
)

// NoiseToMask is Audibility.NoiseToMask alone, with its errors; the ratio of records that are
// identical is no number: it has the reason NoDifference.
func NoiseToMask(reference, other []float64, rate, playback float64) (float64, error) {
	a, err := Audible(reference, other, rate, playback)
	if err == nil && math.IsInf(a.NoiseToMask, -1) {
		err = NotMeasurable{Reason: NoDifference}
	}
	return a.NoiseToMask, err
}

// noiseToMask is the power of the difference of two frames' magnitudes re what the reference hides,
// mean over the bands.
func (m *ear) noiseToMask(reference, other *earState) float64 {
	for k, r := range reference.lines {
		d := r - other.lines[k]
		m.energy[k] = d * d
	}
	m.group(&m.pitch)
	sum := 0.0
	for b, p := range m.pitch {
		under := maskLow
		if z := earStep * float64(b); z > maskKnee {
			under = maskSlope * z
		}
		sum += p / reference.excitation[b] * math.Pow(10, under/10)
	}
	return sum / BandCount
}
