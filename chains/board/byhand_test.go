package board_test

import (
	"testing"

	"drywire/chains/file"
)

// A preset that turns a knob which another preset with the same pedal wants elsewhere takes a hand;
// what recalls, what a foot moves, and what no other preset wants elsewhere does not.
func TestByHand(t *testing.T) {
	f, err := file.Parse("a.yaml", []byte(`drywire: 1
recording: {sample: riff}
blocks:
  s: {kind: switcher, loops: {1: [drive, more], 2: [echo], 3: [dark], 4: [cry], 5: [hard], 6: [comp]}}
  drive: {kind: overdrive, drive: 4}
  more:  {kind: boost}
  echo:  {kind: delay}
  dark:  {kind: delay, voice: bucket-brigade}
  cry:   {kind: wah}
  hard:  {kind: distortion}
  comp:  {kind: compressor, recall: yes}
order: [s]
presets:
  verse: {loops: [1, 2, 3, 4, 6]}
  lead:
    loops: [1, 2, 3, 4, 5, 6]
    off: [more]
    set: {drive.drive: 8, drive.tone: 5, echo.mix: 40 %, dark.mix: 40 %, cry.position: 9, hard.distortion: 9, comp.ratio: 8, s.trim: 2 dB, guitar.volume: 7}
`))
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, h := range f.ByHand() {
		got += h.String()
	}
	want := `By hand: preset "lead" sets drive.drive, dark.mix, guitar.volume, which no foot recalls: that takes a hand, or a second pedal; and switches more, which the switcher does not: that takes a foot on each.`
	if got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}
