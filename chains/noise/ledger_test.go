package noise

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// demoChains is the takes of the shipped chain file and some that are harder on the ledger.
func demoChains(t testing.TB) []*board.Chain {
	t.Helper()
	src, err := chains.ReadShipped("fuzz-or-buffer-first")
	if err != nil {
		t.Fatal(err)
	}
	return append(chaintest.MustParse(t, string(src)).Chains(),
		chaintest.Chain(t, "fuzz: {kind: fuzz, device: germanium, fuzz: 3}; echo: {kind: delay, time: 90 ms, repeats: 8, mix: 50 %}; again: {kind: delay, time: 180 ms, repeats: 6, mix: 50 %}; eq: {kind: eq, high: 12 dB, low: -9 dB}",
			"eq, fuzz, echo, again"),
		chaintest.Chain(t, "pedal: {kind: volume, volume: 5}; press: {kind: compressor, level: 20 dB}", "pedal, press", "guitar.pickup: single-coil", "guitar.volume: 6", "guitar.tone: 4"))
}

// A ledger's cells are fine enough: with cells an eighth as wide, the totals are the same within
// 0.02 dB.
func TestNoiseCellsAreFineEnough(t *testing.T) {
	const bound = 0.02 // dB
	worst := 0.0
	for _, c := range demoChains(t) {
		for _, jack := range []string{"guitar", "out"} {
			a, err := newNoiseMeter(48000, noiseCells).ledger(c, jack)
			if err != nil {
				t.Fatal(err)
			}
			b, err := newNoiseMeter(48000, 8*noiseCells).ledger(c, jack)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range []func(float64) float64{Flat, AWeighted} {
				off := math.Abs(dsp.ToDB(a.RMS(w) / b.RMS(w)))
				worst = max(worst, off)
				if !(off <= bound) {
					t.Errorf("%s at %s: %.4f dB off, want %v dB", c.Take, jack, off, bound)
				}
			}
		}
	}
	t.Logf("worst %.4f dB", worst)
}

// What a buffer's stage makes comes out as its white noise over the band, and as that times the
// area of the A weighting; between 100 Ω and 1 MΩ nothing is lost.
func TestStageNoiseClosedForm(t *testing.T) {
	l, err := At(chaintest.Chain(t, "buffer: {kind: buffer}", "buffer"), 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(l.Shares, func(s Share) bool { return s.Element == "buffer.follower" })
	if at < 0 {
		t.Fatalf("no share of the stage: %v", l.Shares)
	}
	const density = 8e-9 // V/√Hz: what the block states
	area := 0.0          // ∫ A² df by the trapezoidal rule in steps of 0.25 Hz
	for f := 20.0; f < 20000; f += 0.25 {
		area += 0.25 * math.Pow(10, measure.AWeightingDB(f+0.125)/10)
	}
	divider := dsp.ToDB(1e6 / (1e6 + 100))
	for _, c := range []struct {
		name      string
		got, want float64 // dB re 1 V
	}{
		{"unweighted", 10 * math.Log10(l.Power(at, Flat)), dsp.ToDB(density*math.Sqrt(20000-20)) + divider},
		{"A-weighted", 10 * math.Log10(l.Power(at, AWeighted)), dsp.ToDB(density*math.Sqrt(area)) + divider},
	} {
		if off := math.Abs(c.got - c.want); !(off <= 0.01) {
			t.Errorf("%s: %.3f dBV, want %.3f: %.4f dB off, want 0.01", c.name, c.got, c.want, off)
		}
	}
	if s := l.Shares[at]; s.Block != "buffer" || s.Cause != "stage" {
		t.Errorf("the share is said to be of %q, cause %q", s.Block, s.Cause)
	}
}

// An echo without feedback adds the repeat's power to the dry one's; each round of feedback adds as
// much again, times the feedback's power.
func TestNoiseThroughEcho(t *testing.T) {
	// Powers of repeats that know nothing of each other: dry² + wet²·p/(1 - feedback²·p), p the
	// power response of the low-pass of 16 kHz at 500 Hz, 1 within 0.005 dB. 38 % is what a dial of
	// 4 gives by the block's own words.
	const mix, feedback = 0.5, 0.38
	want := 10 * math.Log10((1-mix)*(1-mix)+mix*mix/(1-feedback*feedback))
	c := chaintest.Chain(t, "echo: {kind: delay, time: 380 ms, repeats: 4, mix: 50 %, tone: 16 kHz}", "echo")
	m := newNoiseMeter(48000, noiseCells)
	w := render.PlanOf(c, 48000, section.Draft)
	m.setLines(w.Tail())
	sum, count := 0.0, 0.0
	echo := m.combOf(w.Stages[0], 0, 0)
	for k, p := range m.cross(echo, echo) {
		if f := m.centres[k]; f > 300 && f < 800 {
			sum += real(p) * m.widths[k]
			count += m.widths[k]
		}
	}
	if got := 10 * math.Log10(sum/count); math.Abs(got-want) > 0.05 {
		t.Errorf("noise through the echo gains %.3f dB, want %.3f within 0.05", got, want)
	}
}

// Hum of a single-coil is what the file says, by the response from the pickup at 50 Hz and its
// multiples; a humbucker has none.
func TestHum(t *testing.T) {
	hum := func(set ...string) (Share, *Ledger) {
		c := chaintest.Chain(t, "buffer: {kind: buffer}", "buffer", set...)
		l, err := At(c, 48000, "out")
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range l.Shares {
			if s.Cause == "hum" {
				return s, l
			}
		}
		return Share{}, l
	}
	s, l := hum("guitar.pickup: single-coil", "guitar.hum: 2 mV", "guitar.volume: 5")
	if len(s.Lines) != 10 || s.Block != "guitar" {
		t.Fatalf("hum has %d lines, of %q", len(s.Lines), s.Block)
	}
	c := chaintest.Chain(t, "buffer: {kind: buffer}", "buffer", "guitar.pickup: single-coil", "guitar.volume: 5")
	sum := 0.0
	for n := 1.0; n <= 10; n++ {
		sum += 1 / (n * n)
	}
	flat, weighted := 0.0, 0.0
	for k, line := range s.Lines {
		n := float64(k + 1)
		h, err := render.PlanOf(c, 48000, section.Draft).Response("out", dsp.Hertz(50*n))
		if err != nil {
			t.Fatal(err)
		}
		// h is that of what is played, of which this pickup gives less than the recording's
		want := 2e-3 * 2e-3 / (n * n) / sum * dsp.Abs2(h) / math.Pow(c.GuitarLevel(), 2)
		if line.Frequency != 50*n || math.Abs(10*math.Log10(line.Power/want)) > 0.001 {
			t.Errorf("line %d: %v Hz, %g V², want %v Hz, %g V²", k+1, line.Frequency, line.Power, 50*n, want)
		}
		flat += want
		weighted += want * math.Pow(10, measure.AWeightingDB(50*n)/10)
	}
	if got := s.power(l, Flat); math.Abs(got/flat-1) > 1e-3 {
		t.Errorf("hum of %g V², want %g", got, flat)
	}
	if got := s.power(l, AWeighted); math.Abs(got/weighted-1) > 1e-3 {
		t.Errorf("A-weighted hum of %g V², want %g", got, weighted)
	}
	if s, _ := hum("guitar.pickup: single-coil"); s.Lines == nil {
		t.Error("a single-coil has no hum unless the file says so")
	}
	if s, _ := hum("guitar.pickup: single-coil", "guitar.hum: 0 V"); s.Lines != nil {
		t.Error("a hum of 0 V is some")
	}
	if s, _ := hum(); s.Lines != nil {
		t.Error("a humbucker has hum")
	}
}

// A move's figures are those of the chain with that order.
func TestNoiseMoves(t *testing.T) {
	const blocks = "fuzz: {kind: fuzz}; buffer: {kind: buffer}; eq: {kind: eq, level: 12 dB}"
	moves, err := Moves(chaintest.Chain(t, blocks, "fuzz, buffer, eq"), 48000)
	if err != nil {
		t.Fatal(err)
	}
	if len(moves) != 4 { // each of three to two places, and those of neighbours come to the same
		t.Fatalf("%d moves of 3 blocks, want 4", len(moves))
	}
	now, err := At(chaintest.Chain(t, blocks, "fuzz, buffer, eq"), 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	then, err := At(chaintest.Chain(t, blocks, "eq, fuzz, buffer"), 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	want := dsp.ToDB(then.RMS(AWeighted) / now.RMS(AWeighted))
	at := slices.IndexFunc(moves, func(m Move) bool { return m.First == "eq" && m.Behind == "guitar" })
	if at < 0 {
		t.Fatalf("no move of eq to the front in %v", moves)
	}
	if got := moves[at].NoiseDB; math.Abs(got-want) > 0.05 {
		t.Errorf("eq to the front: %.2f dB, want %.2f: the ledger of that order", got, want)
	}
	if math.Abs(want) < 3 {
		t.Errorf("the move changes only %.2f dB; the check sees nothing", want)
	}
}

// Where nothing comes through, no move makes it less or more.
func TestNoiseMovesOfNothing(t *testing.T) {
	c := chaintest.Chain(t, "low: {kind: octave-down, direct: 0, octave: 0, two_octaves: 0}; buffer: {kind: buffer}", "low, buffer")
	moves, err := Moves(c, 48000)
	if err != nil || len(moves) != 0 {
		t.Errorf("%+v, %v; want none", moves, err)
	}
}

// TestAmplifiersStay holds that no move of an amplifier's part is proposed, and none of a pedal
// behind its power; one into its effects loop is.
func TestAmplifiersStay(t *testing.T) {
	moves, err := Moves(chaintest.Chain(t, `  eq: {kind: eq}
  echo: {kind: delay}
  amp: {kind: preamp}
  power: {kind: poweramp}
  box: {kind: speaker}
`, "eq, echo, amp, power, box"), 48000)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, m := range moves {
		list = append(list, m.String())
	}
	if got, want := strings.Join(list, ", "), "eq behind echo, eq behind amp, echo behind amp"; got != want {
		t.Errorf("moves: %s, want %s", got, want)
	}
}

// noiseCases are sections whose noise was worked out by a general circuit simulator: the block's
// driving source, the node.
var noiseCases = []struct {
	name, blocks, order string
	set                 []string
	input, node         string
}{
	{"guitar", "buffer: {kind: buffer}", "buffer", []string{"guitar.pickup: single-coil", "guitar.volume: 6", "guitar.tone: 4"}, "Vdry", "buffer.in"},
	{"fuzz-silicon", "fuzz: {kind: fuzz, fuzz: 9}; pedal: {kind: volume, volume: 6}", "fuzz, pedal", nil, "Vdry", "out"},
	{"fuzz-germanium", "buffer: {kind: buffer}; fuzz: {kind: fuzz, device: germanium, fuzz: 5}", "buffer, fuzz", nil, "buffer.follower", "fuzz.out"},
}

// Circuits make the noise that a general circuit simulator says, at every point of its frequency
// axis. With UPDATE=1 the simulator is run again.
func TestNoiseReference(t *testing.T) {
	const bound = 0.1 // dB
	for _, c := range noiseCases {
		w := render.PlanOf(chaintest.Chain(t, c.blocks, c.order, c.set...), 48000, section.Normal)
		part := w.Section(c.node)
		deck := part.Deck(circuit.Deck{
			Title: "noise of the section with " + c.node, Noise: true,
			Lines: []string{
				fmt.Sprintf(".noise v(%s) V%s dec 10 20 20000", circuit.SPICEName(c.node), strings.TrimPrefix(circuit.SPICEName(c.input), "V")),
				".print noise onoise_spectrum",
			},
		})
		base := filepath.Join("testdata", "noise", c.name)
		if os.Getenv("UPDATE") == "1" {
			storeNoise(t, base, deck)
		}
		stored, err := os.ReadFile(base + ".cir")
		if err != nil {
			t.Fatal(err)
		}
		if string(stored) != deck {
			t.Errorf("%s: the circuit is another one than that which the reference was made with: run with UPDATE=1 where ngspice is, and read the difference", c.name)
			continue
		}
		ac, err := part.AC()
		if err != nil {
			t.Fatal(err)
		}
		worst, count := 0.0, 0
		text, err := os.ReadFile(base + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(string(text), "\n") {
			if line == "" || line[0] == '#' {
				continue
			}
			var f, want float64
			if _, err := fmt.Sscan(line, &f, &want); err != nil {
				t.Fatalf("%s: %q: %v", base, line, err)
			}
			sum := 0.0
			for _, e := range ac.Noise(c.node, dsp.Hertz(f)) {
				sum += e.Density
			}
			worst = max(worst, math.Abs(dsp.ToDB(math.Sqrt(sum)/want)))
			count++
		}
		if count != 31 || !(worst <= bound) { // three decades of ten points
			t.Errorf("%s: %.4f dB off over %d frequencies, want %v dB over 31", c.name, worst, count, bound)
		}
		t.Logf("%s: worst %.5f dB", c.name, worst)
	}
}

// The noise of an overdrive's input on a humbucker is that of a transistor there, by its device's
// card: shot and flicker noise of its base current, its base's resistance, and what its emitter
// gives. The transistor's input loads the guitar as well, with 310 times 10 kΩ, which the stage
// does not.
func TestFollowerNoise(t *testing.T) {
	const bound = 0.5 // dB: its base current and its gain are not quite those of the stage
	part := render.PlanOf(chaintest.Chain(t, "drive: {kind: overdrive}", "drive"), 48000, section.Normal).Section("drive.base")
	deck := part.Deck(circuit.Deck{
		Title: "noise of a follower behind a humbucker",
		Lines: []string{
			"Vplus plus 0 DC 4.5", "Vminus minus 0 DC -4.5", "Re follower minus 10k", "Qf plus drive_base follower qf",
			".model qf NPN(IS=1e-14 BF=300 VAF=100 RB=200 KF=" + fmt.Sprint(2*circuit.Charge*200) + " AF=1)",
			".noise v(follower) Vdry dec 10 20 20000", ".print noise onoise_spectrum",
		},
	})
	base := filepath.Join("testdata", "noise", "follower")
	if os.Getenv("UPDATE") == "1" {
		storeNoise(t, base, deck)
	}
	if stored, err := os.ReadFile(base + ".cir"); err != nil || string(stored) != deck {
		t.Fatalf("the circuit is another one than that which the reference was made with (%v)", err)
	}
	part.ColdR("loading", "drive.base", "0", 3.1e6)
	ac, err := part.AC()
	if err != nil {
		t.Fatal(err)
	}
	w := render.PlanOf(chaintest.Chain(t, "drive: {kind: overdrive}", "drive"), 48000, section.Normal)
	stage := w.Stages[slices.IndexFunc(w.Stages, func(s blocks.Stage) bool { return s.Name == "drive.input" })]
	text, err := os.ReadFile(base + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	worst, count := 0.0, 0
	for _, line := range strings.Split(string(text), "\n") {
		var f, want float64
		if n, _ := fmt.Sscan(line, &f, &want); n != 2 {
			continue
		}
		sum := stage.Noise * stage.Noise
		for _, e := range ac.Noise("drive.base", dsp.Hertz(f)) {
			sum += e.Density
		}
		off := dsp.ToDB(math.Sqrt(sum) / want)
		worst = max(worst, math.Abs(off))
		count++
	}
	if count != 31 || !(worst <= bound) {
		t.Errorf("%.2f dB off over %d frequencies, want %v dB over 31", worst, count, bound)
	}
}

// What an input's noise current makes of a humbucker's impedance is 4 to 6 dB(A) at the jack, and
// is gone behind a buffer.
func TestCurrentNoiseIsAnEffectOfOrder(t *testing.T) {
	const kinds = "buffer: {kind: buffer}; drive: {kind: overdrive}"
	rise := func(order, jack string) float64 {
		l, err := At(chaintest.Chain(t, kinds, order), 48000, jack)
		if err != nil {
			t.Fatal(err)
		}
		whole, current := math.Pow(l.RMS(AWeighted), 2), 0.0
		for k, s := range l.Shares {
			if s.Element == "drive.input.ib" {
				current += l.Power(k, AWeighted)
			}
		}
		return -10 * math.Log10(1-current/whole)
	}
	direct, behind := rise("drive", "drive.in"), rise("buffer, drive", "drive.in")
	t.Logf("%.2f dB(A) on the guitar, %.3f behind a buffer", direct, behind)
	if !(direct >= 4 && direct <= 6.5) || !(behind < 0.1) {
		t.Errorf("noise current adds %.2f dB(A) on a humbucker and %.2f behind a buffer, want 4 to 6.4 and none", direct, behind)
	}
}

// storeNoise runs the deck in the simulator and keeps it with what it says.
func storeNoise(t *testing.T, base, deck string) {
	t.Helper()
	if err := os.WriteFile(base+".cir", []byte(deck), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("ngspice", "-b", base+".cir").Output()
	if err != nil {
		t.Fatalf("ngspice: %v", err)
	}
	version, err := exec.Command("ngspice", "--version").Output()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	for _, line := range strings.Split(string(version), "\n") {
		if strings.Contains(line, "ngspice-") {
			fmt.Fprintf(&b, "# %s\n", strings.Trim(line, "* "))
			break
		}
	}
	fmt.Fprintf(&b, "# ngspice -b %s.cir\n# Hz, then V/sqrt(Hz): onoise_spectrum\n", filepath.Base(base))
	for _, line := range strings.Split(string(out), "\n") {
		fields := strings.Fields(line)
		if len(fields) != 3 {
			continue
		}
		if _, err := strconv.Atoi(fields[0]); err != nil {
			continue
		}
		fmt.Fprintf(&b, "%s %s\n", fields[1], fields[2])
	}
	if err := os.WriteFile(base+".txt", b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// A rendered noise run has the level and the third octaves that the ledger says: at every jack of a
// chain with guitar, circuits, stages and echoes.
func TestNoiseRendered(t *testing.T) {
	const rate, bound = 48000, 0.5 // Hz, dB
	for _, c := range []*board.Chain{
		chaintest.Chain(t, "fuzz: {kind: fuzz, fuzz: 4}; buffer: {kind: buffer}; echo: {kind: delay, time: 90 ms, mix: 50 %}; plate: {kind: reverb, decay: 800 ms, mix: 50 %}", "buffer, fuzz, echo, plate"),
		// hum is no noise
		chaintest.Chain(t, "eq: {kind: eq, high: 12 dB}; pedal: {kind: volume, volume: 5}; press: {kind: compressor, level: 20 dB}", "eq, pedal, press", "guitar.pickup: single-coil", "guitar.hum: 0 V"),
		// What meets again behind memory: in the mean of two paths, of which one leads through an
		// echo and a plate, and of a chorus' two outputs.
		chaintest.TakeOf(t, chaintest.Board(t, "blocks: {fuzz: {kind: fuzz, fuzz: 4}, buffer: {kind: buffer}, echo: {kind: delay, time: 90 ms, mix: 50 %}, "+
			"plate: {kind: reverb, decay: 800 ms, mix: 50 %}}\norder: [fuzz, buffer, {split: {left: [], right: [echo, plate], mix: mono}}]\ntakes: [{name: met}]"), "met"),
		chaintest.TakeOf(t, chaintest.Board(t, "blocks: {fuzz: {kind: fuzz, fuzz: 4}, wide: {kind: chorus, stereo: on}, "+
			"plate: {kind: reverb, decay: 800 ms, mix: 50 %}}\norder: [fuzz, wide, {split: {left: [], right: [plate], mix: mono}}]\ntakes: [{name: wide}]"), "wide"),
	} {
		jacks := []string{"guitar", c.Blocks[1].Name + ".out", "out"}
		r, err := render.PlanOf(c, rate, section.Draft).Renderer(jacks...)
		if err != nil {
			t.Fatal(err)
		}
		if err := AddNoise(r, 7); err != nil {
			t.Fatal(err)
		}
		out := runNoise(t, r, make([]float64, 7*rate))
		for k, jack := range jacks {
			l, err := At(c, rate, jack)
			if err != nil {
				t.Fatal(err)
			}
			x := out[k][2*rate:] // the tails have filled
			s, err := measure.Welch(x, rate, 1<<14)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range []struct {
				name      string
				got, want float64
			}{
				{"20 Hz to 20 kHz", math.Sqrt(s.Power(20, 20000)), l.RMS(Flat)},
				{"A-weighted", math.Sqrt(s.Power(20, 20000)) * s.WeightedRMS(bandA) / s.WeightedRMS(bandFlat), l.RMS(AWeighted)},
			} {
				off := dsp.ToDB(w.got / w.want)
				t.Logf("%s %s: %.2f dBu, off by %+.3f dB", jack, w.name, dsp.VoltsToDBu(w.got), off)
				if !(math.Abs(off) <= bound) {
					t.Errorf("order %s, %s, %s: rendered %.2f dBu, ledger %.2f dBu: want within %v dB", c.Blocks[0].Name, jack, w.name, dsp.VoltsToDBu(w.got), dsp.VoltsToDBu(w.want), bound)
				}
			}
		}
	}
}

func bandFlat(f float64) float64 {
	if f < 20 || f > 20000 {
		return math.Inf(-1)
	}
	return 0
}

func bandA(f float64) float64 { return bandFlat(f) + measure.AWeightingDB(f) }

func runNoise(t *testing.T, r *render.Renderer, in []float64) [][]float64 {
	t.Helper()
	out := make([][]float64, len(r.Taps))
	if err := r.Run(t.Context(), render.Volts(in), 0, func(taps [][]float64) error {
		for k, x := range taps {
			out[k] = append(out[k], x...)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// The rendered noise is the same however the recording comes, another with another seed, and gone
// when it is not asked for.
func TestRenderedNoiseIsASeed(t *testing.T) {
	const n = 20000
	make_ := func(seed uint64, noisy bool, src render.Source) []float64 {
		r, err := render.PlanOf(chaintest.Chain(t, "buffer: {kind: buffer}", "buffer"), 48000, section.Draft).Renderer("out")
		if err != nil {
			t.Fatal(err)
		}
		if noisy {
			if err := AddNoise(r, seed); err != nil {
				t.Fatal(err)
			}
		}
		var out []float64
		if err := r.Run(t.Context(), src, 0, func(taps [][]float64) error { out = append(out, taps[0]...); return nil }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	silence := make([]float64, n)
	one := make_(1, true, render.Volts(silence))
	if cut := make_(1, true, &chaintest.Ragged{Rest: silence, Sizes: []int{1, 7, 64, 479}}); !slices.Equal(one, cut) {
		t.Error("the noise follows the length of the calls")
	}
	if two := make_(2, true, render.Volts(silence)); slices.Equal(one, two) {
		t.Error("another seed gives the same noise")
	}
	if still := make_(1, false, render.Volts(silence)); slices.ContainsFunc(still, func(x float64) bool { return x != 0 }) {
		t.Error("a chain without noise is not silent")
	}
}

func BenchmarkNoise(b *testing.B) {
	c := demoChains(b)[0]
	for b.Loop() {
		if _, err := At(c, 48000, "out"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNoiseMoves(b *testing.B) {
	c := demoChains(b)[0]
	for b.Loop() {
		if _, err := Moves(c, 48000); err != nil {
			b.Fatal(err)
		}
	}
}

// Every kind of block has a ledger, whole, with something in it of the block's own unless it makes
// no noise.
func TestNoiseOfEveryKind(t *testing.T) {
	kinds := blocks.Kinds()
	if len(kinds) == 0 {
		t.Fatal("no kinds")
	}
	for _, k := range kinds {
		list, order := "it: {kind: "+k.Name+"}", "it"
		if k.Drives {
			list, order = list+"; box: {kind: load-box}", "it, box"
		}
		c := chaintest.Chain(t, list, order)
		l, err := At(c, 48000, "out")
		if err != nil {
			t.Errorf("%s: %v", k.Name, err)
			continue
		}
		if rms := l.RMS(AWeighted) + l.ApartRMS(AWeighted); !(rms > 1e-9 && rms < 1) {
			t.Errorf("%s: %g V of noise", k.Name, rms)
		}
		if own := slices.ContainsFunc(slices.Concat(l.Shares, l.Apart), func(s Share) bool { return s.Block == "it" }); !own && k.Name != "cable" {
			t.Errorf("%s makes no noise of its own", k.Name)
		}
	}
}

// Where two equal paths meet again in their mean, what was before them comes through as on one, for
// it adds up as a voltage; what each makes itself is half as much, for it does not know of the
// other's.
func TestNoiseOfPathsThatMeet(t *testing.T) {
	file := chaintest.MustParse(t, `
drywire: 1
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks: {drive: {kind: overdrive}, a: {kind: buffer}, b: {kind: buffer}, echo: {kind: delay, mix: 30 %}, flat: {kind: eq}}
order: [drive, {split: {left: [a], right: [b], mix: mono}}]
takes:
  - {name: equal}
  - {name: flat, order: [drive, {split: {left: [a], right: [flat], mix: mono}}]}
  - {name: stereo, order: [drive, {split: {left: [a], right: [b, echo]}}]}
  - {name: echo, order: [drive, {split: {left: [a], right: [b, echo], mix: mono}}]}
`)
	c, err := file.Take("equal")
	if err != nil {
		t.Fatal(err)
	}
	power := func(jack, element string) float64 {
		l, err := At(c, 48000, jack)
		if err != nil {
			t.Fatal(err)
		}
		at := slices.IndexFunc(l.Shares, func(s Share) bool { return s.Element == element })
		if at < 0 {
			t.Fatalf("%s: no share of %s", jack, element)
		}
		return l.Power(at, Flat)
	}
	for _, e := range []struct {
		element string
		// dB, mean over one path: 0 for what both have, half the voltage for what one has
		want float64
	}{
		{"guitar.winding", 0}, {"drive.input", 0}, {"a.follower", 20 * math.Log10(0.5)},
	} {
		if got := 10 * math.Log10(power("out", e.element)/power("out.left", e.element)); !(math.Abs(got-e.want) < 0.001) {
			t.Errorf("%s: %.4f dB from the left path to the mean, want %.4f", e.element, got, e.want)
		}
	}
	// An equaliser without gain in one path is as good as a buffer there: it adds no phase.
	if c, err = file.Take("flat"); err != nil {
		t.Fatal(err)
	}
	if got := 10 * math.Log10(power("out", "drive.input")/power("out.left", "drive.input")); !(math.Abs(got) < 0.001) {
		t.Errorf("with a flat equaliser in one path: %.4f dB to the mean, want 0", got)
	}
	if c, err = file.Take("echo"); err != nil {
		t.Fatal(err)
	}
	// Of what comes before, the mean of a and of an echo's direct sound d and repeats: (a+d)²/4 and
	// a quarter of the repeats' power, which is what the echo has over d².
	direct := 0.7 // of a mix of 30 %
	at := func(jack string) float64 { return power(jack, "drive.input") }
	want := 0.25*(1+direct)*(1+direct)*at("out.left") + 0.25*(at("out.right")-direct*direct*at("out.left"))
	if got := 10 * math.Log10(at("out")/want); !(math.Abs(got) < 0.05) {
		t.Errorf("with an echo in one path: %+.4f dB from the closed form", got)
	}
	// In stereo, a room has the power of both ends.
	if c, err = file.Take("stereo"); err != nil {
		t.Fatal(err)
	}
	if got, want := at("out"), at("out.left")+at("out.right"); !(math.Abs(got/want-1) < 1e-9) {
		t.Errorf("both ends: %g V², want %g", got, want)
	}
}

// The response of a cabinet's recording, line by line, is one transform, and what the block states
// at each frequency. By the latter, a second of it takes a minute of processor time.
func TestCombOfACabinet(t *testing.T) {
	x := make([]float64, 3000)
	for k := range x {
		x[k] = math.Exp(-float64(k)/400) * math.Sin(float64(k*k%1001))
	}
	read, err := board.NewCabinet("cab.wav", x, 44100) // as resampled it begins before time zero
	if err != nil {
		t.Fatal(err)
	}
	f := chaintest.MustParse(t, "drywire: 1\nrecording: {sample: riff}\nblocks: {cab: {kind: speaker, file: cab.wav}}\norder: [cab]\n").WithCabinets([]*board.Cabinet{read})
	w := render.PlanOf(f.Chains()[0], 48000, section.Draft)
	m := newNoiseMeter(48000, noiseCells)
	m.setLines(w.Tail())
	for _, s := range w.Stages {
		core, ok := s.Shape().(blocks.Responder)
		if _, finite := s.Shape().(blocks.Finite); !ok || !finite {
			continue
		}
		h := m.combOf(s, 0, 0).at(0, make([]complex128, m.lines/2+1))
		for k := 1; k < len(h); k += 9973 {
			if want := core.Response(dsp.Hertz(48000 * float64(k) / float64(m.lines))); cmplx.Abs(h[k]-want) > 1e-5*max(1, cmplx.Abs(want)) {
				t.Errorf("line %d is %v, the block states %v", k, h[k], want)
			}
		}
		return
	}
	t.Error("the cabinet is no finite response")
}
