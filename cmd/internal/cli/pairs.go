package cli

import (
	"fmt"

	"drywire/chains/experiment"
)

// mostPairs is how many pairs the tables name.
const mostPairs = 10

// printSentences prints what a player will hear.
func printSentences(s streams, e *experiment.Comparison) {
	if len(e.Pairs) == 0 {
		return
	}
	s.printf("\nWhat a player will hear:\n")
	for _, p := range e.Pairs[:min(len(e.Pairs), mostPairs)] {
		paragraph(s.out, fmt.Sprintf("%5s  ", fmt.Sprintf("%d/%d", p.A, p.B)), p.Sentence, 98)
	}
}

// printPairs prints the numbers that say so.
func printPairs(s streams, e *experiment.Comparison) {
	if len(e.Pairs) == 0 {
		return
	}
	shown := e.Pairs[:min(len(e.Pairs), mostPairs)]
	s.printf("\n")
	t := table{header: []string{" takes", "heard", " null\ndB", " level\nLU", " bass\ndB", " middle\ndB", " treble\ndB", " noise\ndB(A)", " THD\ndB", " sustain\ns", " spectra\ndB"}}
	for _, p := range shown {
		t.row(fmt.Sprintf("%d/%d", p.A, p.B), p.Heard, p.NullDB.Text(1), p.Level.Text(1), p.Bass.Text(1), p.Middle.Text(1), p.Treble.Text(1), p.Noise.Text(1),
			p.Distortion.Text(1), p.Sustain.Text(2), p.Mean.Text(1))
	}
	t.print(s.out)
	if n := len(e.Pairs) - len(shown); n > 0 {
		s.printf("%s; --json has them all.\n", plural(n, "more pair", "more pairs"))
	}
	first := ""
	if e.Seconds > experiment.PairSeconds {
		first = fmt.Sprintf(", the first %.0f s", experiment.PairSeconds)
	}
	paragraph(s.out, "", fmt.Sprintf("The second take against the first. Heard: by ITU-R BS.1387, full scale at %.0f dB SPL%s; all but the level after matching; "+
		"null: after taking a delay within 1 ms and polarity back; bass to 250 Hz, treble from 2 kHz; noise at rest; THD of a 997 Hz tone; sustain: 20 dB of a falling note; "+
		"spectra: mean log-spectral distance.", experiment.Playback, first), width)
}
