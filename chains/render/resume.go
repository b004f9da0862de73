package render

import (
	"fmt"
	"slices"

	"drywire/blocks"
	"drywire/chains/motion"
)

// Past is what a stage was fed before a rendering begins, and for a while after, in another
// rendering of the same recording: what makes an echo go on when something in front of it has been
// changed.
type Past struct {
	Stage string // its name in the wiring
	// a signal for each node that it senses, all as long, aligned to the recording
	Sensed [][]float64
	At     int // index in Sensed of the sample at which the rendering begins
}

// Resume restores the state of the stages of a renderer that has not run yet. A stage that has a
// past gets its memory filled with what comes before At. The sections in front of it begin at rest;
// until they have settled, so many samples, it is fed its past on, and then what is rendered, with
// a linear crossfade. A Past must reach so far beyond At: settle+fade samples and the latency in
// front of the stage; where it does not, it is left out. It returns the names of the stages that
// were filled.
func (r *Renderer) Resume(settle, fade int, pasts ...Past) []string {
	var filled []string
	late := make([]int, r.signals) // of every signal
	for k := range r.steps {
		st := &r.steps[k]
		before := 0
		for _, s := range st.in {
			before = max(before, late[s])
		}
		own := 0
		if st.section != nil {
			own = st.section.Latency()
		} else {
			own = st.core.Latency()
		}
		for _, s := range st.out {
			late[s] = before + own
		}
		if st.core == nil {
			continue
		}
		at := slices.IndexFunc(pasts, func(p Past) bool { return p.Stage == st.name })
		if at < 0 || !pasts[at].fits(len(st.in), before+settle+fade) {
			continue
		}
		p := pasts[at]
		fill(st.core, p, before, len(st.out))
		p = p.cut(p.At-before, p.At+settle+fade)
		c := &resumed{Core: st.core, past: p, late: before, until: before + settle, fade: fade, feeding: make([][]float64, len(st.in))}
		for range st.in {
			c.fed = append(c.fed, make([]float64, blockSize))
		}
		st.core = c
		filled = append(filled, st.name)
	}
	return filled
}

// cut is that stretch of a past and nothing else, so that the signals need not be kept.
func (p Past) cut(from, to int) Past {
	from = max(0, from)
	short := Past{Stage: p.Stage, At: p.At - from}
	for _, x := range p.Sensed {
		short.Sensed = append(short.Sensed, slices.Clone(x[from:to]))
	}
	return short
}

func (p Past) fits(inputs, beyond int) bool {
	if len(p.Sensed) != inputs {
		return false
	}
	for _, x := range p.Sensed {
		if p.At < 0 || p.At+beyond > len(x) {
			return false
		}
	}
	return true
}

// fill runs a core over its past up to the sample that the step's input, which comes so late,
// begins with.
func fill(core blocks.Core, p Past, late, outputs int) {
	in, out := make([][]float64, len(p.Sensed)), make([][]float64, outputs)
	for k := range out {
		out[k] = make([]float64, blockSize)
	}
	for from := 0; from < p.At-late; {
		n := min(blockSize, p.At-late-from)
		for k, x := range p.Sensed {
			in[k] = slices.Clone(x[from : from+n]) // a core may write where it reads
		}
		for k := range out {
			out[k] = out[k][:n]
		}
		if f, ok := core.(*motion.Fading); ok { // whose time begins with the rendering
			f.Fill(in)
		} else {
			core.Process(out, in)
		}
		from += n
	}
}

// resumed is a core that is fed its past until what is rendered is ready.
type resumed struct {
	blocks.Core
	past              Past
	late, until, fade int
	done              int // samples processed
	// a block of what the core gets, for each node that it senses; as much of it as there is
	fed, feeding [][]float64
}

func (c *resumed) Process(out, in [][]float64) {
	if end := c.until + c.fade; c.done < end {
		n := min(len(in[0]), end-c.done)
		for k, now := range in {
			x := c.fed[k][:len(now)]
			copy(x, now)
			from := c.past.At - c.late + c.done
			for j := range x[:n] {
				w := 0.0
				if c.fade > 0 {
					w = max(0, float64(c.done+j-c.until)/float64(c.fade))
				}
				old := 0.0
				if from+j >= 0 {
					old = c.past.Sensed[k][from+j]
				}
				x[j] = (1-w)*old + w*x[j]
			}
		}
		c.done += len(in[0])
		for k, x := range c.fed {
			c.feeding[k] = x[:len(in[0])]
		}
		in = c.feeding
	}
	c.Core.Process(out, in)
}

// Known is the voltage of a node where it has been computed and is still remembered. It must not be
// changed.
func (m *Memo) Known(w *Plan, node string) ([]float64, bool) {
	if w.Rate != m.Rate || w.Quality != m.Quality || w.Section(node) == nil {
		return nil, false
	}
	x, ok := m.store.Get(memoKey{m.number, w.key(node)})
	if !ok {
		return nil, false
	}
	return x.([]float64)[Margin : Margin+m.length], true
}

// Key identifies the voltages at some jacks: whatever has the same key sounds the same on the same
// recording. It panics where the chain has no such jack.
func (w *Plan) Key(jacks ...string) string {
	key := ""
	for _, j := range jacks {
		k := w.key(j)
		key += fmt.Sprintf("%x", k[:12])
	}
	return key
}

// PastOf finds what the stages of this wiring were fed in another one of the same recording, rate
// and quality, as far as it is known: a stage of the same name and the same core, one of the same
// core, or one of the same name, in this order.
func (w *Plan) PastOf(m *Memo, other *Plan, at int) []Past {
	var pasts []Past
	for _, s := range w.Stages {
		best, rank := -1, 0
		for k, o := range other.Stages {
			if len(o.Sense) != len(s.Sense) {
				continue
			}
			r := 0
			if o.Key == s.Key {
				r += 2
			}
			if o.Name == s.Name {
				r += 1
			}
			if r > rank {
				best, rank = k, r
			}
		}
		if best < 0 {
			continue
		}
		p := Past{Stage: s.Name, At: at}
		for _, node := range other.Stages[best].Sense {
			x, ok := m.Known(other, node)
			if !ok {
				break
			}
			p.Sensed = append(p.Sensed, x)
		}
		if len(p.Sensed) == len(s.Sense) {
			pasts = append(pasts, p)
		}
	}
	return pasts
}
