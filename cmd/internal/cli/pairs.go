package cli

import (
	"fmt"

	"drywire/chains/experiment"
	"drywire/chains/measures"
)

// mostPairs is how many pairs are told of where nobody asks for more.
const mostPairs = 10

// printSentences prints what a player will hear.
func printSentences(s streams, e *experiment.Comparison, all bool) {
	if len(e.Pairs) == 0 {
		return
	}
	s.printf("\nWhat a player will hear:\n")
	shown := e.Pairs
	if !all {
		shown = shown[:min(len(shown), mostPairs)]
	}
	for _, p := range shown {
		paragraph(s.out, fmt.Sprintf("%5s  ", fmt.Sprintf("%d/%d", p.A, p.B)), p.Sentence, 98)
	}
	if n := len(e.Pairs) - len(shown); n > 0 {
		s.printf("and %s: --take, given for each, chooses; --all tells of all.\n", plural(n, "pair more", "pairs more"))
	}
}

// printPairs prints the numbers that say so.
func printPairs(s streams, e *experiment.Comparison) {
	if len(e.Pairs) == 0 {
		return
	}
	s.printf("\n")
	list := measures.Printed(measures.Changes(), nil)
	t := table{header: append([]string{" takes", "heard"}, headings(list)...)}
	for _, p := range e.Pairs {
		t.row(append([]string{fmt.Sprintf("%d/%d", p.A, p.B), p.Heard}, texts(list, p.Values)...)...)
	}
	t.within(s.out, width)
	first := ""
	if e.Seconds > experiment.PairSeconds {
		first = fmt.Sprintf(", the first %.0f s", experiment.PairSeconds)
	}
	paragraph(s.out, "", fmt.Sprintf("The second take against the first. Heard: by ITU-R BS.1387, full scale at %.0f dB SPL%s; all but the level after matching; "+
		"null: after taking a delay within 1 ms and polarity back; bass to 250 Hz, treble from 2 kHz; noise at rest; THD of a 997 Hz tone; sustain: 20 dB of a falling note; "+
		"spectra: mean log-spectral distance.", experiment.Playback, first), width)
}
