package oversample

// A doubling, in either direction, splits its symmetric filter into the taps of even and of odd index
// (the two polyphase branches). Both are symmetric again, so each is run by fold8. In a half-band filter
// the odd branch is one tap of 0.5: a delay.

// slack is by how much buffers are longer than needed, because fold8 always computes eight outputs. What
// it computes beyond the end is thrown away, so one kernel serves every call length with the same bits.
const slack = 8

// fold8 is eight neighbouring outputs of a symmetric FIR filter of the given width. c holds the outer
// coefficients of one half; the outermost comes first. Output j sees x[j : j+width].
func fold8(x []float64, width int, c []float64) (y0, y1, y2, y3, y4, y5, y6, y7 float64) {
	if len(c) == 3 {
		return three((*[13]float64)(x), (*[3]float64)(c))
	}
	last := width - 1
	for i, g := range c {
		a := (*[8]float64)(x[i:])
		b := (*[8]float64)(x[last-i:])
		y0 += g * (a[0] + b[0])
		y1 += g * (a[1] + b[1])
		y2 += g * (a[2] + b[2])
		y3 += g * (a[3] + b[3])
		y4 += g * (a[4] + b[4])
		y5 += g * (a[5] + b[5])
		y6 += g * (a[6] + b[6])
		y7 += g * (a[7] + b[7])
	}
	return
}

// three is fold8 for a width of six, which most of the samples at high rates pass.
func three(x *[13]float64, c *[3]float64) (y0, y1, y2, y3, y4, y5, y6, y7 float64) {
	a, b, d := c[0], c[1], c[2]
	y0 = a*(x[0]+x[5]) + b*(x[1]+x[4]) + d*(x[2]+x[3])
	y1 = a*(x[1]+x[6]) + b*(x[2]+x[5]) + d*(x[3]+x[4])
	y2 = a*(x[2]+x[7]) + b*(x[3]+x[6]) + d*(x[4]+x[5])
	y3 = a*(x[3]+x[8]) + b*(x[4]+x[7]) + d*(x[5]+x[6])
	y4 = a*(x[4]+x[9]) + b*(x[5]+x[8]) + d*(x[6]+x[7])
	y5 = a*(x[5]+x[10]) + b*(x[6]+x[9]) + d*(x[7]+x[8])
	y6 = a*(x[6]+x[11]) + b*(x[7]+x[10]) + d*(x[8]+x[9])
	y7 = a*(x[7]+x[12]) + b*(x[8]+x[11]) + d*(x[9]+x[10])
	return
}

// split divides a symmetric filter of length 4q+1 or, if half-band, 4q+3 into the halves of its two
// branches and the middle tap.
func split(h []float64, scale float64) (even, odd []float64, mid float64) {
	m := len(h) / 2
	for i := 0; i < m; i += 2 {
		even = append(even, scale*h[i])
	}
	for i := 1; i < m; i += 2 {
		odd = append(odd, scale*h[i])
	}
	return even, odd, scale * h[m]
}

// upStage doubles a rate.
type upStage struct {
	full      bool      // not half-band
	even, odd []float64 // halves of the branches; the gain of two that zero stuffing takes is in them
	mid       float64   // the middle tap; it belongs to the even branch of a full filter
	hist      int       // samples of the past in front of buf
	buf       []float64
	spare     [2 * slack]float64
}

func newUpStage(h []float64, full bool, most int) upStage {
	s := upStage{full: full}
	s.even, s.odd, s.mid = split(h, 2)
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
	if !s.full {
		k := len(s.even)
		y[0], y[2], y[4], y[6], y[8], y[10], y[12], y[14] = fold8(x, 2*k, s.even)
		d := (*[8]float64)(x[k:]) // 2·0.5 of the middle tap is one
		y[1], y[3], y[5], y[7], y[9], y[11], y[13], y[15] = d[0], d[1], d[2], d[3], d[4], d[5], d[6], d[7]
		return
	}
	m := s.hist
	a0, a1, a2, a3, a4, a5, a6, a7 := fold8(x, m+1, s.even)
	d, g := (*[8]float64)(x[m/2:]), s.mid
	y[0], y[2], y[4], y[6] = a0+g*d[0], a1+g*d[1], a2+g*d[2], a3+g*d[3]
	y[8], y[10], y[12], y[14] = a4+g*d[4], a5+g*d[5], a6+g*d[6], a7+g*d[7]
	y[1], y[3], y[5], y[7], y[9], y[11], y[13], y[15] = fold8(x[1:], m, s.odd)
}

// downStage halves a rate.
type downStage struct {
	full        bool
	evenC, oddC []float64 // halves of the branches
	mid         float64
	m           int       // the filter's delay in input samples
	hist        int       // samples of the past in front of even and odd
	even, odd   []float64 // input samples of even and of odd index
	out         []float64 // room for this stage's output
	spare       [slack]float64
}

// newDownStage makes a stage that delays by 2·late input samples more than its filter does.
func newDownStage(h []float64, full bool, late, most int) downStage {
	s := downStage{full: full, m: len(h) / 2}
	s.evenC, s.oddC, s.mid = split(h, 1)
	s.hist = s.m + late
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
	g := s.mid
	if !s.full {
		k := len(s.evenC)
		a0, a1, a2, a3, a4, a5, a6, a7 := fold8(s.even[i:], 2*k, s.evenC)
		d := (*[8]float64)(s.odd[i+k-1:])
		y[0], y[1], y[2], y[3] = a0+g*d[0], a1+g*d[1], a2+g*d[2], a3+g*d[3]
		y[4], y[5], y[6], y[7] = a4+g*d[4], a5+g*d[5], a6+g*d[6], a7+g*d[7]
		return
	}
	a0, a1, a2, a3, a4, a5, a6, a7 := fold8(s.even[i:], s.m+1, s.evenC)
	d := (*[8]float64)(s.even[i+s.m/2:])
	a0, a1, a2, a3 = a0+g*d[0], a1+g*d[1], a2+g*d[2], a3+g*d[3]
	a4, a5, a6, a7 = a4+g*d[4], a5+g*d[5], a6+g*d[6], a7+g*d[7]
	b0, b1, b2, b3, b4, b5, b6, b7 := fold8(s.odd[i:], s.m, s.oddC)
	y[0], y[1], y[2], y[3], y[4], y[5], y[6], y[7] = a0+b0, a1+b1, a2+b2, a3+b3, a4+b4, a5+b5, a6+b6, a7+b7
}
