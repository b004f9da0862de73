package measure

import (
	"fmt"
	"math"

	"github.com/mjibson/go-dsp/spectral"
)

// Spectrum is a one-sided power spectral density.
type Spectrum struct {
	Step    float64   // Hz from one line to the next; line k lies at k·Step
	Density []float64 // square units per Hz; the sum times Step is the mean square
}

// segmentsAtOnce bounds the memory of Welch: the library copies every segment before it begins.
const segmentsAtOnce = 64

// Welch estimates the power spectral density of x: segments of the length given (a power of two),
// overlapping by half, under a periodic Hann window, averaged; nothing is subtracted first. Samples
// at the end that fill no segment do not count. The error is NotMeasurable: TooShort or NotFinite.
// It panics where the segment is no power of two from 8 on or the rate under 1 Hz. Source: IEEE
// Trans. Audio Electroacoust. 15(2), 70-73, 1967; computed by package spectral.
func Welch(x []float64, rate float64, segment int) (Spectrum, error) {
	mustRate("spectrum", rate, 1, math.MaxFloat64)
	if segment < 8 || segment&(segment-1) != 0 {
		panic(fmt.Sprintf("measure: spectrum: segment of %d, want a power of two, 8 or more", segment))
	}
	if len(x) < segment {
		// The library would pad with zeros, which lowers the level.
		return Spectrum{}, notMeasurable(TooShort, "%d samples for a segment of %d", len(x), segment)
	}
	if err := checkFinite(x); err != nil {
		return Spectrum{}, err
	}
	hann := periodicHann(segment)
	// the library asks for every segment
	options := spectral.PwelchOptions{NFFT: segment, Noverlap: segment / 2, Window: func(int) []float64 { return hann }}
	hop := segment / 2
	total := (len(x)-segment)/hop + 1
	s := Spectrum{Step: rate / float64(segment), Density: make([]float64, segment/2+1)}
	for done := 0; done < total; {
		n := min(segmentsAtOnce, total-done)
		density, _ := spectral.Pwelch(x[done*hop:done*hop+(n-1)*hop+segment], rate, &options)
		for k, p := range density {
			s.Density[k] += p * float64(n) / float64(total)
		}
		done += n
	}
	for _, p := range s.Density {
		if !finite(p) {
			return Spectrum{}, notMeasurable(NotFinite, "samples too large to be squared")
		}
	}
	return s, nil
}

// periodicHann is the Hann window whose period is n; the library's own is symmetrical, which reads
// 0.004 dB low.
func periodicHann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	return w
}

// Power is the mean square from low to high Hz: the density summed, the lines at the edges in part.
// Line k stands for the band from (k-1/2) to (k+1/2) steps.
func (s Spectrum) Power(low, high float64) float64 {
	if !(high > low) {
		return 0
	}
	sum := 0.0
	first := max(0, int(math.Floor(low/s.Step+0.5)))
	last := min(len(s.Density)-1, int(math.Floor(high/s.Step+0.5)))
	for k := first; k <= last; k++ {
		from, to := max(low, (float64(k)-0.5)*s.Step), min(high, (float64(k)+0.5)*s.Step)
		if k == 0 || k == len(s.Density)-1 {
			// These two lines are half as wide, and hold all their power in that half.
			from, to = max(from, 0), min(to, float64(len(s.Density)-1)*s.Step)
			sum += s.Density[k] * 2 * max(0, to-from)
			continue
		}
		sum += s.Density[k] * (to - from)
	}
	return sum
}

// Centroid is the spectral centroid in Hz: the mean frequency of the lines from low to high Hz,
// weighted by their power. The error is NotMeasurable, Silence where there is nothing in the band.
// Source: ISO/IEC 15938-4, SpectralCentroid (from memory).
func (s Spectrum) Centroid(low, high float64) (float64, error) {
	sum, moment := 0.0, 0.0
	for k, p := range s.Density {
		if f := float64(k) * s.Step; f >= low && f <= high {
			sum += p
			moment += p * f
		}
	}
	if sum == 0 {
		return 0, notMeasurable(Silence, "nothing from %.4g to %.4g Hz", low, high)
	}
	return moment / sum, nil
}

// Band is one fractional-octave band.
type Band struct {
	Centre    float64 // exact mid-band frequency, Hz
	Low, High float64 // band edges, Hz
	Power     float64 // mean square in the band
}

// LevelDB is the level of the band's RMS relative to 1 unit; an error where the band is silent.
func (b Band) LevelDB() (float64, error) {
	if b.Power == 0 {
		return 0, notMeasurable(Silence, "the band at %.4g Hz", b.Centre)
	}
	return powerDB(b.Power), nil
}

// ThirdOctaves are the third-octave bands from 20 Hz (19.95 Hz exactly) to 20 kHz that lie below
// half the rate and are at least four lines wide, with mid-band frequencies 1000·10^(n/10) and
// edges 10^(±1/20) from them: IEC 61260-1:2014 clause 5, base ten. Each band's power is the sum of
// the density between its edges, as an ideal filter would give it, not the output of one of the
// standard's filters: right for averages over the whole record; it has no time weighting.
func (s Spectrum) ThirdOctaves() []Band {
	var bands []Band
	top := float64(len(s.Density)-1) * s.Step
	for n := -17; n <= 13; n++ {
		centre := 1000 * math.Pow(10, float64(n)/10)
		b := Band{Centre: centre, Low: centre * math.Pow(10, -0.05), High: centre * math.Pow(10, 0.05)}
		if b.High > top || b.High-b.Low < 4*s.Step {
			continue
		}
		b.Power = s.Power(b.Low, b.High)
		bands = append(bands, b)
	}
	return bands
}
