package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Audibility says how likely a listener is to hear that two takes differ.
//
// The ear is the FFT ear model of ITU-R BS.1387-1 (basic version, Annex 2 clause 2.1): spectrum,
// outer and middle ear, critical bands, internal noise, spreading, forward masking. The probability
// is its detection step (Annex 2 clause 4.7): a step in excitation that half of the listeners hear,
// which shrinks with level. The constants are from memory, the detection step from an open
// implementation of the standard; nothing here was checked against the standard's conformance
// items, which could not be had. Its grade (ODG) is left out on purpose: it saturates on
// differences as large as a change of order.
//
// In one thing it is not the standard's. That takes every band for a listener of its own, and one
// of 109 is right sooner or later: 0.3 dB over the whole band would be heard for certain. The bands
// are a quarter of a Bark and overlap, so here the clearest band of a frame decides, as in the
// excitation-pattern rule of the textbooks of hearing (from memory); it puts the step of wide-band
// noise where listeners put it, at half a decibel, from some 60 dB a band on; where it is softer, a
// band's step is up to a decibel and more, and a keen listener hears less than is said here.
//
// It models neither memory nor preference. It compares takes as
// they are: match them in loudness and align them first. BS.1387 is for 48 kHz; here the frame is
// 2048 points up to 50 kHz, twice that up to 100 kHz, four times above, so that it lasts about as
// long.
type Audibility struct {
	Probability float64 // that a frame's difference is heard, mean over the frames that count
	Share       float64 // of those frames, in how many it is more likely heard than not
	// largest probability once smoothed over some 10 frames: MFPD of the standard
	Highest float64
	// largest number of quarter-Bark bands above the 50 % step in any frame, out of BandCount
	Bands  int
	MeanDB float64 // magnitude of the excitation difference, mean over bands and frames
	MaxDB  float64 // and its largest
	// Events is the frames in which the difference is beyond doubt (0.95) in a Bark of bands and
	// more: what happens in one frame counts, however long the take. Clearest is when it is
	// clearest, in seconds from the beginning: where the difference lies furthest over the mask.
	Events   int
	Clearest float64
	// NoiseToMask is how far the difference of the spectra lies over what the reference masks, in
	// dB, mean over bands and frames as powers: the total noise-to-mask ratio of BS.1387-1, Annex 2
	// clause 4.5 (from memory; not checked against the standard's conformance items). Under 0 dB
	// most of it is hidden.
	NoiseToMask float64
	// that count: either take is above the internal noise in some band by 10 dB and more
	Frames int
}

// BandCount is how many critical bands the ear model has: a quarter of a Bark each, from 80 Hz to
// 18 kHz.
const BandCount = 109

// The ear model's constants: BS.1387-1 Annex 2.
const (
	earLow  = 80.0    // Hz
	earHigh = 18000.0 // Hz
	earStep = 0.25    // Bark
	// height of the line of a 1019.5 Hz sine, which falls between bins, over a bin-centred one
	earCalibration = 0.84971762641205
	// excitations from several sources add as their powers to this
	earPowerLaw = 0.4
	earTauMin   = 0.008 // s
	earTau100   = 0.030 // s, at 100 Hz
	// dB above the internal noise for a frame to count (common practice, no source)
	earCounts = 10.0
	// a probability beyond doubt, and of how many bands it takes (common practice, no source)
	beyondDoubt = 0.95
	eventBands  = 4
	// Up here the ear of BS.1387 is keen: it hears 16 kHz from 22 dB SPL on, where people need 40
	// (ISO 389-7).
	eventBelow = 15000.0 // Hz
)

// Audible compares a take with a reference of the same length, both in fractions of full scale.
// playback is the level in dB SPL that a full-scale sine at 1 kHz has at the listener's ear:
// BS.1387 takes 92 dB where nothing is known. The error is NotMeasurable: Unequal, TooShort,
// NotFinite, or Silence where neither reaches the threshold of hearing. It panics where playback is
// not 0 to 130 dB or the rate not 40 to 200 kHz.
func Audible(reference, other []float64, rate, playback float64) (Audibility, error) {
	mustRate("audibility", rate, 40000, 200000)
	if !(playback >= 0 && playback <= 130) {
		panic(fmt.Sprintf("measure: audibility: playback level %v dB, want 0 to 130", playback))
	}
	if err := checkPair(reference, other); err != nil {
		return Audibility{}, err
	}
	m := newEar(rate, playback)
	if len(reference) < m.size {
		return Audibility{}, notMeasurable(TooShort, "%d samples, needs %d", len(reference), m.size)
	}
	var result Audibility
	ref, test := newEarState(), newEarState()
	smoothed, sum, difference, over, furthest := 0.0, 0.0, 0.0, 0.0, 0.0
	// The first frame begins before the record and the last ends after it, or the record's ends
	// would be in no frame in full.
	x, y := m.padded(reference), m.padded(other)
	for at := 0; at+m.size <= len(x); at += m.size / 2 {
		m.excite(ref, x[at:at+m.size])
		m.excite(test, y[at:at+m.size])
		if !m.counts(ref) && !m.counts(test) {
			continue
		}
		result.Frames++
		p, steps, sure := 0.0, 0, 0
		for b := range BandCount {
			r, o := powerDB(ref.excitation[b]), powerDB(test.excitation[b])
			q := detection(r, o)
			p = max(p, q)
			if q > 0.5 {
				steps++
			}
			if q > beyondDoubt && m.centre[b] < eventBelow {
				sure++
			}
			difference += math.Abs(r - o)
			result.MaxDB = max(result.MaxDB, math.Abs(r-o))
		}
		sum += p
		if p > 0.5 {
			result.Share++
		}
		result.Bands = max(result.Bands, steps)
		if sure >= eventBands {
			result.Events++
		}
		ratio := m.noiseToMask(ref, test)
		if over += ratio; ratio > furthest {
			furthest, result.Clearest = ratio, float64(at)/rate
		}
		smoothed = 0.9*smoothed + 0.1*p // c0 of the standard
		result.Highest = max(result.Highest, smoothed)
	}
	if result.Frames == 0 {
		return Audibility{}, notMeasurable(Silence, "nothing above the threshold of hearing at %.0f dB playback", playback)
	}
	n := float64(result.Frames)
	result.Probability, result.Share, result.MeanDB = sum/n, result.Share/n, difference/n/BandCount
	result.NoiseToMask = powerDB(over / n)
	return result, nil
}

// JustNoticeable is the step in excitation, in dB, that half of the listeners hear at an excitation
// of level dB: BS.1387-1 Annex 2 clause 4.7. Below 0 dB nothing is heard: +Inf.
func JustNoticeable(level float64) float64 {
	if level <= 0 {
		return math.Inf(1)
	}
	l := level
	return 5.95072*math.Pow(6.39468/l, 1.71332) + 9.01033e-11*l*l*l*l + 5.05622e-6*l*l*l - 0.00102438*l*l + 0.0550197*l - 0.198719
}

// detection is the probability that the difference of two excitations (dB) in one band is heard.
func detection(reference, other float64) float64 {
	e := reference - other
	steep := 6.0
	if e > 0 {
		steep = 4
	}
	step := JustNoticeable(0.3*max(reference, other) + 0.7*other)
	return 1 - math.Pow(0.5, math.Pow(math.Abs(e)/step, steep))
}

// ear is the model for one rate and playback level. Energies are re 0 dB SPL.
type ear struct {
	size    int
	plan    *fourier.FFT
	window  []float64
	frame   []float64
	lines   []complex128
	weight  []float64 // by bin: calibration and outer and middle ear
	energy  []float64
	edge    [BandCount + 1]float64 // band edges in bins (bin k reaches from k-1/2 to k+1/2)
	centre  [BandCount]float64     // Hz
	noise   [BandCount]float64     // internal noise
	smear   [BandCount]float64     // decay factor of forward masking, per frame
	unit    [BandCount]float64     // what the spreading makes of 0 dB in every band
	pitch   [BandCount]float64     // energy in the bands of the frame at hand
	spreads [BandCount]float64
}

// earState is what an ear remembers of one signal.
type earState struct {
	lines      []float64 // of the frame at hand: magnitudes, weighted
	filtered   [BandCount]float64
	excitation [BandCount]float64
}

func newEarState() *earState { return &earState{} }

func bark(f float64) float64   { return 7 * math.Asinh(f/650) }
func unbark(z float64) float64 { return 650 * math.Sinh(z/7) }

func newEar(rate, playback float64) *ear {
	m := &ear{size: 2048}
	for rate > 50000*float64(m.size)/2048 {
		m.size *= 2
	}
	n := float64(m.size)
	m.plan = fourier.NewFFT(m.size)
	m.window, m.frame = make([]float64, m.size), make([]float64, m.size)
	for i := range m.window {
		m.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/(n-1))
	}
	m.weight, m.energy = make([]float64, m.size/2+1), make([]float64, m.size/2+1)
	line := earCalibration * (n - 1) / 4 // height of a full-scale sine's line
	scale := math.Pow(10, playback/10) / (line * line)
	for k := 1; k < len(m.weight); k++ {
		khz := float64(k) * rate / n / 1000
		db := -0.6*3.64*math.Pow(khz, -0.8) + 6.5*math.Exp(-0.6*(khz-3.3)*(khz-3.3)) - 1e-3*math.Pow(khz, 3.6)
		m.weight[k] = scale * math.Pow(10, db/10)
	}
	low, high := bark(earLow), bark(earHigh)
	for b := range BandCount {
		from, to := unbark(low+earStep*float64(b)), unbark(min(high, low+earStep*float64(b+1)))
		m.edge[b], m.edge[b+1] = from*n/rate, to*n/rate
		m.centre[b] = unbark(low + earStep*(float64(b)+0.5))
		m.noise[b] = math.Pow(10, 0.4*0.364*math.Pow(m.centre[b]/1000, -0.8))
		tau := earTauMin + 100/m.centre[b]*(earTau100-earTauMin)
		m.smear[b] = math.Exp(-n / 2 / rate / tau)
		m.unit[b] = 1
	}
	var unit [BandCount]float64
	ones := m.unit
	m.spread(&unit, &ones)
	m.unit = unit
	return m
}

// padded is a record between silences of half a frame, and of one at its end.
func (m *ear) padded(x []float64) []float64 {
	y := make([]float64, m.size/2+len(x)+m.size)
	copy(y[m.size/2:], x)
	return y
}

// excite takes one frame.
func (m *ear) excite(s *earState, x []float64) {
	for i, v := range x {
		m.frame[i] = v * m.window[i]
	}
	m.lines = m.plan.Coefficients(m.lines, m.frame)
	if s.lines == nil {
		s.lines = make([]float64, len(m.energy))
	}
	for k, c := range m.lines {
		m.energy[k] = (real(c)*real(c) + imag(c)*imag(c)) * m.weight[k]
		s.lines[k] = math.Sqrt(m.energy[k])
	}
	m.group(&m.pitch)
	for b := range m.pitch {
		m.pitch[b] = max(m.pitch[b], 1e-12) + m.noise[b]
	}
	m.spread(&m.spreads, &m.pitch)
	for b := range BandCount {
		e := m.spreads[b] / m.unit[b]
		a := m.smear[b]
		s.filtered[b] = a*s.filtered[b] + (1-a)*e
		s.excitation[b] = max(e, s.filtered[b])
	}
}

// group sums the frame's energies in the bands.
func (m *ear) group(bands *[BandCount]float64) {
	for b := range bands {
		from, to := m.edge[b], m.edge[b+1]
		sum := 0.0
		for k := int(from + 0.5); k <= int(to+0.5) && k < len(m.energy); k++ {
			sum += m.energy[k] * max(0, min(to, float64(k)+0.5)-max(from, float64(k)-0.5))
		}
		bands[b] = sum
	}
}

// spread lets the energy of every band excite its neighbours: 27 dB per Bark downwards, and upwards
// less the louder it is.
func (m *ear) spread(out, in *[BandCount]float64) {
	down := math.Pow(10, -2.7*earStep)
	downLaw := math.Pow(down, earPowerLaw)
	clear(out[:])
	for b, e := range in {
		// dB per Bark: 0.2 times the level; never rising (our own limit, beyond 100 dB)
		slope := min(-4, -24-230/m.centre[b]+2*math.Log10(e))
		up := math.Pow(10, slope/10*earStep)
		// The shares add up to the energy itself.
		below := (1 - math.Pow(down, float64(b+1))) / (1 - down)
		above := (1 - math.Pow(up, float64(BandCount-b))) / (1 - up)
		law := math.Pow(e/(below+above-1), earPowerLaw)
		out[b] += law
		for k, v := b-1, law*downLaw; k >= 0; k, v = k-1, v*downLaw {
			out[k] += v
		}
		upLaw := math.Pow(up, earPowerLaw)
		for k, v := b+1, law*upLaw; k < BandCount; k, v = k+1, v*upLaw {
			out[k] += v
		}
	}
	for b := range out {
		out[b] = math.Pow(out[b], 1/earPowerLaw)
	}
}

// counts reports whether the signal can be heard in some band.
func (m *ear) counts(s *earState) bool {
	for b, e := range s.excitation {
		if e > m.noise[b]*math.Pow(10, earCounts/10) {
			return true
		}
	}
	return false
}
