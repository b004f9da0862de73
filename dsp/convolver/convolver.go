// Package convolver runs a signal through an impulse response of any length: a loudspeaker's, a
// room's. It is one convolution at one rate; it reads no files and changes no rates.
//
// The response is cut into parts of one block each, and their spectra are multiplied with those of
// the blocks of the past (overlap-save with uniform partitions: J. Audio Eng. Soc. 50(1/2), 2002,
// on partitioned convolution; the method is older). So a sample costs some products per block of
// the response in place of one per sample of it, and the output comes a block late.
//
// Start reading at New.
package convolver

import "gonum.org/v1/gonum/dsp/fourier"

// block is the length of a part, in samples.
const block = 256

// Convolver is one convolution with its memory. Its methods are for one goroutine.
type Convolver struct {
	length int
	fft    *fourier.FFT
	parts  [][]complex128 // spectra of the response's parts, scaled
	past   [][]complex128 // spectra of the last blocks of input, a ring
	newest int
	in     []float64 // the block before and the one that fills
	out    []float64 // what is ready
	filled int
	sum    []complex128
	time   []float64
}

// New makes a convolver of that impulse response, at the rate of the signals. It panics on an empty
// one.
func New(response []float64) *Convolver {
	if len(response) == 0 {
		panic("convolver: an empty impulse response")
	}
	c := &Convolver{
		length: len(response), fft: fourier.NewFFT(2 * block),
		in: make([]float64, 2*block), out: make([]float64, block), time: make([]float64, 2*block), sum: make([]complex128, block+1),
	}
	for at := 0; at < len(response); at += block {
		padded := make([]float64, 2*block)
		for k, h := range response[at:min(at+block, len(response))] {
			padded[k] = h / (2 * block) // the inverse transform is not normalised
		}
		c.parts = append(c.parts, c.fft.Coefficients(nil, padded))
		c.past = append(c.past, make([]complex128, block+1))
	}
	return c
}

// Latency is by how many samples the output comes late.
func (c *Convolver) Latency() int { return block }

// Length is the response's length in samples.
func (c *Convolver) Length() int { return c.length }

// Reset forgets all input.
func (c *Convolver) Reset() {
	for _, p := range c.past {
		clear(p)
	}
	clear(c.in)
	clear(c.out)
	c.filled, c.newest = 0, 0
}

// Process convolves src into dst, of equal length; dst may be src. However the signal is cut into
// calls, the blocks are the same.
func (c *Convolver) Process(dst, src []float64) {
	for len(src) > 0 {
		n := min(len(src), block-c.filled)
		copy(c.in[block+c.filled:], src[:n])
		copy(dst[:n], c.out[c.filled:])
		c.filled += n
		dst, src = dst[n:], src[n:]
		if c.filled == block {
			c.turn()
		}
	}
}

// turn takes the full block in and makes the next one ready.
func (c *Convolver) turn() {
	c.newest--
	if c.newest < 0 {
		c.newest = len(c.past) - 1
	}
	c.fft.Coefficients(c.past[c.newest], c.in)
	clear(c.sum)
	for k, h := range c.parts {
		x := c.past[(c.newest+k)%len(c.past)]
		for j, g := range h {
			c.sum[j] += g * x[j]
		}
	}
	c.fft.Sequence(c.time, c.sum)
	copy(c.out, c.time[block:])
	copy(c.in[:block], c.in[block:])
	c.filled = 0
}
