package measures

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/dsp"
)

const rate = 48000 // Hz

func near(t *testing.T, what string, got Figure, want, tol float64, unit string) {
	t.Helper()
	if !got.OK() {
		t.Errorf("%s: not measurable: %s; want %.4g %s", what, got.Why, want, unit)
	} else if !(math.Abs(got.Value-want) <= tol) {
		t.Errorf("%s: %.5g %s, want %.5g within %.2g", what, got.Value, unit, want, tol)
	}
}

func scaled(x []float64, db float64) []float64 {
	y := slices.Clone(x)
	for k := range y {
		y[k] *= dsp.FromDB(db)
	}
	return y
}

// Every measure says what it is, once: a name, a unit, a definition, one way to work it out, and a
// key or name that no other of its list has.
func TestAll(t *testing.T) {
	seen := map[string]bool{}
	for _, m := range All {
		ways, list := 0, ""
		for name, has := range map[string]bool{"at": m.At != nil, "take": m.OfTake != nil || m.OfPlayed != nil, "change": m.Change != nil} {
			if has {
				ways, list = ways+1, name
			}
		}
		if ways != 1 || m.OfTake != nil && m.OfPlayed != nil || m.Tones != nil && m.At == nil || m.Facts != nil && m.Change == nil {
			t.Errorf("%s %s: worked out in %d ways, or with what that way does not want", m.Key, m.Name, ways)
		}
		if m.Name == "" || m.Unit == "" || m.Definition == "" || len(m.Definition) > 200 || m.Key == "" && m.Step == 0 {
			t.Errorf("%s %s: says too little, or too much: %q in %q", m.Key, m.Name, m.Definition, m.Unit)
		}
		if m.Step > 0 && (m.Better != Higher || m.Brief == "" || list != "take") {
			t.Errorf("%s: may be preferred, but more is not better, or no brief says what for", m.Name)
		}
		for _, f := range m.Facts {
			if f.OfTake == nil {
				t.Errorf("%s: wants to know %s, which no test signal tells", m.Key, f.Name)
			}
		}
		if id := list + " " + cmp.Or(m.Key, m.Name); seen[id] {
			t.Errorf("%s is there twice", id)
		} else {
			seen[id] = true
		}
	}
	if len(AtJacks()) < 20 || len(Dynamics()) < 6 || len(Changes()) < 10 || len(Objectives()) < 7 || len(Facts()) < 3 {
		t.Errorf("%d at jacks, %d dynamics, %d changes, %d objectives, %d facts", len(AtJacks()), len(Dynamics()), len(Changes()), len(Objectives()), len(Facts()))
	}
}

// What is printed, against what stood in a table: a share as a percentage, three digits, and
// dashes.
func TestFormat(t *testing.T) {
	for _, c := range []struct {
		m    *Measure
		f    Figure
		want string
	}{
		{OverShare, Figure{Value: 0.954}, "95.4"}, {THD, Figure{Value: 43.61}, "43.6"}, {THD, Figure{Value: 0.0004}, "<0.001"},
		{Ceiling, Figure{Value: 0.00025}, "0.00025"}, {Ceiling, Figure{Value: 130.4}, "130"}, {PeakVolts, Figure{}, "0"},
		{Sustain, Figure{Value: 4.126}, "4.13"}, {RMSDBu, Figure{Value: -0.04}, "0.0"}, {RMSDBu, None("silence"), "-"},
	} {
		if got := c.m.Format(c.f); got != c.want {
			t.Errorf("%s of %+v: %q, want %q", c.m.Key, c.f, got, c.want)
		}
	}
}

func TestFallTime(t *testing.T) {
	falling := func(seconds, length float64) []float64 { // 20 dB in so many seconds
		x := Sines(int(length*rate), rate, dsp.Tone{Hz: 400, Volts: 1})
		for k := range x {
			x[k] *= dsp.FromDB(-20 * float64(k) / (seconds * rate))
		}
		return x
	}
	for _, s := range []float64{0.3, 1, 2.5} {
		near(t, "fall", fallTime(falling(s, 4), rate), s, 0.002, "s")
	}
	for _, x := range [][]float64{falling(2.5, 2), make([]float64, rate), make([]float64, 100), Sines(rate, rate, dsp.Tone{Hz: 400, Volts: 1})} {
		if f := fallTime(x, rate); f.OK() {
			t.Errorf("a signal that does not fall by 20 dB falls in %v s", f.Value)
		}
	}
}

// THD+N of a clean tone with a noise beside it is the ratio of the two.
func TestNoiseBesideATone(t *testing.T) {
	const noise, peak = 2e-3, 0.5
	x := Sines(rate, rate, dsp.Tone{Hz: 997, Volts: peak})
	want := 100 * noise / math.Sqrt(peak*peak/2+noise*noise)
	near(t, "noise added as a power", withNoise(x, rate, noise), want, 0.002*want, "%")
	rng := rand.New(rand.NewPCG(1, 2))
	for k := range x {
		// so that 20 Hz to 20 kHz holds noise²
		x[k] += noise * math.Sqrt(24000./19980) * rng.NormFloat64()
	}
	// The notch takes a little of the noise around the tone with it: under 2 % of the band.
	near(t, "noise in the signal", withNoise(x, rate, 0), want, 0.03*want, "%")
}

func TestFigureText(t *testing.T) {
	for _, c := range []struct {
		f    Figure
		text string
		json string
	}{
		{Figure{Value: -0.04}, "0.0", "-0.04"},
		{Figure{Value: 3.25}, "3.2", "3.25"},
		{Figure{Why: "silence"}, "-", `{"not_measurable":"silence"}`},
	} {
		b, err := json.Marshal(c.f)
		if err != nil || string(b) != c.json || c.f.Text(1) != c.text {
			t.Errorf("%+v: %q, %s, %v; want %q, %s", c.f, c.f.Text(1), b, err, c.text, c.json)
		}
	}
	if f := Read(math.NaN(), nil); f.OK() {
		t.Error("NaN is taken for a value")
	}
	if f := Read(0, fmt.Errorf("broken")); f.OK() {
		t.Error("an error is taken for a value")
	}
}

// A ladder of levels has a known spread: 50 steps of 50 ms from -24.5 to 0 dB, of which the 10 %
// and 95 % points are 42 steps of 0.5 dB apart.
func TestLevelSpread(t *testing.T) {
	var x []float64
	for k := range 50 {
		x = append(x, scaled(Sines(rate/20, rate, dsp.Tone{Hz: 400, Volts: 1}), -0.5*float64(k))...)
	}
	// Of 50 levels in order, number round(0.1·49) = 5 and round(0.95·49) = 47: 42 steps.
	near(t, "spread", levelSpread(x, rate), 21, 1e-6, "dB")
	// What is more than 40 dB down does not count.
	quiet := append(slices.Clone(x), scaled(Sines(rate, rate, dsp.Tone{Hz: 400, Volts: 1}), -60)...)
	near(t, "spread with a pause", levelSpread(quiet, rate), 21, 1e-6, "dB")
	if f := levelSpread(x[:rate/2], rate); f.OK() || f.Why != "too short: 0.5 s, needs 1 s of sound" {
		t.Errorf("half a second: %+v", f)
	}
	if f := levelSpread(make([]float64, rate), rate); f.OK() || f.Why != "silence" {
		t.Errorf("silence: %+v", f)
	}
}

// The lines of a repeat: 1 V of it, 1 V of the note over it, and 0.1 V at a line of neither are 20
// dB.
func TestRepeatClarity(t *testing.T) {
	const size = 1 << 14
	low, high := repeatLines(size, rate)
	if low != 113 || high != 150 { // 330·16384/48000 = 112.6, 440·16384/48000 = 150.2; 113 is prime
		t.Fatalf("lines %d and %d", low, high)
	}
	line := func(k int, volts dsp.Volt) dsp.Tone { return dsp.Tone{Hz: dsp.Hertz(k) * rate / size, Volts: volts} }
	x := Sines(size, rate, line(low, 1), line(high, 1), line(high+low/2, 0.1))
	near(t, "clarity", repeatClarity(x, low, high, rate), 20, 0.01, "dB")
	// Harmonics of either do not count against it; the repeat's own count for it.
	x = Sines(size, rate, line(low, 1), line(3*low, 1), line(high, 1), line(2*high, 5), line(high+low/2, 0.1))
	near(t, "clarity with harmonics", repeatClarity(x, low, high, rate), 20+dsp.ToDB(math.Sqrt2), 0.01, "dB")
	if f := repeatClarity(Sines(size, rate, line(high, 1), line(high+low/2, 0.1)), low, high, rate); f.OK() {
		t.Errorf("no repeat: %v dB", f.Value)
	}
}

func TestClipsThroughout(t *testing.T) {
	sine := Sines(rate, rate, dsp.Tone{Hz: 100, Volts: 1})
	if clipsThroughout(sine, 1) { // 9 % of the time
		t.Error("a sine clips throughout")
	}
	for _, c := range []struct {
		gain float64
		want bool
	}{{5, false}, {8, true}} { // clipped for 1 - 2·asin(0.99/g)/π of the time: 87 %, 92 %
		x := slices.Clone(sine)
		for k := range x {
			x[k] = max(-1, min(1, c.gain*x[k]))
		}
		if clipsThroughout(x, 1) != c.want {
			t.Errorf("a sine clipped at a gain of %v: want %v", c.gain, c.want)
		}
	}
}

// through is a take that is known by what comes out of it.
type through struct {
	Played
	in, out     []float64
	hiss, tones float64
}

func (p through) Rate() float64                                          { return rate }
func (p through) OfEnd(_ string, of func([]float64) Figure) Figure       { return of(p.out) }
func (p through) OfRecording(_ string, of func([]float64) Figure) Figure { return of(p.in) }
func (p through) NoisePart(tones bool) (float64, error) {
	if tones {
		return p.tones, nil
	}
	return p.hiss, nil
}

// Tones in and out of the bands: what is twice as high in a band, against the rest, is 6.02 dB
// more.
func TestBalance(t *testing.T) {
	two := func(hz dsp.Hertz, in dsp.Volt) []float64 {
		return Sines(2*rate, rate, dsp.Tone{Hz: 1000, Volts: 0.1}, dsp.Tone{Hz: hz, Volts: in})
	}
	for m, hz := range map[*Measure]dsp.Hertz{Brightness: 4000, Bite: 4000, Bass: 160, Boom: 90, Mud: 320} {
		f, err := m.OfPlayed(t.Context(), through{in: two(hz, 0.1), out: two(hz, 0.2)})
		if err != nil || !f.OK() {
			t.Fatal(m.Name, f, err)
		}
		near(t, m.Name, f, 20*math.Log10(2), 0.01, "dB")
	}
}

// A tone of 1 kHz, where A-weighting is 0 dB, of 1 V RMS over 1 mV and 10 mV: 60 and 40 dB.
func TestOverNoise(t *testing.T) {
	p := through{out: Sines(2*rate, rate, dsp.Tone{Hz: 1000, Volts: math.Sqrt2}), hiss: 1e-3, tones: 1e-2}
	for m, want := range map[*Measure]float64{OverHiss: 60, OverHum: 40} {
		f, err := m.OfPlayed(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, m.Name, f, want, 0.05, "dB")
	}
	p.hiss = 0
	if f, _ := OverHiss.OfPlayed(t.Context(), p); f.OK() {
		t.Errorf("no hiss, and %v over it", f.Value)
	}
}

// A distortion that no clipping makes is told as what it is.
func TestDistortionOverASquareWave(t *testing.T) {
	for percent, told := range map[float64]bool{42.9: false, 138.4: true} {
		f := Values{{Measure: ToneTHD, Figure: Figure{Value: percent, By: "fuzz"}}}
		text := ToneTHD.Says("x %", f)
		if !strings.Contains(text, "at the output of fuzz") || strings.Contains(text, "narrow pulses") != told {
			t.Errorf("%v %%: %s", percent, text)
		}
	}
}
