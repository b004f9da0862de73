package reverb

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/filter"
)

// Spring is two springs side by side. A wave runs along each, from the driver to the pick-up and
// back, and high frequencies run slower: an impulse comes out as a chirp, and each of its echoes as
// a longer one.
//
// A pass along a spring is a delay and a chain of stretched all-passes, which delay the more the
// nearer to the transition frequency; beyond that a spring carries nothing. Source of that form: J.
// Audio Eng. Soc. 58(7/8), 2010, "Parametric spring reverberation effect". The high-frequency
// chirps that come sooner and softer are left out, and so is what the springs' shape does under 100
// Hz.
//
// What a spring loses, it loses along its wire, by friction that is in proportion to the speed:
// then every wave on it falls at one rate in time, whatever its frequency and however slow it runs
// (the damped wave equation, ü + 2σu̇ + … = 0; a closed form). In a network that is a gain γ in
// every sample of delay, those of the all-passes too: z^-1 becomes γ·z^-1, and the response is that
// of the lossless springs times γ^n.
type Spring struct {
	rate   float64
	pre    *delayline.Line
	before int // samples of pre-delay
	coil   [2]coil
	ends   filter.Cascade // what driver, pick-up and the transition leave
	quiet  int            // samples since the input was last other than zero
	rest   int            // a quiet of this length ends the decay
	decay  dsp.Second
	x, y   [chunk]float64
}

// A spring's values: common practice, no source. Passes of 33 and 41 ms are what is usual in guitar
// amplifiers, from memory.
const (
	transition = 4e3  // Hz, to the nearest that the rate allows
	stiffness  = 0.6  // coefficient of the all-passes
	sections   = 50   // all-passes in a pass
	lowest     = 80.0 // Hz, of what the transducers carry
)

var passes = [2]float64{33e-3, 41e-3} // s, without the all-passes

// NewSpring makes springs with that decay, at all frequencies. Tone sets a low-pass after them,
// from 1 kHz at 0.1 to 6 kHz at 1, in equal ratios. It panics like New, and on a decay that never
// ends.
func NewSpring(s Settings, rate dsp.Hertz) *Spring {
	if !(s.Decay >= 0.2 && s.Decay < 1e3 && s.Tone >= 0.1 && s.Tone <= 1 && s.PreDelay >= 0 && s.PreDelay < 10 && rate >= 32000 && rate < 1e6) {
		panic(fmt.Sprintf("reverb: spring of %+v at %v Hz", s, float64(rate)))
	}
	fs := float64(rate)
	p := &Spring{rate: fs, before: int(math.Round(float64(s.PreDelay) * fs)), decay: s.Decay}
	each := math.Pow(10, -3/(fs*float64(s.Decay)))
	p.pre = delayline.New(p.before + chunk)
	var edge float64
	for k := range p.coil {
		c := newCoil(passes[k], fs)
		c.loss, c.turn = math.Pow(each, float64(c.delay)), math.Pow(each, float64(c.stretch))
		// At 1 kHz, the energies of passes 1, 3, 5, … add up to one, half of it in each spring.
		whole := math.Pow(each, c.pass(middle, fs)*fs)
		c.level = math.Sqrt((1-math.Pow(whole, 4))/2) / whole
		edge = fs / (2 * float64(c.stretch))
		p.coil[k] = c
	}
	// Butterworth of sixth order, under the transition.
	for k := range 3 {
		p.ends = append(p.ends, filter.LowPass(dsp.Hertz(0.85*edge), 1/(2*math.Cos(math.Pi*float64(2*k+1)/12)), rate))
	}
	p.ends = append(p.ends, filter.HighPass(lowest, math.Sqrt2/2, rate),
		filter.OnePoleLow(dsp.Hertz(6e3*math.Pow(6, math.Log10(s.Tone))), rate))
	p.rest = p.before + int(fs*(10*float64(p.decay)+0.5)) // as a plate's
	p.Reset()
	return p
}

// T60 is the decay time at f: the same everywhere.
func (p *Spring) T60(dsp.Hertz) dsp.Second { return p.decay }

// Tail is for how long the output goes on after the input has ended, until 60 dB down.
func (p *Spring) Tail() dsp.Second {
	return dsp.Second(float64(p.before)/p.rate) + p.decay + p.ends.Tail()
}

// Reset silences the springs.
func (p *Spring) Reset() {
	p.pre.Reset()
	p.ends.Reset()
	for k := range p.coil {
		p.coil[k].reset()
	}
	p.quiet = p.rest
}

// Process turns src into the wet sound alone at dst; second must be nil: springs are mono. dst may
// be src. It panics where the lengths differ or second is not nil.
func (p *Spring) Process(dst, second, src []float64) {
	if len(dst) != len(src) || second != nil {
		panic("reverb: Process of a spring needs two slices of equal length")
	}
	for i := 0; i < len(src); {
		if p.quiet >= p.rest { // at rest: silence in, silence out
			if src[i] == 0 {
				dst[i] = 0
				i++
				continue
			}
			p.quiet = 0
		}
		// so that rest begins at its sample, however calls are cut
		n := min(len(src)-i, chunk, p.rest-p.quiet)
		p.quiet += n
		for k, v := range src[i : i+n] {
			if v != 0 {
				p.quiet = n - 1 - k
			}
		}
		x, y := p.x[:n], dst[i:i+n]
		p.pre.WriteBlock(src[i : i+n])
		p.pre.ReadBlock(x, p.before)
		clear(y)
		for k := range p.coil {
			p.coil[k].run(y, x, p.y[:n])
		}
		p.ends.Process(y, y)
		if p.quiet >= p.rest {
			p.Reset()
		}
		i += n
	}
}

// coil is one spring: a way there and a way back.
type coil struct {
	stretch int     // samples of delay in an all-pass
	delay   int     // samples of a pass without the all-passes
	loss    float64 // what is left after the delay
	turn    float64 // and after that of an all-pass
	level   float64
	way     [2]way
}

// way is one pass.
type way struct {
	line  *delayline.Line
	state [sections][]float64 // rings of stretch samples
	at    int
}

func newCoil(seconds, rate float64) coil {
	c := coil{stretch: int(math.Round(rate / (2 * transition))), delay: int(math.Round(seconds * rate))}
	for w := range c.way {
		c.way[w].line = delayline.New(c.delay + chunk)
		for k := range c.way[w].state {
			c.way[w].state[k] = make([]float64, c.stretch)
		}
	}
	return c
}

// pass is the time of a pass at f, in seconds: the delay, and of each all-pass of K samples K·(1 -
// a²)/(1 + a² + 2a·cos(K·ω)).
func (c *coil) pass(f, rate float64) float64 {
	k := float64(c.stretch)
	const a = stiffness
	return (float64(c.delay) + sections*k*(1-a*a)/(1+a*a+2*a*math.Cos(k*2*math.Pi*f/rate))) / rate
}

// run adds to y what the pick-up gets of x; room is as long.
func (c *coil) run(y, x, room []float64) {
	// What comes back was sent a pass ago: longer than a piece.
	c.way[1].read(room, c)
	for k, v := range x {
		room[k] = v + c.loss*room[k]
	}
	c.way[0].line.WriteBlock(room)
	c.way[0].read(room, c)
	for k, v := range room {
		v *= c.loss
		y[k] += c.level * v
		room[k] = v
	}
	c.way[1].line.WriteBlock(room)
}

// read takes a piece that was written a pass ago through the all-passes. The line of the way there
// has the piece itself already, that of the way back has not.
func (w *way) read(x []float64, c *coil) {
	back := c.delay
	if w == &c.way[1] {
		back -= len(x)
	}
	w.line.ReadBlock(x, back)
	from := w.at
	for k := range w.state {
		s, at := w.state[k], from
		for n, v := range x {
			old := s[at]
			v -= stiffness * old
			s[at] = c.turn * v
			x[n] = stiffness*v + old
			if at++; at == len(s) {
				at = 0
			}
		}
		w.at = at
	}
}

func (c *coil) reset() {
	for w := range c.way {
		c.way[w].line.Reset()
		c.way[w].at = 0
		for k := range c.way[w].state {
			clear(c.way[w].state[k])
		}
	}
}
