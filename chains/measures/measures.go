// Package measures is the one list of what is measured: at a jack, of a take, and of one take
// against another. A measure is one file with its definition and its source, its unit, how it is
// computed and how it is printed, and one line in All. Tables, JSON objects, helps, the report,
// the page and what a chain file may prefer follow that list.
//
// It lies below the room of the chain file, which reads from it what a file may prefer, so it knows
// signals and not circuits: whoever measures brings those as a Jack, a Take, a Played or Sides.
//
// Start reading at Measure and All, then sustain.go for a measure in full.
package measures

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/dsp"
)

// Better is which way a measure gets better; "" where that is a matter of taste.
type Better string

// The ways.
const (
	Higher Better = "higher"
	Lower  Better = "lower"
)

// Measure is one measure. It has one of At, OfTake, OfPlayed and Change. As JSON it says what it
// is.
type Measure struct {
	// in JSON objects; "" where Name stands for it, or it is no result by itself
	Key    string `json:"-"`
	Name   string `json:"name"`
	Unit   string `json:"unit"` // "share" is 0 to 1, printed as a percentage
	Better Better `json:"better"`
	// in the unit: what differs by less counts as equal. 0: not to be preferred
	Step float64 `json:"step"`
	// with its source; where none is named, it is this project's own
	Definition string `json:"definition"`
	Brief      string `json:"-"` // what a player gets by preferring it
	// in tables, its lines apart by \n; "" where tables leave it out
	Heading string `json:"-"`
	Digits  int    `json:"-"` // after the point, or Significant

	// At works it out at a jack. Where Tones says so, Jack.Steady is these tones in a steady state.
	At    func(*Jack) Figure             `json:"-"`
	Tones func(test dsp.Tone) []dsp.Tone `json:"-"`
	// of a take: text, the value with its unit, as a sentence
	Says func(text string, f Values) string `json:"-"`

	// OfTake plays test signals through a take, OfPlayed needs the recording through it as well.
	OfTake   func(context.Context, Take) (Figure, error)   `json:"-"`
	OfPlayed func(context.Context, Played) (Figure, error) `json:"-"`

	// Change is by how much b differs from a. Facts is what it wants to know of either by OfTake.
	Change func(*Sides) Figure `json:"-"`
	Facts  []*Measure          `json:"-"`
}

// All is every measure, in the order in which they are printed.
var All = []*Measure{
	PeakVolts, PeakDBV, PeakDBu, RMSVolts, RMSDBV, RMSDBu, Crest, Loudness,
	Noise, NoiseA, HissA, SignalToNoise, SignalToNoiseA, CleanHeadroom, Headroom, OverShare,
	Centroid, THD, THDN, Modulation, Difference, Colour, Ceiling,

	ToneTHD, HeardDistortion, Compression, Sustain, CleanUp, FullTHD, RolledTHD, RollDown,
	Brightness, Bite, Bass, Boom, Mud, OverHiss, OverHum, LoudnessAtEnd,

	brightnessKept, ClearRepeats, OctaveInStep, dynamicsKept, LeastHeadroom, quiet,

	Null, LevelChange, BassChange, MiddleChange, TrebleChange, NoiseChange, THDChange, SustainChange, RepeatsChange, LateChange,
	SpectralMean, SpectralMax,
}

func some(keep func(*Measure) bool) (list []*Measure) {
	for _, m := range All {
		if keep(m) {
			list = append(list, m)
		}
	}
	return list
}

// AtJacks is the measures at a jack.
func AtJacks() []*Measure { return some(func(m *Measure) bool { return m.At != nil }) }

// Dynamics is the measures of how a take answers to how hard one plays.
func Dynamics() []*Measure {
	return some(func(m *Measure) bool { return m.OfTake != nil && m.Key != "" })
}

// Changes is the measures of one take against another.
func Changes() []*Measure { return some(func(m *Measure) bool { return m.Change != nil }) }

// Objectives is what a ranking of orders can go by, in the order of the alphabet. More is better of
// all of them.
func Objectives() []*Measure {
	list := some(func(m *Measure) bool { return m.Step > 0 })
	slices.SortFunc(list, func(a, b *Measure) int { return strings.Compare(a.Name, b.Name) })
	return list
}

// Facts is what the changes want to know of either take, each once.
func Facts() (list []*Measure) {
	for _, c := range Changes() {
		for _, m := range c.Facts {
			if !slices.Contains(list, m) {
				list = append(list, m)
			}
		}
	}
	return list
}

// Significant stands for the digits of Short.
const Significant = -1

// Shown is the unit as it is printed.
func (m *Measure) Shown() string {
	if m.Unit == "share" {
		return "%"
	}
	return m.Unit
}

// Format is a value as it is printed, without its unit; a dash where there is none.
func (m *Measure) Format(f Figure) string {
	switch {
	case !f.OK():
		return "-"
	case m.Unit == "share":
		f.Value *= 100
	case m.Unit == "%" && f.Value < 0.001:
		return "<0.001"
	}
	if m.Digits == Significant {
		return Short(f.Value)
	}
	return f.Text(m.Digits)
}

// Short is a number of three digits, and under a thousandth of two.
func Short(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 1e-3:
		return fmt.Sprintf("%.2g", v)
	}
	return fmt.Sprintf("%.*f", max(0, 2-int(math.Floor(math.Log10(math.Abs(v))))), v)
}

// NoTone is why there is no figure that needs a test tone where none was asked for.
const NoTone = "no test tone was asked for"

// Printed is those of some measures that tables have, but for what needs a tone and had none in a
// row of them.
func Printed(list []*Measure, row Values) (printed []*Measure) {
	for _, m := range list {
		if m.Heading != "" && row.Of(m).Why != NoTone {
			printed = append(printed, m)
		}
	}
	return printed
}

// Value is what one measure says.
type Value struct {
	*Measure
	Figure
}

// Values is what some measures say, in their order.
type Values []Value

// Of is the value of one of them; without it, one that says so.
func (v Values) Of(m *Measure) Figure {
	for _, one := range v {
		if one.Measure == m {
			return one.Figure
		}
	}
	return None("not measured")
}

// NoValues is the same reason for every one of some measures.
func NoValues(list []*Measure, why Figure) (v Values) {
	for _, m := range list {
		v = append(v, Value{m, why})
	}
	return v
}

// Object is a JSON object with what fields has, a struct, and the values under their keys. The
// error is that of json.Marshal.
func (v Values) Object(fields any) ([]byte, error) {
	object, err := json.Marshal(fields)
	if err != nil {
		return nil, err
	}
	b := bytes.NewBuffer(bytes.TrimSuffix(object, []byte("}")))
	for _, one := range v {
		figure, err := json.Marshal(one.Figure)
		if err != nil {
			return nil, err
		}
		if b.Len() > 1 {
			b.WriteByte(',')
		}
		fmt.Fprintf(b, "%q:%s", one.Key, figure)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}
