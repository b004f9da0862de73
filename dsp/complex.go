package dsp

import "math/cmplx"

// Abs2 is the square of the magnitude: a power gain where z is a gain.
func Abs2(z complex128) float64 { a := cmplx.Abs(z); return a * a }
