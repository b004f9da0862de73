package samples

import (
	"fmt"
	"math"
)

// Clipped says where a recording stood at full scale, which is where its converter could not follow
// any more. It is of the frames that were read, and of the sides of a stereo file that were used.
//
// What counts is at least three samples in a row at full scale on one side of zero, at 48 kHz, and
// as long at higher rates: one or two are where a clean peak of a recording that was brought up to
// full scale may lie. Common practice, no source: meters light up at two to four. A clipped
// recording that was turned down afterwards is not found, and neither is one of 8 bits, whose steps
// are so wide that a clean peak stays on one.
type Clipped struct {
	Runs    int
	Samples int64 // in all runs
	First   int64 // frame at which the first run begins
	Longest int64 // samples in the longest run
	At      int64 // frame at which that begins
}

// clipRun is one side's.
type clipRun struct {
	sign   float64 // of the samples at full scale that came last
	length int64
}

// clipRule is what counts in a format: from what magnitude, and how many in a row.
func (f Format) clipRule() (top float64, least int64) {
	top = 0.99999 // of floats, which may go beyond
	switch {
	case f.Float:
	case f.Bits == 8:
		top = math.Inf(1)
	default:
		top = 1 - 1.25*math.Pow(2, -float64(f.Bits-1)) // the highest code is one step under 1
	}
	return top, int64(math.Max(3, math.Round(3*float64(f.Rate)/48000)))
}

// clip takes a side's sample at a frame.
func (r *Reader) clip(side int, v float64, frame int64) {
	run := &r.runs[side]
	// floats that go beyond full scale had no limit there
	if a := math.Abs(v); a < r.top || a > 2-r.top {
		run.length = 0
		return
	}
	if sign := math.Copysign(1, v); sign != run.sign {
		run.sign, run.length = sign, 0
	}
	run.length++
	c := &r.clipped
	if run.length < r.least {
		return
	}
	from := frame - run.length + 1
	if run.length == r.least {
		if c.Runs == 0 {
			c.First = from
		}
		c.Runs++
		c.Samples += run.length - 1
	}
	c.Samples++
	if run.length > c.Longest {
		c.Longest, c.At = run.length, from
	}
}

// Clipped says where the frames that were read since the beginning stood at full scale.
func (r *Reader) Clipped() Clipped { return r.clipped }

// Text is a sentence for users, empty where nothing was clipped.
func (c Clipped) Text(name string, rate int) string {
	if c.Runs == 0 {
		return ""
	}
	at := func(frame int64) string { return fmt.Sprintf("%.3f s", float64(frame)/float64(rate)) }
	long := fmt.Sprintf("%.2g ms", 1e3*float64(c.Longest)/float64(rate))
	where := fmt.Sprintf("stands at full scale once, for %s at %s", long, at(c.First))
	if c.Runs > 1 {
		where = fmt.Sprintf("stands at full scale %d times, first at %s, longest for %s at %s", c.Runs, at(c.First), long, at(c.At))
	}
	return fmt.Sprintf("CAUTION: %s %s: it was clipped on its way in, which nothing can undo; what is heard and measured there is the interface's distortion as well. Record it again with less gain.", name, where)
}
