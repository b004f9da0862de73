package oversample

import "drywire/dsp/gemv"

// A doubling, in either direction, splits its filter into the taps of even and of odd index (the
// two polyphase branches). In a half-band filter the odd branch is one tap of 0.5: a delay.
// gemv.Add8 runs a branch for eight neighbouring outputs at a time.

// slack is by how much buffers are longer than needed, because eight outputs are always computed.
// What is computed beyond the end is thrown away, so one kernel serves every call length with the
// same bits.
const slack = 8

// split divides a filter of length 4q+1 or, if half-band, 4q+3 into its two branches.
func split(h []float64, scale float64, full bool) (even, odd []float64) {
	for i, x := range h {
		switch {
		case i%2 == 0:
			even = append(even, scale*x)
		case full:
			odd = append(odd, scale*x)
		}
	}
	return even, odd
}

// upStage doubles a rate.
type upStage struct {
	full      bool      // not half-band
	even, odd []float64 // the branches; the gain of two that zero stuffing takes is in them. Half-band: no odd one, it is a delay
	hist      int       // samples of the past in front of buf
	buf       []float64
	spare     [2 * slack]float64
}

func newUpStage(h []float64, full bool, most int) upStage {
	s := upStage{full: full}
	s.even, s.odd = split(h, 2, full)
	s.hist = len(h) / 2 // full: 2M+1 taps, M of the past in the longer branch; half-band: 4K-1 taps, 2K-1
	s.buf = make([]float64, s.hist+most+slack)
	return s
}

// input is where the next n input samples are to be put.
func (s *upStage) input(n int) []float64 { return s.buf[s.hist : s.hist+n] }

// run turns the n input samples into the 2n of dst.
func (s *upStage) run(dst []float64, n int) {
	for i := 0; i < n; i += 8 {
		out := s.spare[:]
		if n-i >= 8 {
			out = dst[2*i : 2*i+16]
		}
		s.eight((*[16]float64)(out), s.buf[i:])
		if n-i < 8 {
			copy(dst[2*i:], out)
		}
	}
	copy(s.buf, s.buf[n:n+s.hist])
}

// eight computes sixteen outputs from eight inputs; the first window begins at x[0].
func (s *upStage) eight(y *[16]float64, x []float64) {
	var e, o [8]float64
	gemv.Add8(&e, x, s.even)
	if s.full {
		gemv.Add8(&o, x[1:], s.odd)
	} else {
		o = *(*[8]float64)(x[len(s.even)/2:]) // 2·0.5 of the middle tap is one
	}
	for k := range e {
		y[2*k], y[2*k+1] = e[k], o[k]
	}
}

// downStage halves a rate.
type downStage struct {
	evenC, oddC []float64 // the branches
	hist        int       // samples of the past in front of even and odd
	late        int       // at which sample of odd the window of oddC begins
	even, odd   []float64 // input samples of even and of odd index
	out         []float64 // room for this stage's output
	spare       [slack]float64
}

// newDownStage makes a stage that delays by 2·late input samples more than its filter does.
func newDownStage(h []float64, full bool, late, most int) downStage {
	m := len(h) / 2 // the filter's delay in input samples
	s := downStage{hist: m + late}
	s.evenC, s.oddC = split(h, 1, full)
	if !full {
		s.oddC, s.late = []float64{h[m]}, len(s.evenC)/2-1
	}
	s.even = make([]float64, s.hist+most+slack)
	s.odd = make([]float64, s.hist+most+slack)
	s.out = make([]float64, most)
	return s
}

// run turns src into dst, which is half as long.
func (s *downStage) run(dst, src []float64) {
	n := len(dst)
	even, odd := s.even[s.hist:s.hist+n], s.odd[s.hist:s.hist+n]
	in := src
	for i := range even {
		p := (*[2]float64)(in)
		even[i], odd[i] = p[0], p[1]
		in = in[2:]
	}
	for i := 0; i < n; i += 8 {
		if n-i >= 8 {
			s.eight((*[8]float64)(dst[i:]), i)
			continue
		}
		s.eight(&s.spare, i)
		copy(dst[i:], s.spare[:])
	}
	copy(s.even, s.even[n:n+s.hist])
	copy(s.odd, s.odd[n:n+s.hist])
}

// eight computes eight outputs; the first window begins at index i of the buffers.
func (s *downStage) eight(y *[8]float64, i int) {
	clear(y[:])
	gemv.Add8(y, s.even[i:], s.evenC)
	gemv.Add8(y, s.odd[i+s.late:], s.oddC)
}
