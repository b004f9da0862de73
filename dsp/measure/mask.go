package measure

import "math"

// The masking threshold lies this many dB under the excitation: BS.1387-1 Annex 2 clause 2.1, from
// memory.
const (
	maskLow   = 3.0  // dB, up to maskKnee
	maskKnee  = 12.0 // Bark
	maskSlope = 0.25 // dB per Bark, beyond
)

// NoiseToMask is the total noise-to-mask ratio of ITU-R BS.1387-1 in dB: by how much what other has
// and reference has not stands over what reference hides, its mean power over critical bands and
// frames; under 0, most of it is hidden. Source: Annex 2 clause 4.5 (from memory; not checked
// against the standard's conformance items). Both are fractions of full scale, of one length, and
// playback is as in Audible.
func NoiseToMask(reference, other []float64, rate, playback float64) (float64, error) {
	mustRate("noise to mask", rate, 40000, 200000)
	if err := checkPair(reference, other); err != nil {
		return 0, err
	}
	m := newEar(rate, playback)
	if len(reference) < m.size {
		return 0, notMeasurable(TooShort, "%d samples, needs %d", len(reference), m.size)
	}
	ref, noise := newEarState(), newEarState()
	difference := make([]float64, m.size)
	sum, frames := 0.0, 0
	for at := 0; at+m.size <= len(reference); at += m.size / 2 {
		for k := range difference {
			difference[k] = other[at+k] - reference[at+k]
		}
		m.excite(noise, difference)
		bands := m.pitch
		m.excite(ref, reference[at:at+m.size])
		if !m.counts(ref) {
			continue
		}
		frames++
		for b, e := range bands {
			z := earStep * float64(b)
			offset := maskLow
			if z > maskKnee {
				offset = maskSlope * z
			}
			sum += (e - m.noise[b]) / (ref.excitation[b] * math.Pow(10, -offset/10)) / BandCount
		}
	}
	if frames == 0 {
		return 0, notMeasurable(Silence, "nothing above the threshold of hearing at %.0f dB playback", playback)
	}
	if sum <= 0 {
		return 0, notMeasurable(Silence, "nothing is added")
	}
	return powerDB(sum / float64(frames)), nil
}
