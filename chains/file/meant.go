package file

import (
	"slices"
	"strings"

	"drywire/chains/internal/yamltext"
)

// alike are words that players use for the same thing: of those in one line, the first that is
// there is what was probably meant. What stands in several lines is looked up in each in turn.
var alike = [][]string{
	// Knobs.
	{"time", "delay", "delay_time", "length", "decay"},
	{"decay", "time", "length", "reverb_time"},
	{"repeats", "feedback", "regeneration", "regen", "echoes"},
	{"drive", "gain", "fuzz", "distortion", "sustain", "boost", "overdrive", "dirt", "saturation"},
	{"level", "volume", "output", "master", "loudness", "vol"},
	{"mix", "blend", "wet", "balance", "effect", "level", "volume"},
	{"gain", "volume", "level", "output"},
	{"tone", "treble", "high", "brightness", "colour", "color", "presence", "filter"},
	{"rate", "speed", "tempo", "frequency"},
	{"depth", "intensity", "width", "amount", "range"},
	{"threshold", "sensitivity", "sens", "sense"},
	{"bass", "low", "lows"},
	{"middle", "mid", "mids"},
	{"treble", "high", "highs"},
	// Keys.
	{"peak", "level", "loudness", "volume"},
	{"resistance", "impedance"},
	{"order", "chain", "signal", "path"},
	{"blocks", "pedals", "effects", "devices"},
	{"takes", "variants", "versions"},
	{"off", "bypass", "bypassed"},
	{"toggle", "switch"},
	{"kind", "type", "model"},
	{"recording", "audio"},
	{"supplies", "power"},
	{"current", "amps", "milliamps"},
	// Kinds.
	{"delay", "echo"},
	{"reverb", "hall", "room", "plate", "spring"},
	{"overdrive", "drive"},
	{"preamp", "amp", "amplifier"},
	{"poweramp", "power-amp", "power"},
	{"speaker", "cab", "cabinet"},
	{"compressor", "comp"},
	{"eq", "equalizer", "equaliser"},
	{"octave-down", "octave", "octaver"},
	{"gate", "noise-gate"},
	{"volume", "volume-pedal"},
	{"load-box", "attenuator"},
	{"pedal", "box", "other"},
	{"patch-bay", "patchbay", "send", "return", "junction"},
}

// meant is the word of names that a word probably stands for: another name for the same thing, or a
// slip; "" for none.
func meant(word string, names []string) string {
	lower := strings.ToLower(word)
	for _, line := range alike {
		if !slices.Contains(line, lower) {
			continue
		}
		for _, w := range line {
			if w != lower && slices.Contains(names, w) {
				return w
			}
		}
	}
	return yamltext.Nearest(word, names)
}

// run is a key with its value where nothing stands between them but a space, an equals sign, or a
// colon without a space; ok is false where names has no such key.
func run(text string, names []string) (key, sign, value string, ok bool) {
	at := strings.IndexAny(text, " =:")
	if at <= 0 || !slices.Contains(names, text[:at]) {
		return "", "", "", false
	}
	key, rest := text[:at], strings.TrimSpace(text[at:])
	sign = ""
	if strings.HasPrefix(rest, "=") || strings.HasPrefix(rest, ":") {
		sign, rest = rest[:1], strings.TrimSpace(rest[1:])
	}
	return key, sign, rest, rest != ""
}
