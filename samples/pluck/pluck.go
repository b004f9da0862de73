// Package pluck makes the sound of a plucked electric guitar from a list of notes: the voltage that
// the strings induce in a pickup, before the pickup's own resistance, inductance and capacitance
// act on it.
//
// The model is modal: every partial of every note is a decaying sine whose frequency, decay and
// amplitude follow from the string (stiffness, losses), from where it is plucked and sensed, and
// from how hard. It knows no body, no amplifier, no coupling between strings, no fret noise and no
// magnetic pull of the pickup, and the pickup is linear. A rendering is a pure function of its
// arguments.
//
// Start reading at Guitar.Partials, which is the physics, then Guitar.Render, which adds them up.
// The pieces that Drywire ships are in pieces.go.
package pluck

import (
	"fmt"
	"math"
	"math/rand/v2"
)

const (
	young   = 2e11 // Pa, Young's modulus of steel; material tables
	scale   = 0.648
	topFreq = 18e3 // Hz; partials above are not made
)

// String is one string of a guitar. Its losses are those of a string between rigid ends, in three
// parts: air, friction inside the string, and bending (Acta Acustica united with Acustica 90,
// 945-965, 2004, gives the form; from memory).
type String struct {
	Pitch    float64 // Hz, open
	Core     float64 // m, diameter of the steel that bears the tension and bends: the whole of a plain string
	Tension  float64 // N
	Wound    bool
	Air      float64 // 1/s
	Friction float64 // loss factor, dimensionless
	Bending  float64 // loss factor of the bending stiffness, dimensionless
	Output   float64 // V per m/s of string velocity over the pickup
}

// LightSet is six strings of a light set (0.010 to 0.046 inch) in standard tuning; [0] is the first
// string, the highest. Diameters and tensions: usual for such sets, from memory. Losses: chosen so
// that a fundamental falls by 60 dB in 8 to 14 s, as solid-body guitars do, and so that wound
// strings lose their treble sooner; common practice, no source. Output: about in proportion to the
// core's area, with the pole pieces set so that the strings balance; the scale puts a hard single
// note at some 250 mV, which is in the published range of 100 mV to 1 V.
func LightSet() [6]String {
	return [6]String{
		{Pitch: 329.628, Core: 0.254e-3, Tension: 72, Air: 1.4, Friction: 1.2e-4, Bending: 2e-3, Output: 0.044},
		{Pitch: 246.942, Core: 0.330e-3, Tension: 69, Air: 1.3, Friction: 1.2e-4, Bending: 2e-3, Output: 0.055},
		{Pitch: 195.998, Core: 0.432e-3, Tension: 74, Air: 1.2, Friction: 1.2e-4, Bending: 2e-3, Output: 0.067},
		{Pitch: 146.832, Core: 0.356e-3, Tension: 82, Wound: true, Air: 1.1, Friction: 2e-4, Bending: 2.5e-3, Output: 0.087},
		{Pitch: 110.000, Core: 0.406e-3, Tension: 87, Wound: true, Air: 1.0, Friction: 2e-4, Bending: 2.5e-3, Output: 0.113},
		{Pitch: 82.407, Core: 0.457e-3, Tension: 78, Wound: true, Air: 0.9, Friction: 2e-4, Bending: 2.5e-3, Output: 0.145},
	}
}

// Guitar is six strings and where they are sensed.
type Guitar struct {
	Strings  [6]String
	Coils    []float64 // m, from the bridge to each coil; two coils are averaged, as in a humbucker
	Aperture float64   // m, how much string a coil sees
}

// Note is one string plucked once.
type Note struct {
	At      float64 // s, when the pick lets go
	String  int     // 1 (highest) to 6
	Fret    int     // 0 to 24
	Pull    float64 // m, how far the pick pulls the string aside: 0.2 mm is soft, 2 mm is hard
	Pick    float64 // m, from the bridge to the pick
	Palm    float64 // 0 open to 1 fully muted by the palm
	Stop    float64 // s, when a finger stops the string; 0 lets it ring until the string is plucked again
	Vibrato float64 // cents, up from the pitch and back, 5 times a second, growing over the first second
}

// Partial is one mode of a note.
type Partial struct {
	Frequency float64 // Hz
	Decay     float64 // 1/s: the mode falls as exp(-Decay·t)
	Amplitude float64 // V, signed; both directions of vibration together
}

// length is the speaking length in metres.
func (n Note) length() float64 { return scale * math.Exp2(-float64(n.Fret)/12) }

// Stiffness is the coefficient B of inharmonicity, f(n) = n·f0·sqrt(1+B·n²), of a string of round
// steel: B = π³·E·d⁴ / (64·T·L²) (JASA 36, 203-209, 1964; from memory).
func (g *Guitar) Stiffness(n Note) float64 {
	s := &g.Strings[n.String-1]
	l := n.length()
	return math.Pow(math.Pi, 3) * young * math.Pow(s.Core, 4) / (64 * s.Tension * l * l)
}

// Partials is the modes of a note as it is plucked, before anything stops it.
//
// A string pulled aside by h at the fraction β of its length and let go has modes of displacement
// 2h·sin(nπβ) / (n²π²β(1-β)). Mode n moves as sin(nπα) at the fraction α, and a pickup answers to
// velocity, hence the factor 2πf.
func (g *Guitar) Partials(n Note) []Partial {
	n.check()
	s := &g.Strings[n.String-1]
	l := n.length()
	b := g.Stiffness(n)
	f0 := s.Pitch * math.Exp2(float64(n.Fret)/12) / math.Sqrt(1+b) // so that the first partial is in tune
	beta := n.Pick / l
	corner := n.corner()
	var all []Partial
	for k := 1.0; ; k++ {
		f := k * f0 * math.Sqrt(1+b*k*k)
		if f > topFreq {
			return all
		}
		w := 2 * math.Pi * f
		a := 2 * n.Pull * math.Sin(k*math.Pi*beta) / (k * k * math.Pi * math.Pi * beta * (1 - beta))
		sensed := 0.0
		for _, coil := range g.Coils {
			sensed += math.Sin(k*math.Pi*coil/l) / float64(len(g.Coils))
		}
		sensed *= sinc(k * g.Aperture / (2 * l)) // the mean of the mode over the aperture
		soft := 1 / (1 + (f/corner)*(f/corner))  // the pick's edge is round and lets go in a finite time
		decay := (s.Air + w*(s.Friction+s.Bending*b*k*k)) / (2 * (1 + b*k*k))
		decay += n.palm(f)
		all = append(all, Partial{f, decay, s.Output * w * a * sensed * soft})
	}
}

// palm is the decay in 1/s that the palm adds, to both directions alike. Flesh takes the treble
// first. Common practice, no source.
func (n Note) palm(f float64) float64 { return n.Palm * (16 + 0.03*f) }

// corner is where the treble of the pluck begins to fall, in Hz: a hard pluck is brighter. Common
// practice, no source.
func (n Note) corner() float64 { return 1000 * math.Pow(n.Pull/0.2e-3, 0.7) }

// glide is by which part a note begins sharp: the string is longer while it swings, so its tension
// is higher. Half of the pluck's stretch h²/(2β(1-β)L²) remains on average (the other half is
// kinetic); the frequency goes with the root of the tension.
func (g *Guitar) glide(n Note) float64 {
	s := &g.Strings[n.String-1]
	beta := n.Pick / n.length()
	l := n.length()
	stretch := n.Pull * n.Pull / (2 * beta * (1 - beta) * l * l) / 2
	area := math.Pi / 4 * s.Core * s.Core
	return stretch * young * area / s.Tension / 2
}

// check panics at a note that no guitar has: the pieces are code.
func (n Note) check() {
	if n.String < 1 || n.String > 6 || n.Fret < 0 || n.Fret > 24 || n.Pull <= 0 || n.Palm < 0 || n.Palm > 1 ||
		n.At < 0 || n.Pick <= 0 || n.Pick >= n.length() || n.Stop != 0 && n.Stop < n.At {
		panic(fmt.Sprintf("pluck: no such note: %+v", n))
	}
}

// sinc is sin(πx)/(πx).
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// A string swings in two directions. The pickup sees one of them well and the other a little; the
// one along the body dies half as fast, because the bridge is stiffer that way, and is mistuned by
// less than a hertz. Together they make the slow beats and the two-stage decay of a plucked string
// (JASA 62, 1474-1484, 1977, on the piano, from memory; the figures are common practice, no
// source).
const (
	alongShare    = 0.15 // of the amplitude
	alongDecay    = 0.5  // of the decay
	alongMistuned = 0.5  // Hz, on average
)

const (
	lift      = 0.012 // s before a pluck that the pick touches the string and stops what rang
	stopped   = 45.0  // 1/s, decay of a string under a finger, at low frequency
	stoppedT  = 1500. // Hz, where that has doubled
	touched   = 300.0 // 1/s, decay of a string under the pick
	inaudible = 1e-8  // V; a mode below is over
	step      = 32    // samples for which a mode's frequency and decay are taken as constant
	scraped   = 0.8   // the pick's noise, as a part of the string's velocity, pull times pitch
	fade      = 0.05  // s, the end of the rendering fades to nothing
)

// Render is the open-circuit voltage of the pickup, in volts, at a sample rate in Hz.
func (g *Guitar) Render(notes []Note, seconds float64, rate int, seed uint64) []float64 {
	out := make([]float64, int(math.Round(seconds*float64(rate))))
	for i, n := range notes {
		n.check()
		next := math.Inf(1) // when the pick comes back to this string
		for _, m := range notes {
			if m.String == n.String && m.At > n.At {
				next = min(next, m.At-lift)
			}
		}
		rnd := rand.New(rand.NewPCG(seed, uint64(i)))
		g.pull(out, n, float64(rate))
		g.pluck(out, n, next, float64(rate), rnd)
		g.scrape(out, n, float64(rate), rnd)
	}
	n := min(int(fade*float64(rate)), len(out))
	for i := range n {
		out[len(out)-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(n))
	}
	return out
}

// pull adds what the pickup senses while the pick pulls the string aside, before it lets go. The
// string moves at the pickup by as much as it will move back: the integral of the velocity over the
// whole note is nothing, so the recording holds no DC.
func (g *Guitar) pull(out []float64, n Note, rate float64) {
	area := 0.0 // V·s
	for _, p := range g.Partials(n) {
		w := 2 * math.Pi * p.Frequency
		area += p.Amplitude * w / (w*w + p.Decay*p.Decay) // of a decaying sine
	}
	start := int(math.Round((n.At - lift) * rate))
	count := int(math.Round(lift * rate))
	for i := range count {
		if at := start + i; at >= 0 && at < len(out) {
			out[at] -= area * rate / float64(count) * (1 - math.Cos(2*math.Pi*float64(i)/float64(count)))
		}
	}
}

// pluck adds the modes of one note.
func (g *Guitar) pluck(out []float64, n Note, next, rate float64, rnd *rand.Rand) {
	start := int(math.Round(n.At * rate))
	partials := g.Partials(n)
	glide, settle := g.glide(n), 2*partials[0].Decay
	stop := n.Stop
	if stop == 0 {
		stop = math.Inf(1)
	}
	for _, p := range partials {
		mistuned := alongMistuned * (0.5 + rnd.Float64())
		muted := n.palm(p.Frequency)
		for _, m := range [2]mode{
			{f: p.Frequency, decay: p.Decay, re: p.Amplitude * (1 - alongShare)},
			{f: p.Frequency + mistuned, decay: (p.Decay-muted)*alongDecay + muted, re: p.Amplitude * alongShare},
		} {
			for at := start; at < len(out) && math.Hypot(m.re, m.im) > inaudible; at += step {
				t := float64(at) / rate
				since := t - n.At
				bend := glide * math.Exp(-settle*since)
				if n.Vibrato > 0 {
					depth := n.Vibrato / 1200 * math.Ln2 * min(since*since, 1)
					bend += depth * (0.5 - 0.5*math.Cos(2*math.Pi*5*since))
				}
				decay := m.decay
				if t >= stop {
					decay += stopped * (1 + p.Frequency/stoppedT)
				}
				if t >= next {
					decay += touched
				}
				m.run(out[at:min(at+step, len(out))], m.f*(1+bend), decay, rate)
			}
		}
	}
}

// mode is a decaying rotation; its imaginary part, a sine that starts at zero, is the voltage.
type mode struct {
	f, decay float64
	re, im   float64
}

// run adds the mode to out and moves it on.
func (m *mode) run(out []float64, f, decay, rate float64) {
	s, c := math.Sincos(2 * math.Pi * f / rate)
	d := math.Exp(-decay / rate)
	s, c = s*d, c*d
	re, im := m.re, m.im
	for i := range out {
		out[i] += im
		re, im = re*c-im*s, re*s+im*c
	}
	m.re, m.im = re, im
}

// scrape adds the pick's noise around the moment it lets go: 5 ms of noise above the string's own
// fundamental, twice as strong over a winding. Common practice, no source.
func (g *Guitar) scrape(out []float64, n Note, rate float64, rnd *rand.Rand) {
	s := &g.Strings[n.String-1]
	level := scraped * s.Output * n.Pull * s.Pitch // V
	if s.Wound {
		level *= 2
	}
	const length = 0.005
	start := int(math.Round((n.At - 0.6*length) * rate))
	count := int(length * rate)
	low := 1 - math.Exp(-2*math.Pi*n.corner()/rate)
	high := 1 - math.Exp(-2*math.Pi*700/rate)
	var slow, smooth, smoother float64
	for i := range count {
		x := rnd.NormFloat64()
		smooth += low * (x - smooth)
		smoother += low * (smooth - smoother)
		slow += high * (smoother - slow)
		if at := start + i; at >= 0 && at < len(out) {
			window := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(count))
			out[at] += level * window * (smoother - slow)
		}
	}
}
