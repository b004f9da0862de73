package gemv

//go:noescape
func slideAVX(y, a, b *float64, n int, taps *float64, count int, bias float64)

//go:noescape
func slideNearAVX(y, x *float64, n int, gain, bias float64, a, b, taps *float32, count int)

//go:noescape
func narrowAVX(a, b *float32, x *float64, n int, least float32)

//go:noescape
func withinAVX(x *float64, n int, limit float64) bool

//go:noescape
func ringAVX(y, u *float64, n int, of, state *float64)

//go:noescape
func bothAVX(y, u *float64, n int, ofRing, ring, ofDecay, decay *float64)

//go:noescape
func decayAVX(y, u *float64, n int, of, state *float64)
