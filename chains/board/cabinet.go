package board

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/convolver"
)

// SpeakerKind is the kind of block that may have an impulse response.
const SpeakerKind = "speaker"

// Cabinet is an impulse response that a chain file names, for a speaker. This package reads no
// files: who parses the file knows the Path alone, and who can read it makes a File.WithCabinets of
// what is there, which can be rendered. All takes that name one path share one Cabinet.
type Cabinet struct {
	Path string // as written; relative to the chain file

	samples []float64 // nil: not read
	rate    dsp.Hertz

	mu sync.Mutex // of what has been worked out
	at map[dsp.Hertz]blocks.ImpulseResponse
}

// What an impulse response may be. A cabinet's is over after some 100 ms; two seconds are a large
// room's: common practice, no source.
const (
	longestCabinet dsp.Second = 2
	slowestCabinet dsp.Hertz  = 22050
	fastestCabinet dsp.Hertz  = 384000
)

// MostCabinetFrames is more samples than any impulse response may have: who reads a file may stop
// there.
const MostCabinetFrames = int64(float64(longestCabinet)*float64(fastestCabinet)) + 1

// NewCabinet is the impulse response at a path: one channel, full scale being 1, at the rate that
// it was made at; it is resampled to the recording's. An error says why it can be no cabinet's.
func NewCabinet(path string, samples []float64, rate dsp.Hertz) (*Cabinet, error) {
	if rate < slowestCabinet || rate > fastestCabinet {
		return nil, fmt.Errorf("its rate is %v Hz; an impulse response has one from %v to %v Hz", float64(rate), float64(slowestCabinet), float64(fastestCabinet))
	}
	if most := int(float64(longestCabinet) * float64(rate)); len(samples) > most {
		return nil, fmt.Errorf("is longer than %v s; a cabinet's impulse response is over long before: cut it", float64(longestCabinet))
	}
	top := 0.0
	for k, v := range samples {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("sample %d is %v; every sample must be a number", k+1, v)
		}
		top = math.Max(top, math.Abs(v))
	}
	if top < nothing { // or nothing but dither
		return nil, fmt.Errorf("is silent; an impulse response is what a cabinet answers to a click")
	}
	ir := blocks.ImpulseResponse{Samples: samples}
	// The most that a response of such samples could have at any frequency is their sum.
	var sum float64
	for _, v := range samples {
		sum += math.Abs(v)
	}
	if ir.Level(rate) < sum*nothing {
		return nil, fmt.Errorf("has nothing around 400 Hz, by which its level is set: it is no cabinet's impulse response")
	}
	return &Cabinet{Path: path, samples: slices.Clone(samples), rate: rate}, nil
}

// nothing is the share of full scale under which samples are silence with its dither, and of what a
// response could have under which it has nothing: -80 dB. Common practice, no source.
const nothing = 1e-4

// WithCabinets is the file with what is at the paths of its Cabinets, each in the place of the one
// with its Path.
func (f *File) WithCabinets(read []*Cabinet) *File {
	g := *f
	g.Cabinets = read
	return &g
}

// cabinet is the file's own with that path, or the one given.
func (f *File) cabinet(c *Cabinet) *Cabinet {
	for _, own := range f.Cabinets {
		if c != nil && own.Path == c.Path {
			return own
		}
	}
	return c
}

// Response is the impulse response at that rate; without samples where it has not been read.
func (c *Cabinet) Response(rate dsp.Hertz) blocks.ImpulseResponse {
	if c.samples == nil {
		return blocks.ImpulseResponse{}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	ir, ok := c.at[rate]
	if !ok {
		if c.at == nil {
			c.at = map[dsp.Hertz]blocks.ImpulseResponse{}
		}
		ir.Samples, ir.Lead = convolver.Resample(c.samples, c.rate, rate)
		c.at[rate] = ir
	}
	return ir
}

// Bare is an error that names the first cabinet of the chain which has not been read; nil where all
// have.
func Bare(c *Chain) error {
	for _, b := range c.Every() {
		if b.Cabinet != nil && b.Cabinet.samples == nil {
			return fmt.Errorf("take %q: %s of %s has not been read", c.Take, b.Cabinet.Path, b.Name)
		}
	}
	return nil
}
