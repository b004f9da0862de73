package template

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/dsp"
)

// Pedal is a kind of block as a player asks for it: by what it does.
type Pedal struct {
	Kind  string // the word in the chain file
	Group string // what sort of thing it does
	Does  string // its everyday name, and after a colon what one hears
}

// Pedals is what a board can be built of, in the order in which boards are often wired (common
// practice, no source).
func Pedals() []Pedal { return slices.Clone(pedals) }

var pedals = []Pedal{
	{"fuzz", "Dirt", "Fuzz: thick and singing; it wants the guitar plugged straight in"},
	{"treble-boost", "Dirt", "Treble boost: louder and brighter, to push what follows"},
	{"op-amp-fuzz", "Dirt", "Op-amp fuzz: a wall of sound with few mids"},
	{"overdrive", "Dirt", "Overdrive: soft break-up that keeps the mids"},
	{"distortion", "Dirt", "Distortion: harder and brighter than an overdrive"},
	{"boost", "Dirt", "Boost: louder, otherwise clean"},
	{"octave-down", "Tone", "Octave down: one and two octaves below a single note"},
	{"wah", "Tone", "Wah: a vowel that follows the foot"},
	{"mid-carve", "Tone", "Mid cut: takes out some middle, before much gain"},
	{"eq", "Tone", "Equaliser: bass, two middles and treble"},
	{"graphic-eq", "Tone", "Graphic equaliser: ten sliders"},
	{"compressor", "Level", "Compressor: evens out loud and soft; notes last longer"},
	{"gate", "Level", "Noise gate: quiet when you stop playing"},
	{"volume", "Level", "Volume pedal"},
	{"buffer", "Level", "Buffer: keeps the treble over long cables"},
	{"tuner", "Level", "Tuner"},
	{"chorus", "Movement", "Chorus: shimmer, as if two played"},
	{"flanger", "Movement", "Flanger: a sweeping comb of tone"},
	{"phaser", "Movement", "Phaser: a soft swirl"},
	{"vibrato", "Movement", "Vibrato: the pitch wavers"},
	{"tremolo", "Movement", "Tremolo: the loudness pulses"},
	{"delay", "Space", "Echo: repeats that fade"},
	{"reverb", "Space", "Reverb: a room around the sound"},
}

// Answers is what a player says of a board, to have its chain file written.
type Answers struct {
	Title     string
	Recording string   // a sound file beside the chain file; "" is the riff that comes with the program
	Peak      dsp.Volt // how loud its loudest moment is at the guitar's jack; with Recording only
	Pickup    string   // one of board.PickupNames
	Cable     dsp.Metre
	Pedals    []string // kinds, from the guitar on
	Amplifier bool     // a valve amplifier with its loudspeaker behind them
	Supply    string   // "isolated", "shared" or "" for batteries
}

// MostPedals is how many pedals a board has at most that is built of answers.
const MostPedals = 24

// Board is the chain file of a board, with the comments that a person would write. It has two
// takes: the board as it is, and with its first two pedals the other way round, where it has two.
// A kind that is no Pedal, too many of them, or another word for the supply is an error.
func Board(a Answers) ([]byte, error) {
	if len(a.Pedals) > MostPedals {
		return nil, fmt.Errorf("%d pedals: %d at most", len(a.Pedals), MostPedals)
	}
	if len(a.Pedals) == 0 && !a.Amplifier {
		return nil, errors.New("choose a pedal or an amplifier at least")
	}
	names, err := named(a.Pedals)
	if err != nil {
		return nil, err
	}
	var b commented
	b.WriteString("# My board, as I described it. Change any line: drywire blocks KIND says what can stand there.\n\n")
	b.WriteString("drywire: 1\ntitle: " + quoted(oneLine(a.Title, "What does the order of my board do?")) + "\n\n")
	a.sound(&b)
	plugs, err := a.supplies(&b)
	if err != nil {
		return nil, err
	}
	b.WriteString("blocks:\n")
	for k, kind := range a.Pedals {
		b.line(fmt.Sprintf("  %s: {kind: %s%s}", names[k], kind, plugs[k]), doing(kind))
	}
	order := names
	if a.Amplifier {
		b.line("  amp: {kind: preamp, gain: 4}", "the amplifier: its front,")
		b.line("  amp-power: {kind: poweramp}", "its power stage,")
		b.line("  amp-box: {kind: speaker}", "its loudspeaker, with a microphone before it")
		order = append(slices.Clone(names), "amp", "amp-power", "amp-box")
	}
	b.WriteString("\norder: " + listed(order, "  ") + "\n\ntakes:\n  - name: as it is\n")
	if len(names) > 1 {
		other := slices.Clone(order)
		other[0], other[1] = other[1], other[0]
		b.WriteString("  - name: " + names[1] + " first\n    order: " + listed(other, "      ") + "\n")
	}
	return []byte(b.String()), nil
}

// sound writes what is played, on what, and the cables.
func (a Answers) sound(b *commented) {
	cable := dsp.FormatQuantity(float64(a.Cable), dsp.Metres)
	b.WriteString("recording:\n")
	if a.Recording == "" {
		b.line("  sample: riff", "comes with the program; file: riff.wav is one of mine")
	} else {
		b.WriteString("  file: " + quoted(a.Recording) + "\n")
		b.line("  peak: "+dsp.FormatQuantity(float64(a.Peak), dsp.Volts), "its loudest moment at the guitar's jack")
		b.line("  load: {resistance: 1 MΩ, cable: "+cable+"}", "what it was plugged into then")
	}
	b.WriteString("\nguitar:\n  pickup: " + a.Pickup + "\n")
	b.line("  cable: "+cable, "to the first pedal")
	b.WriteString("\n")
	b.line("patch: 30 cm", "the cables between the pedals, each")
	if a.Amplifier {
		b.line("load: {resistance: 1 MΩ, cable: 3 m}", "behind the microphone: the desk")
	} else {
		b.line("load: {resistance: 1 MΩ, cable: 5 m}", "behind the last pedal: an amplifier's input")
	}
	b.WriteString("\n")
}

// named is a name for each block: its kind, numbered from the second on.
func named(kinds []string) ([]string, error) {
	var names []string
	count := map[string]int{}
	for _, kind := range kinds {
		if doing(kind) == "" {
			return nil, fmt.Errorf("no pedal %q", kind)
		}
		count[kind]++
		name := kind
		if n := count[kind]; n > 1 {
			name = fmt.Sprintf("%s-%d", kind, n)
		}
		names = append(names, name)
	}
	return names, nil
}

func doing(kind string) string {
	for _, p := range pedals {
		if p.Kind == kind {
			return p.Does
		}
	}
	return ""
}

// supplies writes what feeds the pedals, and returns what each says of its own: an output of its
// own where they are isolated, one for all where they are not. A pedal whose ground is the positive
// pole may not share, and runs on its battery then.
func (a Answers) supplies(b *commented) (plugs []string, err error) {
	if !slices.Contains([]string{"isolated", "shared", ""}, a.Supply) {
		return nil, fmt.Errorf("no supply %q", a.Supply)
	}
	plugs = make([]string, len(a.Pedals))
	var outputs []string
	var whole dsp.Ampere
	for k, name := range a.Pedals {
		kind := blocks.Find(name)
		if kind.Draw == 0 {
			continue
		}
		switch shares := kind.Ground(kind.Defaults()) == blocks.Negative; {
		case a.Supply == "isolated":
			outputs = append(outputs, output(len(outputs)+1, kind.Draw))
			plugs[k] = fmt.Sprintf(", power: brick.%d", len(outputs))
		case a.Supply == "shared" && shares:
			whole += kind.Draw
			outputs = []string{output(1, whole)}
			plugs[k] = ", power: adapter.1"
		}
	}
	switch {
	case len(outputs) == 0:
		b.WriteString("# No supply: each pedal runs on a fresh battery of its own.\n\n")
		return plugs, nil
	case a.Supply == "isolated":
		b.WriteString("supplies:\n  brick:\n")
		b.line("    isolated: yes", "every output for itself")
	default:
		b.WriteString("supplies:\n  adapter:\n")
		b.line("    isolated: no", "one adapter with a chain of plugs")
		b.line("    ripple: 1 mV", "of the mains, which all pedals share")
	}
	b.WriteString("    outputs:\n" + strings.Join(outputs, "") + "\n")
	return plugs, nil
}

// output is an output of the smallest usual size (common practice, no source) that gives a current.
func output(number int, draws dsp.Ampere) string {
	size := "2 A"
	for _, s := range []struct {
		most dsp.Ampere
		name string
	}{{0.1, "100 mA"}, {0.5, "500 mA"}, {1, "1 A"}} {
		if draws <= s.most {
			size = s.name
			break
		}
	}
	return fmt.Sprintf("      %d: {voltage: 9 V, current: %s}\n", number, size)
}

// oneLine is a title in one line of 200 characters at most, without what steers a terminal; or what
// stands for none.
func oneLine(title, none string) string {
	title = strings.Join(strings.Fields(title), " ")
	if title == "" {
		title = none
	}
	title = strings.Map(func(c rune) rune {
		if c < ' ' || c >= '\u007f' && c <= '\u009f' || c == '\ufeff' {
			return -1
		}
		return c
	}, title)
	if runes := []rune(title); len(runes) > 200 {
		title = string(runes[:200])
	}
	return title
}

// quoted is a text in single quotes, as YAML takes any.
func quoted(text string) string { return "'" + strings.ReplaceAll(text, "'", "''") + "'" }

// listed is a list in square brackets, over several lines where it is long.
func listed(words []string, indent string) string {
	var b strings.Builder
	at := 10
	for k, w := range words {
		if k > 0 {
			b.WriteString(",")
			if at+len(w) > 96 {
				b.WriteString("\n" + indent)
				at = len(indent)
			} else {
				b.WriteString(" ")
			}
		}
		b.WriteString(w)
		at += len(w) + 2
	}
	return "[" + b.String() + "]"
}
