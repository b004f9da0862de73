package deck

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// wrap puts cards into a circuit that is whole; they begin in line 2.
func wrap(cards ...string) string {
	return ".subckt pedal in out gnd vcc\n" + strings.Join(cards, "\n") + "\nRin in mid 1k\nRout mid out 1k\nRv vcc out 1k\n.ends\n"
}

// Decks that are wrong in one way each, and where that is.
var hostile = []struct {
	name, deck string
	line, col  int
	text       string
}{
	{"nothing", "", 1, 1, "no card"},
	{"comments alone", "* a title\n\n* nothing\n", 1, 1, "no card"},
	{"no subckt", ".param a=1\n", 1, 1, "no .subckt"},
	{"a title that is no comment", "My pedal\n" + wrap(), 1, 1, "a title begins with *"},
	{"no end", ".subckt pedal in out\nR1 in out 1k\n", 1, 9, "no .ends"},
	{"an end too many", wrap() + ".ends\n", 7, 1, ".ends without"},
	{"no output", ".subckt pedal in gnd\nR1 in gnd 1k\n.ends\n", 1, 9, `no pin "out"`},
	{"a pin that is none", ".subckt pedal in out gnd send\nR1 in out 1k\nR2 send gnd 1k\n.ends\n", 1, 26, `no pin "send"`},
	{"two supplies", ".subckt pedal in out gnd vcc vee\nR1 in out 1k\nR2 vcc vee 1k\n.ends\n", 1, 30, "second pin"},
	{"a pin that hangs in the air", ".subckt pedal in out gnd vcc\nR1 in out 1k\n.ends\n", 1, 26, "nothing is connected"},
	{"a node that hangs in the air", wrap("C1 mid loose 22n"), 2, 1, "nothing else is connected"},
	{"a part of no known letter", wrap("K1 L1 L2 0.99"), 2, 1, "no part begins with K"},
	{"a value that is no number", wrap("R1 mid 0 4,7k"), 2, 11, "is not read here"},
	{"a value of letters", wrap("R1 mid 0 x4k7"), 2, 10, "is no number"},
	{"a negative resistance", wrap("R1 mid 0 -4.7k"), 2, 10, "a resistance of -4700"},
	{"no capacitance", wrap("C1 mid 0 0"), 2, 10, "a capacitance of 0"},
	{"too few nodes", wrap("R1 mid"), 2, 7, "want it like R1"},
	{"more than is read", wrap("R1 mid 0 1k tc=1"), 2, 13, "is not read here"},
	{"a part twice", wrap("R1 mid 0 1k", "r1 mid 0 2k"), 3, 1, "a second part r1"},
	{"no model", wrap("D1 mid 0 germ"), 2, 10, "no .model germ"},
	{"a model of another part", wrap("D1 mid 0 q", ".model q NPN(IS=1e-14)"), 2, 10, "is of a npn"},
	{"a model of no known type", wrap(".model j NJF(VTO=-2)"), 2, 10, "no model of the type NJF"},
	{"what a model here has not", wrap("D1 mid 0 z", ".model z D(IS=1e-14", "+ BV=5.1)"), 4, 3, "BV is not in the model"},
	{"a model that is not closed", wrap("D1 mid 0 z", ".model z D(IS=1e-14"), 3, 11, "has no )"},
	{"a saturation current of nothing", wrap("D1 mid 0 z", ".model z D(IS=0)"), 3, 15, "IS of 0"},
	{"an expression that is not closed", wrap("R1 mid 0 {1k*(2+3}"), 2, 14, "has no )"},
	{"braces that are not closed", wrap("R1 mid 0 {1k"), 2, 10, "has no end"},
	{"a name that is nothing", wrap("R1 mid 0 {2*nothing}"), 2, 13, `no parameter "nothing"`},
	{"a name without braces", wrap("R1 mid 0 rval"), 2, 10, "in braces: {rval}"},
	{"itself", wrap(".param a={b}", ".param b={2*a}", "R1 mid 0 {a}"), 3, 13, "worked out from itself"},
	{"a division by nothing", wrap(".param a=0", "R1 mid 0 {1/a}"), 3, 12, "/ gives no number"},
	{"no such function", wrap("R1 mid 0 {sin(1)}"), 2, 11, `no function "sin"`},
	{"a caret", wrap("R1 mid 0 {2^3}"), 2, 12, "does not belong"},
	{"too deep", wrap("R1 mid 0 {" + strings.Repeat("(", 50) + "1" + strings.Repeat(")", 50) + "}"), 2, 51, "brackets within each other"},
	{"a law that is none of ours", wrap("B1 mid 0 I=v(in)*v(in)"), 2, 12, "in these forms only"},
	{"a limiter of two minds", wrap("B1 mid 0 I=1m*tanh(1*v(in,mid)/2m)"), 2, 32, "the same is 0.001 before"},
	{"a grid without its plate", wrap("B1 mid 0 I=1e-4*pow(ln(1+exp(10*(v(mid,0))))/10,1.3)"), 2, 1, "plate's of the same"},
	{"an ammeter that is none", wrap("F1 mid 0 V1 10"), 2, 10, "no voltage source above"},
	{"a circuit within itself", ".subckt loop a b\nX1 a b loop\n.ends\n" + wrap("X1 mid 0 loop"), 2, 1, "within each other"},
	{"a circuit that is not there", wrap("X1 mid 0 opamp"), 2, 10, "no .subckt opamp"},
	{"a circuit of other pins", ".subckt two a b\nR1 a b 1k\n.ends\n" + wrap("X1 mid 0 in two"), 5, 1, "has 2 pins, and 3"},
	{"a circuit that multiplies", bomb(), 2, 1, "more than 300 parts"},
	{"a circuit in a circuit", ".subckt pedal in out\n.subckt inner a b\n.ends\n.ends\n", 2, 1, "within pedal"},
	{"two pedals", wrap() + strings.Replace(wrap(), "pedal", "other", 1), 7, 9, "second circuit"},
	{"an analysis", wrap() + ".tran 1u 1m\n", 7, 1, ".tran is not read"},
	{"a part outside", "R1 in out 1k\n" + wrap(), 1, 1, "belongs between"},
	{"a source that plays", wrap("V1 mid 0 SIN(0 1 1k)"), 2, 10, "is no number"},
	{"a knob that is no dial", ".subckt pedal in out params: r=10k\nR1 in out {r}\n.ends\n", 1, 30, "a dial goes from 0 to 1"},
	{"a knob of a key's name", ".subckt pedal in out params: supply=0.5\nR1 in out {supply*1k}\n.ends\n", 1, 30, "may not be called"},
	{"a knob that is not there", "* knob tone: treble\n.subckt pedal in out params: r=0.5\nR1 in out {1k+r}\n.ends\n", 1, 3, `no parameter "tone"`},
	{"a knob without an end", "* knob r 10k: pot\n.subckt pedal in out params: r=10k\nR1 in out {r}\n.ends\n", 1, 3, "want * knob NAME"},
	{"a knob that goes too far", ".subckt pedal in out params: x=0.5\nR1 in out {1k*(0.9-x)}\n.ends\n", 2, 14, "(at x=1)"},
	{"a line that goes on from nothing", "+ R1 a b 1k\n" + wrap(), 1, 1, "no card before it"},
	{"a byte that is no text", "* \xff\n" + wrap(), 1, 3, "not UTF-8"},
	{"a sign that steers", "* \u202e\n" + wrap(), 1, 3, "control character"},
	{"a letter that is none of a deck's", wrap("R1 mid 0 1kΩ"), 2, 12, "plain letters"},
	{"behind the end", wrap() + ".end\nR1 in out 1k\n", 8, 1, "behind .end"},
	{"too large", strings.Repeat("*", MaxSize) + "\n" + wrap(), 1, 1, "at most 64 kB"},
	{"too many cards", strings.Repeat(".param a=1\n", maxCards+1), maxCards + 1, 1, "more than 1000 cards"},
	{"a card without end", ".subckt pedal in out\n" + strings.Repeat("+ a b c d e f\n", 400), 308, 1, "longer than"},
}

// bomb is a small deck that is a large circuit.
func bomb() string {
	text := ".subckt c0 a b\nR1 a b 1k\n.ends\n"
	for k := 1; k <= 7; k++ {
		text += fmt.Sprintf(".subckt c%d a b\n", k)
		for n := range 10 {
			text += fmt.Sprintf("X%d a b c%d\n", n, k-1)
		}
		text += ".ends\n"
	}
	return text + wrap("X1 mid 0 c7")
}

// Every hostile deck is refused with the place of its fault.
func TestHostileDecks(t *testing.T) {
	for _, h := range hostile {
		t.Run(h.name, func(t *testing.T) {
			_, err := Read("pedal.cir", []byte(h.deck))
			faults, ok := err.(Faults)
			if !ok {
				t.Fatalf("no faults: %v", err)
			}
			if !slices.ContainsFunc(faults, func(f Fault) bool {
				return strings.Contains(f.Text, h.text) && f.Line == h.line && f.Column == h.col
			}) {
				t.Errorf("want %q at %d:%d, have\n%v", h.text, h.line, h.col, faults)
			}
		})
	}
	if len(hostile) < 20 {
		t.Errorf("%d hostile decks", len(hostile))
	}
}

// netlist is a Builder that is a circuit and refuses amplifiers between rails.
type netlist struct{ *circuit.Netlist }

func (n netlist) Follower(string, string, string, float64, dsp.Volt, dsp.Volt) {
	panic("no follower here")
}

// What a deck says is what is built: a divider with a knob, by its law.
func TestKnobs(t *testing.T) {
	c, err := Read("pedal.cir", []byte(`* a divider
* knob ratio: how much
* knob R 1k 100k Ohm: the upper part
.subckt divider INPUT output gnd params: ratio=0.25 r=10k
.param lower={r*ratio ; of the whole
+ / (1-ratio+1e-6)}
R1 input Output {r}
X1 output gnd load params: v={lower}
.ends
.subckt load a b v=1
R1 a b {v} noisy=0
.ends load
.end
`))
	if err != nil {
		t.Fatal(err)
	}
	want := []Knob{
		{Name: "ratio", Brief: "how much", Dial: true, Unit: dsp.Dial, High: 1, Default: 0.25},
		{Name: "r", Brief: "the upper part", Unit: dsp.Ohms, Low: 1e3, High: 100e3, Default: 10e3},
	}
	if !slices.Equal(c.Knobs, want) {
		t.Errorf("knobs %+v, want %+v", c.Knobs, want)
	}
	for _, ratio := range []float64{0.25, 0.5, 0.9} {
		at := maps.Clone(c.Defaults())
		at["ratio"] = ratio
		n := circuit.New()
		n.Input("source", In, circuit.Ground)
		c.Build(netlist{n}, at)
		ac, err := n.AC()
		if err != nil {
			t.Fatal(err)
		}
		if got := real(ac.Transfer("source", 1000, Out)[0]); math.Abs(got-ratio) > 1e-5 {
			t.Errorf("a ratio of %v gives %v", ratio, got)
		}
	}
}

// A current source, a resistance within a device, and suffixes: a known current through a known
// resistance and junction.
func TestPartsOfADeck(t *testing.T) {
	c, err := Read("pedal.cir", []byte(`.subckt p in out
I1 0 out 1M
R1 in out 1Meg
D1 out 0 d
.model d D(is=2.52nA n=1.752 rs=100 M=0.4 tt=5n xti=3)
.ends
`))
	if err != nil {
		t.Fatal(err)
	}
	n := circuit.New()
	n.V("source", In, circuit.Ground, 0)
	c.Build(netlist{n}, nil)
	point, err := n.Operating()
	if err != nil {
		t.Fatal(err)
	}
	v := point.V(Out)
	i := 1e-3 - v/1e6
	want := 1.752*circuit.ThermalVoltage*math.Log(i/2.52e-9+1) + 100*i
	if math.Abs(v-want) > 1e-6 {
		t.Errorf("%v V across the diode, want %v V", v, want)
	}
	if len(c.Notes) != 1 || !strings.Contains(c.Notes[0], "M, TT") {
		t.Errorf("notes %q", c.Notes)
	}
}

func FuzzRead(f *testing.F) {
	for _, h := range hostile {
		if len(h.deck) < 3000 {
			f.Add([]byte(h.deck))
		}
	}
	f.Add([]byte(wrap("Q1 mid in 0 q", ".model q PNP(IS=1e-14 BF=200 RB=100 CJE=5p)", "B1 x 0 V={min(3,max(-3,2*v(mid)))}", "R9 x 0 1k")))
	f.Fuzz(func(t *testing.T, src []byte) {
		c, err := Read("fuzz.cir", src)
		if err != nil {
			lines := strings.Count(strings.ReplaceAll(strings.ReplaceAll(string(src), "\r\n", "\n"), "\r", "\n"), "\n") + 1
			faults := err.(Faults)
			for _, x := range faults {
				if x.Text == "" || x.Line < 1 || x.Line > lines || x.Column < 1 || strings.ContainsAny(x.Text, "\n\r\x1b") {
					t.Fatalf("%+v, of %d lines", x, lines)
				}
			}
			if len(faults) == 0 || len(faults) > MaxFaults {
				t.Fatalf("%d faults", len(faults))
			}
			return
		}
		n := counting{netlist{circuit.New()}, new(int)}
		c.Build(n, c.Defaults())
		if n.Nodes() == nil || c.Parts > maxElements {
			t.Fatalf("%d parts", c.Parts)
		}
		again, err := Read("fuzz.cir", src)
		if err != nil || again.Hash != c.Hash || again.Parts != c.Parts {
			t.Fatalf("the second time: %v", err)
		}
	})
}

// counting is a netlist that counts followers.
type counting struct {
	netlist
	followers *int
}

func (c counting) Follower(name, _, out string, _ float64, _, _ dsp.Volt) {
	*c.followers++
	c.Input(name, out, circuit.Ground)
}
