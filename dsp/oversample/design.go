package oversample

import (
	"fmt"
	"math"
	"math/bits"
	"sync"

	"gonum.org/v1/gonum/mat"

	"drywire/dsp"
)

// The figures that the filters are designed to, each a little stricter than what is promised.
const (
	rippleStop = 9.4e-8 // 140.5 dB down; 140 dB are promised
	// of one direction: both leave a null of 120 dB (and are 0.00001 dB flat)
	ripplePass = 4.8e-7
	edgeMost   = 20 / 44.1 // highest pass-band edge, as a share of the base rate
	edgeLeast  = 0.40      // and lowest
	audible    = 20e3      // Hz
)

// passEdge is where the pass band ends, as a share of the base rate: at 20 kHz, but never above
// 20/44.1 (lower rates cannot have it) and never below 0.40 (higher rates need not stop there, and
// a relaxed filter is cheaper).
func passEdge(base dsp.Hertz) float64 {
	return min(max(audible/float64(base), edgeLeast), edgeMost)
}

// taps is the filter of doubling s: 0 is 1x to 2x, 1 is 2x to 4x, and so on. Its gain at DC is one.
func taps(s int, base dsp.Hertz) []float64 {
	if s == 0 {
		return lowest(passEdge(base))
	}
	// The signal ends at half the base rate, which is 1/2^(s+2) of this stage's higher rate.
	return halfBand(1 / float64(int(4)<<s))
}

// Designs take milliseconds and depend on nothing but their key, so they are kept.
var (
	mu      sync.Mutex
	designs = map[[2]float64][]float64{}
)

func memo(kind, edge float64, design func() []float64) []float64 {
	mu.Lock()
	defer mu.Unlock()
	key := [2]float64{kind, edge}
	if designs[key] == nil {
		designs[key] = design()
	}
	return designs[key]
}

// lowest is the filter between 1x and 2x. edge is the end of its pass band as a share of the base
// rate; the stop band begins at 0.5.
//
// It is not half-band. A half-band filter is symmetric about half the base rate, so it is only 6 dB
// down there and lets the 4 kHz above fold onto those below. That is inaudible by itself, but a
// clipper that follows would make audible intermodulation of it. As a full filter it may also have
// more ripple in the pass band than in the stop band, which saves some taps.
func lowest(edge float64) []float64 {
	return memo(0, edge, func() []float64 {
		bands := []band{
			{lo: 0, hi: math.Pi * edge, want: 1, weight: 1}, // radians per sample at 2x
			{lo: math.Pi / 2, hi: math.Pi, want: 0, weight: ripplePass / rippleStop},
		}
		// The usual estimate of the length, (-20·log10 sqrt(δp·δs) - 13) / (14.6·Δf), is some taps
		// too short; start there. Lengths are 4q+1, so that the middle tap is in the even branch.
		est := (-10*math.Log10(ripplePass*rippleStop) - 13) / (14.6 * (0.25 - edge/2))
		for q := max(int(est)/4, 2); q < int(est)/4+20; q++ {
			a, dev := minimax(2*q+1, false, bands)
			if dev > ripplePass {
				continue
			}
			h := make([]float64, 4*q+1)
			h[2*q] = a[0]
			for k := 1; k < len(a); k++ {
				h[2*q-k], h[2*q+k] = a[k]/2, a[k]/2
			}
			return h
		}
		panic(fmt.Sprintf("oversample: no filter with pass-band edge %v", edge))
	})
}

// halfBand is the shortest half-band filter with the stop band from 0.5-edge of its (higher) rate
// on; its length is 4K-1, its middle tap 0.5 and every other second tap zero.
func halfBand(edge float64) []float64 {
	return memo(1, edge, func() []float64 {
		for k := 1; k < 100; k++ {
			a, dev := minimax(k, true, []band{{lo: 0, hi: 2 * math.Pi * edge, want: 0.5, weight: 1}})
			if dev > rippleStop {
				continue
			}
			h := make([]float64, 4*k-1)
			mid := 2*k - 1
			h[mid] = 0.5
			for i, v := range a {
				h[mid-2*i-1], h[mid+2*i+1] = v/2, v/2
			}
			return h
		}
		panic(fmt.Sprintf("oversample: no half-band filter with pass-band edge %v", edge))
	})
}

// band is an interval of frequency in radians per sample with the wanted amplitude and the weight
// of errors.
type band struct {
	lo, hi, want, weight float64
	shape                func(w float64) float64 // that want is multiplied by; nil: 1
}

// minimax finds the n coefficients of sum a[k]·cos(m·ω), with m = k or, if odd, m = 2k+1, whose
// largest weighted error over the bands is smallest, by the exchange algorithm of Remez: make the
// error alternate with equal size at n+1 frequencies, then move these to where the error is in
// truth largest. It returns the largest weighted error, +Inf if the exchange lost its way.
//
// A long filter is so good that with evenly spread frequencies its error would start below the
// rounding of float64 and have no signs to go by. So a short filter is solved first, and the
// frequencies of each solution, stretched, start one of twice the length.
func minimax(n int, odd bool, bands []band) (a []float64, dev float64) {
	var grid []point
	for _, b := range bands {
		count := 16 * n // at least 16 for each ripple
		for i := 0; i <= count; i++ {
			w := b.lo + (b.hi-b.lo)*float64(i)/float64(count)
			p := point{w, b.want, b.weight}
			if b.shape != nil {
				p.want *= b.shape(w)
			}
			grid = append(grid, p)
		}
	}
	at := []int{0, len(grid) - 1} // evenly spread to begin with
	for shift := max(bits.Len(uint(n))-4, 0); shift >= 0; shift-- {
		at = stretch(at, n>>shift+1)
		if a, dev, at = exchange(at, odd, grid); at == nil {
			return nil, math.Inf(1)
		}
	}
	return a, dev
}

// point is a frequency in radians per sample with the wanted amplitude and the weight of errors.
type point struct{ w, want, weight float64 }

// stretch draws n places from the curve through the places of at.
func stretch(at []int, n int) []int {
	more := make([]int, n)
	for i := range more {
		x := float64(i) * float64(len(at)-1) / float64(n-1)
		j := min(int(x), len(at)-2)
		more[i] = int(math.Round(float64(at[j]) + (x-float64(j))*float64(at[j+1]-at[j])))
		if i > 0 {
			more[i] = max(more[i], more[i-1]+1) // between neighbours there is no third place
		}
	}
	return more
}

// exchange runs the algorithm of Remez for len(at)-1 coefficients from the places at of the grid.
// It returns the places where it ended, nil when it lost its way.
func exchange(at []int, odd bool, grid []point) (a []float64, dev float64, end []int) {
	n := len(at) - 1
	a = make([]float64, n)
	errs := make([]float64, len(grid))
	lhs, rhs := mat.NewDense(n+1, n+1, nil), mat.NewVecDense(n+1, nil)
	for round := 0; round < 50; round++ {
		for i, g := range at {
			p := grid[g]
			for k := 0; k < n; k++ {
				m := float64(k)
				if odd {
					m = 2*m + 1
				}
				lhs.Set(i, k, math.Cos(m*p.w))
			}
			lhs.Set(i, n, float64(1-2*(i%2))/p.weight)
			rhs.SetVec(i, p.want)
		}
		var sol mat.VecDense
		if err := sol.SolveVec(lhs, rhs); err != nil {
			if _, inexact := err.(mat.Condition); !inexact {
				return nil, 0, nil
			}
		}
		for k := range a {
			a[k] = sol.AtVec(k)
		}
		dev = 0
		for i, p := range grid {
			errs[i] = (sumCos(a, odd, p.w) - p.want) * p.weight
			dev = max(dev, math.Abs(errs[i]))
		}
		if dev <= math.Abs(sol.AtVec(n))*1.001 {
			break
		}
		if at = peaks(errs, n+1); at == nil {
			return nil, 0, nil
		}
	}
	return a, dev, at
}

// sumCos is sum a[k]·cos(m·w) by Clenshaw's recurrence.
func sumCos(a []float64, odd bool, w float64) float64 {
	turn := 2 * math.Cos(w)
	if odd {
		turn = 2 * math.Cos(2*w)
	}
	var b1, b2 float64
	for k := len(a) - 1; k > 0; k-- {
		b1, b2 = a[k]+turn*b1-b2, b1
	}
	if odd { // cos(2k+1)w = cos w·(…): φ0 = cos w, φ1 = cos 3w = (2 cos 2w - 1) cos w
		return math.Cos(w) * (a[0] + b1*(turn-1) - b2)
	}
	return a[0] + b1*turn/2 - b2
}

// peaks returns the places of n extrema of e that alternate in sign: one per run of equal sign, the
// smaller of the outer ones dropped while there are too many. It is nil when there are too few.
func peaks(e []float64, n int) []int {
	var at []int
	for i, v := range e {
		if last := len(at) - 1; last >= 0 && (v > 0) == (e[at[last]] > 0) {
			if math.Abs(v) > math.Abs(e[at[last]]) {
				at[last] = i
			}
			continue
		}
		at = append(at, i)
	}
	for len(at) > n {
		if math.Abs(e[at[0]]) < math.Abs(e[at[len(at)-1]]) {
			at = at[1:]
		} else {
			at = at[:len(at)-1]
		}
	}
	if len(at) < n {
		return nil
	}
	return at
}
