package chains_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// The classic questions of order, each asked by a shipped chain file and answered here with a
// number, rendered through that file. What players expect is common practice, no source. Where a
// bound is more than "less" or "more", a circuit, a closed form or the ear gives it, and the test
// says which.

const classicRate = 48000

// shippedTake is a take of a shipped file.
func shippedTake(t *testing.T, file, take string) *board.Chain {
	t.Helper()
	return chaintest.TakeOf(t, chaintest.ShippedFile(t, file), take)
}

// played is what a jack of a shipped take has for a recording in volts, at draft quality.
func played(t *testing.T, file, take, jack string, in []float64) []float64 {
	t.Helper()
	return rendertest.Render(t, shippedTake(t, file, take), classicRate, section.Draft, render.Volts(in), jack)[0]
}

// steady is the harmonics of a tone at a jack of a shipped take, after 0.3 s in which it settles.
func steady(t *testing.T, file, take, jack string, hz, peak float64) measure.Harmonics {
	t.Helper()
	y := played(t, file, take, jack, chaintest.Tone(classicRate/2, classicRate, hz, peak))
	h, err := measure.FitHarmonics(y[classicRate*3/10:], classicRate, hz, 40)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// line is the peak amplitude of a frequency in x, by its transform under a Hann window.
func line(x []float64, hz float64) float64 {
	var sum complex128
	for k, v := range x {
		w := 1 - math.Cos(2*math.Pi*float64(k)/float64(len(x)))
		sum += complex(v*w, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz/classicRate*float64(k)))
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// atRest is the A-weighted noise in V at a jack of a shipped take.
func atRest(t *testing.T, file, take, jack string) float64 {
	t.Helper()
	l, err := noise.At(shippedTake(t, file, take), classicRate, jack)
	if err != nil {
		t.Fatal(err)
	}
	return l.RMS(noise.AWeighted)
}

// colourOf is where a block begins to colour in a take, in V peak at its input.
func colourOf(t *testing.T, c *board.Chain, block string) float64 {
	t.Helper()
	hands, err := wiring.Handovers(c, experiment.CeilingTone)
	if err != nil {
		t.Fatal(err)
	}
	for k, p := range c.Blocks {
		if p.Name != block {
			continue
		}
		l, err := experiment.CeilingOf(p, t.Context(), classicRate, dsp.Ohm(cmplx.Abs(hands[k].Source)), dsp.Ohm(cmplx.Abs(hands[k+1].Input)))
		if err != nil || !l.Colours.OK() {
			t.Fatalf("%s: colour of %s: %v, %v", c.Take, block, l, err)
		}
		return l.Colours.Value
	}
	t.Fatalf("%s: no block %s", c.Take, block)
	return 0
}

// gains is the small-signal gain in dB from the pickup to a jack at any frequency.
func gains(t *testing.T, c *board.Chain, jack string) func(hz float64) float64 {
	t.Helper()
	w := render.PlanOf(c, classicRate, section.Draft)
	return func(hz float64) float64 {
		h, err := w.Response(jack, dsp.Hertz(hz))
		if err != nil {
			t.Fatal(err)
		}
		return dsp.ToDB(cmplx.Abs(h))
	}
}

// share is how large a share of the samples is so.
func share(n int, is func(k int) bool) float64 {
	count := 0
	for k := range n {
		if is(k) {
			count++
		}
	}
	return float64(count) / float64(n)
}

// The shipped file of the question that every fuzz asks: with the guitar's volume at 3, a soft note
// comes out clean where the fuzz sees the guitar, and distorted behind a buffer as with the volume
// full, where the buffer also makes it brighter (common practice, no source; 10 dB as for the
// blocks alone).
func TestFuzzOrBufferFirst(t *testing.T) {
	const file = "fuzz-or-buffer-first"
	clean := steady(t, file, "fuzz first, volume rolled back", "fuzz.out", 330, chaintest.SoftNote).THD()
	dirty := steady(t, file, "buffered, volume rolled back", "fuzz.out", 330, chaintest.SoftNote).THD()
	full := steady(t, file, "fuzz first", "fuzz.out", 330, chaintest.SoftNote).THD()
	tilt := func(take string) float64 {
		gain := gains(t, shippedTake(t, file, take), "fuzz.out")
		return gain(3000) - gain(400)
	}
	more := tilt("buffered") - tilt("fuzz first")
	t.Logf("volume at 3: distortion %.1f %% with the fuzz first, %.1f %% buffered; full: %.1f %%; buffered is %.1f dB brighter", 100*clean, 100*dirty, 100*full, more)
	if full < 0.3 || clean > full/10 || dirty < 0.9*full {
		t.Errorf("distortion %.1f %%, want a fuzz's; rolled back %.1f %% with the fuzz first, want under a tenth of it, and %.1f %% buffered, want about as much", 100*full, 100*clean, 100*dirty)
	}
	if more < 10 {
		t.Errorf("buffered is %.1f dB brighter at 3 kHz re 400 Hz, want at least 10 dB", more)
	}
}

// A boost before a drive adds distortion and little level; after it, level and no distortion
// (common practice, no source). After it: the boost's 12 dB, of which its 100 Ω and the coupling
// cost some hundredths, and the same distortion. Before it, by the drive's own circuit: a
// non-inverting op-amp with diodes in its feedback puts out the note plus what stands across the
// diodes, and these let through n·Vt·asinh(i/(2·Is)); feedbackClipper is that in closed form.
//
// There the trade's rule ends: hit hard, such a drive gets cleaner again, because the note itself
// passes beside what the diodes hold. Another program says so too: ngspice 39.3 on the decks of
// "drywire netlist --tone '440 Hz 50 mV'" and 200 mV, with .four 440 v(out) over the last period,
// of ten harmonics.
func TestBoostBeforeOrAfterDrive(t *testing.T) {
	const file, hz, gain = "boost-before-or-after-drive", 440, 12.0
	want := dsp.FromDB(gain)
	for _, peak := range []float64{0.02, 0.05} { // V at the pickup: soft and hard single notes
		none := steady(t, file, "no boost", "out", hz, peak)
		before := steady(t, file, "boost before the drive", "out", hz, peak)
		after := steady(t, file, "boost after the drive", "out", hz, peak)
		level := func(h measure.Harmonics) float64 { return dsp.ToDB(h.Amplitude[0] / none.Amplitude[0]) }
		closed := dsp.ToDB(feedbackClipper(want*peak, hz) / feedbackClipper(peak, hz))
		t.Logf("%3.0f mV: no boost %.1f %%; before %+.1f dB (closed form %+.1f) and %.1f %%; after %+.2f dB and %.1f %%",
			1e3*peak, 100*none.THD(), level(before), closed, 100*before.THD(), level(after), 100*after.THD())
		if math.Abs(level(after)-gain) > 0.05 || math.Abs(after.THD()/none.THD()-1) > 0.02 {
			t.Errorf("%v V, after: %+.3f dB and distortion %.3f times, want %v dB within 0.05 and the same distortion within 2 %%", peak, level(after), after.THD()/none.THD(), gain)
		}
		if math.Abs(level(before)-closed) > 0.5 {
			t.Errorf("%v V, before: %+.2f dB, want %+.2f dB within 0.5", peak, level(before), closed)
		}
		if clips := none.THD() > 0.03; clips && level(before) > gain/2 {
			t.Errorf("%v V, before: %+.2f dB, want less than half of %v where the drive clips already", peak, level(before), gain)
		}
		if before.THD() < 1.5*none.THD() {
			t.Errorf("%v V, before: distortion %.1f %%, want half as much again as %.1f %%", peak, 100*before.THD(), 100*none.THD())
		}
	}
}

func TestBoostIntoADriveAgainstSpice(t *testing.T) {
	// 0.1 %, of the ratio to the fundamental: twice what the last period of 50 ms leaves open
	const file, tolTHD = "boost-before-or-after-drive", 0.001
	for _, c := range []struct {
		take      string
		peak, thd float64
	}{
		{"no boost", 0.05, 0.0411829},
		{"boost before the drive", 0.05, 0.121867},
		{"no boost", 0.2, 0.121854},
		{"boost before the drive", 0.2, 0.0913704},
	} {
		if got := steady(t, file, c.take, "out", 440, c.peak).THD(); math.Abs(got-c.thd) > tolTHD {
			t.Errorf("%s, %v V: distortion %.2f %%, ngspice has %.2f %%", c.take, c.peak, 100*got, 100*c.thd)
		}
	}
}

// feedbackClipper is the fundamental, in V peak, behind the diodes of the shipped overdrive at
// drive 2: i flows through 4.7 kΩ and 47 nF to the inverting input, and on through the feedback
// resistor and two diodes the other way round, without the op-amp's limits and the capacitor of 51
// pF. The values are the block's.
func feedbackClipper(peak, hz float64) float64 {
	leg := complex(4.7e3, -1/(2*math.Pi*hz*47e-9))
	feedback := 51e3 + 500e3*circuit.Audio.Wiper(0.2)
	const is, nvt, n = 2.52e-9, 1.752 * 25.85e-3, 4096
	i := complex(peak, 0) / leg
	sum := 0.0
	for k := range n {
		s := math.Sin(2 * math.Pi * float64(k) / n)
		lo, hi := -2.0, 2.0
		for range 60 {
			v := (lo + hi) / 2
			if v/feedback+2*is*math.Sinh(v/nvt) < cmplx.Abs(i)*s {
				lo = v
			} else {
				hi = v
			}
		}
		sum += lo * s
	}
	return cmplx.Abs(complex(peak, 0) + complex(2*sum/n, 0)*i/complex(cmplx.Abs(i), 0))
}

// A compressor before a drive makes soft notes as dirty as hard ones; after it, what the drive is
// driven by is as far apart as it was played (common practice, no source). Notes 20 dB apart, both
// over the threshold, reach the drive 20 dB/4 apart by the ratio of 4:1.
//
// Which order hisses more is disputed, and the circuit decides it. At rest both are amplifiers, and
// those may change places: the guitar's hum comes out the same. The loudest hiss is the
// compressor's own, which goes through the drive where the compressor comes first: the orders
// differ by what the drive's gain for soft sounds makes of a white noise, A-weighted.
func TestCompressorBeforeOrAfterDrive(t *testing.T) {
	const file = "compressor-before-or-after-drive"
	const soft, hard = 0.02, 0.2 // V at the pickup
	spread := func(take, jack string) (level, soften, harden float64) {
		s, h := steady(t, file, take, jack, 220, soft), steady(t, file, take, jack, 220, hard)
		return dsp.ToDB(h.Amplitude[0] / s.Amplitude[0]), s.THD(), h.THD()
	}
	first, _, _ := spread("compressor first", "drive.in")
	last, _, _ := spread("drive first", "drive.in")
	_, softFirst, hardFirst := spread("compressor first", "out")
	_, softLast, hardLast := spread("drive first", "out")
	_, softNone, hardNone := spread("no compressor", "out")
	t.Logf("into the drive, soft and hard are %.2f dB apart with the compressor first, %.2f dB with it last", first, last)
	t.Logf("distortion soft to hard: first %.1f to %.1f %%, last %.1f to %.1f %%, none %.1f to %.1f %%", 100*softFirst, 100*hardFirst, 100*softLast, 100*hardLast, 100*softNone, 100*hardNone)
	if math.Abs(first-20./4) > 0.1 || math.Abs(last-20) > 0.01 {
		t.Errorf("into the drive %.3f and %.3f dB apart, want 5 dB within 0.1 and 20 dB", first, last)
	}
	if hardFirst/softFirst > 0.5*hardLast/softLast {
		t.Errorf("hard over soft: distortion %.1f times with the compressor first, %.1f times with it last", hardFirst/softFirst, hardLast/softLast)
	}
	for _, d := range [][2]float64{{softLast, softNone}, {hardLast, hardNone}} {
		if math.Abs(d[0]/d[1]-1) > 0.03 {
			t.Errorf("compressor last: distortion %.2f %%, want that without it, %.2f %%, within 3 %%", 100*d[0], 100*d[1])
		}
	}
	made := func(take, who, cause string) float64 {
		l, err := noise.At(shippedTake(t, file, take), classicRate, "out")
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for k, s := range l.Shares {
			if s.Block == who && s.Cause == cause {
				sum += l.Power(k, noise.AWeighted)
			}
		}
		return dsp.ToDB(sum) / 2
	}
	hum := made("compressor first", "guitar", "hum") - made("drive first", "guitar", "hum")
	hiss := made("compressor first", "press", "stage") - made("drive first", "press", "stage")
	driven := shippedTake(t, file, "drive first")
	in, out := gains(t, driven, "drive.in"), gains(t, driven, "drive.out")
	var before, behind float64
	for f := 20.0; f < 20e3; f *= 1.05 {
		// of white noise, in a cell of a logarithmic axis
		power := f * math.Pow(10, noise.AWeighted(f)/10)
		before += power
		behind += power * math.Pow(10, (out(f)-in(f))/10)
	}
	want := dsp.ToDB(behind/before) / 2
	t.Logf("at rest, the compressor first in place of last: the guitar's hum %+.2f dB, the compressor's hiss %+.1f dB; the drive's gain makes %+.1f dB of white noise", hum, hiss, want)
	if math.Abs(hum) > 0.5 {
		t.Errorf("the hum differs by %.2f dB between the orders, want at most 0.5 dB", hum)
	}
	if math.Abs(hiss-want) > 0.25 {
		t.Errorf("the compressor's hiss differs by %.2f dB between the orders, want the drive's gain of %.2f dB within 0.25 dB", hiss, want)
	}
}

// What an overdrive of this kind is for, and what makes it thin: the leg that sets its gain, 4.7 kΩ
// and 47 nF, lets the bass have less of it. From 300 Hz down to 80 Hz it loses the ratio of that
// leg's impedances, 42.6 kΩ over 12.2 kΩ or 10.8 dB, by closed form, less what the clean input adds
// and the tone control takes from 300 Hz: 1.5 dB.
func TestOverdriveTakesTheBass(t *testing.T) {
	c := shippedTake(t, "compressor-before-or-after-drive", "no compressor")
	in, out := gains(t, c, "drive.in"), gains(t, c, "drive.out")
	lost := out(300) - in(300) - (out(80) - in(80))
	t.Logf("from 300 to 80 Hz the drive loses %.1f dB", lost)
	if math.Abs(lost-10.8) > 1.5 {
		t.Errorf("from 300 to 80 Hz the drive loses %.2f dB, want 10.8 within 1.5", lost)
	}
}

// The hill that makes it muddy: 10 dB at its middle, as its knob says. Behind the drive the chord has
// more from 200 to 500 Hz by most of that; in front of it the drive, which clips, evens a part of it
// out (common practice, no source), and not all: the order is not what cures it.
func TestLowMidsBeforeOrAfterDrive(t *testing.T) {
	const file = "low-mids-before-or-after-drive"
	c := shippedTake(t, file, "drive first")
	in, out := gains(t, c, "warm.in"), gains(t, c, "warm.out")
	if hill := out(320) - in(320); math.Abs(hill-10) > 0.1 {
		t.Errorf("the hill is %.2f dB high, want 10", hill)
	}
	mud := func(take string) float64 {
		y := played(t, file, take, "out", chaintest.Chord(classicRate/2, classicRate))
		s, err := measure.Welch(y[classicRate/10:], classicRate, 8192)
		if err != nil {
			t.Fatal(err)
		}
		inside := s.Power(200, 500)
		return dsp.ToDB(inside/(s.Power(20, 20e3)-inside)) / 2
	}
	behind, before := mud("drive first")-mud("no warmth"), mud("warmth first")-mud("no warmth")
	t.Logf("200 to 500 Hz over the rest: %+.1f dB behind the drive, %+.1f dB in front of it", behind, before)
	if behind < before+0.5 || before < 1 || behind > 10 {
		t.Errorf("%+.2f dB behind the drive and %+.2f dB in front of it; want less in front, and not nothing", behind, before)
	}
}

// A triode clips where its grid takes current or its plate has next to none (5 % of what it has at
// rest). The second grid takes a microampere, half a volt across the 470 kΩ before it, at 0.25 V
// under its cathode: by the triode's curve, Gg·(ln(1 + exp(Cg·v))/Cg)^ξ. A mid cut before the gain
// lowers the share of the time in which it does; behind it, it comes too late for the preamplifier
// and lowers only what reaches the power amplifier (common practice, no source).
func TestMidCutBeforeGain(t *testing.T) {
	const file = "mid-cut-before-gain"
	in := chaintest.Chord(classicRate, classicRate)
	for k := range in {
		in[k] *= 2.5 // 0.24 V peak, as the shipped riff has
	}
	memo := render.NewMemo(in, classicRate, section.Draft, 1<<28)
	clipping := func(take string) (triode, power float64) {
		c := shippedTake(t, file, take)
		w := render.PlanOf(c, classicRate, section.Draft)
		at := func(node string) []float64 {
			y, err := memo.Signal(t.Context(), w, node)
			if err != nil {
				t.Fatal(err)
			}
			return y
		}
		grid, cathode, plate := at("amp.g2"), at("amp.k2"), at("amp.p2")
		const supply = 300 // V
		rest := supply - plate[0]
		triode = share(len(grid), func(k int) bool { return grid[k] > cathode[k]-0.25 || supply-plate[k] < 0.05*rest })
		colours, into := colourOf(t, c, "power"), at("power.in")
		power = share(len(into), func(k int) bool { return math.Abs(into[k]) > colours })
		t.Logf("%s: second triode clips %.1f %% of the time, power amplifier %.1f %%", take, 100*triode, 100*power)
		return triode, power
	}
	triode, power := clipping("no cut")
	triodeBefore, powerBefore := clipping("mids cut before the gain")
	triodeAfter, powerAfter := clipping("mids cut after the gain")
	if triode < 0.02 || power < 0.02 {
		t.Errorf("without a cut the amplifier clips %.1f and %.1f %% of the time: too clean to ask", 100*triode, 100*power)
	}
	if triodeBefore > triode/2 || powerBefore > power {
		t.Errorf("cut before: %.1f and %.1f %%, want at most half of %.1f and less than %.1f %%", 100*triodeBefore, 100*powerBefore, 100*triode, 100*power)
	}
	if math.Abs(triodeAfter/triode-1) > 0.02 {
		t.Errorf("cut after: the triode clips %.2f %% of the time, want %.2f %% within 2 %% of it", 100*triodeAfter, 100*triode)
	}
	if powerAfter > power {
		t.Errorf("cut after: the power amplifier clips %.1f %% of the time, want less than %.1f %%", 100*powerAfter, 100*power)
	}
}

// An equaliser after a distortion changes every harmonic by its curve; before it, it changes none
// that the distortion makes of a note which the curve leaves alone, but it changes what clips
// (common practice, no source). The note is at 440 Hz, between the two shelves; the low one at 82
// Hz is in the lower shelf, and what it does to the higher one is the third-order products at 440
// Hz ± twice 82 Hz.
func TestEqualizerBeforeOrAfterDistortion(t *testing.T) {
	const file, hz = "eq-before-or-after-distortion", 440.0
	flat := steady(t, file, "flat", "out", hz, 0.1)
	first := steady(t, file, "equaliser first", "out", hz, 0.1)
	last := steady(t, file, "distortion first", "out", hz, 0.1)
	behind := func(take string) func(hz float64) float64 {
		c := shippedTake(t, file, take)
		in, out := gains(t, c, "hard.in"), gains(t, c, "out")
		return func(hz float64) float64 { return out(hz) - in(hz) }
	}
	curved, plain := behind("distortion first"), behind("flat")
	worst, moved := 0.0, 0.0
	var fizz [3]float64 // power above 4 kHz
	for k := range flat.Amplitude {
		f := hz * float64(k+1)
		if k%2 != 0 || f > 15e3 { // a symmetric clipper has odd harmonics
			continue
		}
		curve := curved(f) - plain(f) // and what it is as a load, in place of the long cable
		worst = max(worst, math.Abs(dsp.ToDB(last.Amplitude[k]/flat.Amplitude[k])-curve))
		moved = max(moved, math.Abs(dsp.ToDB(first.Amplitude[k]/flat.Amplitude[k])))
		if f > 4e3 {
			for n, h := range []measure.Harmonics{flat, first, last} {
				fizz[n] += h.Amplitude[k] * h.Amplitude[k]
			}
		}
	}
	t.Logf("harmonics over 4 kHz: %+.2f dB with the equaliser first, %+.2f dB with it last", dsp.ToDB(fizz[1]/fizz[0])/2, dsp.ToDB(fizz[2]/fizz[0])/2)
	t.Logf("equaliser last: every harmonic within %.2f dB of its curve; first: none moves more than %.2f dB", worst, moved)
	if worst > 0.05 {
		t.Errorf("equaliser last: a harmonic is %.2f dB off the curve, want at most 0.05 dB", worst)
	}
	if moved > 1 {
		t.Errorf("equaliser first: a harmonic moves by %.2f dB, want at most 1 dB", moved)
	}
	two := chaintest.Tone(classicRate, classicRate, hz, 0.03)
	for k, x := range chaintest.Tone(classicRate, classicRate, 82, 0.1) {
		two[k] += x
	}
	mud := func(take string) float64 {
		y := played(t, file, take, "out", two)[classicRate/2:]
		return dsp.ToDB((line(y, hz-164) + line(y, hz+164)) / line(y, hz) / 2)
	}
	before, after, none := mud("equaliser first"), mud("distortion first"), mud("flat")
	t.Logf("what the low note does to the high one: %.1f dB with the equaliser first, %.1f dB with it last, %.1f dB flat", before, after, none)
	if before > none-3 {
		t.Errorf("equaliser first: products %.1f dB, want 3 dB under the %.1f dB without it", before, none)
	}
	if math.Abs(after-none) > 1 {
		t.Errorf("equaliser last: products %.1f dB, want the %.1f dB without it", after, none)
	}
}

// overlapping is a note of 400 Hz for 0.3 s and, where next is, one of 520 Hz from 0.36 s on, so
// that it sounds together with an echo of the first after 0.38 s.
func overlapping(next bool) []float64 {
	x := make([]float64, classicRate*3/4)
	add := func(hz, from, to float64) {
		const edge = 0.02 // s
		for k := range x {
			s := float64(k) / classicRate
			if s < from || s > to {
				continue
			}
			w := math.Sin(math.Pi / 2 * min(1, (s-from)/edge, (to-s)/edge))
			x[k] += 0.15 * w * w * math.Sin(2*math.Pi*hz*s)
		}
	}
	add(400, 0, 0.3)
	if next {
		add(520, 0.36, 0.7)
	}
	return x
}

// smear is how strong the strongest of the tones is that the echo of one note and the next make of
// each other, in dB re that note: the difference, the sum, and twice one less the other. echo is
// how loud the echo is where no note follows, in dB re its note.
func smear(t *testing.T, file, take, jack string) (smear, echo float64) {
	t.Helper()
	y := played(t, file, take, jack, overlapping(true))[classicRate*42/100 : classicRate*67/100]
	for _, hz := range []float64{120, 920, 280, 640} {
		smear = max(smear, line(y, hz)/line(y, 520))
	}
	y = played(t, file, take, jack, overlapping(false))
	echo = line(y[classicRate*42/100:classicRate*67/100], 400) / line(y[classicRate*4/100:classicRate*29/100], 400)
	t.Logf("%s, %s: smear %.1f dB, echo %.1f dB", take, jack, dsp.ToDB(smear), dsp.ToDB(echo))
	return dsp.ToDB(smear), dsp.ToDB(echo)
}

// What is linear makes no tones that nobody played; the bound is far above what double precision
// and the filters leave, and far below what is heard.
const noSmear = -100 // dB

// A delay before a drive smears, after it it does not (common practice, no source). After it, echo
// and note add up: no product, and the echo is as loud as the mix of 35 % says, 0.35/0.65. Before
// it, the two make products, and the drive brings the echo up.
func TestDelayBeforeOrAfterDrive(t *testing.T) {
	const file = "delay-before-or-after-drive"
	smearBefore, echoBefore := smear(t, file, "delay first", "out")
	smearAfter, echoAfter := smear(t, file, "drive first", "out")
	if smearAfter > noSmear {
		t.Errorf("drive first: products at %.1f dB, want at most %d dB", smearAfter, noSmear)
	}
	// 3 % of intermodulation, which a tone without other harmonics near does not hide
	if smearBefore < -30 {
		t.Errorf("delay first: products at %.1f dB, want at least -30 dB", smearBefore)
	}
	want := dsp.ToDB(0.35 / 0.65)
	if math.Abs(echoAfter-want) > 0.3 {
		t.Errorf("drive first: the echo is at %.2f dB, want the mix's %.2f dB within 0.3 dB", echoAfter, want)
	}
	if echoBefore < echoAfter+3 {
		t.Errorf("delay first: the echo is at %.2f dB, want it 3 dB over the mix's", echoBefore)
	}
}

// In an amplifier's loop a delay comes after the preamplifier's distortion, in front of it before
// it (common practice, no source). At the loop's return nothing has been smeared; at the speaker
// only what the power amplifier does, and that grows when everything is turned up.
func TestFrontEndOrEffectsLoop(t *testing.T) {
	const file = "front-end-or-effects-loop"
	front, echoFront := smear(t, file, "front end", "out")
	send, echoLoop := smear(t, file, "effects loop", "power.in")
	loop, _ := smear(t, file, "effects loop", "out")
	up, _ := smear(t, file, "effects loop, everything turned up", "out")
	if send > noSmear {
		t.Errorf("effects loop: products at %.1f dB before the power amplifier, want at most %d dB", send, noSmear)
	}
	if front < -30 || loop > -60 {
		t.Errorf("products at %.1f dB in the front end and %.1f dB in the loop, want over -30 dB and under -60 dB", front, loop)
	}
	if up < -30 {
		t.Errorf("everything turned up: products at %.1f dB; the power amplifier should smear too", up)
	}
	if echoFront < echoLoop+1 {
		t.Errorf("echo %.2f dB in the front end and %.2f dB in the loop, want it louder in the front", echoFront, echoLoop)
	}
}

// One buffer behind the fuzz keeps the long cable from its output; five more do next to nothing;
// one before the fuzz makes another fuzz of it. That buffers "suck tone" by their number is common
// practice, no source, and not so here: each costs 1 MΩ/(1 MΩ + 100 Ω), 0.0009 dB, and adds its 8
// nV/√Hz. What players hear of many buffers is not in these: poor ones, with a lower input
// impedance, or distortion and noise of their own.
func TestOneBufferTooMany(t *testing.T) {
	const file = "one-buffer-too-many"
	none, one, six, front := "no buffer", "one behind the fuzz", "six behind the fuzz", "one in front of the fuzz, too"
	withNone, withOne, withSix := gains(t, shippedTake(t, file, none), "out"), gains(t, shippedTake(t, file, one), "out"), gains(t, shippedTake(t, file, six), "out")
	saved := withOne(5000) - withOne(400) - withNone(5000) + withNone(400)
	cost := 0.0
	for f := 50.0; f < 16e3; f *= 1.5 {
		cost = max(cost, math.Abs(withSix(f)-withOne(f)))
	}
	hiss := dsp.ToDB(atRest(t, file, six, "out") / atRest(t, file, one, "out"))
	clean := steady(t, file, one, "out", 330, chaintest.SoftNote).THD()
	dirty := steady(t, file, front, "out", 330, chaintest.SoftNote).THD()
	t.Logf("the first behind the fuzz saves %.1f dB at 5 kHz; five more cost %.4f dB at most and %.2f dB of noise; one in front: a soft note's distortion %.1f %% in place of %.1f %%", saved, cost, hiss, 100*dirty, 100*clean)
	if saved < 3 {
		t.Errorf("the first buffer saves %.2f dB at 5 kHz, want at least 3 dB", saved)
	}
	if cost > 0.01 || hiss > 1 {
		t.Errorf("five more buffers cost %.3f dB and %.2f dB of noise, want at most 0.01 dB and 1 dB", cost, hiss)
	}
	if clean > 0.2 || dirty < 0.6 { // the same bounds as for a guitar rolled back
		t.Errorf("a soft note's distortion is %.1f %% without and %.1f %% with a buffer in front of the fuzz, want under 20 %% and over 60 %%", 100*clean, 100*dirty)
	}
}

// The pickup's resonance lies at 1/(2π·√(L·C)), C with all the cable that the guitar drives: 12 m
// and three patch cables in place of 6 m and one pull it down by the root of the ratio of the
// capacitances. The closed form leaves out the eddy current's branch and the pots, hence 5 %. That
// true bypass into a long cable costs treble is common practice, no source; it does at 5 kHz, but
// where the resonance has come down to there is more than before: a hump, not a loss.
func TestTrueBypassAndTwelveMetres(t *testing.T) {
	const file = "true-bypass-and-twelve-metres"
	resonance := func(take string) (hz, five, hump float64) {
		gain, top := gains(t, shippedTake(t, file, take), "out"), math.Inf(-1)
		for f := 1500.0; f < 8000; f *= 1.01 {
			if g := gain(f); g > top {
				top, hz = g, f
			}
		}
		five, hump = gain(5000)-gain(400), gain(2500)-gain(400)
		t.Logf("%s: resonance at %.0f Hz; re 400 Hz, 5 kHz at %+.1f dB and 2.5 kHz at %+.1f dB", take, hz, five, hump)
		return hz, five, hump
	}
	long, dull, much := resonance("true bypass")
	short, bright, less := resonance("a buffer first")
	_, last, _ := resonance("a buffer last")
	_, bypass, _ := resonance("one bypass that is buffered")
	c := shippedTake(t, file, "true bypass")
	const perMetre = 100e-12 // F
	pickup := float64(c.Guitar.Pickup.Capacitance)
	patches := float64(c.Patch) * float64(len(c.Blocks)-1)
	want := math.Sqrt((pickup + 12*perMetre + patches*perMetre) / (pickup + 6*perMetre))
	if math.Abs(short/long/want-1) > 0.05 {
		t.Errorf("resonance %.3f times higher with a buffer, want %.3f within 5 %%", short/long, want)
	}
	if bright-dull < 3 {
		t.Errorf("true bypass costs %.2f dB at 5 kHz, want at least 3 dB", bright-dull)
	}
	if much < less+1 {
		t.Errorf("true bypass gives %.2f dB at 2.5 kHz, a buffer %.2f dB; want the hump", much, less)
	}
	if math.Abs(bypass-bright) > 0.1 || last < dull+3 {
		t.Errorf("5 kHz: %.2f dB with one buffered bypass and %.2f dB with a buffer last, want %.2f dB and nearly that", bypass, last, bright)
	}
}

// A volume pedal before a drive cleans up, after it it is a fader (common practice, no source).
// Half way an audio taper lets 15 % through, -16.5 dB; late, that is the level's fall, and the
// distortion stays. Early, its track of 250 kΩ loads the pickup even with the toe down.
func TestVolumePedalEarlyOrLate(t *testing.T) {
	const file = "volume-pedal-early-or-late"
	early, late := steady(t, file, "pedal early, half way", "out", 440, 0.1), steady(t, file, "pedal late, half way", "out", 440, 0.1)
	earlyDown, lateDown := steady(t, file, "pedal early, toe down", "out", 440, 0.1), steady(t, file, "pedal late, toe down", "out", 440, 0.1)
	fall := func(h, down measure.Harmonics) float64 { return dsp.ToDB(h.Amplitude[0] / down.Amplitude[0]) }
	t.Logf("toe down to half way: early %.1f dB and %.1f to %.1f %%, late %.2f dB and %.1f to %.1f %%",
		fall(early, earlyDown), 100*earlyDown.THD(), 100*early.THD(), fall(late, lateDown), 100*lateDown.THD(), 100*late.THD())
	want := dsp.ToDB(circuit.Audio.Wiper(0.5))
	// the load of 1 MΩ beside the track costs 0.3 dB
	if got := fall(late, lateDown); math.Abs(got-want) > 0.5 {
		t.Errorf("late: %.2f dB, want %.2f dB within 0.5 dB", got, want)
	}
	if math.Abs(late.THD()/lateDown.THD()-1) > 0.02 {
		t.Errorf("late: distortion %.2f %%, want the %.2f %% with the toe down, within 2 %% of it", 100*late.THD(), 100*lateDown.THD())
	}
	if early.THD() > earlyDown.THD()/2 || fall(early, earlyDown) < want/2 {
		t.Errorf("early: distortion %.2f of %.2f %% and %.1f dB, want less than half and less of a fall than half of %.1f dB", 100*early.THD(), 100*earlyDown.THD(), fall(early, earlyDown), want)
	}
	tilt := func(take string) float64 {
		gain := gains(t, shippedTake(t, file, take), "drive.in")
		return gain(4000) - gain(400)
	}
	loss := tilt("pedal late, toe down") - tilt("pedal early, toe down")
	t.Logf("toe down, the early pedal costs %.1f dB at 4 kHz", loss)
	if loss < 1 {
		t.Errorf("toe down, the early pedal costs %.2f dB at 4 kHz, want what a listener can hear, 1 dB", loss)
	}
}

// A wah straight into a fuzz of low input impedance loses its sweep, with a buffer between or after
// the fuzz it keeps it (common practice, no source). The sweep is how far the highest place of its
// response moves from heel to toe; a wah that is not loaded has its resonance at 1/(2π·√(L·C·(1 +
// A·w))), see the block.
func TestWahBeforeOrAfterFuzz(t *testing.T) {
	const file = "wah-before-or-after-fuzz"
	peak := func(take string) (hz, height float64) {
		c := shippedTake(t, file, take)
		in, out := gains(t, c, "wah.in"), gains(t, c, "wah.out")
		height = math.Inf(-1)
		for f := 200.0; f < 5000; f *= 1.01 {
			if g := out(f) - in(f); g > height {
				hz, height = f, g
			}
		}
		return hz, height
	}
	sweep := func(way string) (octaves, height float64) {
		heel, _ := peak(way + ", heel")
		toe, height := peak(way + ", toe")
		t.Logf("%s: %.0f to %.0f Hz, %.1f octaves, %+.1f dB", way, heel, toe, math.Log2(toe/heel), height)
		return math.Log2(toe / heel), height
	}
	direct, low := sweep("wah first")
	buffered, high := sweep("wah first, a buffer between")
	last, _ := sweep("fuzz first")
	resonance := func(position float64) float64 {
		return 1 / (2 * math.Pi * math.Sqrt(0.5*10e-9*(1+29*circuit.Audio.Wiper(1-position/10))))
	}
	want := math.Log2(resonance(9) / resonance(1))
	for _, got := range []float64{buffered, last} {
		if math.Abs(got-want) > 0.25 {
			t.Errorf("not loaded: %.2f octaves, want %.2f within a quarter", got, want)
		}
	}
	if direct > want/3 || low > high-20 {
		t.Errorf("straight into the fuzz: %.2f octaves at %.1f dB, want under a third of %.2f and 20 dB under %.1f dB", direct, low, want, high)
	}
	bright := func(take string) float64 {
		y := played(t, file, take, "out", chaintest.Chord(classicRate/2, classicRate))
		s, err := measure.Welch(y[classicRate/10:], classicRate, 4096)
		if err != nil {
			t.Fatal(err)
		}
		centroid, err := s.Centroid(20, 20e3)
		if err != nil {
			t.Fatal(err)
		}
		return centroid
	}
	vowel := func(way string) float64 {
		moved := math.Log2(bright(way+", toe") / bright(way+", heel"))
		t.Logf("%s: the spectrum's centre moves %.2f octaves", way, moved)
		return moved
	}
	a, b, c := vowel("wah first"), vowel("wah first, a buffer between"), vowel("fuzz first")
	if a > b/3 || b > c {
		t.Errorf("the spectrum's centre moves %.2f octaves straight into the fuzz, %.2f with a buffer, %.2f after the fuzz; want each more than the one before", a, b, c)
	}
}

// An octave divider in front of a fuzz tracks notes that it loses behind it (common practice, no
// source). Its comparator counts a wave where the signal comes past half of the highest peak; a
// clipper brings all peaks of a wave to one height, so a second harmonic that made none before
// makes one then. The note is a low E whose second harmonic is as strong as the fundamental, with
// six draws of its phases; it is tracked where the octave stands over -20 dB of the note.
//
// Where it tracks, the place decides what becomes of the octave: behind the fuzz it stands as loud
// as it was set; in front of it, the fuzz turns note and octave into one spectrum, and its two
// high-passes of 8.2 kΩ and 100 nF, 194 Hz, take the octave's own tone: at 41 Hz they cost 2·(13.7
// - 7.3) dB more than at 82 Hz by a first-order high-pass's closed form, less what clipping evens
// out again.
func TestOctaveBeforeOrAfterFuzz(t *testing.T) {
	const file, hz = "octave-before-or-after-fuzz", 82.41
	note := func(seed uint64, second float64) []float64 {
		chance := rand.New(rand.NewPCG(seed, 1))
		x := make([]float64, classicRate*6/10)
		for p := 1.0; p <= 10; p++ {
			a, phase := 0.06, 2*math.Pi*chance.Float64()
			if p > 1 {
				a *= 2 * second / p
			}
			for k := range x {
				s := float64(k) / classicRate
				x[k] += a * math.Exp(-s*2.5) * math.Sin(2*math.Pi*hz*p*s+phase)
			}
		}
		return x
	}
	// octave is its line re the note's, and edge the power over 1 kHz in the octave's own harmonics
	// re that in those which the note has too.
	octave := func(take, jack string, in []float64) (octave, edge float64) {
		y := played(t, file, take, jack, in)[classicRate*3/10:]
		var own, both float64
		for q := math.Ceil(2 * 1000 / hz); q*hz/2 < 5000; q++ {
			a := line(y, q*hz/2)
			if math.Mod(q, 2) == 1 {
				own += a * a
			} else {
				both += a * a
			}
		}
		return dsp.ToDB(line(y, hz/2) / line(y, hz)), dsp.ToDB(own/both) / 2
	}
	tracked := map[string]int{}
	for seed := uint64(1); seed <= 6; seed++ {
		for _, take := range []string{"octave first", "fuzz first"} {
			if level, _ := octave(take, "octave.out", note(seed, 1)); level > -20 {
				tracked[take]++
			}
		}
	}
	t.Logf("low E with a strong second harmonic: tracked %d of 6 with the octave first, %d of 6 behind the fuzz", tracked["octave first"], tracked["fuzz first"])
	if tracked["octave first"] != 6 || tracked["fuzz first"] > 3 {
		t.Errorf("tracked %v of 6, want all with the octave first and at most half behind the fuzz", tracked)
	}
	plain := note(1, 0.25) // which both track
	deepFirst, edgeFirst := octave("octave first", "out", plain)
	deepLast, edgeLast := octave("fuzz first", "out", plain)
	t.Logf("plain note: octave %.1f dB re the note and edges %.1f dB with the octave first; %.1f dB and %.1f dB with the fuzz first", deepFirst, edgeFirst, deepLast, edgeLast)
	if deepLast < deepFirst+6 || edgeFirst < edgeLast+6 {
		t.Errorf("octave first: deep %.1f dB, edges %.1f dB; fuzz first: %.1f dB, %.1f dB; want more depth behind the fuzz and more edge before it", deepFirst, edgeFirst, deepLast, edgeLast)
	}
}
