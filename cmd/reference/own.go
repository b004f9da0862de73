package main

import (
	"fmt"
	"regexp"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp/circuit"
)

// ownName is the block of a case that is a deck of its own.
const ownName = "own"

// ownCase is a deck that comes with the program behind a guitar. Knobs are as in a chain file.
func ownCase(sample, knobs string, volume, rate, length float64, d Drive) Case {
	c := gainCase(blocks.CircuitKind, "sample: "+sample+", "+knobs, volume, rate, length, d)
	c.Name = strings.Replace(c.Name, "sample ", "", 1)
	c.Text = strings.ReplaceAll(strings.Replace(c.Text, "  block:", "  "+ownName+":", 1), "[block]", "["+ownName+"]")
	c.Own = sample
	return c
}

// own is the cases of decks: soft and hard, knobs at odd places.
func own() []Case {
	const length = 0.05 // s
	return []Case{
		ownCase("lopsided", "drive: 9, tone: 8, level: 7", 10, 48000, length, Tones(880, 0.3)),
		ownCase("lopsided", "drive: 3.7, tone: 2.1, level: 9.3", 6, 44100, length, Pluck(196, 0.2)),
		ownCase("lopsided", "drive: 10, tone: 10, level: 10, supply: 13 V", 10, 48000, length, Tones(1661.2, 0.6)),
	}
}

// ownCard is a card of the block's own parts.
var ownCard = regexp.MustCompile(`(?m)^[A-Z]` + ownName + `_.*\n`)

// withOwn puts the deck itself, as it was written, into the place of what was built of it: so the
// simulator reads the same file.
func withOwn(printed, sample string, b board.Placed) (string, error) {
	rest := ownCard.ReplaceAllString(printed, "")
	if rest == printed {
		return "", fmt.Errorf("no part of %s in the deck", ownName)
	}
	title, body, _ := strings.Cut(rest, "\n")
	call := fmt.Sprintf("X%s %[1]s_in %[1]s_out 0 %[1]s_vcc %s", ownName, sample)
	for _, k := range b.Kind.Knobs {
		if k.Name != "supply" {
			call += fmt.Sprintf(" %s=%v", k.Name, b.Settings.Number(k.Name)/10)
		}
	}
	supply := fmt.Sprintf("V%s_vcc %[1]s_vcc 0 DC %v", circuit.SPICEName(ownName), b.Settings.Number("supply"))
	return strings.Join([]string{title, blocks.SampleDeck(sample) + call, supply, body}, "\n"), nil
}

// ownVector is what the simulator calls a node within a deck of its own.
func ownVector(node string) string {
	return "v(x" + ownName + "." + strings.ReplaceAll(strings.TrimPrefix(node, ownName+"."), "/", ".") + ")"
}
