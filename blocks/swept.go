package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/lfo"
	"drywire/dsp/oversample"
)

// swept is the core of vibrato, chorus and flanger: amplifier, dry path and a delay that a slow
// oscillator moves, amplifier. The delay may feed back into itself. In stereo the same delay is
// read once more, where the oscillator would be half a turn later, for a second output.
//
// The delay moves with every sample and is read between samples, so nothing jumps; the error of
// that reading is below -85 dB up to 0.38 of the sample rate, see package delayline.
type swept struct {
	in, out *oversample.Clip
	line    *delayline.Line
	wave    *lfo.Oscillator
	other   *lfo.Oscillator  // of a second output, half a turn away; nil: there is none
	second  *oversample.Clip // its amplifier
	// samples: where the delay is, and how far it goes to either side
	middle, swing float64
	feedback      float64
	limit         float64 // V, what the line takes at most; only feedback reaches it
	dry, wet      float64
	rate          float64
}

// sweep is what a swept delay is made of; times in seconds.
type sweep struct {
	wave           lfo.Wave
	rate           dsp.Hertz
	start          float64 // phase
	shortest, most float64
	feedback, mix  float64
	supply         float64
}

func (b *Bench) swept(s sweep) *swept {
	rate := float64(b.Rate)
	return &swept{
		in: b.rails(s.supply), out: b.rails(s.supply),
		line:   delayline.New(int(s.most*rate) + 1),
		wave:   lfo.New(s.wave, s.rate, s.start, b.Rate),
		middle: (s.shortest + s.most) / 2 * rate, swing: (s.most - s.shortest) / 2 * rate,
		feedback: s.feedback, limit: swing(s.supply),
		dry: 1 - s.mix, wet: s.mix,
		rate: rate,
	}
}

// sweptStage is the stage of such a core. Its amplifiers, at the input and the output, make noise,
// and so does a converter that takes what the amplifiers give; what it makes comes round with the
// feedback.
func (b *Bench) sweptStage(s sweep) Stage {
	wet := converterNoise(swing(s.supply)) / math.Sqrt(1-s.feedback*s.feedback)
	// Over a wide band, delayed and dry noise are uncorrelated and add in power.
	through := root(1-s.mix, s.mix/math.Sqrt(1-s.feedback*s.feedback))
	return Stage{Name: "line", New: func() Core { return b.swept(s) }, Noise: root(through*opAmpNoise, opAmpNoise), Converter: s.mix * wet, Ceiling: swing(s.supply)}
}

// Process implements Core.
func (s *swept) Process(out, in [][]float64) {
	y := out[0]
	s.in.Process(y, in[0])
	for k, x := range y {
		// One sample less: the newest in the line is the one before x.
		echo := s.line.Read(s.middle + s.swing*s.wave.Next() - 1)
		v := x + s.feedback*echo
		if math.Abs(v) < tiny {
			v = 0
		}
		s.line.Write(max(-s.limit, min(s.limit, v)))
		y[k] = s.dry*x + s.wet*echo
		if s.other != nil {
			// x is in the line now
			out[1][k] = s.dry*x + s.wet*s.line.Read(s.middle+s.swing*s.other.Next())
		}
	}
	s.out.Process(y, y)
	if s.other != nil {
		s.second.Process(out[1], out[1])
	}
}

// Latency implements Core. The delay itself is meant.
func (s *swept) Latency() int { return s.in.Latency() + s.out.Latency() }

// Tail implements Core: as many runs through the line at its longest as it takes to be 60 dB down.
func (s *swept) Tail() dsp.Second {
	runs := 1.0
	if f := math.Abs(s.feedback); f > 0 {
		runs += math.Ceil(-60 / dsp.ToDB(f))
	}
	return dsp.Second(runs * (s.middle + s.swing + delayline.Nearest + 2) / s.rate)
}

// Reset implements Core.
func (s *swept) Reset() {
	s.in.Reset()
	s.line.Reset()
	s.wave.Reset()
	s.out.Reset()
	if s.other != nil {
		s.other.Reset()
		s.second.Reset()
	}
}
