// Package blocks holds one flat file per kind of block that a signal chain can be wired from, and
// the one list of all kinds (kinds.go).
//
// A block adds a fragment of circuit to a Bench, between its jacks in and out. A fragment may hold
// stages: ideal boundaries that sense a voltage without drawing current, process it, and drive an
// ideal voltage source. Chain files, recordings and orders are in chains.
//
// Start reading at Kind, then buffer.go (a block with a stage) and fuzz.go (a block that is all
// circuit).
package blocks

import (
	"fmt"
	"sort"
	"strings"

	"drywire/dsp"
)

// Kind is one kind of block: its word in the chain file, its knobs and how it is built.
type Kind struct {
	Name    string   // the word in the chain file, the file's name and the list's entry
	Brief   string   // what it is, in one line
	Models  []string // what the model contains, one sentence each
	Ignores []string // what it leaves out, one sentence each
	Sources []string // where its values come from, one line each
	Knobs   []Knob   // in the order that help shows them

	// What its jacks are to their neighbours, for people: the magnitude at 1 kHz, "1 MΩ", or over
	// all settings "1 Ω to 253 kΩ", and after a colon what there is to say about it. Impedances
	// computes it.
	InputImpedance, OutputImpedance string

	// What an active block wants of its supply; all 0 where it has no knob "supply". Common
	// practice, no source.
	Draw dsp.Ampere // the most that it takes
	// what it is made for: under that it starves, over that it may be destroyed
	Volts [2]dsp.Volt
	// dB by which a ripple on its supply comes out softer; 0 where the block has its supply in its
	// circuit, whatever its settings, which tells
	Rejection float64

	Place Place // where it stands

	// whether a clock of it gets into what shares its supply; nil: never. Common practice, no
	// source
	Digital func(Settings) bool
	// whether its knobs follow a preset by themselves, as of pedals with memories; nil: never
	Recalls func(Settings) bool

	Drives bool // the power of a valve amplifier: something that Loads has to be plugged into it
	Loads  bool // a loudspeaker, or what stands for one

	// Ground is which pole of its supply is the block's ground; nil only for what takes no supply.
	// The plug that every kind wants has its centre negative: common practice, no source.
	Ground func(Settings) Pole

	// Hash is that of the deck that the kind was made of; "" for one that comes with the program.
	Hash string

	// Build adds the block between the nodes "in" and "out". Settings are complete and in range.
	Build func(bench *Bench, s Settings)
}

// Key is the same for kinds that are built the same.
func (k *Kind) Key() string { return strings.TrimSpace(k.Name + " " + k.Hash) }

// Place is where a kind of block stands. An order may put it anywhere; what proposes orders keeps
// to it.
type Place int

// The places.
const (
	OnTheBoard Place = iota // wherever a player puts it
	// where its amplifier has it; what is behind it is in the amplifier's effects loop
	InAmplifier
	AfterPower // where its amplifier has it, with nothing of a board behind it
)

// Pole is one of the two poles of a supply.
type Pole string

// The poles.
const (
	Negative Pole = "negative"
	Positive Pole = "positive"
)

func negative(Settings) Pole { return Negative }

// byDevice is the ground of circuits that are built around germanium transistors with the polarity
// PNP, and of the same with silicon ones of the other polarity: common practice, no source.
func byDevice(s Settings) Pole {
	if s.Word("device") == "germanium" {
		return Positive
	}
	return Negative
}

// Knob returns the knob of that name.
func (k *Kind) Knob(name string) (Knob, bool) {
	for _, knob := range k.Knobs {
		if knob.Name == name {
			return knob, true
		}
	}
	return Knob{}, false
}

// Knob is one control of a block. A knob with Words is a choice; every other knob is a number.
type Knob struct {
	Name     string
	Brief    string
	Unit     dsp.Unit
	Min, Max float64 // the legal range, in the unit (Percents as fractions)
	Default  float64
	// how the track follows the dial, for people: "linear", "audio"; "" where it has none
	Taper string
	Words []string // legal words of a choice; nil for numbers
	Word  string   // the default word of a choice
	Still string   // why it cannot move while the recording plays; "" where it can
}

// Settings is a complete set of knob positions of one block. The zero value has none.
type Settings struct {
	numbers map[string]float64
	words   map[string]string
}

// Defaults is the settings that a block has when the chain file says nothing.
func (k *Kind) Defaults() Settings {
	s := Settings{numbers: map[string]float64{}, words: map[string]string{}}
	for _, knob := range k.Knobs {
		if knob.Words != nil {
			s.words[knob.Name] = knob.Word
		} else {
			s.numbers[knob.Name] = knob.Default
		}
	}
	return s
}

// With returns a copy of s with one number changed.
func (s Settings) With(knob string, v float64) Settings {
	c := s.clone()
	c.numbers[knob] = v
	return c
}

// WithWord returns a copy of s with one choice changed.
func (s Settings) WithWord(knob, word string) Settings {
	c := s.clone()
	c.words[knob] = word
	return c
}

func (s Settings) clone() Settings {
	c := Settings{numbers: make(map[string]float64, len(s.numbers)), words: make(map[string]string, len(s.words))}
	for k, v := range s.numbers {
		c.numbers[k] = v
	}
	for k, v := range s.words {
		c.words[k] = v
	}
	return c
}

// String is the settings in a fixed order: equal settings give equal strings.
func (s Settings) String() string {
	var list []string
	for k, v := range s.numbers {
		list = append(list, fmt.Sprintf("%s=%x", k, v))
	}
	for k, w := range s.words {
		list = append(list, k+"="+w)
	}
	sort.Strings(list)
	return strings.Join(list, " ")
}

// Number is the position of a number knob. It panics when the block has no such knob.
func (s Settings) Number(knob string) float64 {
	v, ok := s.numbers[knob]
	if !ok {
		panic(fmt.Sprintf("blocks: no number knob %q", knob))
	}
	return v
}

// Word is the position of a choice. It panics when the block has no such knob.
func (s Settings) Word(knob string) string {
	w, ok := s.words[knob]
	if !ok {
		panic(fmt.Sprintf("blocks: no choice %q", knob))
	}
	return w
}

// Core is the signal processing inside a stage, of volts at the recording's rate. Process must not
// allocate, and never fails; where out is not in, in stays as it is, since others may read it too.
// Latency is what comes on top of what the block means to delay; the render takes it back.
type Core interface {
	dsp.Processor
	// Tail is for how long the output goes on after the input has ended, until 60 dB down.
	Tail() dsp.Second
}

// Stage is the ideal boundary: it senses nodes, draws no current, and drives nodes from ideal
// sources. It is a plan: what runs is made by New.
type Stage struct {
	Name  string   // BLOCK.name
	Owner string   // the block; the bench fills it in
	Key   string   // what the core does, whole: equal keys, equal cores; the bench fills it in
	Sense []string // nodes whose voltage to ground goes into the core, a channel each
	Drive []string // nodes that the core's output channels drive
	// New makes what the stage runs, at rest. Whoever renders makes one of their own: it has state,
	// and a Stage has none.
	New func() Core
	// Raises says that the core is a Raiser, without making one.
	Raises bool
	// Noise is the white noise that the stage adds at its output, in V/√Hz, seen with its input at
	// rest, without that of Converter.
	Noise float64
	// Converter is the noise that a converter in it, or a line of charges, adds at its output,
	// likewise; 0 where it has none.
	Converter float64
	// Ceiling is the highest output voltage, peak, in volts; 0 where the stage has none.
	Ceiling float64

	shape func() Core
}

// Shape is a core that is made once and never run: for what a stage states of itself, its latency,
// tail, response and kind. It may be asked for by several goroutines.
func (s Stage) Shape() Core { return s.shape() }
