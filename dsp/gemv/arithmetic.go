package gemv

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"runtime"
	"sync"
)

// Arithmetic names how this processor and this build round: results are the same to the last bit
// where the names are the same. It is the type of processor and a checksum of what comes out of
// sums of products, which some processors and builds round once and others twice, and out of the
// functions of the standard library, which go by what a processor can do.
func Arithmetic() string { return arithmetic() }

var arithmetic = sync.OnceValue(func() string {
	sum := crc32.NewIEEE()
	put := func(all ...float64) { binary.Write(sum, binary.LittleEndian, all) } // a checksum takes all
	for k := range 2000 {
		x := 0.37 + float64(k)/31
		y := math.Sqrt(x) - 1.9
		put(math.Exp(y), math.Exp(-x/3), math.Log(x), math.Log1p(x), math.Expm1(y/9), math.Pow(x, 0.31), math.Sin(x), math.Cos(y), math.Tanh(y), math.Hypot(x, y))
		put(sums(x, y, y-x), Fused(x, y, y-x))
	}
	return fmt.Sprintf("%s %08x", runtime.GOARCH, sum.Sum32())
})

// sums is a sum of products as people write it.
//
//go:noinline
func sums(x, y, z float64) float64 { return x*y + z*x - y*z }
