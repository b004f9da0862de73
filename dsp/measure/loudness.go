package measure

import (
	"fmt"
	"math"
	"slices"
)

// Layout is how many channels a signal has and how much each counts, as weights on power.
// Source: ITU-R BS.1770-5, Annex 1, Table 3 (1 in front, 1.41 for the surrounds; no low-frequency
// channel).
type Layout []float64

// The layouts in use. Samples are fractions of full scale.
var (
	// one front channel: a full-scale 997 Hz sine is -3.01 LUFS
	Mono = Layout{1}
	// one channel that both loudspeakers play: 3.01 LU more
	DualMono   = Layout{2}
	Stereo     = Layout{1, 1}                // left, right
	Surround50 = Layout{1, 1, 1, 1.41, 1.41} // left, right, centre, left surround, right surround
)

// Loudness meters work in cells of 10 ms. EBU Tech 3341 asks for a new reading at least every 100
// ms; with 10 ms the maximum of a burst is found whole wherever it starts on the 10 ms grid (cases
// 10, 11, 13, 14 of its Table 1).
const (
	cellsPerSecond  = 100
	momentaryCells  = 40  // 400 ms, EBU Tech 3341 clause 2.2
	shortTermCells  = 300 // 3 s, same clause
	gatingHopCells  = 10  // gating blocks of 400 ms overlap by 75 %: BS.1770-5 Annex 1
	absoluteGate    = -70.0
	relativeGate    = -10.0
	loudnessOffset  = -0.691 // BS.1770-5 Annex 1, equation 2
	lowestRate      = 8000.0
	highestRate     = 400000.0
	rangeGate       = -20.0 // EBU Tech 3342, relative gate of the loudness range
	rangeLow        = 0.10  // its lower percentile
	rangeHigh       = 0.95  // its upper percentile
	flushBelowState = 1e-100
)

// LoudnessMeter measures loudness to ITU-R BS.1770-5 and EBU Tech 3341 (2023), as a stream: push
// blocks of any length, read at any moment. It keeps 16 bytes for every 100 ms (576 kB for an hour)
// and nothing else that grows.
type LoudnessMeter struct {
	rate     float64
	layout   Layout
	filters  []kFilter
	sums     []float64 // squares of the cell being filled, by channel
	n        int64     // samples taken, per channel
	cell     int64     // cells finished
	cellEnd  int64     // sample at which the current cell ends
	cellFrom int64

	ring     [shortTermCells]float64 // weighted energy of the last cells
	length   [shortTermCells]int64   // and their lengths in samples
	maxM     float64                 // largest mean square over 400 ms; -1 before there is one
	maxS     float64
	lastM    float64
	lastS    float64
	blocks   []float64 // mean square of every gating block
	shorts   []float64 // mean square of every 3 s, each 100 ms, for the loudness range
	infinite bool
}

// NewLoudnessMeter is a meter for signals of this rate (8 to 400 kHz; the standard's figures hold
// from 44.1 kHz) and layout. It panics at another rate or a layout without channels.
func NewLoudnessMeter(rate float64, layout Layout) *LoudnessMeter {
	mustRate("loudness", rate, lowestRate, highestRate)
	if len(layout) == 0 {
		panic("measure: loudness: a layout without channels")
	}
	m := &LoudnessMeter{rate: rate, layout: slices.Clone(layout), maxM: -1, maxS: -1, lastM: -1, lastS: -1}
	k := newKFilter(rate)
	m.filters = slices.Repeat([]kFilter{k}, len(layout))
	m.sums = make([]float64, len(layout))
	m.cellEnd = m.boundary(1)
	return m
}

// boundary is the sample at which cell number k begins. Rates that are no multiple of 100 Hz get
// cells that differ by one sample; their lengths are accounted for.
func (m *LoudnessMeter) boundary(k int64) int64 {
	return int64(math.Round(float64(k) * m.rate / cellsPerSecond))
}

// Push takes the next samples, one slice per channel of the layout, all of one length. It panics
// where they are not.
func (m *LoudnessMeter) Push(channels ...[]float64) {
	if len(channels) != len(m.layout) {
		panic(fmt.Sprintf("measure: loudness: %d channels for a layout of %d", len(channels), len(m.layout)))
	}
	total := len(channels[0])
	for _, x := range channels {
		if len(x) != total {
			panic("measure: loudness: channels of unequal length")
		}
	}
	for from := 0; from < total; {
		to := min(total, from+int(m.cellEnd-m.n))
		for c, x := range channels {
			m.sums[c] = m.filters[c].squares(m.sums[c], x[from:to])
		}
		m.n += int64(to - from)
		from = to
		if m.n == m.cellEnd {
			m.endCell()
		}
	}
}

func (m *LoudnessMeter) endCell() {
	energy := 0.0
	for c := range m.sums {
		energy += m.layout[c] * m.sums[c]
		m.sums[c] = 0
		m.filters[c].flush()
	}
	if !finite(energy) {
		m.infinite = true
	}
	slot := m.cell % shortTermCells
	m.ring[slot] = energy
	m.length[slot] = m.cellEnd - m.cellFrom
	m.cell++
	m.cellFrom, m.cellEnd = m.cellEnd, m.boundary(m.cell+1)

	if m.cell >= momentaryCells {
		m.lastM = m.last(momentaryCells)
		m.maxM = max(m.maxM, m.lastM)
	}
	if m.cell >= shortTermCells {
		m.lastS = m.last(shortTermCells)
		m.maxS = max(m.maxS, m.lastS)
	}
	if m.cell%gatingHopCells == 0 {
		if m.cell >= momentaryCells {
			m.blocks = append(m.blocks, m.lastM)
		}
		if m.cell >= shortTermCells {
			m.shorts = append(m.shorts, m.lastS)
		}
	}
}

// last is the mean square of the last n cells. It is summed afresh, so that nothing drifts in an
// hour.
func (m *LoudnessMeter) last(n int64) float64 {
	energy, samples := 0.0, int64(0)
	for k := m.cell - n; k < m.cell; k++ {
		energy += m.ring[k%shortTermCells]
		samples += m.length[k%shortTermCells]
	}
	return energy / float64(samples)
}

// Momentary is the loudness of the last 400 ms in LUFS, ungated, renewed every 10 ms. The error is
// NotMeasurable: NotFinite, TooShort or Silence.
func (m *LoudnessMeter) Momentary() (float64, error) { return m.reading(m.lastM, 0.4) }

// ShortTerm is the loudness of the last 3 s in LUFS, ungated, renewed every 10 ms. The errors are
// those of Momentary.
func (m *LoudnessMeter) ShortTerm() (float64, error) { return m.reading(m.lastS, 3) }

// MaxMomentary is the largest momentary loudness so far, in LUFS. The errors are those of
// Momentary.
func (m *LoudnessMeter) MaxMomentary() (float64, error) { return m.reading(m.maxM, 0.4) }

// MaxShortTerm is the largest short-term loudness so far, in LUFS. The errors are those of
// Momentary.
func (m *LoudnessMeter) MaxShortTerm() (float64, error) { return m.reading(m.maxS, 3) }

func (m *LoudnessMeter) reading(meanSquare, need float64) (float64, error) {
	switch {
	case m.spoilt():
		return 0, notMeasurable(NotFinite, "within the first %.2f s", float64(m.n)/m.rate)
	case meanSquare < 0:
		return 0, notMeasurable(TooShort, "%.3f s, needs %.1f s", float64(m.n)/m.rate, need)
	case meanSquare == 0:
		return 0, NotMeasurable{Reason: Silence}
	}
	return loudnessOffset + powerDB(meanSquare), nil
}

// spoilt reports whether something that is not finite came in. A filter never recovers from it, so
// its memory tells.
func (m *LoudnessMeter) spoilt() bool {
	if m.infinite {
		return true
	}
	for c, s := range m.sums {
		if !finite(s) || !m.filters[c].finite() {
			return true
		}
	}
	return false
}

// Integrated is the loudness of all that was pushed, in LUFS, through both gates: blocks below -70
// LUFS do not count, nor do blocks more than 10 LU below the loudness of those left. An unfinished
// block at the end does not count. The error is NotMeasurable: NotFinite, TooShort (under 400 ms)
// or BelowGate. Source: BS.1770-5 Annex 1, equations 3 to 7.
func (m *LoudnessMeter) Integrated() (float64, error) {
	switch {
	case m.spoilt():
		return 0, notMeasurable(NotFinite, "within the first %.2f s", float64(m.n)/m.rate)
	case len(m.blocks) == 0:
		return 0, notMeasurable(TooShort, "%.3f s, needs 0.4 s", float64(m.n)/m.rate)
	}
	mean, n := gated(m.blocks, loudnessToPower(absoluteGate))
	if n == 0 {
		return 0, notMeasurable(BelowGate, "nothing above %.0f LUFS", absoluteGate)
	}
	mean, _ = gated(m.blocks, max(loudnessToPower(absoluteGate), mean*math.Pow(10, relativeGate/10)))
	return loudnessOffset + powerDB(mean), nil
}

// Range is the loudness range in LU: the spread between the 10 % and the 95 % point of the
// short-term loudness, through gates at -70 LUFS and 20 LU below the loudness of what is left. The
// error is NotMeasurable: NotFinite, TooShort (under 3 s) or BelowGate. Source: EBU Tech 3342
// (2023).
func (m *LoudnessMeter) Range() (float64, error) {
	switch {
	case m.spoilt():
		return 0, notMeasurable(NotFinite, "within the first %.2f s", float64(m.n)/m.rate)
	case len(m.shorts) == 0:
		return 0, notMeasurable(TooShort, "%.3f s, needs 3 s", float64(m.n)/m.rate)
	}
	mean, n := gated(m.shorts, loudnessToPower(absoluteGate))
	if n == 0 {
		return 0, notMeasurable(BelowGate, "nothing above %.0f LUFS", absoluteGate)
	}
	gate := max(loudnessToPower(absoluteGate), mean*math.Pow(10, rangeGate/10))
	var kept []float64
	for _, p := range m.shorts {
		if p >= gate {
			kept = append(kept, p)
		}
	}
	slices.Sort(kept)
	at := func(q float64) float64 { return kept[int(math.Round(q*float64(len(kept)-1)))] }
	return powerDB(at(rangeHigh) / at(rangeLow)), nil
}

// gated is the mean of the blocks at or above the gate, and how many they are.
func gated(blocks []float64, gate float64) (mean float64, n int) {
	sum := 0.0
	for _, p := range blocks {
		if p >= gate {
			sum += p
			n++
		}
	}
	if n == 0 {
		return 0, 0
	}
	return sum / float64(n), n
}

func loudnessToPower(lufs float64) float64 { return math.Pow(10, (lufs-loudnessOffset)/10) }

// Loudness is the integrated loudness of one channel of samples (fractions of full scale) in LUFS,
// as BS.1770 counts one front channel. Where both loudspeakers play it, it is 3.01 LU louder: use a
// meter with DualMono. A difference of loudness between two mono takes is the same either way. The
// errors are those of LoudnessMeter.Integrated, and it panics at rates where NewLoudnessMeter does.
func Loudness(x []float64, rate float64) (float64, error) {
	m := NewLoudnessMeter(rate, Mono)
	m.Push(x)
	return m.Integrated()
}

// The analogue prototype behind the coefficients that BS.1770-5 Annex 1 (Tables 1 and 2) prints for
// 48 kHz: undoing the bilinear transform of those tables gives these figures, and
// TestKWeightingTable redoes it.
const (
	shelfCorner = 1681.974450955533 // Hz
	shelfGain   = 3.999843853973347 // dB
	shelfQ      = 0.7071752369554196
	shelfSplit  = 0.4996667741545416 // exponent of the gain at the corner
	highCorner  = 38.13547087602444  // Hz
	highQ       = 0.5003270373238773
)

// kFilter is the K weighting: a shelf for the head, then a high-pass, both second order, transposed
// direct form II.
type kFilter struct {
	b0, b1, b2, a1, a2 float64 // shelf
	g, c1, c2          float64 // high-pass: g·(1 - 2/z + 1/z²) over 1 + c1/z + c2/z²
	s1, s2, t1, t2     float64 // memories
}

func newKFilter(rate float64) kFilter {
	var f kFilter
	k := math.Tan(math.Pi * shelfCorner / rate)
	vh := math.Pow(10, shelfGain/20)
	vb := math.Pow(vh, shelfSplit)
	a0 := 1 + k/shelfQ + k*k
	f.b0 = (vh + vb*k/shelfQ + k*k) / a0
	f.b1 = 2 * (k*k - vh) / a0
	f.b2 = (vh - vb*k/shelfQ + k*k) / a0
	f.a1 = 2 * (k*k - 1) / a0
	f.a2 = (1 - k/shelfQ + k*k) / a0

	// The table's high-pass has b = 1, -2, 1 at 48 kHz, which is 0.043 dB more than unity at high
	// frequencies. That gain belongs to the weighting (the offset -0.691 was chosen with it), so it
	// is kept at every rate.
	k = math.Tan(math.Pi * highCorner / rate)
	a0 = 1 + k/highQ + k*k
	k48 := math.Tan(math.Pi * highCorner / 48000)
	f.g = (1 + k48/highQ + k48*k48) / a0
	f.c1 = 2 * (k*k - 1) / a0
	f.c2 = (1 - k/highQ + k*k) / a0
	return f
}

// squares adds the squares of the weighted samples to sum.
func (f *kFilter) squares(sum float64, x []float64) float64 {
	b0, b1, b2, a1, a2, g, c1, c2 := f.b0, f.b1, f.b2, f.a1, f.a2, f.g, f.c1, f.c2
	s1, s2, t1, t2 := f.s1, f.s2, f.t1, f.t2
	for _, v := range x {
		y := b0*v + s1
		s1 = b1*v - a1*y + s2
		s2 = b2*v - a2*y
		gy := g * y
		z := gy + t1
		t1 = t2 - 2*gy - c1*z
		t2 = gy - c2*z
		sum += z * z
	}
	f.s1, f.s2, f.t1, f.t2 = s1, s2, t1, t2
	return sum
}

// flush drops a memory that has died away, before it becomes denormal and slow.
func (f *kFilter) flush() {
	for _, s := range []*float64{&f.s1, &f.s2, &f.t1, &f.t2} {
		if math.Abs(*s) < flushBelowState {
			*s = 0
		}
	}
}

func (f *kFilter) finite() bool { return finite(f.s1 + f.s2 + f.t1 + f.t2) }
