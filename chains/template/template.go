// Package template writes the chain file that one begins with: a small board, and a comment on
// every line that says what else could stand there. It is there, apart from package file, because
// it writes what that reads.
package template

import (
	"fmt"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
)

// shown are the blocks of a starting file: name and kind.
var shown = [][2]string{{"fuzz", "fuzz"}, {"buffer", "buffer"}, {"echo", "delay"}}

// Text is a chain file to start from, in UTF-8, with a comment for every line. The knobs, their
// defaults and ranges come from the list of kinds. title is made fit for one line of 200 characters
// at most; where nothing is left of it, the file asks which order sounds better.
func Text(title string) []byte {
	var b commented
	line := b.line
	title = oneLine(title, "Which order sounds better?")
	b.WriteString(`# A chain file says what is plugged into what, and which takes to compare.
# Everything after a # is a comment. Indent with spaces, not with tabs.
# Leave out any line you do not need: what is missing has the usual value.

`)
	line("drywire: 1", "the version of this language; always the first line")
	line("title: "+quoted(title), "the question you want answered")
	b.WriteString("\n")
	line("recording:", "the guitar, recorded dry: no effects, no amplifier")
	line("  sample: riff", "a recording that comes with the program, or:")
	line("  # file: riff.wav", "a WAV file of your own, in the same folder as this file")
	line("  # peak: 420 mV", "for your own file: how loud its loudest moment is at the guitar's jack")
	line("  # load: {resistance: 1 MΩ, cable: 3 m}", "for your own file: the input and the cable you recorded it with")
	b.WriteString("\n")
	line("guitar:", "its electronics: what it is plugged into changes its sound")
	line("  pickup: humbucker", "or "+strings.Join(without(board.PickupNames(), board.DefaultPickup), ", "))
	line("  volume: 10", "the guitar's own knobs: 0 to 10, a percentage, or 2 o'clock")
	line("  # volume: {at: {0 s: 10, 4 s: 3}}", "turned while the recording plays; most knobs can be")
	line("  tone: 10", "10 is full treble")
	line("  cable: 5 m", "from the guitar to the first block; a long one dulls the sound")
	b.WriteString("\n")
	line("patch: 30 cm", "the cables between the blocks, each")
	line("load: {resistance: 1 MΩ, cable: 3 m}", "what the last block is plugged into: an amplifier's input")
	b.WriteString("\n")
	line("blocks:", "every block once: a name that you choose, then its kind and its knobs")
	var order []string
	for _, nk := range shown {
		kind := blocks.Find(nk[1])
		if kind == nil {
			continue // TestText checks that none is missing
		}
		order = append(order, nk[0])
		line("  "+nk[0]+":", kind.Brief)
		line("    kind: "+kind.Name, "the command blocks lists all kinds and their knobs")
		for _, k := range kind.Knobs {
			if k.Words != nil {
				line("    "+k.Name+": "+k.Word, fmt.Sprintf("%s: %s", k.Brief, strings.Join(k.Words, ", ")))
				continue
			}
			line("    "+k.Name+": "+dsp.FormatQuantity(k.Default, k.Unit),
				fmt.Sprintf("%s, from %s to %s", k.Brief, dsp.FormatQuantity(k.Min, k.Unit), dsp.FormatQuantity(k.Max, k.Unit)))
		}
	}
	b.WriteString("\n")
	line("order: ["+strings.Join(order, ", ")+"]", "the signal flows from left to right")
	b.WriteString("\n")
	line("takes:", "what to render and compare; every take starts from what stands above")
	line("  - name: "+order[0]+" first", "what you call it; it names the WAV file too")
	line("  - name: "+order[1]+" first", "this one has its own order")
	line("    order: ["+strings.Join(append([]string{order[1], order[0]}, order[2:]...), ", ")+"]", "the same blocks, wired differently")
	line("  - name: "+order[0]+" first, volume rolled back", "this one changes a setting")
	line("    set: {guitar.volume: 3}", "guitar.…, load.…, patch, or a block's name and its knob")
	line("  - name: no "+order[len(order)-1], "this one switches a block off")
	line("    off: ["+order[len(order)-1]+"]", "it stays in its place, bypassed")
	return []byte(b.String())
}

// commented is a text with a comment behind most of its lines.
type commented struct{ strings.Builder }

// line writes a line of text and its comment, which stand below each other where the text is short.
func (b *commented) line(text, comment string) {
	if pad := 44 - len([]rune(text)); pad > 0 {
		text += strings.Repeat(" ", pad)
	}
	b.WriteString(text + "  # " + comment + "\n")
}

func without(names []string, name string) []string {
	var rest []string
	for _, n := range names {
		if n != name {
			rest = append(rest, n)
		}
	}
	return rest
}
