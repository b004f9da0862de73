package produce

import (
	"fmt"
	"math"
	"strconv"

	"drywire/dsp"
)

// Quantity is a measured quantity with its unit, to three digits.
func Quantity(v float64, u dsp.Unit) string {
	short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	if err != nil {
		return fmt.Sprint(v)
	}
	return dsp.FormatQuantity(short, u)
}

// Volts is a voltage to three digits.
func Volts(v float64) string { return Quantity(v, dsp.Volts) }

// Decibels is a level with one digit, or a dash where there is none.
func Decibels(db float64) string {
	if math.IsInf(db, 0) || math.IsNaN(db) {
		return "-"
	}
	if text := strconv.FormatFloat(db, 'f', 1, 64); text != "-0.0" {
		return text
	}
	return "0.0"
}

// Hearing is said wherever someone is about to listen. The times are those of NIOSH publication
// 98-126 (480 min / 2^((L-85)/3)) and of the WHO-ITU standard of 2019 (ITU-T H.870, 80 dB(A) for 40
// h a week, equal energy).
const Hearing = "Start with the volume turned down, then raise it: fuzz is dense and tires the ear unnoticed. At 85 dB(A) work safety " +
	"(NIOSH) allows 8 hours a day, at 94 dB(A) 1 hour, at 100 dB(A) 15 minutes; for leisure the WHO advises no more than 80 dB(A) for 40 hours a " +
	"week, which is 4 hours a week at 90 dB(A)."
