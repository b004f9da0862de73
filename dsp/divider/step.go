package divider

import "math"

// steps is a signal with jumps between its samples, each made a band-limited step: its difference
// from a jump is added to the samples around it. So the signal comes half samples late.
type steps struct {
	room [ring]float64
	at   int // where the next sample goes
}

const (
	half    = 16 // samples that a step takes to either side of its jump
	ring    = 64 // a power of two, at least 2·half + 1
	between = 256
)

// jump adds a jump of that height, and in that slope (per sample), that many samples before the
// next sample, from 0 to 1. The next samples are to have it already.
func (s *steps) jump(ago, height, slope float64) {
	for k := -half; k < half; k++ {
		at := (float64(k) + ago + half) * between
		n := int(at)
		x := at - float64(n)
		step := table.step[n] + x*(table.step[n+1]-table.step[n])
		ramp := table.ramp[n] + x*(table.ramp[n+1]-table.ramp[n])
		if t := float64(k) + ago; t >= 0 { // after the jump
			step--
			ramp -= t
		}
		s.room[(s.at+k)&(ring-1)] += height*step + slope*ramp
	}
}

// next adds a sample and gives the one that is done.
func (s *steps) next(x float64) float64 {
	s.room[s.at] += x
	done := (s.at - half) & (ring - 1)
	y := s.room[done]
	s.room[done] = 0
	s.at = (s.at + 1) & (ring - 1)
	return y
}

// table is the step itself, from 0 to 1, and the ramp, its integral, at points from half samples
// before the middle to half after it. The step is the integral of a sinc with its edge at 0.41 of
// the rate in Kaiser's window, which is 90 dB down from half the rate on.
var table = makeTable()

type points [2*half*between + 2]float64

func makeTable() (t struct{ step, ramp points }) {
	const beta, edge = 9.0, 0.41
	kernel := func(x float64) float64 {
		u := 1 - x*x/(half*half)
		if u <= 0 {
			return 0
		}
		w := bessel0(beta * math.Sqrt(u))
		if x == 0 {
			return w * 2 * edge
		}
		return w * math.Sin(2*math.Pi*edge*x) / (math.Pi * x)
	}
	var sum float64
	for k := range 2 * half * between { // by Simpson's rule
		x := float64(k)/between - half
		sum += kernel(x) + 4*kernel(x+0.5/between) + kernel(x+1.0/between)
		t.step[k+1] = sum
	}
	t.step[len(t.step)-1] = sum
	for k := range t.step {
		t.step[k] /= sum
		if k > 0 {
			t.ramp[k] = t.ramp[k-1] + (t.step[k-1]+t.step[k])/2/between
		}
	}
	return t
}

// bessel0 is the modified Bessel function I0 by its power series (DLMF 10.25.2).
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for n := 1.0; term > 1e-17*sum; n++ {
		term *= x * x / (4 * n * n)
		sum += term
	}
	return sum
}
