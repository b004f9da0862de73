//go:build !amd64

package gemv

const fast = false

func add8AVX(y *[8]float64, a *float64, stride int, x *float64, n int) { panic("gemv: no AVX") }
func add4AVX(y *[4]float64, a *float64, stride int, x *float64, n int) { panic("gemv: no AVX") }
func recurAVX(y, d, s, a *float64, rows int, x *float64, n int)        { panic("gemv: no AVX") }
func jacobian8AVX(a, k, own, oth *float64, least float64) bool         { panic("gemv: no AVX") }
func mul8AVX(y *[8]float64, a *float64, stride int, x *float64, n int) { panic("gemv: no AVX") }
func mul4AVX(y *[4]float64, a *float64, stride int, x *float64, n int) { panic("gemv: no AVX") }
