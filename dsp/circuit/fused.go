//go:build !wasm

package circuit

import "math"

// fused is x·y + z, rounded once. Wherever there is an instruction for it, it costs no more than a product.
func fused(x, y, z float64) float64 { return math.FMA(x, y, z) }
