package gemv

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX && cpu.X86.HasAVX2

//go:noescape
func add8AVX(y *[8]float64, a *float64, stride int, x *float64, n int)

//go:noescape
func add4AVX(y *[4]float64, a *float64, stride int, x *float64, n int)

//go:noescape
func recurAVX(y, d, s, a *float64, rows int, x *float64, n int)

//go:noescape
func jacobian8AVX(a, k, own, oth *float64, least float64) bool

//go:noescape
func mul8AVX(y *[8]float64, a *float64, stride int, x *float64, n int)

//go:noescape
func mul4AVX(y *[4]float64, a *float64, stride int, x *float64, n int)
