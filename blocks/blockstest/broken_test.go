package blockstest

import (
	"math"
	"slices"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit/transient"
)

// sound is a kind that keeps every promise: a gain, a delay of 100 samples that it reports as
// latency, a one-pole echo of itself, a limit. The broken kinds below are this one with one thing
// wrong.
func sound() *blocks.Kind {
	k := &blocks.Kind{
		Name: "sound", Brief: "a sound block", Models: []string{"A model."}, Ignores: []string{"Nothing."}, Sources: []string{"None."},
		InputImpedance: "1 MΩ", OutputImpedance: "1 kΩ to 3 kΩ: by the knob",
		Knobs: []blocks.Knob{
			{Name: "gain", Brief: "gain", Unit: dsp.Decibels, Min: -20, Max: 20, Default: 0},
			{Name: "out", Brief: "output resistance", Unit: dsp.Ohms, Min: 1e3, Max: 3e3, Default: 1e3},
			{Name: "colour", Brief: "nothing", Words: []string{"red", "green"}, Word: "red"},
		},
	}
	return with(k, func(*plain, *blocks.Stage, *blocks.Bench) {})
}

// with builds the kind with its core, stage or bench changed.
func with(k *blocks.Kind, change func(*plain, *blocks.Stage, *blocks.Bench)) *blocks.Kind {
	k.Build = func(b *blocks.Bench, s blocks.Settings) {
		core := &plain{gain: dsp.FromDB(s.Number("gain")), ring: make([]float64, 100), stated: 1, top: 5, late: 100, tail: 0.1}
		st := blocks.Stage{Name: "core", Sense: []string{"in"}, Drive: []string{"core"}, New: func() blocks.Core { return core }, Noise: 1e-9, Ceiling: 5}
		b.R("in", "in", "0", 1e6)
		b.R("out", "core", "out", dsp.Ohm(s.Number("out")))
		change(core, &st, b)
		b.Stage(st)
	}
	return k
}

type plain struct {
	gain, top float64
	ring      []float64
	at        int
	slow      float64 // a voltage that falls to nothing in a while
	stated    float64
	late      int
	tail      dsp.Second
	before    func(p *plain, n int)
	after     func(p *plain, y []float64)
	forgetful bool // Reset forgets to forget
	scribbles bool // Process leaves its output in its input
}

func (p *plain) Process(out, in [][]float64) {
	if p.before != nil {
		p.before(p, len(in[0]))
	}
	y := out[0]
	for k, x := range in[0] {
		v := p.ring[p.at]
		p.ring[p.at] = p.gain * x
		p.at = (p.at + 1) % len(p.ring)
		p.slow = 0.997*p.slow + 0.003*v // 60 dB down after 2300 samples
		if math.Abs(p.slow) < 1e-30 {
			p.slow = 0
		}
		y[k] = max(-p.top, min(p.top, v+p.slow))
	}
	if p.after != nil {
		p.after(p, y)
	}
	if p.scribbles {
		copy(in[0], y)
	}
}

// Response of 1 + 0.003/(1 - 0.997·z⁻¹): closed form.
func (p *plain) Response(f dsp.Hertz) complex128 {
	w := 2 * math.Pi * float64(f) / rate
	z := complex(math.Cos(w), -math.Sin(w))
	return complex(p.gain*p.stated, 0) * (1 + 0.003/(1-0.997*z))
}
func (p *plain) Latency() int     { return p.late }
func (p *plain) Tail() dsp.Second { return p.tail }
func (p *plain) Reset() {
	if !p.forgetful {
		clear(p.ring)
		p.at, p.slow = 0, 0
	}
}

var kept []float64

// Every check is seen red: it finds what is broken and nothing is found where nothing is.
func TestBroken(t *testing.T) {
	if faults := Check(sound()); len(faults) > 0 {
		t.Fatalf("a sound kind has faults: %v", faults)
	}
	core := func(change func(p *plain)) func(*blocks.Kind) {
		return func(k *blocks.Kind) { with(k, func(p *plain, _ *blocks.Stage, _ *blocks.Bench) { change(p) }) }
	}
	state := func(change func(s *blocks.Stage)) func(*blocks.Kind) {
		return func(k *blocks.Kind) { with(k, func(_ *plain, s *blocks.Stage, _ *blocks.Bench) { change(s) }) }
	}
	lay := func(change func(b *blocks.Bench)) func(*blocks.Kind) {
		return func(k *blocks.Kind) { with(k, func(_ *plain, _ *blocks.Stage, b *blocks.Bench) { change(b) }) }
	}
	for _, broken := range []struct {
		what  string
		wrong func(k *blocks.Kind)
		want  string // the check that must find it
	}{
		{"no sources", func(k *blocks.Kind) { k.Sources = nil }, "facts"},
		{"no brief", func(k *blocks.Kind) { k.Brief = "" }, "facts"},
		{"nothing modelled", func(k *blocks.Kind) { k.Models = nil }, "facts"},
		{"a name with a capital", func(k *blocks.Kind) { k.Name = "Sound" }, "facts"},
		{"a knob without a brief", func(k *blocks.Kind) { k.Knobs[0].Brief = "" }, "facts"},
		{"a knob name with a space", func(k *blocks.Kind) { k.Knobs[0].Name = "the gain" }, "facts"},
		{"a knob twice", func(k *blocks.Kind) { k.Knobs[1].Name = "gain" }, "facts"},
		{"a default out of range", func(k *blocks.Kind) { k.Knobs[0].Default = 21 }, "facts"},
		{"an empty range", func(k *blocks.Kind) { k.Knobs[0].Max = -20 }, "facts"},
		{"a dial to 11", func(k *blocks.Kind) { k.Knobs[0] = blocks.Knob{Name: "gain", Brief: "gain", Unit: dsp.Dial, Max: 11} }, "facts"},
		{"a default word that is none", func(k *blocks.Kind) { k.Knobs[2].Word = "blue" }, "facts"},
		{"nothing to build", func(k *blocks.Kind) { k.Build = nil }, "facts"},

		{"panics at 192 kHz", lay(func(b *blocks.Bench) {
			if b.Rate == 192000 {
				panic("too fast")
			}
		}), "rates"},
		{"a loop of voltage sources", lay(func(b *blocks.Bench) {
			b.V("v1", "x", "0", 1)
			b.V("v2", "x", "0", 2)
			b.R("rx", "x", "out", 1e3)
		}), "rates"},

		{"not a number when loud", core(func(p *plain) {
			p.after = func(p *plain, y []float64) {
				for k := range y {
					y[k] += 0 * math.Log(9-y[k]*y[k]) // 3 V and more
				}
			}
		}), "finite"},
		{"infinite at the top of a knob", core(func(p *plain) {
			if p.gain == 10 {
				p.gain = math.Inf(1)
				p.top = math.Inf(1)
			}
		}), "finite"},
		{"louder than its ceiling", core(func(p *plain) { p.top = 10 }), "ceiling"},

		{"starts anew in every call", core(func(p *plain) { p.before = func(p *plain, _ int) { p.slow = 0 } }), "calls"},
		{"works in whole blocks of 64", core(func(p *plain) {
			p.after = func(p *plain, y []float64) {
				for k := len(y) / 64 * 64; k < len(y); k++ {
					y[k] *= 1 + 1e-15 // the last bits
				}
			}
		}), "calls"},
		{"does not forget", core(func(p *plain) { p.forgetful = true }), "reset"},
		{"writes into its input", core(func(p *plain) { p.scribbles = true }), "inputs"},
		{"asks for memory", core(func(p *plain) { p.before = func(_ *plain, n int) { kept = make([]float64, n) } }), "allocation"},

		{"hums by itself", core(func(p *plain) {
			p.after = func(_ *plain, y []float64) {
				for k := range y {
					y[k] += 1e-18
				}
			}
		}), "silence"},
		{"rests at 2 µV", lay(func(b *blocks.Bench) { // 0.2 V over 100 MΩ into 1 kΩ
			b.V("leak", "leaking", "0", 0.2)
			b.ColdR("path", "leaking", "out", 100e6)
		}), "silence"},

		{"no noise", state(func(s *blocks.Stage) { s.Noise = 0 }), "stage"},
		{"a converter that takes noise away", state(func(s *blocks.Stage) { s.Converter = -1e-9 }), "stage"},
		{"a tail without end", core(func(p *plain) { p.tail = dsp.Second(math.Inf(1)) }), "stage"},
		{"states 0.002 dB too much", core(func(p *plain) { p.stated = dsp.FromDB(0.002) }), "response"},
		{"states a sample of latency too much", core(func(p *plain) { p.late = 101 }), "response"},
		{"states a twentieth of its tail", core(func(p *plain) { p.tail = 0.005 }), "tail"},
		{"states another input impedance", func(k *blocks.Kind) { k.InputImpedance = "470 kΩ" }, "impedance"},
		{"states too narrow a range", func(k *blocks.Kind) { k.OutputImpedance = "1 kΩ to 2.9 kΩ" }, "impedance"},
		{"states too wide a range", func(k *blocks.Kind) { k.OutputImpedance = "1 kΩ to 100 kΩ" }, "impedance"},
		{"states no impedance", func(k *blocks.Kind) { k.OutputImpedance = "" }, "impedance"},
	} {
		t.Run(broken.what, func(t *testing.T) {
			k := sound()
			broken.wrong(k)
			check := checks[slices.IndexFunc(checks, func(c check) bool { return c.name == broken.want })]
			if len(check.faults(k)) == 0 {
				t.Errorf("%s does not find it", broken.want)
			}
		})
	}
}

// A path whose parts are not what they state, and a solver that fails, do not come from a wrong
// core: the checks are fed by hand.
func TestBrokenByHand(t *testing.T) {
	k := sound()
	check := &try{kind: k, check: "finite"}
	solved(check, position{name: "here"}, transient.Report{Steps: 10})
	if len(check.faults) != 0 {
		t.Errorf("no failure is taken for one: %v", check.faults)
	}
	solved(check, position{name: "here"}, transient.Report{Steps: 10, Failures: 1})
	if len(check.faults) != 1 {
		t.Error("a failure of the solver is not found")
	}

	check = &try{kind: with(sound(), func(p *plain, _ *blocks.Stage, _ *blocks.Bench) { p.stated = 1.01 }), check: "path"}
	path(check)
	if len(check.faults) == 0 {
		t.Error("a path 0.09 dB off is not found")
	}
}

func TestBrokenList(t *testing.T) {
	a, b := &blocks.Kind{Name: "a"}, &blocks.Kind{Name: "b"}
	for _, c := range []struct {
		kinds []*blocks.Kind
		want  int
	}{{[]*blocks.Kind{a, b}, 0}, {[]*blocks.Kind{b, a}, 1}, {[]*blocks.Kind{a, a}, 1}, {nil, 1}} {
		if got := CheckList(c.kinds); len(got) != c.want {
			t.Errorf("%d kinds: %v, want %d faults", len(c.kinds), got, c.want)
		}
	}
}
