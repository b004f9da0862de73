package gemv

// Fused is x·y + z, rounded twice: a machine of this type has no instruction for less, and the last
// bit is not worth a hundred of those that it has.
func Fused(x, y, z float64) float64 { return x*y + z }
