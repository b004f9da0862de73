package experiment

import (
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/wiring"
	"drywire/dsp"
)

// ResponseReport is the small-signal response from the pickup's open-circuit voltage to a jack, and
// the loading loss at every jack on the way. It is also the JSON object that the command prints. It
// is AC analysis about the operating point, so that what distorts or compresses is not in it; where
// an echo or a reverb is on the way, its comb ripple is averaged, as powers, over a twenty-fourth
// of an octave.
type ResponseReport struct {
	Take   string          `json:"take"`
	Order  []string        `json:"order"`
	Jack   string          `json:"jack"`
	Held   string          `json:"held,omitempty"` // what moves, as board.Held says it
	Points []ResponsePoint `json:"points"`
	Peak   ResponsePoint   `json:"peak"`      // the highest of them
	Middle measures.Figure `json:"middle_db"` // the gain at 1 kHz
	// from where on it is no more than 3 dB under that at 1 kHz
	Low  measures.Figure `json:"low_hz"`
	High measures.Figure `json:"high_hz"` // and up to where
	// at every hand-over up to the jack, in the order of the signal
	Losses []Loss `json:"losses"`
}

// ResponsePoint is the gain at one frequency.
type ResponsePoint struct {
	Hz     float64         `json:"hz"`
	GainDB measures.Figure `json:"gain_db"`
}

// Loss is the loading loss at one jack: by how many dB the voltage there would be higher without
// what is plugged in, at some frequencies. The next input's loss is with the cable in place, the
// cable's with the input in place; where both matter, both together are not the sum. A negative
// loss is a gain: a cable brings the resonance of a pickup down to where it lifts.
type Loss struct {
	Jack   string      `json:"jack"`       // where it is plugged in: BLOCK.in, or "load"
	Source float64     `json:"source_ohm"` // |Z| at 1 kHz of what drives it, without the cable
	Input  float64     `json:"input_ohm"`  // |Z| at 1 kHz of what is plugged in
	Cable  float64     `json:"cable_metres"`
	At     []LossPoint `json:"at"`
}

// LossPoint is a loss at one frequency, in dB.
type LossPoint struct {
	Hz    float64         `json:"hz"`
	Input measures.Figure `json:"input_db"`
	Cable measures.Figure `json:"cable_db"`
	Both  measures.Figure `json:"both_db"`
}

// LossFrequencies is where losses are looked at: body, the middle, and the treble that a cable
// takes.
var LossFrequencies = []float64{100, 1000, 5000}

// Response is the response from 20 Hz to 20 kHz: the gain from the pickup's own voltage to the
// jack. The errors are those of noise.Gain and wiring.Handovers.
func Response(c *board.Chain, rate dsp.Hertz, jack string) (*ResponseReport, error) {
	centres, power, err := noise.Gain(c, rate, jack)
	if err != nil {
		return nil, err
	}
	r := &ResponseReport{Take: c.Take, Order: orderOf(c), Jack: jack, Held: board.Held(c), Losses: []Loss{}}
	gain := func(k int) measures.Figure { return measures.Level(math.Sqrt(power[k]), "nothing comes through") }
	for k, f := range centres {
		p := ResponsePoint{f, gain(k)}
		r.Points = append(r.Points, p)
		if p.GainDB.OK() && (!r.Peak.GainDB.OK() || r.Peak.Hz == 0 || p.GainDB.Value > r.Peak.GainDB.Value) {
			r.Peak = p
		}
	}
	at, _ := slices.BinarySearch(centres, 1000)
	part := math.Log(1000/centres[at-1]) / math.Log(centres[at]/centres[at-1])
	if a, b := gain(at-1), gain(at); a.OK() && b.OK() {
		r.Middle = measures.Figure{Value: a.Value + part*(b.Value-a.Value)}
	} else {
		r.Middle = measures.None("nothing comes through")
	}
	r.Low, r.High = edge(r.Points, at, -1, r.Middle), edge(r.Points, at, 1, r.Middle)

	hands, err := wiring.Handovers(c, 1000)
	if err != nil {
		return nil, err
	}
	for k, h := range hands {
		if !upTo(c, h.Jack, jack) {
			continue
		}
		loss, err := lossAt(c, k)
		if err != nil {
			return nil, err
		}
		r.Losses = append(r.Losses, loss)
	}
	return r, nil
}

// upTo reports whether a hand-over lies before a jack or is felt there: what is plugged into a jack
// loads it. The other path of a split is left out, though it is felt as well.
func upTo(c *board.Chain, handover, jack string) bool {
	jacks := c.Jacks()
	at, end := slices.Index(jacks, strings.Replace(handover, "load", "out", 1)), slices.Index(jacks, jack)
	if c.Split != nil {
		left := slices.Index(jacks, "out.left")
		right := slices.Index(jacks, "out.right")
		begin := 1 + 2*len(c.Blocks) // of the left path
		if end > left && end <= right && at >= begin && at <= left {
			return false
		}
	}
	if jack == "guitar" || strings.HasSuffix(jack, ".out") {
		end++ // it leads into the next
	}
	return at >= 0 && at <= end
}

// edge is where the response falls 3 dB under the middle for the first time on the way from 1 kHz
// downwards or upwards, between two points on a straight line.
func edge(points []ResponsePoint, from, step int, middle measures.Figure) measures.Figure {
	if !middle.OK() {
		return middle
	}
	last := from
	for k := from; k >= 0 && k < len(points); k += step {
		g := points[k].GainDB
		if !g.OK() {
			return g
		}
		if d := middle.Value - 3 - g.Value; d >= 0 {
			if k == from {
				return measures.Figure{Value: points[k].Hz}
			}
			before := points[last]
			part := (before.GainDB.Value - (middle.Value - 3)) / (before.GainDB.Value - g.Value)
			return measures.Figure{Value: before.Hz * math.Pow(points[k].Hz/before.Hz, part)}
		}
		last = k
	}
	if step < 0 {
		return measures.None("under %.0f Hz", points[0].Hz)
	}
	return measures.None("over %.0f Hz", points[len(points)-1].Hz)
}

// lossAt is the loss at the k-th hand-over. The cable is a resistance, then a capacitance at its
// far end (blocks.CableParts), so that it can be taken off the impedance that the hand-over has
// with it.
func lossAt(c *board.Chain, k int) (Loss, error) {
	l := Loss{At: []LossPoint{}}
	var r dsp.Ohm
	var capacitance dsp.Farad
	look := func(f float64) (bare, input, cable complex128, err error) {
		hands, err := wiring.Handovers(c, dsp.Hertz(f))
		if err != nil {
			return 0, 0, 0, err
		}
		h := hands[k]
		l.Jack, l.Cable = h.Jack, float64(h.Cable.Length)
		r, capacitance = blocks.CableParts(h.Cable)
		cable = complex(0, 2*math.Pi*f*float64(capacitance)) // S
		return 1/(1/h.Source-cable) - complex(float64(r), 0), h.Input, cable, nil
	}
	bare, input, _, err := look(1000)
	if err != nil {
		return l, err
	}
	l.Source, l.Input = cmplx.Abs(bare), cmplx.Abs(input)
	for _, f := range LossFrequencies {
		bare, input, cable, err := look(f)
		if err != nil {
			return l, err
		}
		long := bare + complex(float64(r), 0)
		// What is left at the jack of one volt behind the source.
		all := 1 / cmplx.Abs(1+long*(cable+1/input))
		why := "nothing comes through"
		l.At = append(l.At, LossPoint{
			Hz:    f,
			Input: measures.Level(1/cmplx.Abs(1+long*cable)/all, why),
			Cable: measures.Level(1/cmplx.Abs(1+bare/input)/all, why),
			Both:  measures.Level(1/all, why),
		})
	}
	return l, nil
}
