package transient

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"drywire/dsp/circuit/internal/dense"
)

// randomPorts is ports and a workspace as a circuit of so many ports might have them, and columns
// for predict.
func randomPorts(r *rand.Rand, m, columns int) (t *ports, s *workspace, p, x []float64) {
	width := padded(m)
	k := make([]float64, width*m)
	for c := range m {
		for row := range m {
			k[c*width+row] = r.NormFloat64()
		}
	}
	t, s = new(ports), newWorkspace(width, m, k)
	for _, row := range []*row{&t.v, &t.i, &t.own, &t.v0, &t.base, &t.weight, &t.limitInverse, &t.last, &t.before, &s.p, &s.off, &s.ahead} {
		for j := range m {
			row[j] = r.NormFloat64()
		}
	}
	for j := range m {
		t.weight[j], t.limitInverse[j] = math.Abs(t.weight[j]), math.Abs(t.limitInverse[j])
		if j^1 < m {
			t.oth[j] = r.NormFloat64()
		}
	}
	p, x = make([]float64, width*columns), make([]float64, columns)
	for c := range columns {
		x[c] = r.NormFloat64()
		for row := range m {
			p[c*width+row] = r.NormFloat64()
		}
	}
	return t, s, p, x
}

// The fast and the plain forms give the same numbers, for every number of ports.
func TestPortsFastAndPlain(t *testing.T) {
	if !fast {
		t.Skip("there is but the plain form here")
	}
	r := rand.New(rand.NewPCG(1, 2))
	regular := 0
	for m := 1; m <= 8; m++ {
		for columns := 4; columns < 14; columns++ {
			for range 20 {
				a, as, p, x := randomPorts(r, m, columns)
				b, bs := new(ports), new(workspace)
				*b, *bs = *a, *as
				same := func(what string, x, y float64) {
					if *a != *b && what != "correct" || as.inverse != bs.inverse || as.p != bs.p || as.want != bs.want || as.tangent != bs.tangent || as.off != bs.off || as.ahead != bs.ahead || x != y {
						t.Fatalf("%d ports, %d columns, %s: %v and %v\n%+v\n%+v\n%+v\n%+v", m, columns, what, x, y, *a, *b, *as, *bs)
					}
				}
				far, farPlain := a.predict(as, p, x), b.predictPlain(bs, p, x)
				a.f, b.f = row{}, row{} // room
				same("predict", far, farPlain)
				worst, worstPlain := a.correct(as), b.correctPlain(bs)
				if worst == -1 || worstPlain == -1 {
					if worst != worstPlain {
						t.Fatalf("%d ports: %v and %v", m, worst, worstPlain)
					}
					continue
				}
				regular++
				a.f, a.di = b.f, b.di // room
				same("correct", worst, worstPlain)
				if a.d != b.d {
					t.Fatalf("%d ports: corrections %v and %v", m, a.d, b.d)
				}
				moved, movedPlain := a.settle(as, 0.25, 0.4), b.settlePlain(bs, 0.25, 0.4)
				same("settle", moved, movedPlain)
			}
		}
	}
	if regular < 1500 {
		t.Errorf("only %d of 1600 had an inverse", regular)
	}
}

// The step of the modes and the products of the probes: fast and plain give the same numbers, and
// the right ones.
func TestCarryFastAndPlain(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	random := func(n int) []float64 {
		x := make([]float64, n)
		for k := range x {
			x[k] = r.NormFloat64()
		}
		return x
	}
	for rows := 4; rows <= 24; rows += 4 {
		for columns := 1; columns < 12; columns++ {
			s, diagonal, turn, drive, x := random(rows), random(rows), random(rows), random(rows*columns), random(columns)
			got, plain := random(rows), random(rows)
			carry(got, s, diagonal, turn, drive, x)
			carryPlain(plain, s, diagonal, turn, drive, x)
			for k := range got {
				want := diagonal[k]*s[k] + turn[k]*s[k^1]
				for c := range x {
					want += drive[c*rows+k] * x[c]
				}
				if got[k] != plain[k] || math.Abs(got[k]-want) > 1e-13 {
					t.Fatalf("%d rows, %d columns: row %d is %v and, plain, %v, want %v", rows, columns, k, got[k], plain[k], want)
				}
			}
		}
		a, b := random(2*rows&^7), random(2*rows)
		if got, plain, want := product(a, b), productPlain(a, b), dense.Dot(a, b[:len(a)]); got != plain || math.Abs(got-want) > 1e-13 {
			t.Errorf("%d numbers: %v and, plain, %v, want %v", len(a), got, plain, want)
		}
	}
}

// The correction is Newton's: (I - K·D)·d is what the port voltages lack.
func TestPortsCorrection(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for m := 1; m <= 8; m++ {
		for range 50 {
			a, s, p, x := randomPorts(r, m, 6)
			a.predict(s, p, x)
			if a.correct(s) < 0 {
				continue
			}
			scale := 0.0
			for k := range m {
				scale = max(scale, math.Abs(a.d[k]))
			}
			for k := range m {
				left := a.d[k] - (s.want[k] + a.v0[k] - a.next[k])
				for c := range m {
					moved := a.own[c] * a.d[c]
					if c^1 < m {
						moved += a.oth[c] * a.d[c^1]
					}
					left -= s.k[c*s.width+k] * (a.i[c] - a.base[c] + moved)
				}
				if !(math.Abs(left) < 1e-8*max(1, scale)) {
					t.Fatalf("%d ports: row %d is off by %v", m, k, left)
				}
			}
		}
	}
}

// What is not a number is told, and so is a Jacobian without an inverse.
func TestPortsBadNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for m := 1; m <= 8; m++ {
		for _, c := range []struct {
			name   string
			change func(t *ports, s *workspace)
			want   float64
		}{
			{"a current that is not a number", func(t *ports, s *workspace) { t.i[m-1] = math.NaN() }, math.Inf(1)},
			{"an endless current", func(t *ports, s *workspace) { t.i[0] = math.Inf(-1) }, math.Inf(1)},
			{"a port that answers itself", func(t *ports, s *workspace) {
				k := s.width*(m-1) + m - 1
				for c := range s.k {
					s.k[c] = 0
				}
				s.k[k], t.own[m-1] = 1, 1
				t.oth = row{}
			}, -1},
		} {
			t.Run(fmt.Sprintf("%d ports, %s", m, c.name), func(t *testing.T) {
				a, s, p, x := randomPorts(r, m, 6)
				for k := range s.k {
					s.k[k] *= 0.01 // an inverse is there
				}
				a.predict(s, p, x)
				c.change(a, s)
				b, bs := new(ports), new(workspace)
				*b, *bs = *a, *s
				if got, plain := a.correct(s), b.correctPlain(bs); got != c.want || plain != c.want {
					t.Errorf("%v and, plain, %v, want %v", got, plain, c.want)
				}
			})
		}
	}
}

func BenchmarkPorts(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, m := range []int{2, 4, 6, 8} {
		t, s, p, x := randomPorts(r, m, 4+2*m)
		b.Run(fmt.Sprintf("predict%d", m), func(b *testing.B) {
			for b.Loop() {
				t.predict(s, p, x)
			}
		})
		b.Run(fmt.Sprintf("correct%d", m), func(b *testing.B) {
			for b.Loop() {
				t.correct(s)
			}
		})
		b.Run(fmt.Sprintf("settle%d", m), func(b *testing.B) {
			t.d, t.i, t.next = row{}, row{}, row{}
			for b.Loop() {
				t.settle(s, 1, 1)
			}
		})
	}
}
