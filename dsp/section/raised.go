package section

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/oversample"
)

// raised is the filters around what runs at a multiple of the rate.
type raised struct {
	factor  int
	up      []*oversample.Up
	down    []*oversample.Down
	latency int // of all of it, in samples of the recording
	pad     int // raised samples by which the output is held back, so that this is a whole number
	in, out [][]float64
	u, y    [][]float64 // the parts of these that are worked on
}

// chunk is how many samples are processed at a time; no result depends on it.
const chunk = 64

// newRaised makes the filters for the given numbers of inputs and outputs, around a core with that
// latency in raised samples.
func newRaised(factor int, rate dsp.Hertz, inputs, outputs, late int) *raised {
	r := &raised{factor: factor, pad: (factor - late%factor) % factor}
	for range inputs {
		r.up = append(r.up, oversample.NewUp(factor, rate))
		r.in = append(r.in, make([]float64, chunk*factor))
	}
	for range outputs {
		r.down = append(r.down, oversample.NewDown(factor, rate))
		r.out = append(r.out, make([]float64, r.pad+chunk*factor))
	}
	filters := oversample.NewUp(factor, rate).Latency() + oversample.NewDown(factor, rate).Latency()
	r.latency = (filters + late + r.pad) / factor
	r.u, r.y = make([][]float64, inputs), make([][]float64, outputs)
	return r
}

func (r *raised) Reset() {
	for _, u := range r.up {
		u.Reset()
	}
	for k, d := range r.down {
		d.Reset()
		clear(r.out[k])
	}
}

// process runs a core at the raised rate.
func (r *raised) process(core dsp.Processor, out, in [][]float64) {
	n := dsp.Frames(out, in)
	for at := 0; at < n; at += chunk {
		count := min(chunk, n-at)
		high := count * r.factor
		for k, u := range r.up {
			r.u[k] = r.in[k][:high]
			u.Process(r.u[k], in[k][at:at+count])
		}
		for k, y := range r.out {
			r.y[k] = y[r.pad : r.pad+high]
		}
		core.Process(r.y, r.u)
		for k, d := range r.down {
			y := r.out[k]
			d.Process(out[k][at:at+count], y[:high])
			copy(y[:r.pad], y[high:high+r.pad])
		}
	}
}

// compensated is a transient whose probes are read as means over a triangle, the droop of which is
// taken back; that of the last ones, which are handed on, as means over a B-spline.
type compensated struct {
	*transient.Transient
	droop []droop // of each probe but these
	wide  []*oversample.Fir
}

func (c *compensated) Latency() int {
	if len(c.wide) > 0 {
		return c.Transient.Latency() + oversample.SplineDroopLatency
	}
	return c.Transient.Latency() + droopLatency
}

func (c *compensated) Reset() {
	c.Transient.Reset()
	clear(c.droop)
	for _, d := range c.wide {
		d.Reset()
	}
}

func (c *compensated) Step(out, in []float64) {
	c.Transient.Step(out, in)
	for k, y := range out { // nothing that moves is handed on
		out[k] = c.droop[k].step(y)
	}
}

func (c *compensated) Process(out, in [][]float64) {
	c.Transient.Process(out, in)
	for k := range c.droop {
		y, d := out[k], &c.droop[k]
		for j, x := range y {
			if y[j] = d.step(x); len(c.wide) > 0 {
				y[j] = d.late(y[j])
			}
		}
	}
	for k := range c.wide {
		y := out[len(c.droop)+k]
		c.wide[k].Process(y, y)
	}
}

func (c *compensated) Alike(other circuit.Stepper) bool {
	o, ok := other.(*compensated)
	return ok && c.Transient.Alike(o.Transient)
}

func (c *compensated) Adopt(from circuit.Stepper) {
	o := from.(*compensated)
	c.Transient.Adopt(o.Transient)
	copy(c.droop, o.droop)
}

func (c *compensated) Join(other circuit.Stepper, w float64) {
	c.Transient.Join(other.(*compensated).Transient, w)
}

// droop compensates the droop of the mean over a triangle of two steps (transient.Options.Smooth),
// sinc²(f): a symmetric filter of seven taps with nearly the inverse. With x = πf and q = sin²x, a
// polynomial in the second difference,
//
//	1/sinc² = x²/sin²x = arcsin²(√q)/q = 1 + q/3 + 8q²/45 + 4q³/35 + …
//
// What the series leaves out is under 0.0001 dB at 20 kHz from a rate of 176 kHz on.
type droop struct {
	past [2 * droopLatency]float64
	held [oversample.SplineDroopLatency - droopLatency]float64
}

// late holds a sample back until what is handed on is as far.
func (l *droop) late(y float64) float64 {
	old := l.held[0]
	copy(l.held[:], l.held[1:])
	l.held[len(l.held)-1] = y
	return old
}

const droopLatency = 3

// droopTaps is the filter's middle tap and those at one, two and three samples from it.
var droopTaps = func() (taps [droopLatency + 1]float64) {
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

func (l *droop) step(x float64) float64 {
	p := &l.past
	y := droopTaps[0]*p[3] + droopTaps[1]*(p[2]+p[4]) + droopTaps[2]*(p[1]+p[5]) + droopTaps[3]*(p[0]+x)
	p[0], p[1], p[2], p[3], p[4], p[5] = p[1], p[2], p[3], p[4], p[5], x
	return y
}
