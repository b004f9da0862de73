// Package reverb holds three reverberators: a plate, a room and a pair of springs.
//
// The plate is a dense decay that starts at once, with no early reflections: a feedback delay
// network, all-passes that diffuse the input, then sixteen delay lines that feed each other through
// an orthogonal matrix. It models a plate's audible properties (density, decay by frequency), not
// its physics: no dispersion, no transducers. It is mono in, with two decorrelated outputs. The
// room has early reflections and then the same network; the springs are two waveguides that slow
// high frequencies down. These two are mono.
//
// Signals are in any unit, volts as a rule; times in seconds.
//
// Start reading at Settings, then Plate.Process; then Room and Spring.
package reverb

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/delayline"
)

const (
	lines = 16
	chunk = 64 // samples worked on at a time at most; no influence on the output

	crossover = 4e3 // Hz, where the attenuation by Tone is half done
	middle    = 1e3 // Hz, where Decay holds

	// The lines are spread evenly in the logarithm between these, as primes of samples, so that no
	// two of them echo together soon. All of them together make 0.67 modes per Hz.
	shortest = 17e-3 // s
	longest  = 83e-3 // s

	spread = 0.65 // coefficient of the input's all-passes
)

// diffusers are the delays of the input's all-passes in seconds.
var diffusers = [...]float64{1.87e-3, 3.11e-3, 5.23e-3, 7.91e-3}

// Settings is how a plate decays.
type Settings struct {
	Decay dsp.Second // T60 at 1 kHz, from 0.2 s up; +Inf never decays
	// T60 of the highest frequencies as a share of Decay, 0.1 to 1; 1 is neutral
	Tone     float64
	PreDelay dsp.Second // before the plate is driven, under 10 s
}

// Plate is the reverberator.
type Plate struct {
	rate     float64
	pre      *delayline.Line
	preDelay int
	diffuse  [len(diffusers)]allpass
	line     [lines]*delayline.Line
	length   [lines]int // samples
	absorb   [lines]absorber
	taps     [2][lines]int // the output taps, in samples from a line's input
	out      [2][lines]float64
	quiet    int // samples since the input was last other than zero
	rest     int // a quiet of this length ends the decay; -1: never

	piece   int // samples worked on at a time
	x, y, z [chunk]float64
	buf     [lines][chunk]float64
}

// New makes a plate. It panics on settings out of the ranges that Settings gives and on a rate
// under 32 kHz.
func New(s Settings, rate dsp.Hertz) *Plate {
	if !(s.Decay >= 0.2 && s.Tone >= 0.1 && s.Tone <= 1 && s.PreDelay >= 0 && s.PreDelay < 10 && rate >= 32000 && rate < 1e6) {
		panic(fmt.Sprintf("reverb: %+v at %v Hz", s, float64(rate)))
	}
	fs := float64(rate)
	p := &Plate{rate: fs, piece: chunk, preDelay: int(math.Round(float64(s.PreDelay) * fs))}
	p.pre = delayline.New(p.preDelay + chunk)
	// A plate that decays in less than two seconds is as much smaller, so that no line has to lose
	// more in one run than a shelf can do gently. Its modes are wider by as much, and so overlap as
	// before.
	size := min(1, float64(s.Decay)/2)
	for i, t := range diffusers {
		p.diffuse[i].length = prime(int(fs * size * t))
		p.diffuse[i].line = delayline.New(p.diffuse[i].length)
		p.piece = min(p.piece, p.diffuse[i].length)
	}
	for i := range p.line {
		n := int(fs * size * shortest * math.Pow(longest/shortest, float64(i)/(lines-1)))
		if i > 0 {
			n = max(n, p.length[i-1]+1)
		}
		n = prime(n)
		p.length[i], p.line[i] = n, delayline.New(n+chunk)
		p.piece = min(p.piece, n)
		// Places along the line by the golden ratio, another start for each output, cover it
		// evenly.
		for ch := range p.taps {
			_, at := math.Modf(float64(i)*(math.Sqrt(5)-1)/2 + 0.31 + 0.29*float64(ch))
			p.taps[ch][i] = int(at * float64(n))
		}
	}
	p.setDecay(s)
	// Steady noise comes out as loud as it went in, Tone aside: each line carries 1/16 of what
	// comes in over what is lost, 1 - mean(g²), and the signs of the taps make their powers add.
	loss := 0.0
	for _, n := range p.length {
		loss += (1 - math.Pow(10, -6*float64(n)/fs/float64(s.Decay))) / lines
	}
	gain := math.Sqrt(loss)
	if loss == 0 { // it would rise for ever; no level is right
		gain = 1
	}
	for ch := range p.out {
		for i := range p.out[ch] {
			// Rows 5 and 10 of the Hadamard matrix: signs that are orthogonal to each other.
			p.out[ch][i] = gain * sign(i&(5*(1+ch)))
		}
	}
	p.rest = -1
	if !math.IsInf(float64(s.Decay), 1) {
		// Ten times 60 dB: the decay ends at 1e-30 of its beginning, far above denormal numbers,
		// which processors are slow with. No band decays slower than the lowest.
		p.rest = p.preDelay + int(fs*(10*max(float64(s.Decay), float64(p.T60(0)))+0.5))
	}
	p.Reset()
	return p
}

// sign is +1 or -1 by the parity of the bits of i.
func sign(i int) float64 {
	s := 1.0
	for ; i != 0; i &= i - 1 {
		s = -s
	}
	return s
}

// prime is the smallest prime from n up.
func prime(n int) int {
	for n = max(n, 2); ; n++ {
		d := 2
		for d*d <= n && n%d != 0 {
			d++
		}
		if d*d > n {
			return n
		}
	}
}

// absorber takes from a line's signal what the plate loses while it runs along the line: a gain and
// a shelf of first order, b0 + b1·z^-1 over 1 + a1·z^-1, with its memory.
type absorber struct {
	b0, b1, a1 float64
	s          float64
}

// setDecay gives each line of m samples the gain 10^(-3·m/(rate·T60)), so that all modes decay
// alike (J. Audio Eng. Soc. 39, 1991, "Digital delay networks for designing artificial
// reverberators"), with T60 going from the low to the high value around the crossover.
func (p *Plate) setDecay(s Settings) {
	// A deep shelf reaches down far; it begins higher, so that 1 kHz is left alone.
	k := math.Tan(math.Pi * crossover * max(1, math.Sqrt(0.25/s.Tone)) / p.rate)
	high := 1 / (s.Tone * float64(s.Decay)) // inverse T60s
	set := func(low float64) {
		for i, m := range p.length {
			at := func(inverse float64) float64 { return math.Pow(10, -3*float64(m)/p.rate*inverse) }
			// g·(1 + s·r)/(1 + s/r), r² = high gain over low gain, half way in dB at s = i; then s
			// by the bilinear transform.
			g, r := at(low), math.Sqrt(at(high)/at(low))
			a0 := k + 1/r
			p.absorb[i] = absorber{b0: g * (k + r) / a0, b1: g * (k - r) / a0, a1: (k - 1/r) / a0}
			if s.Tone == 1 {
				p.absorb[i] = absorber{b0: g}
			}
		}
	}
	// At 1 kHz the shelf has done a little of its way; the low T60 is longer than Decay by as much.
	// Two and a half times at the most is enough for all settings.
	lo, hi := 0.4/float64(s.Decay), 1/float64(s.Decay)
	set(hi)
	for i := 0; i < 50 && s.Tone < 1; i++ {
		mid := (lo + hi) / 2
		if set(mid); p.T60(middle) > s.Decay {
			lo = mid
		} else {
			hi = mid
		}
	}
}

// T60 is the decay time at f in closed form: 60 dB over what all absorbers together take in dB, per
// second of all lines. It is +Inf where nothing is lost.
func (p *Plate) T60(f dsp.Hertz) dsp.Second {
	w := 2 * math.Pi * float64(f) / p.rate
	c, s := math.Cos(w), math.Sin(w)
	var seconds, loss float64
	for i, a := range p.absorb {
		seconds += float64(p.length[i]) / p.rate
		loss -= dsp.ToDB(math.Hypot(a.b0+a.b1*c, a.b1*s) / math.Hypot(1+a.a1*c, a.a1*s))
	}
	if loss <= 0 {
		return dsp.Second(math.Inf(1))
	}
	return dsp.Second(60 * seconds / loss)
}

// Tail is for how long the output goes on after the input has ended, until 60 dB down.
func (p *Plate) Tail() dsp.Second {
	return dsp.Second(float64(p.preDelay)/p.rate) + max(p.T60(0), p.T60(middle))
}

// Latency is the delay in samples beyond what is meant: none.
func (p *Plate) Latency() int { return 0 }

// Reset silences the plate.
func (p *Plate) Reset() {
	p.pre.Reset()
	for i := range p.diffuse {
		p.diffuse[i].line.Reset()
	}
	for i := range p.line {
		p.line[i].Reset()
		p.absorb[i].s = 0
	}
	p.quiet = p.rest
	if p.rest < 0 {
		p.quiet = 0
	}
}

// Process turns src into the wet sound alone at dst; second, if not nil, gets one that is
// decorrelated from it. All are of equal length; dst or second may be src. It panics where the
// lengths differ.
func (p *Plate) Process(dst, second, src []float64) {
	if len(dst) != len(src) || second != nil && len(second) != len(src) {
		panic("reverb: Process needs slices of equal length")
	}
	for i := 0; i < len(src); {
		n := min(len(src)-i, p.piece)
		if p.rest >= 0 {
			if p.quiet >= p.rest { // at rest: silence in, silence out
				if src[i] == 0 {
					dst[i] = 0
					if second != nil {
						second[i] = 0
					}
					i++
					continue
				}
				p.quiet = 0
			}
			n = min(n, p.rest-p.quiet) // so that rest begins at its sample, however calls are cut
		}
		p.quiet += n
		for k, v := range src[i : i+n] {
			if v != 0 {
				p.quiet = n - 1 - k
			}
		}
		copy(p.x[:n], src[i:i+n])
		p.work(p.x[:n])
		p.listen(0, dst[i:i+n])
		if second != nil {
			p.listen(1, second[i:i+n])
		}
		if p.rest >= 0 && p.quiet >= p.rest {
			p.Reset()
		}
		i += n
	}
}

// work sends x into the plate. No line is shorter than x, so all that they give back was there
// before.
func (p *Plate) work(x []float64) {
	n := len(x)
	p.pre.WriteBlock(x)
	p.pre.ReadBlock(x, p.preDelay)
	for i := range p.diffuse {
		p.diffuse[i].process(x, p.y[:n])
	}
	for i := range p.line {
		p.line[i].ReadBlock(p.buf[i][:n], p.length[i]-n)
	}
	for i := 0; i < lines; i += 4 {
		four((*[4]absorber)(p.absorb[i:]), p.buf[i][:n], p.buf[i+1][:n], p.buf[i+2][:n], p.buf[i+3][:n])
	}
	// The Hadamard matrix of sixteen as two rounds of fours; a quarter makes it orthogonal.
	b := &p.buf
	for i := 0; i < lines; i += 4 {
		mix(b[i][:n], b[i+1][:n], b[i+2][:n], b[i+3][:n])
	}
	for i := 0; i < 4; i++ {
		mix(b[i][:n], b[i+4][:n], b[i+8][:n], b[i+12][:n])
	}
	for i := range p.line {
		g := 0.25 * sign(i&3) // another row of the matrix
		v := b[i][:n]
		for k, u := range x {
			v[k] += g * u
		}
		p.line[i].WriteBlock(v)
	}
}

// four runs four absorbers in one loop: each waits for its own last sample most of the time.
func four(a *[4]absorber, v0, v1, v2, v3 []float64) {
	s0, s1, s2, s3 := a[0].s, a[1].s, a[2].s, a[3].s
	v1, v2, v3 = v1[:len(v0)], v2[:len(v0)], v3[:len(v0)]
	for i := range v0 {
		x0, x1, x2, x3 := v0[i], v1[i], v2[i], v3[i]
		y0 := a[0].b0*x0 + s0
		y1 := a[1].b0*x1 + s1
		y2 := a[2].b0*x2 + s2
		y3 := a[3].b0*x3 + s3
		s0 = a[0].b1*x0 - a[0].a1*y0
		s1 = a[1].b1*x1 - a[1].a1*y1
		s2 = a[2].b1*x2 - a[2].a1*y2
		s3 = a[3].b1*x3 - a[3].a1*y3
		v0[i], v1[i], v2[i], v3[i] = y0, y1, y2, y3
	}
	a[0].s, a[1].s, a[2].s, a[3].s = s0, s1, s2, s3
}

// mix turns four signals into their sums and differences, the Hadamard matrix of four, times one
// half.
func mix(v0, v1, v2, v3 []float64) {
	v1, v2, v3 = v1[:len(v0)], v2[:len(v0)], v3[:len(v0)]
	for i := range v0 {
		a, b := v0[i]+v1[i], v0[i]-v1[i]
		c, d := v2[i]+v3[i], v2[i]-v3[i]
		v0[i], v1[i], v2[i], v3[i] = 0.5*(a+c), 0.5*(b+d), 0.5*(a-c), 0.5*(b-d)
	}
}

// listen sums the taps of one output into dst.
func (p *Plate) listen(ch int, dst []float64) {
	n := len(dst)
	clear(dst)
	for i := range p.line {
		v, g := p.z[:n], p.out[ch][i]
		p.line[i].ReadBlock(v, p.taps[ch][i])
		for k, u := range v {
			dst[k] += g * u
		}
	}
}

// allpass passes all frequencies alike and smears their phase: one echo becomes many.
type allpass struct {
	line   *delayline.Line
	length int // samples
}

// process works on x in place; room is as long as x, which is no longer than the delay.
func (a *allpass) process(x, room []float64) {
	a.line.ReadBlock(room, a.length-len(x))
	for i, d := range room {
		w := x[i] + spread*d
		x[i] = d - spread*w
		room[i] = w
	}
	a.line.WriteBlock(room)
}
