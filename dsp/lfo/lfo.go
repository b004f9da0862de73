// Package lfo holds a low-frequency oscillator: what moves the gain of a tremolo, the delay of a
// chorus, the notches of a phaser.
//
// It is a table of one cycle, read between its points along straight lines. It is not for sounds:
// nothing here limits its band. Its start is part of it, so what it modulates is the same in every
// render.
//
// Start reading at Wave, then Oscillator.Next.
package lfo

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// Wave is one cycle: a value from -1 to 1 for a phase from 0 to 1. It must be continuous, also from
// its end to its beginning, or what it modulates will click.
type Wave func(phase float64) float64

// Sine starts at 0 and rises. phase is in cycles.
func Sine(phase float64) float64 { return math.Sin(2 * math.Pi * phase) }

// Triangle starts at 0 and rises, a straight line from bottom to top and another back. phase is in
// cycles.
func Triangle(phase float64) float64 {
	_, x := math.Modf(phase + 0.75)
	return 4*math.Abs(x-0.5) - 1
}

// Square is a square wave with soft edges, a sine pressed against its limits: tanh(6·sin)/tanh(6),
// from 10 to 90 % of the way in 5.9 % of the cycle.
func Square(phase float64) float64 { return math.Tanh(6*Sine(phase)) / math.Tanh(6) }

// of the table; straight lines between them miss a sine by (2π/points)²/8 = 3e-7 (-130 dB) at most
const points = 4096

// Oscillator runs through a wave again and again. The zero value is not usable.
type Oscillator struct {
	table [points + 1]float64
	phase float64 // of the next value, from 0 up to 1
	start float64
	step  float64 // cycles per sample
}

// New makes an oscillator of that frequency, which starts at a phase from 0 up to 1, in a signal of
// the given sample rate. It panics unless the frequency is from 0 (it stands still) up to half the
// rate.
func New(wave Wave, frequency dsp.Hertz, start float64, rate dsp.Hertz) *Oscillator {
	step := float64(frequency) / float64(rate)
	if !(step >= 0 && step < 0.5 && start >= 0 && start < 1) {
		panic(fmt.Sprintf("lfo: %v Hz from phase %v at %v Hz", float64(frequency), start, float64(rate)))
	}
	o := &Oscillator{phase: start, start: start, step: step}
	for k := range o.table {
		o.table[k] = wave(float64(k) / points)
	}
	return o
}

// Next is the wave's value for the next sample, -1 to 1.
func (o *Oscillator) Next() float64 {
	at := o.phase * points
	k := int(at)
	if o.phase += o.step; o.phase >= 1 {
		o.phase--
	}
	return o.table[k] + (at-float64(k))*(o.table[k+1]-o.table[k])
}

// Reset goes back to the start.
func (o *Oscillator) Reset() { o.phase = o.start }
