package edit_test

import (
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/edit"
	"drywire/dsp/circuit/deck"
)

// An edit keeps the decks as they were when the file was read, whatever becomes of them meanwhile.
func TestEditsKeepTheDecksThatWereRead(t *testing.T) {
	text := ".subckt dark in out gnd params: amount=0.5\nR1 in out {1k+9k*amount}\nC1 out gnd 10n\n.ends\n"
	read := 0
	x, err := edit.ReadWith("own.yaml", []byte(`drywire: 1
recording: {sample: riff}
blocks:
  dark: {kind: circuit, file: dark.cir, amount: 7}   # mine
  keep: {kind: buffer}
order: [dark, keep]
takes: [{name: as written}]
`), func(path string) (*blocks.Kind, error) {
		read++
		d, err := deck.Read(path, []byte(text))
		if err != nil {
			return nil, err
		}
		return blocks.Circuit(d)
	})
	if err != nil {
		t.Fatal(err)
	}
	text = strings.Replace(text, "10n", "22n", 1)
	y, err := x.SetOrder([]string{"keep", "dark"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if read != 1 || y.File.Blocks[0].Kind != x.File.Blocks[0].Kind || !strings.Contains(string(y.Source), "amount: 7}   # mine") {
		t.Errorf("the deck was read %d times\n%s", read, y.Source)
	}
	if _, err := y.AddBlock("more", blocks.CircuitKind); err == nil || !strings.Contains(err.Error(), "by hand") {
		t.Errorf("a circuit was added without a deck: %v", err)
	}
}
