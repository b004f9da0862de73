package blocks

import (
	"fmt"
	"strings"
	"sync"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Bench is what a block is built on: a circuit that it shares with its neighbours, and its stages.
//
// While a block is being placed, its names are its own: "in" and "out" are its jacks, "0" is
// ground, any other node or element gets the block's name in front. A name with a dot in it is
// taken as it is.
type Bench struct {
	Circuit *circuit.Netlist
	Rate    dsp.Hertz // the recording's sample rate, at which the cores of stages run
	// Oversample is by how much a stage that clips raises the rate for it: a power of two.
	Oversample int
	// IR is impulse responses of cabinets, by the name of the speaker's block: each takes the place
	// of the filters of that speaker's cone.
	IR     map[string]ImpulseResponse
	Stages []Stage
	block  string
	key    string // of the block's stages
}

// NewBench starts an empty bench for recordings of that rate.
func NewBench(rate dsp.Hertz, oversample int) *Bench {
	return &Bench{Circuit: circuit.New(), Rate: rate, Oversample: oversample}
}

// Place adds one block of this kind to the circuit, under this name. Settings have to be complete
// and in range. It panics where two blocks have one name.
func (b *Bench) Place(name string, k *Kind, s Settings) {
	defer b.place(name, k.Key()+" "+s.String())()
	k.Build(b, s)
}

// place makes names and ownership those of a block until end is called; its stages have that key.
func (b *Bench) place(name, key string) (end func()) {
	give := b.Own(name)
	b.block, b.key = name, key
	return func() {
		b.block = ""
		give()
	}
}

// Own sets the owner of what is added until end is called: a block, or a part of the chain that is
// none.
func (b *Bench) Own(owner string) (end func()) {
	before := b.Circuit.Owner
	b.Circuit.Owner = owner
	return func() { b.Circuit.Owner = before }
}

// Cables is the owner of all cables.
const Cables = "cables"

// Bypass adds a block that is off: with true bypass, a footswitch that joins the jacks by a wire
// with stray capacitance; with buffered bypass, a follower.
func (b *Bench) Bypass(name string, k *Kind, s Settings) {
	defer b.place(name, "bypass "+s.String())()
	if _, ok := k.Knob("bypass"); ok && s.Word("bypass") == "buffered" {
		b.highInput()
		b.output(Stage{Name: "bypass", New: func() Core { return b.follower(1, s.Number("supply")) }, Raises: true, Noise: opAmpNoise, Ceiling: swing(s.Number("supply"))})
		return
	}
	b.ColdR("wire", "in", "out", strayResistance)
	b.C("stray", "out", "0", strayCapacitance)
}

// Parasitics of a mechanical switch and two jacks: common practice, no source.
const (
	strayResistance  dsp.Ohm   = 0.05
	strayCapacitance dsp.Farad = 20e-12
)

// Name is the full name of one of the block's own nodes or elements.
func (b *Bench) Name(local string) string {
	if local == circuit.Ground || b.block == "" || strings.Contains(local, ".") {
		return local
	}
	return b.block + "." + local
}

// The elements of package circuit, with the block's own names of elements and nodes. They panic
// where circuit.Netlist does: on a name that is there already, and on a value that no part has.

// R adds a resistor between two nodes.
func (b *Bench) R(name, n1, n2 string, r dsp.Ohm) {
	b.Circuit.R(b.Name(name), b.Name(n1), b.Name(n2), r)
}

// ColdR adds a resistor without thermal noise, for what stands in for something else.
func (b *Bench) ColdR(name, n1, n2 string, r dsp.Ohm) {
	b.Circuit.ColdR(b.Name(name), b.Name(n1), b.Name(n2), r)
}

// C adds a capacitor between two nodes.
func (b *Bench) C(name, n1, n2 string, c dsp.Farad) {
	b.Circuit.C(b.Name(name), b.Name(n1), b.Name(n2), c)
}

// L adds an inductor between two nodes.
func (b *Bench) L(name, n1, n2 string, l dsp.Henry) {
	b.Circuit.L(b.Name(name), b.Name(n1), b.Name(n2), l)
}

// V adds a voltage source, whose plus is n1.
func (b *Bench) V(name, n1, n2 string, v dsp.Volt) {
	b.Circuit.V(b.Name(name), b.Name(n1), b.Name(n2), v)
}

// Supply is the block's power supply at that node: its ripple enters the circuit here.
func (b *Bench) Supply(node string, v dsp.Volt) {
	b.Circuit.Supply(b.Name("supply"), b.Name(node), v)
}

// Pot adds a potentiometer; position is the wiper's, from 0 at bottom to 1 at top.
func (b *Bench) Pot(name, top, wiper, bottom string, r dsp.Ohm, position float64) {
	b.Circuit.Pot(b.Name(name), b.Name(top), b.Name(wiper), b.Name(bottom), r, position)
}

// Rheostat adds a variable resistor; position is from 0, the least of it, to 1, all of it.
func (b *Bench) Rheostat(name, n1, n2 string, r dsp.Ohm, position float64) {
	b.Circuit.Rheostat(b.Name(name), b.Name(n1), b.Name(n2), r, position)
}

// D adds a diode.
func (b *Bench) D(name, anode, cathode string, d circuit.Diode) {
	b.Circuit.D(b.Name(name), b.Name(anode), b.Name(cathode), d)
}

// Pair adds two like diodes, antiparallel.
func (b *Bench) Pair(name, n1, n2 string, d circuit.Diode) {
	b.Circuit.Pair(b.Name(name), b.Name(n1), b.Name(n2), d)
}

// Antiparallel adds two diodes, the one from n1 to n2 and the other back.
func (b *Bench) Antiparallel(name, n1, n2 string, forward, reverse circuit.Diode) {
	b.Circuit.Antiparallel(b.Name(name), b.Name(n1), b.Name(n2), forward, reverse)
}

// Q adds a bipolar transistor.
func (b *Bench) Q(name, collector, base, emitter string, q circuit.BJT) {
	b.Circuit.Q(b.Name(name), b.Name(collector), b.Name(base), b.Name(emitter), q)
}

// T adds a triode.
func (b *Bench) T(name, plate, grid, cathode string, t circuit.Triode) {
	b.Circuit.T(b.Name(name), b.Name(plate), b.Name(grid), b.Name(cathode), t)
}

// OpAmp adds an operational amplifier whose input plus does not invert.
func (b *Bench) OpAmp(name, plus, minus, out string, a circuit.OpAmp) {
	b.Circuit.OpAmp(b.Name(name), b.Name(plus), b.Name(minus), b.Name(out), a)
}

// Stage adds a stage to the block, and the ideal sources that its output drives.
func (b *Bench) Stage(s Stage) {
	s.Key = fmt.Sprintf("%s %s %v %d", s.Name, b.key, b.Rate, b.Oversample)
	s.Name, s.Owner = b.Name(s.Name), b.Circuit.Owner
	s.shape = sync.OnceValue(s.New)
	for k, n := range s.Sense {
		s.Sense[k] = b.Name(n)
	}
	for k, n := range s.Drive {
		s.Drive[k] = b.Name(n)
		b.Circuit.Input(s.Drive[k], s.Drive[k], circuit.Ground)
	}
	b.Stages = append(b.Stages, s)
}
