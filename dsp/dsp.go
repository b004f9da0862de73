// Package dsp holds the units and levels of the rest of Drywire.
//
// Its subpackages are mathematics on samples and circuits. None of them knows a guitar, a file, a
// clock, a network or a terminal. Inside the mathematics every quantity is a float64 in its SI base
// unit (volts, ohms, seconds, …); the types here are for exported functions, where units could be
// mixed up.
//
// Start reading at Unit and ParseQuantity, then circuit (the engine) and measure (the meters).
package dsp

import "math"

// SI quantities, for parameters of exported functions.
type (
	Ohm    float64
	Farad  float64
	Henry  float64
	Volt   float64
	Ampere float64
	Hertz  float64
	Second float64
	Metre  float64
)

// DBu is the voltage of 0 dBu: the voltage that puts 1 mW into 600 Ω, sqrt(0.6) V.
// Source: IEC 60268-3 usage; the number is exact by definition.
var DBu = math.Sqrt(0.6)

// ToDB is the level of an amplitude ratio in decibels, 20·log10 |ratio|. ToDB(0) is -Inf.
func ToDB(ratio float64) float64 { return 20 * math.Log10(math.Abs(ratio)) }

// FromDB is the amplitude ratio of a level in decibels.
func FromDB(db float64) float64 { return math.Pow(10, db/20) }

// VoltsToDBu is the level of an RMS voltage in dBu (0 dBu = 0.7746 V).
func VoltsToDBu(v float64) float64 { return ToDB(v / DBu) }

// VoltsToDBV is the level of an RMS voltage in dBV (0 dBV = 1 V).
func VoltsToDBV(v float64) float64 { return ToDB(v) }
