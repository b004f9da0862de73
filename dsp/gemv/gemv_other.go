//go:build !amd64

package gemv

const fast = false

func add8AVX(y *[8]float64, a, x *float64, n int) { panic("gemv: no AVX") }
