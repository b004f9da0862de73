package file_test

import (
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/file"
)

const supplied = `drywire: 1
recording: {sample: riff}
supplies:
  brick:
    outputs:
      1: {voltage: 9 V, current: 100 mA}
      OUT 2: {voltage: 9 V, current: 100 mA}
      3: {voltage: 9..18 V, at: 12 V, current: 100 mA}
      4: {voltage: 9 V, current: 100 mA, polarity: centre-positive}
  rail: {isolated: no, outputs: {1: {voltage: 9 V, current: 1 A}, 2: {voltage: 9 V, current: 1 A}}}
blocks:
`

func said(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// Opposite grounds on one output are a short, isolated or not; alike grounds are none, whatever
// pole they are.
func TestOppositeGrounds(t *testing.T) {
	for _, c := range []struct {
		name, blocks string
		short        bool
	}{
		{"one isolated output", "{a: {kind: fuzz, device: germanium, power: brick.1}, b: {kind: buffer, power: brick.1}}", true},
		{"two isolated outputs", "{a: {kind: fuzz, device: germanium, power: brick.1}, b: {kind: buffer, power: brick.OUT 2}}", false},
		{"two sockets of a common supply", "{a: {kind: fuzz, device: germanium, power: rail.1}, b: {kind: buffer, power: rail.2}}", true},
		{"both positive, on a common supply", "{a: {kind: fuzz, device: germanium, power: rail.1}, b: {kind: treble-boost, device: germanium, power: rail.2}}", false},
		{"both positive, on one output", "{a: {kind: fuzz, device: germanium, power: brick.1}, b: {kind: treble-boost, device: germanium, power: brick.1}}", false},
		{"stated otherwise", "{a: {kind: fuzz, device: germanium, ground: negative, power: brick.1}, b: {kind: buffer, power: brick.1}}", false},
		{"stated", "{a: {kind: overdrive, ground: positive, power: brick.1}, b: {kind: buffer, power: brick.1}}", true},
	} {
		_, err := file.Parse("a.yaml", []byte(strings.Replace(supplied, "blocks:\n", "blocks: ", 1)+c.blocks+"\norder: [a, b]\n"))
		if got := strings.Contains(said(err), "the ground of a is the positive pole, and b, whose ground is the negative one"); got != c.short || !c.short && err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if c.short && !strings.Contains(said(err), "(free: brick.") {
			t.Errorf("%s: no free output is offered: %v", c.name, err)
		}
	}
}

// A take that sets a block to the other device shorts its supply as well, and so does a block whose
// loop is out.
func TestOppositeGroundsOfATake(t *testing.T) {
	text := strings.Replace(supplied, "blocks:\n", "blocks: ", 1)
	_, err := file.Parse("a.yaml", []byte(text+"{a: {kind: fuzz, power: brick.1}, b: {kind: buffer, power: brick.1}}\norder: [a, b]\ntakes: [{name: x}, {name: y, set: {a.device: germanium}}]\n"))
	if !strings.Contains(said(err), "the ground of a is") {
		t.Errorf("set by a take: %v", err)
	}
	_, err = file.Parse("a.yaml", []byte(text+"{s: {kind: switcher, loops: {1: [a]}}, a: {kind: fuzz, device: germanium, power: brick.1}, b: {kind: buffer, power: brick.1}}\norder: [s, b]\n"))
	if !strings.Contains(said(err), "the ground of a is") {
		t.Errorf("in a loop that is out: %v", err)
	}
}

// What a file says of a block's supply takes the place of what is usual.
func TestStatedSupplies(t *testing.T) {
	text := strings.Replace(supplied, "blocks:\n", "blocks: ", 1)
	f, err := file.Parse("a.yaml", []byte(text+"{a: {kind: buffer, power: brick.OUT 2, draw: 300 mA, ripple: 2 mV}, b: {kind: trim, plug: centre-positive, power: brick.4}, c: {kind: boost, power: brick.3}, d: {kind: fuzz, power: brick.3}}\norder: [a, b, c, d]\n"))
	if err != nil {
		t.Fatal(err)
	}
	p := f.Plugged()
	if o := p[1]; o.Draw != 0.3 || !o.Overload || len(o.Warnings) != 1 || !strings.Contains(o.Warnings[0], "brick.OUT 2 is overloaded by 200 mA: a 300 mA draw up to 300 mA, and it gives 100 mA") {
		t.Errorf("%+v", o)
	}
	if o := p[2]; o.Voltage != 12 || o.Overload || len(o.Warnings) != 1 || !strings.Contains(o.Warnings[0], "brick.3 can be switched up to 18 V, and d takes 12 V at most: see that it stands at 12 V") {
		t.Errorf("%+v", o)
	}
	all := f.AsSet(board.Take{})
	if v := all[2].Settings.Number("supply"); v != 12 {
		t.Errorf("c has %v V, its output stands at 12", v)
	}
	if r := board.RippleOf(f.Supplies, all[0].Powered); r != 2e-3 {
		t.Errorf("ripple of a is %v V", r)
	}
	_, err = file.Parse("a.yaml", []byte(text+"{a: {kind: trim, plug: centre-positive, power: brick.1}}\norder: [a]\n"))
	if !strings.Contains(said(err), "the plug is centre-negative, and a trim wants it centre-positive") {
		t.Errorf("%v", err)
	}
}

// The supply of a block in a loop that is out is that of its output.
func TestSupplyOfALoopThatIsOut(t *testing.T) {
	text := strings.Replace(supplied, "blocks:\n", "blocks: ", 1)
	f, err := file.Parse("a.yaml", []byte(text+"{s: {kind: switcher, loops: {1: [a]}}, a: {kind: boost, power: brick.3}}\norder: [s]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if v := f.AsSet(f.Takes[0])[1].Settings.Number("supply"); v != 12 {
		t.Errorf("%v V, want 12", v)
	}
}

// Off, on and guitar: the take has the last word, then the preset, then the block.
func TestOffByDefault(t *testing.T) {
	f, err := file.Parse("a.yaml", []byte(`drywire: 1
recording: {sample: riff}
guitars: {slide: {pickup: single-coil}}
blocks: {s: {kind: switcher, loops: {1: [a, b]}}, a: {kind: boost, off: yes}, b: {kind: buffer}}
order: [s]
presets: {one: {loops: [1]}, two: {loops: [1], on: [a], off: [b], guitar: slide}}
takes:
  - {name: 1, preset: one}
  - {name: 2, preset: two}
  - {name: 3, preset: two, off: [a], on: [b], guitar: guitar}
`))
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range []struct {
		a, b   bool
		guitar string
	}{{true, false, ""}, {false, true, "slide"}, {true, false, ""}} {
		c := f.Chains()[k]
		if a, b := c.Blocks[1].Off, c.Blocks[2].Off; a != want.a || b != want.b || c.GuitarName != want.guitar {
			t.Errorf("take %d: a off %v, b off %v, guitar %q; want %v", k+1, a, b, c.GuitarName, want)
		}
		for _, off := range []bool{true, false} {
			if s := f.Switched(f.Takes[k], "a", off); f.IsOff(s, "a") != off {
				t.Errorf("take %d, switched %v: %+v", k+1, off, s)
			}
		}
	}
	if c := f.OnPreset("two", board.OwnGuitar, nil); c.GuitarName != "" {
		t.Errorf("asked for the file's guitar, got %q", c.GuitarName)
	}
}
