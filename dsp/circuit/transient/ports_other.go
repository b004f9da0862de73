//go:build !amd64

package transient

const fast = false

func predict4(t *ports, s *workspace, p, x *float64, n int) float64     { panic("circuit: no AVX") }
func predict8(t *ports, s *workspace, p, x *float64, n int) float64     { panic("circuit: no AVX") }
func correct4(t *ports, s *workspace, pairs int, least float64) float64 { panic("circuit: no AVX") }
func correct8(t *ports, s *workspace, pairs int, least float64) float64 { panic("circuit: no AVX") }
func settle4(t *ports, s *workspace, r, scale float64) float64          { panic("circuit: no AVX") }
func settle8(t *ports, s *workspace, r, scale float64) float64          { panic("circuit: no AVX") }
func carryAVX(next, s, diagonal, turn, drive *float64, rows int, x *float64, n int) {
	panic("circuit: no AVX")
}
func productAVX(a, b *float64, n int) float64 { panic("circuit: no AVX") }
