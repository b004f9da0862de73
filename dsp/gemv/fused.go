//go:build !wasm

package gemv

import "math"

// Fused is x·y + z, rounded once. Wherever there is an instruction for it, it costs no more than a
// product.
func Fused(x, y, z float64) float64 { return math.FMA(x, y, z) }
