package lesson

import (
	"slices"
	"testing"

	"drywire/chains/measures"
)

// What is measured of a board is said in a player's words, with what is wanted and whether it is
// reached.
func TestJudged(t *testing.T) {
	values := []Value{
		{Fact: Fact{Name: "loud", Unit: "LUFS"}, Measured: measures.Figure{Value: -25.5}},
		{Fact: Fact{Name: "dirt-of-a-soft-note", Unit: "%"}, Measured: measures.Figure{Value: 1.44}},
		{Fact: Fact{Name: "peak", Unit: "V"}, Measured: measures.Figure{Value: 0.95}},
	}
	lines, reached := Judged([]Claim{
		{Fact: "loud", Rel: "near", Value: -27, By: 1}, {Fact: "dirt-of-a-soft-note", Rel: "over", Value: 2.4, By: 0.1}, {Fact: "peak", Rel: "near", Value: 1, By: 0.1},
	}, values)
	want := []string{
		"Loud: −25.5 LUFS. Wanted: −27.0 LUFS, give or take 1.0 LU; not yet reached.",
		"Dirt of a soft note: 1.4 %. Wanted: 2.5 % or more; not yet reached.",
		"Peak: 950 mV. Wanted: 1 V, give or take 100 mV; reached.",
	}
	if reached || !slices.Equal(lines, want) {
		t.Errorf("reached %t, %q, want %q", reached, lines, want)
	}
}
