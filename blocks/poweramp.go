package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/filter"
	"drywire/dsp/oversample"
)

// poweramp is a push-pull valve power amplifier up to its speaker's terminals.
var poweramp = Kind{
	Name:   "poweramp",
	Place:  AfterPower,
	Drives: true,
	Brief:  "valve power amplifier: clips softly, and its supply sags under load",
	Models: []string{
		"1 MΩ in, a level control, a push-pull stage whose clipping has a knee, an output transformer with a corner at either end, 12 Ω out.",
		"Watts are what it gives to 8 Ω with 10 % of distortion, its supply settled under that load. With the level at noon, a sine of -10 dBV (0.45 V peak) takes it there; at 10 one of 67 mV.",
		"A supply that the signal draws on: its voltage, and with it the ceiling, falls with the output and recovers in 40 ms.",
		"The noise of its input stage, raised by the level.",
	},
	Ignores: []string{
		"Power valves one by one: class AB's crossover, their grid current, the phase inverter's own clipping, and feedback with its presence control.",
		"The transformer's saturation, hum, and that valves clip at a voltage, whatever the load: the ceiling stands in front of the 12 Ω, and where a loudspeaker has 80 Ω, at its resonance, it gets up to twice the voltage that 8 Ω get.",
	},
	Sources: []string{
		"Curve x/(1 + x⁴)^(1/4), supply of 40 ms with up to 35 % of source resistance against the load's, corners at 35 Hz and 14 kHz, 12 Ω: common practice, no source.",
		"Watts: distortion-limited output power, IEC 60268-3, from memory; at 10 %: common practice, no source. The ceiling follows from the curve, closed form.",
		"-10 dBV: nominal level of unbalanced equipment, for which loops for pedals are built; that noon takes it: common practice, no source.",
		"Input noise of 40 nV/√Hz: from memory, a small-signal pentode or triode with its grid resistor.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "12 Ω",
	Knobs: []Knob{
		dial("level", "level; at noon, -10 dBV gives the rated watts; at 10, 16 dB less do", "audio", 5),
		dial("sag", "how far the supply falls under load: at 10, hard playing takes a quarter of the ceiling at rest", "linear", 3),
		{Name: "watts", Brief: "power into 8 Ω with 10 % of distortion", Unit: dsp.None, Min: 1, Max: 150, Default: 40, Still: stillPart},
	},
	Build: func(b *Bench, s Settings) {
		p := b.powering(s)
		b.highInput()
		b.outputThrough(Stage{Name: "valves", New: func() Core { return b.powering(s) }, Raises: true, Noise: powerNoise * p.gain, Ceiling: p.top}, powerResistance)
	},
}

const (
	powerNoise      = 40e-9 // V/√Hz
	powerResistance = 12.0  // Ω
	ratedLoad       = 8.0   // Ω

	// A sine whose peak would be ratedDrive ceilings without the curve x/(1 + x⁴)^(1/4) has 10 % of
	// distortion behind it, ratedPower of the power of a sine that just meets the ceiling, and
	// ratedMean of the ceiling as its mean magnitude: integrals over a period, found numerically.
	ratedDrive = 1.28556
	ratedPower = 1.05799
	ratedMean  = 0.672754
)

// ratedInput is the peak that gives the rated power with the level at noon: -10 dBV.
var ratedInput = math.Sqrt2 * math.Pow(10, -10./20)

// powering is the core.
// powering is the amplifier between the ways up and down.
type powering struct {
	powerLaw
	settings Settings
	up       *oversample.Up
	down     *oversample.Down
	high     []float64
}

// powerLaw is the amplifier at a multiple of the recording's rate.
type powerLaw struct {
	gain, top float64 // to the output resistance, and the ceiling there at rest, in volts
	sag       float64 // share by which the supply falls while the output is at its ceiling
	charge    float64 // share of the way that the supply goes in a sample of the recording
	// 1/(factor·top): what turns the sum over a sample's high samples into the mean's share of the
	// ceiling
	share   float64
	supply  float64 // 1 at rest
	factor  int
	corners filter.Cascade
}

const powerChunk = 64

func (b *Bench) powering(s Settings) *powering {
	p := &powering{
		powerLaw: newPowerLaw(s, b.Rate, b.Oversample), settings: s,
		up: oversample.NewUp(b.Oversample, b.Rate), down: oversample.NewDown(b.Oversample, b.Rate),
		high: make([]float64, powerChunk*b.Oversample),
	}
	p.Reset()
	return p
}

func newPowerLaw(s Settings, base dsp.Hertz, factor int) powerLaw {
	p := powerLaw{
		sag:    0.35 * s.Number("sag") / 10,
		charge: 1 - math.Exp(-1/(40e-3*float64(base))),
		factor: factor, supply: 1,
	}
	// where the bilinear transform squeezes nothing that is heard
	rate := base * dsp.Hertz(factor)
	p.corners = filter.Cascade{filter.OnePoleHigh(35, rate), filter.OnePoleLow(14e3, rate)}
	// The ceiling under the rated load, in front of the divider that the load makes. At rest it is
	// as much higher as the supply then falls.
	rated := math.Sqrt(2*s.Number("watts")*ratedLoad/ratedPower) * (1 + powerResistance/ratedLoad)
	p.top = rated * (1 + p.sag*ratedMean)
	p.share = 1 / (float64(p.factor) * p.top)
	const leak = 1e-4 // past a closed control
	p.gain = rated * ratedDrive / ratedInput * max(leak, circuit.Audio.Wiper(s.Number("level")/10)) / circuit.Audio.Wiper(0.5)
	return p
}

// run is the amplifier on whole samples of the recording, in place.
func (p *powerLaw) run(high []float64) {
	for high := high; len(high) > 0; high = high[p.factor:] {
		// The curve, with the ceiling where the supply is at the recording's sample: it moves over
		// 40 ms, and what need not wait for it is computed side by side.
		of, sum := 1/(p.supply*p.top), 0.0
		for k, x := range high[:p.factor] {
			x *= p.gain
			u := x * of
			u *= u
			y := x / math.Sqrt(math.Sqrt(1+u*u))
			high[k] = y
			sum += math.Abs(y)
		}
		p.supply += p.charge * (1 - p.sag*sum*p.share - p.supply)
	}
	p.corners.Process(high, high)
}

func (p *powerLaw) rest() {
	p.supply = 1
	p.corners.Reset()
}

// Process implements Core.
func (p *powering) Process(out, in [][]float64) {
	dst, src := out[0], in[0]
	for len(src) > 0 {
		n := min(len(src), powerChunk)
		high := p.high[:n*p.factor]
		p.up.Process(high, src[:n])
		p.run(high)
		p.down.Process(dst[:n], high)
		dst, src = dst[n:], src[n:]
	}
}

func (p *powering) Response(f dsp.Hertz) complex128 {
	return complex(p.gain, 0) * p.corners.Response(f)
}

// Latency implements Core.
func (p *powering) Latency() int { return (p.up.Latency() + p.down.Latency()) / p.factor }

// Tail implements Core.
func (p *powering) Tail() dsp.Second { return p.corners.Tail() }

// Reset implements Core.
func (p *powering) Reset() {
	p.rest()
	p.up.Reset()
	p.down.Reset()
}

// Raise implements Raiser.
func (p *powering) Raise(rate dsp.Hertz, factor int) dsp.Processor {
	return &raisedPower{newPowerLaw(p.settings, rate, factor)}
}

// NonLinear implements Raiser.
func (p *powering) NonLinear() bool { return true }

// raisedPower is the amplifier where its signal is at the high rate already.
type raisedPower struct{ powerLaw }

func (p *raisedPower) Process(out, in [][]float64) {
	copy(out[0], in[0])
	p.run(out[0])
}

func (p *raisedPower) Latency() int { return 0 }

func (p *raisedPower) Reset() { p.rest() }
