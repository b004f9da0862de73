package chains

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/convolver"
)

// speakerKind is the kind of block that may have an impulse response.
const speakerKind = "speaker"

// Cabinet is an impulse response that a chain file names, for a speaker. This package reads no files: Parse knows the Path alone, and who parsed the file reads
// what is there and makes a File.WithCabinets of it, which can be rendered. All takes that name one path share one Cabinet.
type Cabinet struct {
	Path string // as written; relative to the chain file

	samples []float64 // nil: not read
	rate    dsp.Hertz

	mu sync.Mutex // of what has been worked out
	at map[dsp.Hertz]blocks.ImpulseResponse
}

// What an impulse response may be. A cabinet's is over after some 100 ms; two seconds are a large room's: common practice, no source.
const (
	longestCabinet dsp.Second = 2
	slowestCabinet dsp.Hertz  = 22050
	fastestCabinet dsp.Hertz  = 384000
)

// MostCabinetFrames is more samples than any impulse response may have: who reads a file may stop there.
const MostCabinetFrames = int64(float64(longestCabinet)*float64(fastestCabinet)) + 1

// NewCabinet is the impulse response at a path: one channel, full scale being 1, at the rate that it was made at; Wire resamples it to the recording's. An error
// says why it can be no cabinet's.
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

// nothing is the share of full scale under which samples are silence with its dither, and of what a response could have under which it has nothing: -80 dB.
// Common practice, no source.
const nothing = 1e-4

// WithCabinets is the file with what is at the paths of its Cabinets, each in the place of the one with its Path.
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

// response is the impulse response at that rate; without samples where it has not been read.
func (c *Cabinet) response(rate dsp.Hertz) blocks.ImpulseResponse {
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

// CabinetFault is a mistake that was found in what is at the path of a cabinet, with the place where the chain file, which Parse has taken, names it first.
func CabinetFault(name string, src []byte, path, text string) Fault {
	f := Fault{File: name, Line: 1, Column: 1, Text: oneLine(text)}
	plain := bytes.ReplaceAll(bytes.TrimPrefix(src, []byte("\ufeff")), []byte("\r\n"), []byte("\n"))
	file, err := parser.ParseBytes(plain, 0)
	if err != nil || len(file.Docs) == 0 {
		return f
	}
	find := finder{path: path}
	ast.Walk(&find, file.Docs[0].Body)
	if find.found != nil {
		f.Line, f.Column = start(find.found)
		f.Excerpt = excerpt(strings.Split(string(plain), "\n"), f.Line, f.Column)
	}
	return f
}

// finder looks for the key file, or BLOCK.file, of that value.
type finder struct {
	path  string
	found ast.Node
}

// Visit implements ast.Visitor.
func (f *finder) Visit(n ast.Node) ast.Visitor {
	if p, ok := n.(*ast.MappingValueNode); ok {
		key := p.Key.GetToken().Value
		if key == "recording" {
			return nil
		}
		if f.found == nil && (key == "file" || strings.HasSuffix(key, ".file")) && written(p.Value) == f.path {
			f.found = p.Value
		}
	}
	return f
}

// bare says which cabinet of the chain has not been read.
func (c *Chain) bare() error {
	for _, b := range c.Every() {
		if b.Cabinet != nil && b.Cabinet.samples == nil {
			return fmt.Errorf("take %q: %s of %s has not been read", c.Take, b.Cabinet.Path, b.Name)
		}
	}
	return nil
}

// cabinetKey names a speaker's impulse response.
func cabinetKey[T any](set func(*T, *Cabinet)) key[T] {
	const brief = "a WAV file with the impulse response of a cabinet, in the place of the cone; relative to this file"
	return key[T]{
		name: "file", brief: brief, schema: lineSchema(brief),
		read: func(r *reader, path string, n ast.Node) func(*T) {
			name, ok := r.line(path, n, "the path of a WAV file")
			if !ok {
				return nil
			}
			for _, c := range r.cabinets {
				if c.Path == name {
					return func(t *T) { set(t, c) }
				}
			}
			c := &Cabinet{Path: name}
			r.cabinets = append(r.cabinets, c)
			return func(t *T) { set(t, c) }
		},
	}
}

// idle faults a knob of a speaker's cone where an impulse response has taken the cone's place.
func (r *reader) idle(n ast.Node, name, knob, file string) {
	if n != nil && slices.Contains(blocks.ConeKnobs, knob) {
		r.at(n, "%s.%s changes nothing: %s has the impulse response %s in the place of its cone, which %s are for", name, knob, name, clipped(file, 60), strings.Join(blocks.ConeKnobs, ", "))
	}
}
