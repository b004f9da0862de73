package yamltext

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
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

// Meant is the word of names that a word probably stands for: another name for the same thing, or a
// slip; "" for none.
func Meant(word string, names []string) string {
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
	return Nearest(word, names)
}

// Run is a key with its value where nothing stands between them but a space, an equals sign, or a
// colon without a space; ok is false where names has no such key.
func Run(text string, names []string) (key, sign, value string, ok bool) {
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

// Ran faults a key that has no colon, or none of its own, and tells which it is.
func (r *Reader) Ran(p *ast.MappingValueNode, names []string, seen func(key string)) bool {
	if p.Value != nil && p.Value.Type() != ast.NullType {
		return false
	}
	key, sign, value, ok := Run(p.Key.GetToken().Value, names)
	if !ok {
		return false
	}
	seen(key)
	value = Clipped(value, 60)
	switch sign {
	case "=":
		r.At(p.Key, "want a colon, not =: %s: %s", key, value)
	case ":":
		r.At(p.Key, "a space is missing behind the colon: %s: %s", key, value)
	default:
		r.At(p.Key, "a colon is missing: %s: %s", key, value)
	}
	return true
}
