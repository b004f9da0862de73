package pluck

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// plain is a guitar with one coil where it cuts no partial below the 18th.
func plain() Guitar {
	return Guitar{Strings: LightSet(), Coils: []float64{scale / 18.5}, Aperture: singleSees}
}

// open is a note on an open string, plucked softly enough not to begin sharp.
func open(str int) Note { return Note{At: 0.1, String: str, Pull: 0.05e-3, Pick: scale / 18.5} }

// tone is the complex amplitude of x around time t at frequency f, through a Hann window of the
// given length. Its phase is that of time 0.
func tone(x []float64, rate int, t, length, f float64) complex128 {
	start, n := int((t-length/2)*float64(rate)), int(length*float64(rate))
	var sum complex128
	var weight float64
	for i := range n {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
		sum += complex(w*x[start+i], 0) * cmplx.Rect(1, -2*math.Pi*f*float64(start+i)/float64(rate))
		weight += w
	}
	return sum * complex(2/weight, 0)
}

// frequency is the frequency of the partial near f around time t, from how fast its phase turns.
func frequency(x []float64, rate int, t, f float64) float64 {
	const apart = 0.02
	a, b := tone(x, rate, t-apart/2, 0.3, f), tone(x, rate, t+apart/2, 0.3, f)
	return f + cmplx.Phase(b/a)/(2*math.Pi*apart)
}

func db(x float64) float64 { return 20 * math.Log10(x) }

// The fundamental is in tune: E A D G B E in equal temperament on A = 440 Hz, and fret by fret from
// there.
func TestInTune(t *testing.T) {
	g := plain()
	for str, key := range map[int]float64{1: 64, 2: 59, 3: 55, 4: 50, 5: 45, 6: 40} { // MIDI note numbers; 69 is A = 440 Hz
		for _, fret := range []int{0, 7, 12} {
			n := open(str)
			n.Fret, n.Pick = fret, 0.03
			want := 440 * math.Exp2((key+float64(fret)-69)/12)
			x := g.Render([]Note{n}, 1, 48000, 1)
			got := frequency(x, 48000, 0.4, want)
			// Within 2 cents: the second direction of vibration is mistuned by up to 0.75 Hz at 15
			// % of the level.
			if cents := 1200 * math.Log2(got/want); math.Abs(cents) > 2 {
				t.Errorf("string %d fret %d: %.3f Hz, want %.3f: %.2f cents off", str, fret, got, want, cents)
			}
		}
	}
}

// Partials stretch by sqrt(1+B·n²). B from the closed form for round steel, computed by hand for
// two strings: π³ · 200e9 · (0.457e-3)⁴ / (64 · 78 · 0.648²) = 1.2902e-4 and π³ · 200e9 ·
// (0.254e-3)⁴ / (64 · 72 · 0.648²) = 1.3340e-5. Published values for guitars lie from 1e-5 (first
// string) to 1.5e-4 (from memory).
func TestInharmonicity(t *testing.T) {
	g := plain()
	for _, c := range []struct {
		str      int
		b, first float64
		partials []float64
	}{
		{6, 1.2902e-4, 82.407, []float64{6, 10, 15, 25, 30}},
		{1, 1.3340e-5, 329.628, []float64{8, 12, 15}},
	} {
		if got := g.Stiffness(open(c.str)); math.Abs(got/c.b-1) > 2e-4 {
			t.Errorf("string %d: B = %.5g, want %.5g", c.str, got, c.b)
		}
		x := g.Render([]Note{open(c.str)}, 1, 48000, 1)
		for _, k := range c.partials {
			stretched := k * c.first * math.Sqrt((1+c.b*k*k)/(1+c.b))
			got := frequency(x, 48000, 0.3, stretched)
			// 15 % of the level is mistuned by up to 0.75 Hz, which moves the whole by up to 0.13
			// Hz.
			if math.Abs(got-stretched) > 0.2 {
				t.Errorf("string %d partial %v: %.2f Hz, want %.2f within 0.2", c.str, k, got, stretched)
			}
			if stretched-k*c.first < 0.9 {
				t.Errorf("string %d partial %v is stretched by %.2f Hz only: too little to tell", c.str, k, stretched-k*c.first)
			}
		}
	}
}

// t60 is the time in which the partial at f would fall by 60 dB, from a line through its level in
// dB over the given time.
func t60(x []float64, rate int, f, from, to float64) float64 {
	var n, st, sl, stt, stl float64
	for at := from; at <= to; at += (to - from) / 40 {
		l := db(cmplx.Abs(tone(x, rate, at, 0.1, f)))
		n, st, sl, stt, stl = n+1, st+at, sl+l, stt+at*at, stl+at*l
	}
	return -60 * (n*stt - st*st) / (n*stl - st*sl)
}

// By hand for the sixth string, B = 1.2902e-4: (0.9 + 2πf·(2e-4 + 2.5e-3·B·n²)) / (2·(1+B·n²)), at
// f = 82.41, 829.3 and 2611.6 Hz. Pulled aside by 1 mm in the middle and sensed there, its
// fundamental moves at 2πf · 8h/π² = 0.4197 m/s; times 0.145 V/(m/s), less 0.07 % for the pick's
// roundness: 60.81 mV.
func TestPartialByHand(t *testing.T) {
	g := plain()
	partials := g.Partials(open(6))
	for k, want := range map[int]float64{1: 0.50181, 10: 1.0417, 30: 4.0077} {
		if got := partials[k-1].Decay; math.Abs(got/want-1) > 1e-3 {
			t.Errorf("partial %d decays at %.5g/s, want %.5g/s", k, got, want)
		}
	}
	n := open(6)
	n.Pull, n.Pick = 1e-3, scale/2
	g.Coils, g.Aperture = []float64{scale / 2}, 0
	if got := g.Partials(n)[0].Amplitude; math.Abs(got-60.81e-3) > 0.05e-3 {
		t.Errorf("the fundamental is %.2f mV, want 60.81", got*1e3)
	}
}

// Every partial dies as its string's losses say. 85 % of its level falls at the partial's decay and
// 15 % half as fast; they beat, so the level lies between their difference and their sum.
func TestDecay(t *testing.T) {
	g := plain()
	const slack = 0.4 // dB: the window is 0.1 s long, the level bends within it
	for str := 1; str <= 6; str++ {
		n := open(str)
		x := g.Render([]Note{n}, 5, 48000, 1)
		for k, p := range g.Partials(n)[:16] {
			for _, dies := range []float64{0.2, 0.5, 0.8, 1.1} { // times 1/Decay
				at := n.At + max(dies/p.Decay, 0.06)
				fast, slow := 0.85*math.Exp(-p.Decay*(at-n.At)), 0.15*math.Exp(-p.Decay*(at-n.At)/2)
				got := db(cmplx.Abs(tone(x, 48000, at, 0.1, p.Frequency) / complex(p.Amplitude, 0)))
				if got < db(fast-slow)-slack || got > db(fast+slow)+slack {
					t.Errorf("string %d partial %d (%.0f Hz), %.2f s after: %.2f dB, want %.2f to %.2f",
						str, k+1, p.Frequency, at-n.At, got, db(fast-slow), db(fast+slow))
				}
			}
		}
	}
}

// The higher a partial, the sooner it dies; a fundamental lasts 8 to 14 s; a wound string loses its
// treble sooner than a plain one at the same frequency. Times are means over four partials, for
// single ones beat.
func TestTrebleDiesFirst(t *testing.T) {
	g := plain()
	treble := map[int]float64{} // T60 near 2.5 kHz by string
	for str := 1; str <= 6; str++ {
		n := open(str)
		x := g.Render([]Note{n}, 5, 48000, 1)
		partials := g.Partials(n)
		mean := func(first int) float64 {
			sum := 0.0
			for _, p := range partials[first-1 : first+3] {
				sum += t60(x, 48000, p.Frequency, 0.2, min(4.8, 0.2+1.73/p.Decay)) / 4 // over 15 dB
			}
			return sum
		}
		last := math.Inf(1)
		for _, first := range []int{1, 5, 9, 13} {
			got := mean(first)
			if got > 0.95*last {
				t.Errorf("string %d partials %d to %d last %.2f s, the four below %.2f s", str, first, first+3, got, last)
			}
			last = got
		}
		if first := 3 * math.Ln10 / partials[0].Decay; first < 8 || first > 14 {
			t.Errorf("string %d: the fundamental lasts %.1f s", str, first)
		}
		treble[str] = mean(int(2500/partials[0].Frequency) - 1)
	}
	for _, wound := range []int{4, 5, 6} {
		for _, plain := range []int{1, 2, 3} {
			if treble[wound] > 0.95*treble[plain] {
				t.Errorf("near 2.5 kHz string %d lasts %.2f s, string %d %.2f s", wound, treble[wound], plain, treble[plain])
			}
		}
	}
}

// A palm leaves a third of a second of the fundamental and less of the treble.
func TestPalm(t *testing.T) {
	g := plain()
	n := open(6)
	n.Palm = 1
	p := g.Partials(n)
	low, high := 3*math.Ln10/p[0].Decay, 3*math.Ln10/p[15].Decay
	if low < 0.2 || low > 0.5 || high > low/2 {
		t.Errorf("muted: T60 %.2f s at %.0f Hz, %.2f s at %.0f Hz", low, p[0].Frequency, high, p[15].Frequency)
	}
	x := g.Render([]Note{n}, 1, 48000, 1)
	fall := db(cmplx.Abs(tone(x, 48000, 0.2, 0.08, p[0].Frequency)) / cmplx.Abs(tone(x, 48000, 0.3, 0.08, p[0].Frequency)))
	if want := 60 * 0.1 / low; math.Abs(fall-want) > 0.5 {
		t.Errorf("a muted fundamental falls by %.1f dB in 0.1 s, want %.1f", fall, want)
	}
}

// A finger stops a string: 45/s at low frequency, twice that at 1500 Hz. Over 0.05 s at 82 Hz that
// is 45·(1+82.4/1500)·0.05 = 2.37 Np, 20.6 dB, beside which the string's own 0.2 dB is small.
func TestStop(t *testing.T) {
	g := plain()
	n := open(6)
	n.Stop = 0.5
	x := g.Render([]Note{n}, 1, 48000, 1)
	f := g.Partials(n)[0].Frequency
	held := db(cmplx.Abs(tone(x, 48000, 0.3, 0.06, f)) / cmplx.Abs(tone(x, 48000, 0.44, 0.06, f)))
	let := db(cmplx.Abs(tone(x, 48000, 0.55, 0.06, f)) / cmplx.Abs(tone(x, 48000, 0.6, 0.06, f)))
	if held > 2 || math.Abs(let-20.8) > 1 {
		t.Errorf("falls by %.1f dB before it is stopped, by %.1f dB in 0.05 s after; want less than 2, and 20.8", held, let)
	}
}

// Plucking a string again ends the note before: nothing is left of its pitch. Another string rings
// on.
func TestPluckedAgain(t *testing.T) {
	g := plain()
	first, again, other := open(4), open(4), open(3)
	again.At, again.Fret, again.Pick = 0.6, 6, 0.03
	other.At = 0.6
	f := g.Partials(first)[0].Frequency
	level := func(notes ...Note) float64 {
		x := g.Render(notes, 1.2, 48000, 1)
		return db(cmplx.Abs(tone(x, 48000, 0.85, 0.4, f)) / cmplx.Abs(tone(x, 48000, 0.35, 0.4, f)))
	}
	if l := level(first, again); l > -60 {
		t.Errorf("plucked again, the note before is at %.1f dB", l)
	}
	if l := level(first, other); l < -6 {
		t.Errorf("another string plucked, the note is at %.1f dB", l)
	}
}

// A string late in its life dies more slowly than early: the direction along the body is what is
// left.
func TestTwoStages(t *testing.T) {
	g := plain()
	n := open(2)
	n.Pull = 1e-3 // loud enough that nothing has been given up as inaudible by then
	x := g.Render([]Note{n}, 15, 48000, 1)
	f := g.Partials(n)[0].Frequency
	early, late := t60(x, 48000, f, 0.3, 2.3), t60(x, 48000, f, 8, 14)
	if late < 1.5*early {
		t.Errorf("T60 %.1f s early, %.1f s late; want half as long again", early, late)
	}
}

// Plucked at a fifth of its length a string has no 5th, 10th, … partial; sensed at a quarter it
// shows no 4th, 8th, …: sin(nπ/5) and sin(nπ/4) are zero there. The others have the levels of the
// closed form.
func TestCombs(t *testing.T) {
	g := plain()
	g.Coils, g.Aperture = []float64{scale / 4}, 0
	n := open(6)
	n.Pick, n.Pull = scale/5, 1e-3
	x := g.Render([]Note{n}, 1.2, 48000, 1)
	partials := g.Partials(n)
	level := func(k int) float64 {
		p := partials[k-1]
		const at, length = 0.5, 0.4
		return db(cmplx.Abs(tone(x, 48000, at, length, p.Frequency)))
	}
	for k := 1; k <= 21; k++ {
		if k%4 != 0 && k%5 != 0 {
			continue
		}
		beside := (level(k-1) + level(k+1)) / 2
		if k%5 == 4 || k%5 == 1 && k%4 == 0 { // the other neighbour is a notch too
			beside = max(level(k-1), level(k+1))
		}
		if depth := beside - level(k); depth < 40 {
			t.Errorf("partial %d is %.1f dB below its neighbours, want 40", k, depth)
		}
	}
	// Just after the pluck, by the closed form: |sin(nπ/5)·sin(nπ/4)|/n and the pick's roundness.
	for _, k := range []int{2, 3, 6, 7, 9, 11} {
		p := partials[k-1]
		want := 0.0
		for _, c := range []struct{ k, sign float64 }{{float64(k), 1}, {1, -1}} {
			f := partials[int(c.k)-1].Frequency / n.corner()
			want += c.sign * db(math.Abs(math.Sin(c.k*math.Pi/5)*math.Sin(c.k*math.Pi/4))/c.k/(1+f*f))
		}
		fall := func(q Partial) float64 { return 20 * math.Log10(math.E) * q.Decay * 0.1 }
		got := db(cmplx.Abs(tone(x, 48000, 0.2, 0.18, p.Frequency))) + fall(p) -
			db(cmplx.Abs(tone(x, 48000, 0.2, 0.18, partials[0].Frequency))) - fall(partials[0])
		if math.Abs(got-want) > 1 {
			t.Errorf("partial %d is at %.2f dB of the first, want %.2f", k, got, want)
		}
	}
}

// Two coils cancel the partials for which they lie half a wave apart.
func TestHumbuckerNotch(t *testing.T) {
	one, two := plain(), plain()
	// Half a wave of the 18th partial apart.
	one.Coils = []float64{bridgeCoil}
	two.Coils = []float64{bridgeCoil, bridgeCoil + scale/18}
	n := open(6)
	n.Pick = 0.1
	a, b := one.Render([]Note{n}, 0.8, 48000, 1), two.Render([]Note{n}, 0.8, 48000, 1)
	p := one.Partials(n)[17]
	if fall := db(cmplx.Abs(tone(a, 48000, 0.3, 0.3, p.Frequency)) / cmplx.Abs(tone(b, 48000, 0.3, 0.3, p.Frequency))); fall < 40 {
		t.Errorf("two coils half a wave apart leave the partial at -%.1f dB", fall)
	}
}

// centroid is the mean frequency of a spectrum, weighted by amplitude.
func centroid(x []float64, rate int) float64 {
	w := make([]float64, len(x))
	for i := range x {
		w[i] = x[i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x))))
	}
	var sum, weight float64
	for k, c := range fourier.NewFFT(len(w)).Coefficients(nil, w) {
		a := cmplx.Abs(c)
		sum, weight = sum+a*float64(k), weight+a
	}
	return sum / weight * float64(rate) / float64(len(x))
}

// The harder, the brighter.
func TestBrightness(t *testing.T) {
	g := plain()
	last := 0.0
	for _, pull := range []float64{softest, soft, medium, hard, hardest} {
		n := open(4)
		n.Pull, n.Pick = pull, 0.105
		x := g.Render([]Note{n}, 0.5, 48000, 1)
		c := centroid(x[7200:7200+4096], 48000) // from 50 ms after the pluck
		if c < 1.05*last {
			t.Errorf("pulled by %.2f mm: centroid %.0f Hz, after %.0f Hz", pull*1e3, c, last)
		}
		last = c
	}
}

// A hard pluck begins sharp. By hand for the sixth string pulled by 2 mm at 0.105 m: β = 0.16204,
// mean stretch 4e-6/(4·β·(1-β)·0.648²) = 1.7539e-5, E·A/T = 2e11·1.64029e-7/78 = 420.6; half of the
// product is 3.688e-3, 6.37 cents. It has gone when the note has faded.
func TestGlide(t *testing.T) {
	g := plain()
	n := open(6)
	n.Pull, n.Pick = 2e-3, 0.105
	if got := 1200 * math.Log2(1+g.glide(n)); math.Abs(got-6.37) > 0.02 {
		t.Errorf("begins %.2f cents sharp, want 6.37", got)
	}
	x := g.Render([]Note{n}, 6, 48000, 1)
	f := g.Partials(n)[9].Frequency
	early, late := frequency(x, 48000, 0.26, f), frequency(x, 48000, 2.5, f)
	settle := func(t float64) float64 { return g.glide(n) * math.Exp(-2*g.Partials(n)[0].Decay*(t-n.At)) }
	want := 1200 * math.Log2((1+settle(0.26))/(1+settle(2.5)))
	if got := 1200 * math.Log2(early/late); math.Abs(got-want) > 0.6 {
		t.Errorf("falls by %.2f cents, want %.2f", got, want)
	}
}

// The voltage follows the pick at once, starts from silence and holds no DC.
func TestOnset(t *testing.T) {
	g := plain()
	n := open(6)
	n.At, n.Pull, n.Pick = 0.2, 1e-3, 0.105
	n.Stop = 1.5
	const rate = 48000
	x := g.Render([]Note{n}, 3, rate, 1)
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	for i, v := range x[:int((n.At-lift)*rate)-1] {
		if v != 0 {
			t.Fatalf("sample %d is %v before the pick arrives", i, v)
		}
	}
	before, after := 0.0, 0.0
	for i := -48; i < 0; i++ {
		before = max(before, math.Abs(x[int(n.At*rate)+i]))
	}
	for i := range 96 {
		after = max(after, math.Abs(x[int(n.At*rate)+i]))
	}
	if before > 0.2*peak || after < 0.5*peak {
		t.Errorf("of the peak, %.2f in the millisecond before the pluck, %.2f in the 2 ms after", before/peak, after/peak)
	}
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	// The bound is in volt seconds of the note's own peak over one period of it.
	if area := sum / rate; math.Abs(area) > 0.01*peak/82.4 {
		t.Errorf("the note leaves %.3g V·s", area)
	}
}

// The same arguments, the same voltage; the seed moves the noise and the beats only; a longer
// rendering begins as the shorter one; notes add up.
func TestPure(t *testing.T) {
	g := plain()
	a, b := open(6), open(3)
	b.At = 0.3
	both := g.Render([]Note{a, b}, 1, 48000, 7)
	if !slices.Equal(both, g.Render([]Note{a, b}, 1, 48000, 7)) {
		t.Error("rendered twice, two results")
	}
	if slices.Equal(both, g.Render([]Note{a, b}, 1, 48000, 8)) {
		t.Error("the seed changes nothing")
	}
	longer := g.Render([]Note{a, b}, 1.5, 48000, 7)
	if n := len(both) - int(fade*48000); !slices.Equal(both[:n], longer[:n]) {
		t.Error("a longer rendering begins in another way")
	}
	if len(both) != 48000 || len(longer) != 72000 {
		t.Errorf("%d and %d samples", len(both), len(longer))
	}
}

// The sound does not depend on the sample rate.
func TestRates(t *testing.T) {
	g := plain()
	n := open(5)
	partials := g.Partials(n)
	x := g.Render([]Note{n}, 0.6, 44100, 1)
	y := g.Render([]Note{n}, 0.6, 96000, 1)
	for _, k := range []int{1, 2, 5, 10, 20, 40} {
		f := partials[k-1].Frequency
		a, b := tone(x, 44100, 0.3, 0.2, f), tone(y, 96000, 0.3, 0.2, f)
		if d := math.Abs(db(cmplx.Abs(a / b))); d > 0.05 {
			t.Errorf("partial %d differs by %.3f dB between 44.1 and 96 kHz", k, d)
		}
	}
}

func TestNoSuchNote(t *testing.T) {
	g := plain()
	for name, spoil := range map[string]func(*Note){
		"string 0":         func(n *Note) { n.String = 0 },
		"string 7":         func(n *Note) { n.String = 7 },
		"fret -1":          func(n *Note) { n.Fret = -1 },
		"no pull":          func(n *Note) { n.Pull = 0 },
		"pick at the nut":  func(n *Note) { n.Pick = scale },
		"stop before":      func(n *Note) { n.Stop = 0.05 },
		"more than a palm": func(n *Note) { n.Palm = 1.5 },
	} {
		n := open(6)
		spoil(&n)
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			g.Render([]Note{n}, 0.2, 48000, 1)
		}()
	}
}

func BenchmarkRender(b *testing.B) {
	p := Pieces()[0]
	for b.Loop() {
		p.Render()
	}
	b.ReportMetric(p.Seconds*float64(b.N)/b.Elapsed().Seconds(), "×realtime")
}
