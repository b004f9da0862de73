package gemv

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX && cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func add8AVX(y *[8]float64, a, x *float64, n int)
