package blocks

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/deck"
	"drywire/dsp/oversample"
)

// CircuitKind is the kind of block that a deck makes: one of a Kind for every deck, by Circuit.
const CircuitKind = "circuit"

// CircuitBrief is what the kind is, whatever the deck.
const CircuitBrief = "any circuit: a SPICE deck of your own, its parameters the knobs"

// Circuit is the kind of block that a deck makes. The error is deck.Faults: of a circuit that has
// no operating point, or whose amplifiers feed back into themselves.
func Circuit(d *deck.Circuit) (*Kind, error) {
	k := &Kind{
		Name:  CircuitKind,
		Brief: fmt.Sprintf("the circuit %s of %s", d.Name, d.File),
		Models: []string{
			fmt.Sprintf("The %d parts of the deck, solved together with whatever is before and after.", d.Parts),
			"Thermal noise of every resistor but those with noisy=0, shot noise of every junction, flicker noise where a model has KF, and of amplifiers between rails 8 nV/√Hz at the input.",
		},
		Ignores: append(slices.Clone(d.Notes), "What the deck does not have, and the change of its parts with temperature: 27 °C."),
		Sources: []string{
			"The deck.",
			"Noise of amplifiers, and of valves 2.5 times the transconductance: from memory, as for the blocks that come with the program.",
		},
		Hash: fmt.Sprintf("%x", d.Hash),
	}
	for _, knob := range d.Knobs {
		k.Knobs = append(k.Knobs, knobOf(knob))
	}
	if d.Supply != deck.NoSupply {
		k.Knobs = append(k.Knobs, supplyKnob(9, 3, 48))
		k.Volts = [2]dsp.Volt{9, 9}
		k.Ground = negative
		if d.Supply == deck.Negative {
			k.Ground = func(Settings) Pole { return Positive }
		}
	}
	k.Build = func(b *Bench, s Settings) { buildDeck(b, d, s) }
	if err := k.works(); err != nil {
		return nil, deck.Faults{{File: d.File, Line: d.Line, Column: d.Column, Text: err.Error()}}
	}
	if d.Supply != deck.NoSupply {
		k.Draw = drawn(d)
	}
	return k, nil
}

// knobOf is a parameter of a deck as a knob.
func knobOf(k deck.Knob) Knob {
	brief := k.Brief
	if brief == "" {
		brief = "the deck's parameter " + k.Name
	}
	if k.Dial {
		return dial(k.Name, brief, "", 10*k.Default)
	}
	return Knob{Name: k.Name, Brief: brief, Unit: k.Unit, Min: k.Low, Max: k.High, Default: k.Default}
}

// buildDeck adds a deck's parts behind its supply.
func buildDeck(b *Bench, d *deck.Circuit, s Settings) {
	at := map[string]float64{}
	for _, k := range d.Knobs {
		at[k.Name] = s.Number(k.Name)
		if k.Dial {
			at[k.Name] /= 10
		}
	}
	switch d.Supply {
	case deck.Positive:
		b.Supply(deck.SupplyNode, dsp.Volt(s.Number("supply")))
	case deck.Negative:
		b.Supply(deck.SupplyNode, -dsp.Volt(s.Number("supply")))
	}
	d.Build(deckBench{b}, at)
}

// deckBench is a bench for the parts of a deck.
type deckBench struct{ *Bench }

// E implements deck.Builder.
func (b deckBench) E(name, n1, n2, p, m string, gain float64) {
	b.Circuit.E(b.Name(name), b.Name(n1), b.Name(n2), b.Name(p), b.Name(m), gain)
}

// G implements deck.Builder.
func (b deckBench) G(name, n1, n2, p, m string, gm float64) {
	b.Circuit.G(b.Name(name), b.Name(n1), b.Name(n2), b.Name(p), b.Name(m), gm)
}

// F implements deck.Builder.
func (b deckBench) F(name, n1, n2, ammeter string, gain float64) {
	b.Circuit.F(b.Name(name), b.Name(n1), b.Name(n2), b.Name(ammeter), gain)
}

// T implements deck.Builder: a valve of a deck makes noise as those of the blocks do.
func (b deckBench) T(name, plate, grid, cathode string, t circuit.Triode) {
	t.NoiseConductance = doubleTriode.NoiseConductance
	b.Bench.T(name, plate, grid, cathode, t)
}

// Limiter implements deck.Builder.
func (b deckBench) Limiter(name, n1, n2, p, m string, gm, most float64) {
	b.Circuit.Limiter(b.Name(name), b.Name(n1), b.Name(n2), b.Name(p), b.Name(m), gm, most)
}

// Clamp implements deck.Builder.
func (b deckBench) Clamp(name, n1, n2 string, lo, hi dsp.Volt) {
	b.Circuit.Clamp(b.Name(name), b.Name(n1), b.Name(n2), lo, hi)
}

// Follower implements deck.Builder.
func (b deckBench) Follower(name, in, out string, gain float64, lo, hi dsp.Volt) {
	b.Stage(Stage{
		Name: strings.ToLower(name), Sense: []string{in}, Drive: []string{out},
		New: func() Core {
			return &Follower{Gain: gain, Lo: lo, Hi: hi, clip: oversample.NewClip(float64(lo), float64(hi), b.Rate, b.Oversample)}
		},
		Raises: true,
		Noise:  math.Max(math.Abs(gain), 1e-3) * opAmpNoise, Ceiling: math.Max(float64(hi), -float64(lo)),
	})
}

// works tries a kind between a source and a load at the ends of its knobs and in their middle: the
// error is of a circuit without an operating point, or of amplifiers that feed themselves.
func (k *Kind) works() (err error) {
	defer func() {
		if p := recover(); p != nil { // a matrix without a solution, at a frequency
			err = fmt.Errorf("the circuit has no solution: %v", p)
		}
	}()
	usual := k.Defaults()
	low, high := usual, usual
	tried := []Settings{usual}
	for _, knob := range k.Knobs {
		low, high = low.With(knob.Name, knob.Min), high.With(knob.Name, knob.Max)
		tried = append(tried, usual.With(knob.Name, knob.Min), usual.With(knob.Name, (knob.Min+knob.Max)/2), usual.With(knob.Name, knob.Max))
	}
	for _, s := range append(tried, low, high) {
		b := NewBench(48e3, 1)
		b.Place("block", k, s)
		b.ColdR("source", "block.in", circuit.Ground, benchSource)
		b.ColdR("load", "block.out", circuit.Ground, benchLoad)
		if err := b.straight(); err != nil {
			return err
		}
		if _, err := b.Circuit.Operating(); err != nil {
			return fmt.Errorf("the circuit has no operating point%s", k.at(s, usual))
		}
		in, out := k.Impedances(s, 1000)
		for _, z := range []float64{cmplx.Abs(in), cmplx.Abs(out)} {
			if !(z > 0 && z < 1e12) {
				return fmt.Errorf("the circuit has no solution%s", k.at(s, usual))
			}
		}
	}
	return nil
}

// at says which knobs are not as usual.
func (k *Kind) at(s, usual Settings) string {
	var list []string
	for _, knob := range k.Knobs {
		if v := s.Number(knob.Name); v != usual.Number(knob.Name) {
			list = append(list, knob.Name+" "+dsp.FormatQuantity(v, knob.Unit))
		}
	}
	if list == nil {
		return ""
	}
	return " with " + strings.Join(list, ", ")
}

// drawn is the current that a deck takes from 9 V at rest, in amperes: at least what a block can be
// said to draw. A circuit of the deck without a source or a load before and after it.
func drawn(d *deck.Circuit) dsp.Ampere {
	const sense, least = 1e-3, 0.1e-3 // Ω, A
	volts := dsp.Volt(9)
	if d.Supply == deck.Negative {
		volts = -volts
	}
	b := NewBench(48e3, 1)
	b.V("SUPPLY", "supply/", circuit.Ground, volts)
	b.ColdR("SENSE", "supply/", deck.SupplyNode, sense)
	b.ColdR("SOURCE", deck.In, circuit.Ground, benchSource)
	b.ColdR("LOAD", deck.Out, circuit.Ground, benchLoad)
	d.Build(deckBench{b}, d.Defaults())
	point, err := b.Circuit.Operating()
	if err != nil {
		return least
	}
	i := math.Abs(float64(point.V("supply/")-point.V(deck.SupplyNode))) / sense
	return dsp.Ampere(math.Max(least, math.Min(5, math.Round(i*1e5)/1e5)))
}

// straight says whether the stages' signals run in a circle: a stage is a boundary, and what it
// drives may not come back to what it senses.
func (b *Bench) straight() error {
	known := map[string]bool{}
	parts, stages := b.Circuit.Split(), slices.Clone(b.Stages)
	for len(stages) > 0 {
		before := len(parts) + len(stages)
		parts = slices.DeleteFunc(parts, func(n *circuit.Netlist) bool {
			if slices.ContainsFunc(n.Inputs(), func(in string) bool { return !known[in] }) {
				return false
			}
			for _, s := range n.Nodes() {
				known["node "+s] = true
			}
			return true
		})
		stages = slices.DeleteFunc(stages, func(s Stage) bool {
			if !known["node "+s.Sense[0]] {
				return false
			}
			known[s.Drive[0]] = true
			return true
		})
		if len(parts)+len(stages) == before {
			return fmt.Errorf("the amplifier %s feeds back into its own input; one with feedback is drawn as an E or G card with a pole, as drywire netlist --block prints op-amps", strings.TrimPrefix(stages[0].Name, "block."))
		}
	}
	return nil
}
