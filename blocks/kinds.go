package blocks

import "drywire/dsp"

// kinds is the one list, in alphabetical order. Help, checking, the schema and the conformance kit
// follow it.
var kinds = []*Kind{
	&boost,
	&buffer,
	&cable,
	&chorus,
	&compressor,
	&delay,
	&distortion,
	&eq,
	&flanger,
	&fuzz,
	&gate,
	&graphicEQ,
	&loadBox,
	&midCarve,
	&octaveDown,
	&opAmpFuzz,
	&overdrive,
	&patchBay,
	&pedal,
	&phaser,
	&poweramp,
	&preamp,
	&reverb,
	&speaker,
	&switcher,
	&trebleBoost,
	&tremolo,
	&trim,
	&tuner,
	&vibrato,
	&volume,
	&wah,
}

// Kinds is all kinds of block, in alphabetical order.
func Kinds() []*Kind { return kinds }

// Find is the kind of that name, or nil.
func Find(name string) *Kind {
	for _, k := range kinds {
		if k.Name == name {
			return k
		}
	}
	return nil
}

// always is for what does not depend on settings.
func always(Settings) bool { return true }

// dial is a knob from 0 to 10.
func dial(name, brief, taper string, at float64) Knob {
	return Knob{Name: name, Brief: brief, Unit: dsp.Dial, Min: 0, Max: 10, Default: at, Taper: taper}
}

// choice is a knob of words.
func choice(name, brief, word string, words ...string) Knob {
	return Knob{Name: name, Brief: brief, Word: word, Words: words, Still: "it has positions, and nothing between them"}
}

// supplyKnob is the supply voltage of an active block.
func supplyKnob(at, lo, hi float64) Knob {
	return Knob{Name: "supply", Brief: "supply voltage; headroom follows it", Unit: dsp.Volts, Min: lo, Max: hi, Default: at, Still: stillSupply}
}

// bypassKnob says what a block is when it is off.
func bypassKnob(word string) Knob {
	return choice("bypass", "when the block is off: true bypass (a wire), or its input and output buffers", word, "true", "buffered")
}

// Why a knob cannot move. Between two settings of a stage there is a fade from what it does at the
// one to what it does at the other; of a time that makes two echoes, and no glide of pitch.
const (
	stillTime   = "it is a time, and between two of them there would be two at once, not one that changes"
	stillRate   = "it is a rate, and between two of them there would be two waves at once, not one that gets faster"
	stillPart   = "it belongs to a part, and is no control"
	stillSupply = "it is the supply, and no control"
)
