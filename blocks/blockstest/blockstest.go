// Package blockstest is the conformance kit: the promises that every kind of block keeps, as checks
// that run over any kind.
//
// It puts a kind on a Rig, between a source of 10 kΩ and a load of 1 MΩ, at its default and at
// extreme settings. It says what it finds as a list of faults; it knows no kind by name. What only
// one kind promises is in that kind's own test.
//
// Start reading at Check, then the list of checks.
package blockstest

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/section"
)

// Fault is one broken promise.
type Fault struct {
	Check string // which check found it
	Text  string
}

func (f Fault) String() string { return f.Check + ": " + f.Text }

// Check runs all checks over a kind.
func Check(k *blocks.Kind) []Fault {
	var faults []Fault
	for _, c := range checks {
		faults = append(faults, c.faults(k)...)
		if c.name == "facts" && len(faults) > 0 {
			break // without knobs in order there are no settings to try
		}
	}
	return faults
}

// CheckList checks what only the list as a whole can break.
func CheckList(kinds []*blocks.Kind) []Fault {
	t := &try{check: "list"}
	if len(kinds) == 0 {
		t.fault("there are no kinds")
	}
	for k := 1; k < len(kinds); k++ {
		if kinds[k-1].Name >= kinds[k].Name {
			t.fault("%s comes after %s: not in alphabetical order", kinds[k].Name, kinds[k-1].Name)
		}
	}
	return t.faults
}

type check struct {
	name string
	run  func(*try)
}

// faults is what one check finds; a panic is a fault.
func (c check) faults(k *blocks.Kind) []Fault {
	t := &try{kind: k, check: c.name}
	t.guard(func() { c.run(t) })
	return t.faults
}

var checks = []check{
	{"facts", facts},
	{"rates", rates},
	{"finite", finite},
	{"ceiling", ceiling},
	{"calls", calls},
	{"raised", raised},
	{"reset", reset},
	{"inputs", inputs},
	{"allocation", allocation},
	{"silence", silence},
	{"stage", stage},
	{"response", response},
	{"path", path},
	{"tail", tail},
	{"impedance", impedance},
}

// The conditions of all checks but rates: the rate of most recordings and the fastest quality.
const rate = 48e3

var quality = section.Draft

type try struct {
	kind   *blocks.Kind
	check  string
	faults []Fault
}

func (t *try) fault(format string, args ...any) {
	t.faults = append(t.faults, Fault{t.check, fmt.Sprintf(format, args...)})
}

// guard makes a panic a fault.
func (t *try) guard(f func()) {
	defer func() {
		if p := recover(); p != nil {
			t.fault("panic: %v", p)
		}
	}()
	f()
}

// rig is the kind on the rig; nil after a fault.
func (t *try) rig(p position) *Rig { return t.rigAt(p, quality) }

func (t *try) rigAt(p position, q section.Quality) *Rig {
	r, err := NewRig(t.kind, p.settings, p.off, rate, q)
	if err != nil {
		t.fault("%s: %v", p.name, err)
		return nil
	}
	return r
}

// position is settings with a name for messages.
type position struct {
	name     string
	settings blocks.Settings
	off      bool
}

// corners is default, all low and all high, each with every word of every choice.
func corners(k *blocks.Kind) []position {
	low, high := k.Defaults(), k.Defaults()
	for _, knob := range k.Knobs {
		if knob.Words == nil {
			low, high = low.With(knob.Name, knob.Min), high.With(knob.Name, knob.Max)
		}
	}
	list := []position{{"default", k.Defaults(), false}, {"all low", low, false}, {"all high", high, false}}
	for _, p := range slices.Clone(list) {
		for _, knob := range k.Knobs {
			for _, w := range knob.Words {
				if w != knob.Word && knob.Name != "bypass" {
					list = append(list, position{p.name + ", " + knob.Name + " " + w, p.settings.WithWord(knob.Name, w), false})
				}
			}
		}
	}
	return list
}

// each is the default, then each knob alone at its lowest, middle and highest, each word, and the
// block off in every way.
func each(k *blocks.Kind) []position {
	list := []position{{"default", k.Defaults(), false}, {"off", k.Defaults(), true}}
	for _, knob := range k.Knobs {
		for _, w := range knob.Words {
			list = append(list, position{knob.Name + " " + w, k.Defaults().WithWord(knob.Name, w), knob.Name == "bypass"})
		}
		if knob.Words == nil {
			for _, v := range []float64{knob.Min, (knob.Min + knob.Max) / 2, knob.Max} {
				list = append(list, position{fmt.Sprintf("%s %v", knob.Name, v), k.Defaults().With(knob.Name, v), false})
			}
		}
	}
	return list
}

// hostile is what no guitar does, n samples of each: a square wave of 10 V, noise 40 dB over 0.1 V,
// a direct voltage of 9 V, impulses of 50 V, a few samples of almost nothing, silence.
func hostile(n int) []float64 {
	random := rand.New(rand.NewPCG(1, 2))
	var x []float64
	for _, f := range []func(k int) float64{
		func(k int) float64 { return 10 - 20*float64(k/24%2) },
		func(int) float64 { return 10 * random.NormFloat64() },
		func(int) float64 { return 9 },
		func(k int) float64 {
			if k%97 == 0 {
				return 50 - 100*float64(k/97%2)
			}
			return 0
		},
		func(k int) float64 { return 1e-200 * float64(k%3-1) },
		func(int) float64 { return 0 },
	} {
		for k := range n {
			x = append(x, f(k))
		}
	}
	return x
}

// length is how many samples of each hostile signal to take: non-linear circuits are slow. With go
// test -short (as when the race detector makes everything ten times slower) it is less, and what
// comes back after longer than 0.1 s is not seen.
func (r *Rig) length() int {
	switch linear := r.Circuit.Linear(); {
	case linear && testing.Short():
		return 800
	case linear:
		return 3600 // 0.45 s in all: the repeats of an echo come back
	case testing.Short():
		return 50
	}
	return 160
}

func (r *Rig) run(x []float64) []float64 {
	y := make([]float64, len(x))
	r.Process(y, x)
	return y
}

var (
	kindName = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	knobName = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
)

// facts: what people and programs read about the kind is there, and makes sense.
func facts(t *try) {
	k := t.kind
	if !kindName.MatchString(k.Name) {
		t.fault("name %q", k.Name)
	}
	if k.Brief == "" {
		t.fault("no brief")
	}
	if k.Build == nil {
		t.fault("nothing builds it")
	}
	for what, lines := range map[string][]string{"models": k.Models, "ignores": k.Ignores, "sources": k.Sources} {
		if len(lines) == 0 {
			t.fault("no %s", what)
		}
		for _, l := range lines {
			if !strings.HasSuffix(l, ".") {
				t.fault("%s: %q does not end in a full stop", what, l)
			}
		}
	}
	seen := map[string]bool{}
	for _, knob := range k.Knobs {
		if !knobName.MatchString(knob.Name) {
			t.fault("knob name %q", knob.Name)
		}
		if seen[knob.Name] {
			t.fault("knob %s twice", knob.Name)
		}
		seen[knob.Name] = true
		if knob.Brief == "" {
			t.fault("knob %s has no brief", knob.Name)
		}
		if knob.Words != nil {
			if !slices.Contains(knob.Words, knob.Word) {
				t.fault("knob %s: %q is not one of %v", knob.Name, knob.Word, knob.Words)
			}
			continue
		}
		if !(knob.Min < knob.Max) || math.IsInf(knob.Max-knob.Min, 0) {
			t.fault("knob %s: from %v to %v", knob.Name, knob.Min, knob.Max)
		}
		if !(knob.Min <= knob.Default && knob.Default <= knob.Max) {
			t.fault("knob %s: default %v is not from %v to %v", knob.Name, knob.Default, knob.Min, knob.Max)
		}
		if knob.Unit == dsp.Dial && (knob.Min != 0 || knob.Max != 10) {
			t.fault("dial %s goes from %v to %v, not 0 to 10", knob.Name, knob.Min, knob.Max)
		}
		for _, v := range []float64{knob.Min, knob.Max, knob.Default} {
			text := dsp.FormatQuantity(v, knob.Unit)
			if got, err := dsp.ParseQuantity(text, knob.Unit); err != nil || got != v {
				t.fault("knob %s: %v is written %q and read %v, %v", knob.Name, v, text, got, err)
			}
		}
	}
}

// rates: the kind builds and works at every usual sample rate, on and off.
func rates(t *try) {
	x := hostile(50)
	for _, fs := range []dsp.Hertz{44100, 48000, 96000, 192000} {
		for _, p := range append(corners(t.kind), position{"off", t.kind.Defaults(), true}) {
			t.guard(func() {
				r, err := NewRig(t.kind, p.settings, p.off, fs, quality)
				if err != nil {
					t.fault("%v Hz, %s: %v", float64(fs), p.name, err)
					return
				}
				if k := notFinite(r.run(x)); k >= 0 {
					t.fault("%v Hz, %s: sample %d is not finite", float64(fs), p.name, k)
				}
			})
		}
	}
}

func notFinite(x []float64) int {
	return slices.IndexFunc(x, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
}

// finite: whatever is set and whatever comes in, what goes out is a voltage, and the solver found
// it.
func finite(t *try) {
	for _, p := range each(t.kind) {
		t.guard(func() {
			r := t.rig(p)
			if r == nil {
				return
			}
			y := r.run(hostile(min(r.length(), 800)))
			if k := notFinite(y); k >= 0 {
				t.fault("%s: sample %d is not finite", p.name, k)
				return
			}
			solved(t, p, r.Report())
		})
	}
}

func solved(t *try, p position, r transient.Report) {
	if r.Failures != 0 || math.IsNaN(r.Residual) {
		t.fault("%s: the solver failed in %d of %d steps, residual %v V", p.name, r.Failures, r.Steps, r.Residual)
	}
}

// ceiling: a stage stays under the ceiling that it states, whatever steady voltage drives it.
//
// The voltage is steady because a limiter at a sample rate cannot hold what its input has next to
// half that rate, and rings where harmonics are cut off: at an edge a signal goes past the limit
// for a moment.
func ceiling(t *try) {
	const over = 1.001 // a limiter is good to -120 dB of what goes in, and a stage may amplify that
	n := 2500
	for _, p := range each(t.kind) {
		for _, v := range []float64{20, -20} {
			r := t.rig(p)
			if r == nil {
				return
			}
			for _, s := range r.Stages {
				core := s.New()
				if s.Ceiling == 0 || len(s.Sense) != 1 || len(s.Drive) != 1 {
					continue
				}
				y := slices.Repeat([]float64{v}, n)
				core.Process([][]float64{y}, [][]float64{y})
				y = y[n/2:]
				if top := max(slices.Max(y), -slices.Min(y)); !(top <= over*s.Ceiling) {
					t.fault("%s: %s gives %.4f V for %v V, over its ceiling of %v V", p.name, s.Name, top, v, s.Ceiling)
				}
			}
		}
	}
}

// raised: a stage says of its core whether it can run at a multiple of the rate, and if it can, it
// does there what it does at the recording's: the same tone comes out, clipped or not.
func raised(t *try) {
	const (
		factor, n = 8, 4800
		hertz     = 500
		off       = 1e-3 // of the fundamental
	)
	for _, p := range corners(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			high, ok := core.(blocks.Raiser)
			if ok != s.Raises {
				t.fault("%s: %s: Raises is %v, and it is %v that its core is a Raiser", p.name, s.Name, s.Raises, ok)
			}
			if !ok {
				continue
			}
			for _, peak := range []float64{1e-3, 5} {
				fundamental := func(core dsp.Processor, rate float64, count int) complex128 {
					x := make([]float64, 3*count)
					for k := range x {
						x[k] = peak * math.Sin(2*math.Pi*hertz*float64(k)/rate)
					}
					core.Process([][]float64{x}, [][]float64{x})
					var sum complex128
					for k, v := range x[2*count:] {
						at := float64(2*count + k - core.Latency())
						sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*hertz*at/rate))
					}
					return sum / complex(float64(count), 0)
				}
				core.Reset()
				base := fundamental(core, rate, n)
				up := fundamental(high.Raise(rate, factor), factor*rate, factor*n)
				if !(cmplx.Abs(up-base) <= off*cmplx.Abs(base)) {
					t.fault("%s: %s gives %v of %v V, raised %v", p.name, s.Name, base, peak, up)
				}
			}
		}
	}
}

// calls: how a signal is cut into calls changes nothing, not one bit.
func calls(t *try) {
	for _, p := range corners(t.kind) {
		var x, want []float64
		for _, size := range []int{0, 1, 7, 64, 479} {
			r := t.rig(p)
			if r == nil {
				return
			}
			if size == 0 {
				x = hostile(r.length())
				want = r.run(x)
				continue
			}
			got := make([]float64, len(x))
			for at := 0; at < len(x); at += size {
				end := min(at+size, len(x))
				r.Process(got[at:end], x[at:end])
			}
			if k := different(got, want); k >= 0 {
				t.fault("%s: in calls of %d, sample %d is %v, in one call %v", p.name, size, k, got[k], want[k])
				break
			}
		}
	}
}

// different is the first sample that differs in any bit, or -1.
func different(a, b []float64) int {
	for k := range a {
		if math.Float64bits(a[k]) != math.Float64bits(b[k]) {
			return k
		}
	}
	return -1
}

// reset: after Reset in the middle of a sound the block is as new.
func reset(t *try) {
	for _, p := range corners(t.kind) {
		used, fresh := t.rig(p), t.rig(p)
		if used == nil || fresh == nil {
			return
		}
		x := hostile(used.length())
		used.run(x[:len(x)/2]) // ends loud; then long enough for an echo of it to come back
		used.Reset()
		if k := different(used.run(x), fresh.run(x)); k >= 0 {
			t.fault("%s: sample %d differs after Reset", p.name, k)
		}
	}
}

// inputs: a core leaves what it gets as it is, since others may read it too.
func inputs(t *try) {
	for _, p := range corners(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			x := hostile(1500)
			in, out := make([][]float64, len(s.Sense)), make([][]float64, len(s.Drive))
			for k := range in {
				in[k] = slices.Clone(x)
			}
			for k := range out {
				out[k] = make([]float64, len(x))
			}
			core.Process(out, in)
			for k := range in {
				if !slices.Equal(in[k], x) {
					t.fault("%s: %s writes into its input %d", p.name, s.Name, k+1)
				}
			}
		}
	}
}

// allocation: processing asks for no memory.
func allocation(t *try) {
	for _, p := range corners(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		x := hostile(80)
		y := make([]float64, len(x))
		r.Process(y, x) // a first call may be one that Process of the rig itself needs
		n := testing.AllocsPerRun(3, func() {
			r.Process(y[:1], x[:1])
			r.Process(y[:200], x[:200])
		})
		if n > 0 {
			t.fault("%s: %v allocations in two calls", p.name, n)
		}
	}
}

// silence: nothing in, nothing out. Cores give exact zeros; at the output jack the circuit rests at
// 0 V within 1 µV.
func silence(t *try) {
	const rest = 1e-6 // V
	for _, p := range append(corners(t.kind), position{"off", t.kind.Defaults(), true}) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			n := 5000
			in, out := make([][]float64, len(s.Sense)), make([][]float64, len(s.Drive))
			for k := range in {
				in[k] = make([]float64, n)
			}
			for k := range out {
				out[k] = make([]float64, n)
			}
			core.Process(out, in)
			for _, y := range out {
				if k := slices.IndexFunc(y, func(v float64) bool { return v != 0 }); k >= 0 {
					t.fault("%s: %s makes %v V out of silence, at sample %d", p.name, s.Name, y[k], k)
				}
			}
			core.Reset()
		}
		for k, v := range r.run(make([]float64, 500)) {
			if !(math.Abs(v) <= rest) {
				t.fault("%s: %v V at the output at rest, at sample %d", p.name, v, k)
				break
			}
		}
		op, err := r.Circuit.Operating()
		if err != nil {
			t.fault("%s: %v", p.name, err)
		} else if v := op.V(Jack); !(math.Abs(v) <= rest) {
			t.fault("%s: the output rests at %v V", p.name, v)
		}
	}
}

// stage: what a stage states about itself makes sense.
func stage(t *try) {
	for _, p := range each(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			if !(s.Noise > 0 && s.Noise < 1e-3) {
				t.fault("%s: noise of %s is %v V/√Hz", p.name, s.Name, s.Noise)
			}
			if !(s.Converter >= 0 && s.Converter < 1e-3) {
				t.fault("%s: noise of the converter of %s is %v V/√Hz", p.name, s.Name, s.Converter)
			}
			// a power amplifier of 150 W has 127 V in front of its output resistance
			if !(s.Ceiling >= 0 && s.Ceiling < 150) {
				t.fault("%s: ceiling of %s is %v V", p.name, s.Name, s.Ceiling)
			}
			if tail := float64(core.Tail()); !(tail >= 0 && tail <= 30) {
				t.fault("%s: tail of %s is %v s", p.name, s.Name, tail)
			}
		}
	}
}

// The frequencies at which responses are compared, in Hz.
var frequencies = []dsp.Hertz{23, 61, 127, 440, 997, 2503, 6101, 12007, 17011, 19891}

// transform is the spectrum of an impulse response at one frequency, its first late samples taken
// for before the beginning.
func transform(h []float64, f dsp.Hertz, late int) complex128 {
	w := 2 * math.Pi * float64(f) / rate
	turn := complex(math.Cos(w), -math.Sin(w))
	at := complex(math.Cos(w*float64(late)), math.Sin(w*float64(late)))
	var sum complex128
	for _, v := range h {
		sum += complex(v, 0) * at
		at *= turn
	}
	return sum
}

// compare holds measured against stated, in dB of the stated magnitude; what is 30 dB under the
// highest counts as that.
func compare(t *try, p position, what string, bound float64, measured, stated []complex128) {
	var peak float64
	for _, h := range stated {
		peak = max(peak, magnitude(h))
	}
	for k, h := range stated {
		off := magnitude(measured[k]-h) / max(magnitude(h), peak*0.0316)
		if !(dsp.ToDB(1+off) <= bound) {
			t.fault("%s: %s at %v Hz is %.6f, stated %.6f: %.5f dB off", p.name, what, float64(frequencies[k]), measured[k], h, dsp.ToDB(1+off))
			return
		}
	}
}

func magnitude(h complex128) float64 { return math.Hypot(real(h), imag(h)) }

// longestResponse is how long a tail may be for the response to be measured, in seconds.
const longestResponse = 6

// response: a core does to a small impulse what it states, in magnitude and phase, its latency
// taken back.
func response(t *try) {
	const tolerance = 0.001 // dB
	const small = 1e-5      // V
	for _, p := range each(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			responder, ok := core.(blocks.Responder)
			if !ok || core.Tail() > longestResponse {
				continue
			}
			n := core.Latency() + int(2.5*float64(core.Tail())*rate) + 2000
			h := make([]float64, n)
			h[0] = small
			core.Process([][]float64{h}, [][]float64{h})
			measured, stated := make([]complex128, len(frequencies)), make([]complex128, len(frequencies))
			for k, f := range frequencies {
				measured[k] = transform(h, f, core.Latency()) / small
				stated[k] = responder.Response(f)
			}
			compare(t, p, s.Name, tolerance, measured, stated)
		}
	}
}

// path: from the source to the output jack the block does to a tiny impulse what its circuit and
// its cores state.
//
// A non-linear section errs with frequency: at quality normal the fuzz is 0.001 dB off at 2.5 kHz,
// 0.04 dB at 12 kHz and 0.11 dB at 20 kHz (measured here, magnitude and phase together).
func path(t *try) {
	const small = 1e-6 // V
	for _, p := range []position{{"default", t.kind.Defaults(), false}, {"off", t.kind.Defaults(), true}} {
		r := t.rigAt(p, section.Normal)
		if r == nil {
			return
		}
		n := 1 << 15
		for _, s := range r.Stages {
			core := s.New()
			n += int(2 * float64(core.Tail()) * rate)
		}
		x := make([]float64, n)
		x[0] = small
		h := r.run(x)
		var measured, stated []complex128
		for _, f := range frequencies {
			want, ok := r.Response(f)
			if !ok {
				return
			}
			stated = append(stated, want)
			measured = append(measured, transform(h, f, r.Latency())/small)
		}
		tolerance := 0.001 // dB
		if !r.Circuit.Linear() {
			tolerance = 0.15
		}
		compare(t, p, "from source to jack", tolerance, measured, stated)
	}
}

// tail: after the stated time a core is 60 dB down.
func tail(t *try) {
	const window = 0.02 * rate
	for _, p := range each(t.kind) {
		r := t.rig(p)
		if r == nil {
			return
		}
		for _, s := range r.Stages {
			core := s.New()
			if core.Tail() > longestResponse || len(s.Sense) != 1 || len(s.Drive) != 1 {
				continue
			}
			random := rand.New(rand.NewPCG(3, 4))
			burst := int(0.2 * rate)
			end := burst + core.Latency() + int(math.Ceil(float64(core.Tail())*rate))
			y := make([]float64, end+int(1.5*rate))
			for k := range burst {
				y[k] = 0.05 * random.NormFloat64()
			}
			core.Process([][]float64{y}, [][]float64{y})
			var loud, after float64
			for at := 0; at+window <= len(y); at += window / 4 {
				var sum float64
				for _, v := range y[at : at+window] {
					sum += v * v
				}
				loud = max(loud, sum)
				if at >= end {
					after = max(after, sum)
				}
			}
			if down := 10 * math.Log10(loud/after); !(down >= 60) {
				t.fault("%s: %s is only %.1f dB down after its tail of %v s", p.name, s.Name, down, float64(core.Tail()))
			}
		}
	}
}

var impedanceText = regexp.MustCompile(`^([^:]+?)(?: to ([^:]+))?(?:: .+)?$`)

// impedance: at 1 kHz, input and output impedance at every setting are what the text says, and the
// text is no wider than it must be.
func impedance(t *try) {
	// by how much a measured value may be outside what is stated: what rounding the text leaves
	const outside = 1.02
	const wide = 1.5 // by how much the extremes found may be inside it
	positions := each(t.kind)
	random := rand.New(rand.NewPCG(5, 6))
	for n := range 150 {
		s := t.kind.Defaults()
		for _, knob := range t.kind.Knobs {
			if knob.Words != nil {
				s = s.WithWord(knob.Name, knob.Words[random.IntN(len(knob.Words))])
				continue
			}
			at := random.Float64()
			if random.IntN(2) == 0 {
				at = math.Round(at)
			}
			s = s.With(knob.Name, knob.Min+(knob.Max-knob.Min)*at)
		}
		positions = append(positions, position{fmt.Sprintf("random setting %d", n), s, false})
	}
	var found [2][2]float64
	text := [2]string{t.kind.InputImpedance, t.kind.OutputImpedance}
	for n, p := range positions {
		if p.off {
			continue
		}
		in, out := t.kind.Impedances(p.settings, 1000)
		for k, z := range []float64{magnitude(in), magnitude(out)} {
			if !(z > 0 && z < 1e9) {
				t.fault("%s: impedance of %v Ω", p.name, z)
				return
			}
			if n == 0 || z < found[k][0] {
				found[k][0] = z
			}
			found[k][1] = max(found[k][1], z)
		}
	}
	for k, jack := range []string{"input", "output"} {
		m := impedanceText.FindStringSubmatch(text[k])
		if m == nil {
			t.fault("%s impedance is stated as %q", jack, text[k])
			continue
		}
		if m[2] == "" {
			m[2] = m[1]
		}
		lo, err1 := dsp.ParseQuantity(m[1], dsp.Ohms)
		hi, err2 := dsp.ParseQuantity(m[2], dsp.Ohms)
		if err1 != nil || err2 != nil {
			t.fault("%s impedance is stated as %q: %v %v", jack, text[k], err1, err2)
			continue
		}
		if f := found[k]; f[0] < lo/outside || f[1] > hi*outside || f[0] > lo*wide || f[1] < hi/wide {
			t.fault("%s impedance is %.4g to %.4g Ω, stated %s", jack, f[0], f[1], text[k])
		}
	}
}
