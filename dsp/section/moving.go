package section

import (
	"errors"
	"sync"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Moving is a section whose controls are turned while it runs: a row of frames, each of them a circuit that has the same elements with other values.
//
// Between two frames both of their circuits run on the same input, and the output lies between theirs by where the control is. After every sample of the
// recording they are given one state, as far between theirs: the voltages of the capacitors and the currents of the inductors, which is what a real circuit keeps
// while a wiper moves. So the rate at which the state changes is that of a circuit between the two, no control ever steps, and no memory, short or long, is
// late. What is left is how far a circuit between the two frames differs from the mean of both; that is for who chooses the frames.
//
// Where two frames in a row have one circuit, it runs alone: one with devices that bend as in a Section; a linear one as a circuit.Filter, at a multiple of the rate if it needs one, since the
// circuit.Sampled that a Section makes of it cannot take over another circuit's state. The two agree within what a Section allows itself, not to the last bit.
type Moving struct {
	Factor int

	sections []*Section // of each circuit; the first one's filters serve all
	carries  []*circuit.Carry
	frames   []Frame
	start    int64 // of the first input sample

	at     int64 // the next step, counted in steps from time 0
	frame  int   // the last frame that has been passed; -1: none yet
	here   int   // circuit of the frame, or of the first
	next   int   // circuit that fades in; -1: none
	from   int64 // the step of this frame
	span   float64
	way    [3]float64
	yh, yn []float64
}

// Frame is the circuit that is heard alone at a sample.
type Frame struct {
	At      int64 // sample of the recording
	Circuit int
	// Way is how the control goes to the next frame: with the time x going from 0 to 1, it has gone Way[0]·x + Way[1]·x² + Way[2]·x³ of the way; they add up to 1.
	Way [3]float64
}

// NewMoving prepares the circuits. The frames' times rise; before the first its circuit holds, after the last that one's. start is the time of the first
// input sample, negative where the input comes late.
func NewMoving(circuits []*circuit.Netlist, frames []Frame, start int64, rate dsp.Hertz, q Quality, probes ...string) (*Moving, error) {
	if len(circuits) == 0 || len(frames) == 0 {
		panic("section: nothing to move")
	}
	for k := 1; k < len(frames); k++ {
		if frames[k].At <= frames[k-1].At {
			panic("section: times of frames must rise")
		}
	}
	m := &Moving{frames: frames, start: start, sections: make([]*Section, len(circuits))}
	build := func(least int) error {
		faults := make([]error, len(circuits))
		var all sync.WaitGroup
		for k, n := range circuits {
			if s := m.sections[k]; s != nil && (s.Factor == least || !s.Linear()) {
				continue
			}
			all.Go(func() { m.sections[k], faults[k] = newFrom(max(1, least), n, rate, q, probes) })
		}
		all.Wait()
		return errors.Join(faults...)
	}
	if err := build(0); err != nil {
		return nil, err
	}
	least := 0
	for _, s := range m.sections {
		least = max(least, s.Factor)
	}
	if err := build(least); err != nil {
		return nil, err
	}
	first := m.sections[0]
	for _, s := range m.sections {
		if s.transient != nil {
			m.carries = append(m.carries, s.transient.Carry())
		} else {
			m.carries = append(m.carries, s.filter.Carry())
		}
		if s.latency != first.latency || s.Factor != first.Factor || !m.carries[len(m.carries)-1].Alike(m.carries[0]) {
			return nil, errors.New("section: a control that moves changes what the circuit is made of")
		}
	}
	m.Factor = first.Factor
	m.yh, m.yn = make([]float64, len(probes)), make([]float64, len(probes))
	m.Reset()
	return m, nil
}

// Latency is by how many samples the output comes late; exact.
func (m *Moving) Latency() int { return m.sections[0].Latency() }

// Linear says whether the section has no device that bends.
func (m *Moving) Linear() bool { return m.sections[0].Linear() }

// Report is how the solver fared, over all circuits.
func (m *Moving) Report() circuit.Report {
	var r circuit.Report
	for _, s := range m.sections {
		r.Add(s.Report())
	}
	return r
}

// Reset puts the circuits to rest, and goes back to the first input sample.
func (m *Moving) Reset() {
	for k, s := range m.sections {
		s.Reset()
		m.carries[k].Reset()
	}
	s := m.sections[0]
	late := len(s.highPad()) // what the output is padded by to come late by whole samples
	// The time of a step is that of its output: the input's, less what the filter before the circuit and the circuit's own stepping cost.
	m.at = (m.start-int64(s.latency))*int64(m.Factor) + int64(late) + int64(s.downLatency())
	m.frame, m.here, m.next = -1, m.frames[0].Circuit, -1
}

// Process takes a signal for every driven source and gives one for every probe.
func (m *Moving) Process(out, in [][]float64) {
	s := m.sections[0]
	n := 0
	if len(in) > 0 {
		n = len(in[0])
	} else if len(out) > 0 {
		n = len(out[0])
	}
	pad := len(s.highPad())
	for at := 0; at < n; at += chunk {
		count := min(chunk, n-at)
		high := count * s.Factor
		for k, u := range s.up {
			u.Process(s.highIn[k][:high], in[k][at:at+count])
		}
		for j := 0; j < high; j++ {
			for k := range s.u {
				s.u[k] = s.highIn[k][j]
			}
			if m.frame+1 < len(m.frames) && m.at >= m.frames[m.frame+1].At*int64(m.Factor) {
				m.pass()
			}
			m.sections[m.here].stepTo(m.yh, s.u)
			if m.next >= 0 {
				m.sections[m.next].stepTo(m.yn, s.u)
				x := float64(m.at-m.from) / m.span
				w := x * (m.way[0] + x*(m.way[1]+x*m.way[2]))
				for k, y := range m.yh {
					m.yh[k] = y + w*(m.yn[k]-y)
				}
				if m.at%int64(m.Factor) == 0 {
					circuit.Join(m.carries[m.here], m.carries[m.next], w)
				}
			}
			for k, y := range m.yh {
				s.highOut[k][pad+j] = y
			}
			m.at++
		}
		for k, d := range s.down {
			h := s.highOut[k]
			d.Process(out[k][at:at+count], h[:high])
			copy(h[:pad], h[high:high+pad])
		}
	}
}

// pass goes to the next frame: what faded in is heard alone, and the one after it starts from its state.
func (m *Moving) pass() {
	m.frame++
	if m.next >= 0 {
		m.here = m.next
	}
	m.next = -1
	if m.frame+1 == len(m.frames) {
		return
	}
	a, b := m.frames[m.frame], m.frames[m.frame+1]
	if a.Circuit == b.Circuit {
		return
	}
	m.next = b.Circuit
	m.from, m.span, m.way = a.At*int64(m.Factor), float64((b.At-a.At)*int64(m.Factor)), a.Way
	m.carries[m.next].Adopt(m.carries[m.here])
	copy(m.sections[m.next].level, m.sections[m.here].level)
}

// stepTo is one step of the circuit at the raised rate.
func (s *Section) stepTo(y, u []float64) {
	if s.transient == nil {
		s.filter.Step(y, u)
		return
	}
	s.transient.Step(y, u)
	for k := range y {
		y[k] = s.level[k].step(y[k])
	}
}

// highPad is the part of the output's buffer that is kept from call to call.
func (s *Section) highPad() []float64 {
	if s.ny == 0 {
		return nil
	}
	return s.highOut[0][:len(s.highOut[0])-chunk*s.Factor]
}

// downLatency is how many steps late the filter behind the circuit is.
func (s *Section) downLatency() int {
	if s.ny == 0 {
		return 0
	}
	return s.down[0].Latency()
}
