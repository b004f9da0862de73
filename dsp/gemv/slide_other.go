//go:build !amd64

package gemv

func slideAVX(y, a, b *float64, n int, taps *float64, count int, bias float64) { panic("gemv: no AVX") }
func slideNearAVX(y, x *float64, n int, gain, bias float64, a, b, taps *float32, count int) {
	panic("gemv: no AVX")
}
func narrowAVX(a, b *float32, x *float64, n int, least float32) { panic("gemv: no AVX") }
func withinAVX(x *float64, n int, limit float64) bool           { panic("gemv: no AVX") }
func ringAVX(y, u *float64, n int, of, state *float64)          { panic("gemv: no AVX") }
func bothAVX(y, u *float64, n int, ofRing, ring, ofDecay, decay *float64) {
	panic("gemv: no AVX")
}
func decayAVX(y, u *float64, n int, of, state *float64) { panic("gemv: no AVX") }
