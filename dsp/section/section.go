// Package section runs one section of a chain, a circuit between two stages, at a recording's sample rate: signals of its
// driven sources in, voltages of its probes out, both in volts.
//
// A section with diodes, transistors or op-amps runs at a multiple of the rate, between band-limiting filters, so that what it adds above half
// the rate does not fold down. A linear one runs at the recording's own rate.
//
// It does not know what is on either side of it, and it keeps no signal: that is for who wires sections.
//
// Start reading at New.
package section

import (
	"fmt"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/oversample"
)

// Quality is how finely a section is computed.
type Quality struct {
	Name string
	// Rate is the least rate at which a non-linear section runs; the multiple of the recording's rate is the power of two that
	// reaches it.
	Rate dsp.Hertz
	// Levels and Tolerance say how often and when a step is divided: circuit.Options.
	Levels    int
	Tolerance dsp.Volt
}

// The qualities there are, worst first. Errors against a converged reference and aliasing of each are in the tests of the whole chain.
var (
	Draft  = Quality{"draft", 176e3, 2, 1e-3}
	Normal = Quality{"normal", 352e3, 3, 1e-3}
	Fine   = Quality{"fine", 1.4e6, 3, 1e-4}
)

// Qualities is the qualities there are, worst first.
func Qualities() []Quality { return []Quality{Draft, Normal, Fine} }

// Oversample is by how much the quality raises a sample rate.
func (q Quality) Oversample(rate dsp.Hertz) int {
	factor := 1
	for dsp.Hertz(factor)*rate < q.Rate && factor < oversample.MaxFactor {
		factor *= 2
	}
	return factor
}

// linearError is how far a linear section may depart from its circuit, as a share of its largest response: 1e-4 is 0.0009 dB.
const linearError = 1e-4

// Section is a circuit at work. Its methods are for one goroutine.
type Section struct {
	Factor int // by how much it raises the rate

	ni, ny    int
	latency   int
	up        []*oversample.Up
	down      []*oversample.Down
	level     []leveller
	transient *circuit.Transient
	sampled   *circuit.Sampled // a linear circuit at the recording's rate; it needs nothing of what follows
	filter    *circuit.Filter  // a linear circuit at a multiple of it
	highIn    [][]float64
	highOut   [][]float64
	u, y      []float64
}

// chunk is how many samples are processed at a time; no result depends on it.
const chunk = 64

// New prepares a section of the circuit for signals at the given rate. Probes name the nodes that are read.
func New(n *circuit.Netlist, rate dsp.Hertz, q Quality, probes ...string) (*Section, error) {
	if !n.Linear() {
		return newFrom(1, n, rate, q, probes)
	}
	top := topOf(rate)
	f, err := n.NewSampled(dsp.Second(1/float64(rate)), top, probes...)
	if err != nil {
		return nil, err
	}
	if e := f.Error(top); !(e <= linearError) {
		return newFrom(1, n, rate, q, probes) // a mode that rings on and on above what is heard
	}
	return &Section{Factor: 1, ni: len(n.Inputs()), ny: len(probes), latency: f.Latency(), sampled: f}, nil
}

// topOf is up to which frequency a linear section has its circuit's response.
func topOf(rate dsp.Hertz) dsp.Hertz { return dsp.Hertz(min(20e3, 0.4535*float64(rate))) }

// newFrom makes a section between filters that raise and lower the rate, with the least multiple of it at which a linear circuit may run.
func newFrom(least int, n *circuit.Netlist, rate dsp.Hertz, q Quality, probes []string) (*Section, error) {
	s := &Section{ni: len(n.Inputs()), ny: len(probes)}
	late := 0 // high-rate samples that the circuit's own stepping costs
	if n.Linear() {
		top := topOf(rate)
		for s.Factor = least; ; s.Factor *= 2 {
			f, err := n.NewFilter(dsp.Second(1/(float64(rate)*float64(s.Factor))), probes...)
			if err != nil {
				return nil, err
			}
			if s.filter = f; f.Error(top) <= linearError {
				break
			}
			if s.Factor == 16 {
				return nil, fmt.Errorf("section: a linear circuit is not met within %v at %d times %v Hz", linearError, s.Factor, float64(rate))
			}
		}
		late = s.filter.Latency()
	} else {
		s.Factor = q.Oversample(rate)
		step := dsp.Second(1 / (float64(rate) * float64(s.Factor)))
		t, err := n.NewTransient(circuit.Options{Step: step, Levels: q.Levels, Tolerance: q.Tolerance, Smooth: true}, probes...)
		if err != nil {
			return nil, err
		}
		s.transient = t
		late = 1 + levellerLatency
	}
	pad := (s.Factor - late%s.Factor) % s.Factor
	for range s.ni {
		s.up = append(s.up, oversample.NewUp(s.Factor, rate))
		s.highIn = append(s.highIn, make([]float64, chunk*s.Factor))
	}
	for range s.ny {
		s.down = append(s.down, oversample.NewDown(s.Factor, rate))
		s.highOut = append(s.highOut, make([]float64, pad+chunk*s.Factor))
		if s.transient != nil {
			s.level = append(s.level, leveller{})
		}
	}
	filters := oversample.NewUp(s.Factor, rate).Latency() + oversample.NewDown(s.Factor, rate).Latency()
	s.latency = (filters + late + pad) / s.Factor
	s.u, s.y = make([]float64, s.ni), make([]float64, s.ny)
	s.Reset()
	return s, nil
}

// Latency is by how many samples the output comes late; exact.
func (s *Section) Latency() int { return s.latency }

// Linear says whether the section has no device that bends.
func (s *Section) Linear() bool { return s.transient == nil }

// Report is how the solver fared; zero for a linear section.
func (s *Section) Report() circuit.Report {
	if s.transient == nil {
		return circuit.Report{}
	}
	return s.transient.Report()
}

// Reset puts the circuit to rest at its operating point.
func (s *Section) Reset() {
	if s.sampled != nil {
		s.sampled.Reset()
		return
	}
	for _, u := range s.up {
		u.Reset()
	}
	for k, d := range s.down {
		d.Reset()
		clear(s.highOut[k])
	}
	clear(s.level)
	if s.transient != nil {
		s.transient.Reset()
	} else {
		s.filter.Reset()
	}
}

// Process takes a signal for every driven source and gives one for every probe. A probe's own voltage at rest is in its signal; for what
// stands behind a capacitor it is zero.
func (s *Section) Process(out, in [][]float64) {
	if s.sampled != nil {
		s.sampled.Process(out, in)
		return
	}
	n := 0
	if len(in) > 0 {
		n = len(in[0])
	} else if len(out) > 0 {
		n = len(out[0])
	}
	for at := 0; at < n; at += chunk {
		count := min(chunk, n-at)
		high := count * s.Factor
		for k, u := range s.up {
			u.Process(s.highIn[k][:high], in[k][at:at+count])
		}
		pad := 0
		if s.ny > 0 {
			pad = len(s.highOut[0]) - chunk*s.Factor
		}
		for j := 0; j < high; j++ {
			for k := range s.u {
				s.u[k] = s.highIn[k][j]
			}
			if s.transient != nil {
				s.transient.Step(s.y, s.u)
				for k := range s.y {
					s.highOut[k][pad+j] = s.level[k].step(s.y[k])
				}
			} else {
				s.filter.Step(s.y, s.u)
				for k := range s.y {
					s.highOut[k][pad+j] = s.y[k]
				}
			}
		}
		for k, d := range s.down {
			h := s.highOut[k]
			d.Process(out[k][at:at+count], h[:high])
			copy(h[:pad], h[high:high+pad])
		}
	}
}

// leveller makes good the treble that the mean over a triangle of two steps takes (circuit.Options.Smooth): a symmetric filter of seven
// taps with nearly the inverse of sinc²(f). With x = πf and q = sin²x, a polynomial in the second difference,
//
//	1/sinc² = x²/sin²x = arcsin²(√q)/q = 1 + q/3 + 8q²/45 + 4q³/35 + …
//
// What the series leaves out is under 0.0001 dB at 20 kHz from a rate of 176 kHz on.
type leveller struct {
	past [2 * levellerLatency]float64
}

const levellerLatency = 3

// levelTaps is the filter's middle tap and those at one, two and three samples from it.
var levelTaps = func() (taps [levellerLatency + 1]float64) {
	power := [7]float64{3: 1} // qⁿ as taps
	for _, c := range []float64{1, 1. / 3, 8. / 45, 4. / 35} {
		for k := range taps {
			taps[k] += c * power[3+k]
		}
		var next [7]float64 // times q: -1/4, 1/2, -1/4
		for k, x := range power {
			next[k] += x / 2
			if k > 0 {
				next[k-1] -= x / 4
			}
			if k < 6 {
				next[k+1] -= x / 4
			}
		}
		power = next
	}
	return taps
}()

func (l *leveller) step(x float64) float64 {
	p := &l.past
	y := levelTaps[0]*p[3] + levelTaps[1]*(p[2]+p[4]) + levelTaps[2]*(p[1]+p[5]) + levelTaps[3]*(p[0]+x)
	p[0], p[1], p[2], p[3], p[4], p[5] = p[1], p[2], p[3], p[4], p[5], x
	return y
}
