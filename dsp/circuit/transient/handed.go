package transient

// What signals of circuits in a row need, one of which drives the next at this rate (Options.Wide
// and Options.Spline).

// widener gathers one probe's voltage under the four pieces of a cubic B-spline.
type widener struct {
	y1, y2 float64    // the last two values
	d1, d2 float64    // the last two second differences
	m      [4]float64 // of this step: ∫v·xⁿ, x from 0 to 1
	pieces [3]float64 // what three outputs have so far, the next first
}

// gather is Transient.gather.
func (q *widener) gather(y, x, h float64, calm int) {
	d := y - 2*q.y1 + q.y2
	second := d
	switch calm {
	case 3:
		second += (7*second - 10*q.d1 + 3*q.d2) / 8
	case 2:
		second += (second - q.d1) / 2
	case 1:
	default:
		second = 0
	}
	// ∫(y1+(y-y1)·z - second/2·z·(1-z))·zⁿ dz, z from 0 to 1
	a := q.y1
	m0 := (a+y)*(1./2) - second*(1./12)
	m1 := a*(1./6) + y*(1./3) - second*(1./24)
	m2 := a*(1./12) + y*(1./4) - second*(1./40)
	m3 := a*(1./20) + y*(1./5) - second*(1./60)
	// the same of (x+h·z)ⁿ, times h
	hm, hhm := h*m1, h*h*m2
	q.m[0] += h * m0
	q.m[1] += h * (x*m0 + hm)
	q.m[2] += h * (x*(x*m0+2*hm) + hhm)
	q.m[3] += h * (x*(x*(x*m0+3*hm)+3*hhm) + h*h*h*m3)
	q.d1, q.d2 = d, q.d1
	q.y1, q.y2 = y, q.y1
}

// take ends the step and gives the mean that is whole. The pieces of the B-spline are (1-x)³,
// 4-6x²+3x³, 1+3x+3x²-3x³ and x³, each over 6.
func (q *widener) take() float64 {
	m := q.m
	y := q.pieces[0] + (m[0]-3*m[1]+3*m[2]-m[3])*(1./6)
	q.pieces[0] = q.pieces[1] + (4*m[0]-6*m[2]+3*m[3])*(1./6)
	q.pieces[1] = q.pieces[2] + (m[0]+3*m[1]+3*m[2]-3*m[3])*(1./6)
	q.pieces[2] = m[3] * (1. / 6)
	q.m = [4]float64{}
	return y
}

// splined is inputs that run on quintic B-splines.
type splined struct {
	coefficients []float64 // the last six of every input, the newest last
	// of the six, at the beginning and at the end of each smallest step, and at thirds of the whole
	ends   [][6]float64
	thirds [3][6]float64
}

// splineLate is by how many steps a quintic B-spline is late: its value lies in the middle of six
// coefficients.
const splineLate = 2

func newSplined(inputs, smallest int) *splined {
	s := &splined{coefficients: make([]float64, 6*inputs)}
	for j := range smallest + 1 {
		s.ends = append(s.ends, quintic(float64(j)/float64(smallest)))
	}
	for k := range s.thirds {
		s.thirds[k] = quintic(float64(k+1) / 3)
	}
	return s
}

// quintic is the weights of six coefficients in the quintic B-spline, from the third, at x = 0, to
// the fourth: with t the distance from a coefficient, ∑ (-1)ᵏ·(6 over k)·max(0, t+3-k)⁵/120, k from
// 0 to 6.
func quintic(x float64) (w [6]float64) {
	for j := range w {
		t := x - float64(j-2)
		over := 1.0
		for k := range 7 {
			if d := t + 3 - float64(k); d > 0 {
				w[j] += over * d * d * d * d * d / 120
			}
			over *= -float64(6-k) / float64(k+1)
		}
	}
	return w
}

func weigh(w *[6]float64, c []float64) float64 {
	c = c[:6]
	return ((w[0]*c[0] + w[1]*c[1]) + (w[2]*c[2] + w[3]*c[3])) + (w[4]*c[4] + w[5]*c[5])
}

// next takes the next coefficients, and sets the values of every input at the beginning of the
// step, at its thirds, and at its end.
func (s *splined) next(values, coefficients []float64) {
	for k, x := range coefficients {
		c, v := s.coefficients[6*k:6*k+6], values[4*k:4*k+4]
		c[0], c[1], c[2], c[3], c[4], c[5] = c[1], c[2], c[3], c[4], c[5], x
		v[0] = v[3]
		for j := range s.thirds {
			v[1+j] = weigh(&s.thirds[j], c)
		}
	}
}

// line sets the last two of four values of every input to those at the ends of a part of the step,
// in smallest steps.
func (s *splined) line(values []float64, from, to int) {
	for k := 0; 4*k < len(values); k++ {
		c := s.coefficients[6*k : 6*k+6]
		values[4*k+2], values[4*k+3] = weigh(&s.ends[from], c), weigh(&s.ends[to], c)
	}
}

// thirds is the weights of values at 0, 1/3, 2/3 and 1 in the cubic through them, at x between 0 and
// 1.
func thirds(x float64) [4]float64 {
	x *= 3
	return [4]float64{
		-(x - 1) * (x - 2) * (x - 3) / 6,
		x * (x - 2) * (x - 3) / 2,
		-x * (x - 1) * (x - 3) / 2,
		x * (x - 1) * (x - 2) / 6,
	}
}
