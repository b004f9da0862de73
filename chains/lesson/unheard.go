package lesson

import (
	"context"
	"fmt"
	"slices"

	"drywire/chains/board"
)

// swapBeliefs is what people say who think that a block of a kind may stand anywhere: what
// listeners to the lessons of the course are asked about. Common beliefs, no source.
var swapBeliefs = []struct {
	belief string
	kinds  []string
}{
	{"a buffer changes nothing", []string{"buffer", "tuner", "splitter"}},
	{"a boost is a boost, wherever it stands", []string{"boost", "trim", "volume", "pedal", "treble-boost"}},
	{"a curve is a curve, wherever it stands", []string{"eq", "graphic-eq", "mid-carve", "wah", "speaker"}},
	{"even is even, wherever it stands", []string{"compressor", "gate"}},
	{"echoes come later anyway", []string{"delay", "reverb", "plate"}},
}

// swapBelief is what one believes who says that blocks of these two kinds may change places.
func swapBelief(a, b string) string {
	for _, s := range swapBeliefs {
		if slices.Contains(s.kinds, a) || slices.Contains(s.kinds, b) {
			return s.belief
		}
	}
	return "order does not matter"
}

// unheard is the question which of three changes nobody would hear, or which alone one would: swaps
// where there are three, and else other changes beside them. The chance of being told apart is at
// most Faint of the ones, and at least Clear of the others.
func unheard(ctx context.Context, b *Bench, c *board.Chain, others []other) (asked, bool, error) {
	type one struct {
		other
		fact Fact
	}
	var by [2][]one // heard, not heard
	swaps := 0
	for _, o := range others {
		if min(len(by[0]), len(by[1])) >= 1 && len(by[0])+len(by[1]) >= 3 && !(o.swap && swaps < 3) {
			break
		}
		f := Fact{Measure: toldApart, Take: o.take, Other: c.Take, Unit: "%", Within: 4}
		v, err := b.Values(ctx, []Fact{f}, "")
		if err != nil {
			return asked{}, false, err
		}
		m := v[0].Measured
		if !m.OK() || m.Value > 100*Faint-f.Within && m.Value < 100*Clear+f.Within {
			continue
		}
		f.Is = m.Value
		k := 0
		if m.Value <= 100*Faint {
			k = 1
		}
		if by[k] = append(by[k], one{o, f}); o.swap {
			swaps++
		}
	}
	odd := 1
	switch {
	case len(by[1]) >= 1 && len(by[0]) >= 2:
	case len(by[0]) >= 1 && len(by[1]) >= 2:
		odd = 0
	default:
		return asked{}, false, nil
	}
	list := append(slices.Clone(by[odd][:1]), by[1-odd][:2]...)
	things := "swaps"
	for _, o := range list {
		if !o.swap {
			things = "changes"
		}
	}
	a := asked{ask: fmt.Sprintf("Made equally loud, nobody would hear one of these three %s. Which one?", things),
		answer: "Told apart by a listener, at the clearest moment: {told-1} against {told-2} and {told-3}."}
	right, thinks := "what neither clips nor pulls may stand anywhere", "Nothing in it clips, pulls or lifts differently than before."
	if odd == 0 {
		a.ask = fmt.Sprintf("Made equally loud, one of these three %s is heard, and the others are not. Which one?", things)
		right, thinks = "what clips, pulls or filters is heard", "Something in it clips, pulls or filters differently than before."
	}
	for k, o := range list {
		o.fact.Name = fmt.Sprintf("told-%d", k+1)
		a.facts = append(a.facts, o.fact)
		choice := Choice{Say: o.say, Belief: right, Thinks: thinks + " The chance to tell is {told-1}.", Right: k == 0}
		if k > 0 {
			choice.Belief, choice.Thinks = o.belief, fmt.Sprintf("Not so here: the chance to tell is {told-%d}.", k+1)
			if odd == 0 {
				choice.Belief = "whatever one changes is heard"
			}
			a.proof = append(a.proof, fmt.Sprintf("{fact: %s, %s: told-1, by: %g %%}", o.fact.Name, []string{"under", "over"}[odd], 100*(Clear-Faint)))
		}
		a.choices = append(a.choices, choice)
	}
	return a, true, nil
}
