package file_test

import (
	"errors"
	"strings"
	"testing"

	"drywire/chains/file"
)

// mistaken is a board without a mistake.
const mistaken = `drywire: 1
title: A board
recording:
  file: riff.wav
  peak: 420 mV
  load: {resistance: 1 MΩ, cable: 3 m}
guitar:
  pickup: humbucker
  volume: 10
  tone: 9
  cable: 5 m
guitars:
  slide: {pickup: single-coil, volume: 8}
patch: 20 cm
load: {resistance: 2 MΩ, cable: 4 m}
supplies:
  brick:
    isolated: yes
    outputs:
      1: {voltage: 9 V, current: 500 mA}
      2: {voltage: 9 V, current: 200 mA}
      3: {voltage: 9..18 V, at: 18 V, current: 100 mA}
      OUT 4: {voltage: 9 V, current: 60 mA}
blocks:
  board:
    kind: switcher
    power: brick.1
    input_buffer: off
    loops:
      1: [germ]
      2: [drive, lift]
      3: [echo]
  germ:  {kind: fuzz, device: germanium, fuzz: 7, power: brick.2}
  drive: {kind: overdrive, drive: 5, tone: 6, level: 7, power: brick.1}
  lift:  {kind: boost, gain: 6 dB, power: brick.3}
  echo:  {kind: delay, time: 380 ms, repeats: 3, mix: 25 %}
  hall:  {kind: reverb, decay: 2 s, tone: 4}
  swirl: {kind: phaser, rate: 0.4 Hz, depth: 7}
  squash: {kind: compressor, threshold: -24 dBV, ratio: 4}
  amp:   {kind: preamp, gain: 3, bass: 6}
  power: {kind: poweramp, level: 4, watts: 40}
  box:   {kind: speaker}
  spare: {kind: buffer}
order: [squash, board, swirl, hall, amp, power, box]
tray: [spare]
presets:
  verse: {loops: [2]}
  lead:
    loops: [2, 3]
    set: {drive.drive: 8}
    trim: 2 dB
takes:
  - {name: verse, preset: verse}
  - {name: lead, preset: lead, toggle: [1]}
  - name: rolled back
    preset: lead
    set: {guitar.volume: 5}
`

// mistakes are what people write, and a part of the answer that each should get, at the line of the
// mistake (or at one that begins with at).
var mistakes = []struct{ was, is, want, at string }{
	// Colons, commas, brackets and quotes.
	{was: "  peak: 420 mV", is: "  peak 420 mV", want: `a colon is missing: peak: 420 mV`},
	{was: "patch: 20 cm", is: "patch 20 cm", want: `a colon is missing: patch: 20 cm`},
	{was: "  tone: 9", is: "  tone 9", want: `a colon is missing: tone: 9`},
	{was: "    isolated: yes", is: "    isolated yes", want: `a colon is missing: isolated: yes`},
	{was: "    kind: switcher", is: "    kind switcher", want: `a colon is missing: kind: switcher`},
	{was: "drywire: 1", is: "drywire 1", want: `a colon is missing: drywire: 1`},
	{was: "title: A board", is: "title A board", want: `a colon is missing: title: A board`},
	{was: "  volume: 10", is: "  volume:10", want: `a space is missing behind the colon: volume: 10`},
	{was: "{kind: preamp, gain: 3,", is: "{kind preamp, gain: 3,", want: `a colon is missing: kind: preamp`},
	{was: "gain: 3, bass", is: "gain 3, bass", want: `a colon is missing: gain: 3`},
	{was: "mix: 25 %", is: "mix 25 %", want: `a colon is missing: mix: 25 %`},
	{was: "{guitar.volume: 5}", is: "{guitar.volume 5}", want: `a colon is missing: guitar.volume: 5`},
	{was: "{drive.drive: 8}", is: "{drive.drive=8}", want: `want a colon, not =: drive.drive: 8`},
	{was: "      1: [germ]", is: "      1 [germ]", want: `a colon is missing: 1: [germ]`},
	{was: "order: [squash", is: "order [squash", want: `a colon is missing: order: [`},
	{was: "takes:", is: "takes", want: `a colon is missing: takes:`},
	{was: "presets:", is: "presets", want: `a colon is missing: presets:`},
	{was: "  lead:", is: "  lead", want: `a colon is missing: lead:`},
	{was: "title: A board", is: "title: A board: mine", want: "there is a second colon; put text with a colon in it in quotes"},
	{was: "  cable: 5 m", is: "\tcable: 5 m", want: "a tab; indent with spaces"},
	{was: "hall, amp, power, box]", is: "hall, amp, power, box", want: "what begins here has no ]"},
	{was: "cable: 4 m}", is: "cable: 4 m", want: "what begins here has no }"},
	{was: "drive: 5, tone", is: "drive: 5 tone", want: "a comma is missing in front of tone"},
	{was: "title: A board", is: `title: "A board`, want: "the quotes that begin here have no end"},
	{was: "title: A board", is: "title: *board", want: "an alias"},

	// The file and its recording.
	{was: "drywire: 1", is: "drywire: 2", want: "want drywire: 1"},
	{was: "drywire: 1\n", is: "", want: "drywire is missing"},
	{was: "  file: riff.wav\n", is: "", want: "recording says no file and no sample", at: "  peak"},
	{was: "  file: riff.wav", is: "  file: riff.wav\n  sample: riff", want: "recording has a file and a sample", at: "  sample"},
	{was: "  peak: 420 mV\n", is: "", want: "recording says no level", at: "  file"},
	{was: "peak: 420 mV", is: "peak: -6 dBu", want: "write volts, like 420 mV"},
	{was: "peak: 420 mV", is: "peak: 420", want: "420 mV"},
	{was: "peak: 420 mV", is: "peak: 420 V", want: "it goes from 1 mV to 20 V"},
	{was: "peak: 420 mV", is: "level: 420 mV", want: `no key "level" in recording; did you mean "peak"?`},
	{was: "title: A board", is: "tilte: A board", want: `did you mean "title"?`},
	{was: "title: A board", is: "title:", want: "title is empty"},
	{was: "order: [squash", is: "chain: [squash", want: `did you mean "order"?`},
	{was: "blocks:", is: "pedals:", want: `did you mean "blocks"?`},

	// The guitar and cables.
	{was: "pickup: humbucker", is: "pickup: humbuker", want: `did you mean "humbucker"?`},
	{was: "  volume: 10", is: "  volume: 11", want: "it goes from 0 to 10"},
	{was: "  volume: 10", is: "  volume: loud", want: "write it like 7"},
	{was: "  cable: 5 m", is: "  cable: 5", want: "5 m"},
	{was: "  cable: 5 m", is: "  cable: 5 km", want: "write it like 5 m"},
	{was: "patch: 20 cm", is: "patch: 20 inch", want: "cm"},
	{was: "resistance: 2 MΩ", is: "impedance: 2 MΩ", want: `did you mean "resistance"?`},
	{was: "  slide: {", is: "  Slide: {", want: "a guitar may not be called"},
	{was: "  tone: 9", is: "  tone: 9\n  tone: 8", want: "guitar.tone is here twice; it was in line 10 before", at: "  tone: 8"},

	{was: "patch: 20 cm", is: "patch: 20 cm\ncables: {swril: {length: 1 m}}", want: `no jack "swril" that a cable leads to; did you mean "swirl"?`, at: "cables"},
	{was: "patch: 20 cm", is: "patch: 20 cm\ncables: {guitar: {length: 1 m}}", want: "the cable from the guitar is guitar.cable", at: "cables"},
	{was: "patch: 20 cm", is: "patch: 20 cm\ncables: {board.return-7: {length: 1 m}}", want: `did you mean "board.return-1"?`, at: "cables"},
	{was: "patch: 20 cm", is: "patch: 20 cm\ncables: {swirl: {length: 1 m, capacitance: 1 nF}}", want: "it goes from 30 pF to 500 pF", at: "cables"},

	// Supplies.
	{was: "isolated: yes", is: "isolated: maybe", want: "words: yes, no"},
	{was: "1: {voltage: 9 V,", is: "1: {voltage: 9 A,", want: "9 V"},
	{was: "1: {voltage: 9 V,", is: "1: {voltage: 9 mV,", want: "it goes from 3 V to 48 V"},
	{was: "9..18 V", is: "18..9 V", want: "does not go up"},
	{was: "at: 18 V", is: "at: 24 V", want: "it can be switched from 9 V to 18 V"},
	{was: "OUT 4: {voltage: 9 V,", is: "OUT 4: {voltage: 9 V, at: 9 V,", want: "has one voltage"},
	{was: "OUT 4: {voltage: 9 V, current: 60 mA}", is: "OUT 4: {voltage: 9 V}", want: "OUT 4.current is missing"},
	{was: "current: 60 mA}", is: "current: 60 mA, polarity: center-negative}", want: `did you mean "centre-negative"?`},
	{was: "repeats: 3, mix: 25 %}", is: "repeats: 3, mix: 25 %, power: brick.5}", want: "outputs: brick.1, brick.2, brick.3, brick.OUT 4"},
	{was: "repeats: 3, mix: 25 %}", is: "repeats: 3, mix: 25 %, power: brik.1}", want: `did you mean "brick.1"?`},
	{was: "repeats: 3, mix: 25 %}", is: "repeats: 3, mix: 25 %, power: brick}", want: "outputs: brick.1"},
	{was: "repeats: 3, mix: 25 %}", is: "repeats: 3, mix: 25 %, power: brick.1, supply: 12 V}", want: "has a supply and a power"},
	{was: "repeats: 3, mix: 25 %}", is: "repeats: 3, mix: 25 %, power: brick.2}", want: "the ground of germ is the positive pole, and echo, whose ground is the negative one, is on the same output brick.2", at: "  germ"},
	{was: "power: brick.2}", is: "power: brick.1}", want: "give germ an isolated output of its own (free: brick.2, brick.OUT 4)"},
	{was: "power: brick.2}", is: "power: brick.3}", want: "18 V is too much for a fuzz, which takes 12 V at most; it may be destroyed (free: brick.2, brick.OUT 4)"},
	{was: "power: brick.2}", is: "power: brick.2, draw: 300}", want: "it has no unit; write a current like 500 mA"},

	// Kinds and knobs, in the words that players use.
	{was: "kind: switcher", is: "kind: swicher", want: `did you mean "switcher"?`},
	{was: "kind: delay,", is: "kind: echo,", want: `did you mean "delay"?`},
	{was: "kind: overdrive, drive: 5, tone: 6, level: 7, power: brick.1", is: "drive: 5", want: "drive has no kind"},
	{was: "drive: 5, tone", is: "gain: 5, tone", want: `did you mean "drive"?`},
	{was: "level: 7,", is: "volume: 7,", want: `did you mean "level"?`},
	{was: "level: 7,", is: "output: 7,", want: `did you mean "level"?`},
	{was: "tone: 6,", is: "treble: 6,", want: `did you mean "tone"?`},
	{was: "fuzz: 7,", is: "gain: 7,", want: `did you mean "fuzz"?`},
	{was: "fuzz: 7,", is: "volume: 7,", want: `did you mean "level"?`},
	{was: "gain: 6 dB", is: "boost: 6 dB", want: `did you mean "gain"?`},
	{was: "gain: 6 dB", is: "volume: 6 dB", want: `did you mean "gain"?`},
	{was: "repeats: 3", is: "feedback: 3", want: `did you mean "repeats"?`},
	{was: "time: 380 ms", is: "delay: 380 ms", want: `did you mean "time"?`},
	{was: "mix: 25 %", is: "level: 25 %", want: `did you mean "mix"?`},
	{was: "mix: 25 %", is: "blend: 25 %", want: `did you mean "mix"?`},
	{was: "decay: 2 s", is: "time: 2 s", want: `did you mean "decay"?`},
	{was: "rate: 0.4 Hz", is: "speed: 0.4 Hz", want: `did you mean "rate"?`},
	{was: "depth: 7", is: "intensity: 7", want: `did you mean "depth"?`},
	{was: "threshold: -24 dBV", is: "sensitivity: -24 dBV", want: `did you mean "threshold"?`},
	{was: "amp:   {kind: preamp, gain: 3", is: "amp:   {kind: preamp, drive: 3", want: `did you mean "gain"?`},
	{was: "bass: 6", is: "low: 6", want: `did you mean "bass"?`},
	{was: "drive: 5, tone", is: "drive: 12, tone", want: "it goes from 0 to 10"},
	{was: "drive: 5, tone", is: "drive: 14 o'clock, tone", want: "o'clock"},
	{was: "drive: 5, tone", is: "drive: 4,7, tone", want: "a comma ends a value here; a number takes a decimal point"},
	{was: "time: 380 ms", is: "time: 380", want: "380 ms"},
	{was: "time: 380 ms", is: "time: 380 s", want: "it goes from 1 ms to 2 s"},
	{was: "repeats: 3", is: "repeats: many", want: "echo.repeats"},

	// Loops and orders.
	{was: "2: [drive, lift]", is: "2: [drive, lift, drive]", want: `block "drive" is in board.loops.2 twice`},
	{was: "2: [drive, lift]", is: "2: [drive, lift, germ]", want: `block "germ" is in loop 1 already`},
	{was: "2: [drive, lift]", is: "2: [drvie, lift]", want: `did you mean "drive"?`},
	{was: "3: [echo]", is: "three: [echo]", want: "a loop is called by its number"},
	{was: "order: [squash, board", is: "order: [squash, echo, board", want: `block "echo" is in order and in loop 3 of board`},
	{was: "order: [squash, board, swirl", is: "order: [squash, board, swril", want: `did you mean "swirl"?`},
	{was: "order: [squash, board", is: "order: [squash, squash, board", want: `block "squash" is in order twice`},
	{was: "order: [squash, board, swirl, hall, amp, power, box]", is: "order: squash, board, swirl, hall, amp, power, box", want: "want a list of block names, like [fuzz, buffer]"},
	{was: "tray: [spare]\n", is: "", want: `block "spare" is in no order`, at: "  spare"},
	{was: "amp, power, box]\ntray: [spare]", is: "amp, power]\ntray: [spare, box]", want: "power is a valve power amplifier, and nothing loads it", at: "  power:"},
	{was: "hall, amp, power, box]", is: "amp, power, hall, box]", want: "power is a valve power amplifier, and it drives hall", at: "  power:"},

	// Presets and takes.
	{was: "verse: {loops: [2]}", is: "verse: {loops: [drive]}", want: `drive is in loop 2 of board; did you mean [2]?`},
	{was: "verse: {loops: [2]}", is: "verse: {loops: [swirl]}", want: `swirl is in no loop of board; did you mean on: [swirl]?`},
	{was: "verse: {loops: [2]}", is: "verse: {loops: [7]}", want: `loops: 1, 2, 3`},
	{was: "verse: {loops: [2]}", is: "verse: {loops: 2}", want: "like [1, 3]"},
	{was: "verse: {loops: [2]}", is: "verse: [2]", want: "presets.verse is a list; want keys with values, like loops: [1]"},
	{was: "verse: {loops: [2]}", is: "verse: {drive: 2}", want: `drive is in loop 2 of board; did you mean loops: [2], or set: {drive.…: …}?`},
	{was: "trim: 2 dB", is: "trim: 2", want: "it has no unit; write a ratio in decibels like -6 dB"},
	{was: "trim: 2 dB", is: "off: [germ]", want: `preset "lead" has loop 1 out, so block "germ" in it cannot be off`},
	{was: "set: {drive.drive: 8}", is: "set: {germ.fuzz: 8}", want: `preset "lead" has loop 1 out, so germ.fuzz changes nothing`},
	{was: "set: {drive.drive: 8}", is: "set: {drive.gain: 8}", want: `did you mean "drive.drive"?`},
	{was: "set: {drive.drive: 8}", is: "set: {echo.feedback: 8}", want: `did you mean "echo.repeats"?`},
	{was: "set: {drive.drive: 8}", is: "set: {drive: 8}", want: `did you mean "drive.drive"?`},
	{was: "set: {guitar.volume: 5}", is: "set: {volume: 5}", want: `did you mean "guitar.volume"?`},
	{was: "set: {guitar.volume: 5}", is: "set: {guitar.vol: 5}", want: `did you mean "guitar.volume"?`},
	{was: "set: {guitar.volume: 5}", is: "set: {drive.kind: boost}", want: "a take cannot change the kind of a block"},
	{was: "{name: verse, preset: verse}", is: "{name: verse, preset: vesre}", want: `did you mean "verse"?`},
	{was: "{name: verse, preset: verse}", is: "{preset: verse}", want: "name is missing"},
	{was: "{name: verse, preset: verse}", is: "{name: rolled back, preset: verse}", want: `two takes are called "rolled back"`, at: "  - name: rolled back"},
	{was: "toggle: [1]", is: "toggle: [germ]", want: "germ is in loop 1 of board; did you mean [1]?"},
	{was: "toggle: [1]", is: "toggle: [9]", want: "loops: 1, 2, 3"},
	{was: "toggle: [1]", is: "off: [germ]", want: `take "lead" has loop 1 out`},
	{was: "toggle: [1]", is: "off: lift", want: "want a list of block names, like [fuzz, buffer]"},
	{was: "toggle: [1]", is: "guitar: sldie", want: `did you mean "slide"?`},
	{was: "toggle: [1]", is: "bypass: [lift]", want: `did you mean "off"?`},
	{was: "name: rolled back", is: "name: guitar.volume 5", want: `did you mean set: {guitar.volume: 5}? a take that is called so has its name in quotes`},
	{was: "name: lead,", is: "name: drive.level = 3,", want: `did you mean set: {drive.level: 3}?`},
}

// Every mistake is told where it is, with the answer that helps; among all that is told, that is
// the first.
func TestMistakes(t *testing.T) {
	if _, err := file.Parse("board.yaml", []byte(mistaken)); err != nil {
		t.Fatal(err)
	}
	if len(mistakes) < 100 {
		t.Errorf("%d mistakes", len(mistakes))
	}
	for _, m := range mistakes {
		if strings.Count(mistaken, m.was) != 1 {
			t.Errorf("%q is in the board %d times", m.was, strings.Count(mistaken, m.was))
			continue
		}
		text := strings.Replace(mistaken, m.was, m.is, 1)
		_, err := file.Parse("board.yaml", []byte(text))
		var faults file.Faults
		if !errors.As(err, &faults) {
			t.Errorf("%q: %v", m.is, err)
			continue
		}
		lines := strings.Split(text, "\n")
		at := 1 + strings.Count(mistaken[:strings.Index(mistaken, m.was)], "\n")
		if m.at != "" {
			for k, l := range lines {
				if strings.HasPrefix(l, m.at) {
					at = k + 1
				}
			}
		}
		if f := faults[0]; f.Line != at || !strings.Contains(f.Text, m.want) {
			t.Errorf("%q: line %d: %s\n    want line %d: %s", m.is, f.Line, f.Text, at, m.want)
		}
	}
}

// A name in quotes is a name.
func TestQuotedNames(t *testing.T) {
	text := strings.Replace(mistaken, "name: rolled back", `name: "guitar.volume 5"`, 1)
	if _, err := file.Parse("board.yaml", []byte(text)); err != nil {
		t.Error(err)
	}
}
