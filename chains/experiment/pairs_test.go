package experiment

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// plucks is a stand-in for a matched take: decaying bursts of noise and a tone, about -20 dB re
// full scale.
func plucks(seconds float64, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 0))
	x := make([]float64, int(seconds*measureRate))
	for k := range x {
		t := math.Mod(float64(k)/measureRate, 0.5)
		x[k] = 0.2 * math.Exp(-4*t) * (rng.NormFloat64()/3 + math.Sin(2*math.Pi*220*t))
	}
	return x
}

func sideOf(number int, name string, x []float64) *measures.Side {
	return &measures.Side{Number: number, Name: name, Samples: x, Matched: true, Gain: 1, Before: measures.Figure{Value: -20},
		Facts: of(measures.NoiseAtEnd, measures.Figure{Value: -90}, measures.ToneTHD, measures.Figure{Value: 5}, measures.Sustain, measures.Figure{Value: 2})}
}

// of is some measures, each followed by its value.
func of(list ...any) (v measures.Values) {
	for k := 0; k < len(list); k += 2 {
		v = append(v, measures.Value{Measure: list[k].(*measures.Measure), Figure: list[k+1].(measures.Figure)})
	}
	return v
}

func scaled(x []float64, db float64) []float64 {
	y := slices.Clone(x)
	for k := range y {
		y[k] *= dsp.FromDB(db)
	}
	return y
}

// The detection is calibrated on three pairs whose answer is known: the same twice, 0.3 dB louder
// (under what anybody notices), 1 dB louder (over it).
func TestPairCalibration(t *testing.T) {
	x := plucks(3, 1)
	for _, c := range []struct {
		db    float64
		heard string
		// the probability's limits, and the most critical bands over the step
		low, high, bands float64
	}{
		{0, HeardSame, 0, 0, 0},
		{0.3, HeardNot, 0, 0.5, 0},
		{1, HeardMostly, 0.9, 1, measure.BandCount},
	} {
		p := NewPair(sideOf(1, "a", x), sideOf(2, "b", scaled(x, c.db)), measureRate)
		h := p.Hearing
		if p.Heard != c.heard || h.Highest.Value < c.low || h.Highest.Value > c.high || h.Bands.Value > c.bands || h.Playback != 92 {
			t.Errorf("%+.1f dB: %s, %+v; want %s", c.db, p.Heard, h, c.heard)
		}
		// A gain is the log-spectral distance in every frame, but for the few lines that are 60 dB
		// under the highest.
		near(t, "mean distance", p.Of(measures.SpectralMean), c.db, 0.005*c.db, "dB")
		near(t, "largest distance", p.Of(measures.SpectralMax), c.db, 1e-9, "dB")
		for _, f := range []measures.Figure{p.Of(measures.BassChange), p.Of(measures.MiddleChange), p.Of(measures.TrebleChange)} {
			near(t, "change of tone", f, c.db, 1e-9, "dB")
		}
		if c.db > 0 { // what is left is x·(g-1)
			near(t, "null", p.Of(measures.Null), dsp.ToDB(dsp.FromDB(c.db)-1), 1e-9, "dB")
		} else if p.Of(measures.Null).OK() {
			t.Errorf("the same twice leaves %v dB", p.Of(measures.Null).Value)
		}
	}
}

func TestPairAligns(t *testing.T) {
	x := plucks(2, 1)
	y := make([]float64, len(x))
	for k := range x[7:] {
		y[k+7] = -x[k]
	}
	p := NewPair(sideOf(1, "a", x), sideOf(2, "b", y), measureRate)
	if math.Round(p.Lag.Value*measureRate) != 7 || !p.Inverted || p.Of(measures.Null).OK() || p.Of(measures.Null).Why != string(measure.NoDifference) {
		t.Errorf("7 samples late and upside down: lag %v s, inverted %v, null %+v", p.Lag.Value, p.Inverted, p.Of(measures.Null))
	}
	if p.Heard != HeardNot {
		t.Errorf("7 samples late and upside down: %s", p.Heard)
	}
	// What has nothing in common is not moved.
	p = NewPair(sideOf(1, "a", plucks(2, 1)), sideOf(2, "b", scaled(swelling(2, dsp.Tone{Hz: 1000, Volts: 0.1}), 0)), measureRate)
	if p.Lag.Value != 0 || p.Inverted {
		t.Errorf("unlike takes: lag %v s, inverted %v", p.Lag.Value, p.Inverted)
	}
}

// Two tones, of which the upper gets 6.02 dB louder.
func TestPairTone(t *testing.T) {
	tones := func(treble float64) []float64 {
		return measures.Sines(2*measureRate, measureRate, dsp.Tone{Hz: 100, Volts: 0.05}, dsp.Tone{Hz: 1000, Volts: 0.05}, dsp.Tone{Hz: 3150, Volts: dsp.Volt(treble)})
	}
	p := NewPair(sideOf(1, "dull", tones(0.02)), sideOf(2, "bright", tones(0.04)), measureRate)
	near(t, "bass", p.Of(measures.BassChange), 0, 0.01, "dB")
	near(t, "middle", p.Of(measures.MiddleChange), 0, 0.01, "dB")
	near(t, "treble", p.Of(measures.TrebleChange), dsp.ToDB(2), 0.01, "dB")
	for _, b := range p.Bands {
		switch math.Round(b.Hz) {
		case 100, 1000:
			near(t, "band", b.DB, 0, 0.01, "dB")
		case 3162: // 1000·10^(5/10)
			near(t, "band", b.DB, dsp.ToDB(2), 0.01, "dB")
		case 10000:
			if b.DB.OK() {
				t.Errorf("a band without anything in it changed by %v dB", b.DB.Value)
			}
		}
	}
	if !slices.Contains(p.Respects, "tone") || !strings.Contains(p.Sentence, `"bright" against "dull": a clear difference: brighter (+6.0 dB above 2 kHz)`) {
		t.Errorf("%v: %s", p.Respects, p.Sentence)
	}
}

// Every rule of the sentence, with a limit on either side.
func TestSentences(t *testing.T) {
	v := func(x float64) measures.Figure { return measures.Figure{Value: x} }
	heard := func(highest, share float64) Hearing { return Hearing{Highest: v(highest), Share: v(share)} }
	for _, c := range []struct {
		what    string
		pair    Pair
		a, b    measures.Values
		gain    float64 // of both, in dB
		respect string  // in their order
		says    string
	}{
		{"nothing", Pair{Hearing: heard(0.5, 0)}, nil, nil, 0, "", `"b" against "a": nobody is likely to hear a difference.`},
		{"mostly", Pair{Hearing: heard(0.9, 0.5)}, nil, nil, 0, "", `"b" against "a": a difference that is heard most of the time, in nothing that was measured apart` + measuredApart + `.`},
		{"in places", Pair{Hearing: heard(0.9, 0.49)}, nil, nil, 0, "", `"b" against "a": a difference that is heard in places, in nothing that was measured apart` + measuredApart + `.`},
		{"level", Pair{Hearing: heard(0, 0), Values: of(measures.LevelChange, v(-0.5))}, nil, nil, 0, "level", `"b" against "a": at equal loudness the playing sounds the same; 0.5 LU softer as it comes out of the chain.`},
		{"less level", Pair{Hearing: heard(0, 0), Values: of(measures.LevelChange, v(0.49))}, nil, nil, 0, "", `"b" against "a": nobody is likely to hear a difference.`},
		{"tone", Pair{Hearing: heard(1, 1), Values: of(measures.TrebleChange, v(-3), measures.BassChange, v(1), measures.MiddleChange, v(0.9))}, nil, nil, 0, "tone", `"b" against "a": a clear difference: duller (-3.0 dB above 2 kHz), more bass (+1.0 dB below 250 Hz).`},
		{"middle", Pair{Hearing: heard(1, 0.1), Values: of(measures.MiddleChange, v(-1.2))}, nil, nil, 0, "tone", `"b" against "a": a difference in places: less middle (-1.2 dB).`},
		{"tone that nobody hears", Pair{Hearing: heard(0.2, 0), Values: of(measures.TrebleChange, v(-3))}, nil, nil, 0, "", `"b" against "a": nobody is likely to hear a difference.`},
		// -40 dBu are -42.2 dBV, with no gain -39.2 dB re a full-scale sine: 53 dB SPL.
		{"noise", Pair{Hearing: heard(0, 0), Values: of(measures.NoiseChange, v(1))}, of(measures.NoiseAtEnd, v(-41)), of(measures.NoiseAtEnd, v(-40)), 0, "noise", `"b" against "a": at equal loudness the playing sounds the same; noise 1.0 dB louder when nobody plays.`},
		{"less noise", Pair{Hearing: heard(0, 0), Values: of(measures.NoiseChange, v(0.9))}, of(measures.NoiseAtEnd, v(-41)), of(measures.NoiseAtEnd, v(-40)), 0, "", `nobody`},
		// The louder one at 0.1 dB SPL, and at -0.1 dB SPL: dBu = SPL - 92 - 3.01 + 2.218.
		{"noise just above the threshold", Pair{Hearing: heard(0, 0), Values: of(measures.NoiseChange, v(-9))}, of(measures.NoiseAtEnd, v(-92.69)), of(measures.NoiseAtEnd, v(-101.7)), 0, "noise", `noise 9.0 dB softer`},
		{"noise just below it", Pair{Hearing: heard(0, 0), Values: of(measures.NoiseChange, v(-9))}, of(measures.NoiseAtEnd, v(-92.89)), of(measures.NoiseAtEnd, v(-101.9)), 0, "", `nobody`},
		{"noise that a gain lifts", Pair{Hearing: heard(0, 0), Values: of(measures.NoiseChange, v(-9))}, of(measures.NoiseAtEnd, v(-92.89)), of(measures.NoiseAtEnd, v(-101.9)), 1, "noise", `softer`},
		{"distortion", Pair{Hearing: heard(1, 1), Values: of(measures.THDChange, v(3))}, of(measures.ToneTHD, v(1)), of(measures.ToneTHD, v(1.41)), 0, "distortion", `"b" against "a": a clear difference: more distorted (THD 1.4 % against 1.0 %).`},
		{"little distortion", Pair{Hearing: heard(1, 1), Values: of(measures.THDChange, v(20))}, of(measures.ToneTHD, v(0.099)), of(measures.ToneTHD, v(0.99)), 0, "", `in nothing that was measured apart`},
		{"decay", Pair{Hearing: heard(1, 1), Values: of(measures.SustainChange, v(-0.2))}, of(measures.Sustain, v(2.2)), of(measures.Sustain, v(2)), 0, "decay", `a held note rings 0.2 s shorter.`},
		{"short decay", Pair{Hearing: heard(1, 1), Values: of(measures.SustainChange, v(0.05))}, of(measures.Sustain, v(0.3)), of(measures.Sustain, v(0.35)), 0, "decay", `a held note rings 50 ms longer.`},
		{"repeats", Pair{Hearing: heard(1, 1), Values: of(measures.RepeatsChange, v(-20))}, of(measures.ClearRepeats, v(32)), of(measures.ClearRepeats, v(12)), 0, "repeats", `the repeats are more smeared (12 dB over what lies between the notes, against 32 dB).`},
		{"clear repeats", Pair{Hearing: heard(1, 1), Values: of(measures.RepeatsChange, v(20))}, of(measures.ClearRepeats, v(31)), of(measures.ClearRepeats, v(51)), 0, "", `in nothing that was measured apart`},
		{"less decay", Pair{Hearing: heard(1, 1), Values: of(measures.SustainChange, v(-0.19))}, of(measures.Sustain, v(2.19)), of(measures.Sustain, v(2)), 0, "", `in nothing that was measured apart`},
		{"strongest first", Pair{Hearing: heard(1, 1), Values: of(measures.LevelChange, v(1), measures.TrebleChange, v(8), measures.SustainChange, v(1))}, of(measures.Sustain, v(2)), of(measures.Sustain, v(3)), 0, "tone decay level",
			`"b" against "a": a clear difference: brighter (+8.0 dB above 2 kHz), a held note rings 1.0 s longer, 1.0 LU louder as it comes out of the chain.`},
		{"no figure", Pair{Hearing: heard(1, 1), Values: of(measures.LevelChange, measures.None("x"), measures.TrebleChange, measures.None("x"), measures.BassChange, measures.None("x"), measures.MiddleChange, measures.None("x"), measures.NoiseChange, measures.None("x"), measures.THDChange, measures.None("x"), measures.SustainChange, measures.None("x"))},
			nil, nil, 0, "", `in nothing that was measured apart`},
	} {
		a := &measures.Side{Name: "a", Facts: c.a, Gain: dsp.FromDB(c.gain)}
		b := &measures.Side{Name: "b", Facts: c.b, Gain: dsp.FromDB(c.gain)}
		p := c.pair
		p.judge(a, b, []float64{0}, []float64{1})
		if got := strings.Join(p.Respects, " "); got != c.respect {
			t.Errorf("%s: in respect of %q, want %q", c.what, got, c.respect)
		}
		if got := p.sentence(a, b); !strings.Contains(got, c.says) {
			t.Errorf("%s:\n got %s\nwant %s", c.what, got, c.says)
		}
	}
}

func TestPairNotMeasurable(t *testing.T) {
	x := plucks(1, 1)
	square := make([]float64, len(x))
	for k := range square {
		square[k] = 0.1 - 0.2*float64(k/100%2)
	}
	silent := sideOf(1, "hush", make([]float64, len(x)))
	silent.Matched = false
	nan := slices.Clone(x)
	nan[100] = math.NaN()
	for what, c := range map[string]struct {
		a    *measures.Side
		says string
	}{
		"silence":  {silent, `Not measurable: "hush": silence.`},
		"clipped":  {sideOf(1, "wall", square), `Not measurable: "wall": clips throughout.`},
		"no sound": {sideOf(1, "odd", nan), `Not measurable: "odd": not finite`},
	} {
		p := NewPair(c.a, sideOf(2, "b", x), measureRate)
		if !strings.HasPrefix(p.Sentence, c.says) || p.Heard != HeardUnknown || p.Of(measures.Null).OK() || p.Of(measures.LevelChange).OK() || p.Hearing.Highest.OK() || p.Of(measures.SpectralMean).OK() {
			t.Errorf("%s: %s (%+v)", what, p.Sentence, p)
		}
	}
	p := NewPair(sideOf(1, "a", x[:1000]), sideOf(2, "b", scaled(x[:1000], 1)), measureRate)
	if p.Heard != HeardUnknown || !strings.HasPrefix(p.Sentence, "Not measurable: too short") || p.Of(measures.TrebleChange).OK() || p.Of(measures.SpectralMean).OK() {
		t.Errorf("1000 samples: %s", p.Sentence)
	}
	near(t, "null of 1000 samples", p.Of(measures.Null), dsp.ToDB(dsp.FromDB(1)-1), 1e-9, "dB")
}

// Where nothing else differs, what one feels before one hears it is told: clean headroom, and
// repeats that are clear on both sides.
func TestWhatAlsoDiffers(t *testing.T) {
	const rate = 48000
	x := measures.Sines(2*rate, rate, dsp.Tone{Hz: 330, Volts: 0.1})
	side := func(name string, clean, repeats float64) *measures.Side {
		facts := measures.NoValues(measures.Facts(), measures.None("not asked"))
		for k := range facts {
			if facts[k].Measure == measures.ClearRepeats {
				facts[k].Figure = measures.Figure{Value: repeats}
			}
		}
		return &measures.Side{Name: name, Samples: slices.Clone(x), Matched: true, Gain: 1, Facts: facts, Clean: measures.Figure{Value: clean, By: "amp"}}
	}
	a := side("low", -1, 45)
	a.Samples[100] += 1e-6 // not the same to the last bit
	for _, c := range []struct {
		clean, repeats float64
		says           string
	}{
		{8, 45, " What also differs: amp is 8.0 dB short of where it begins to colour, against 1.0 dB past it in amp."},
		{0, 78, " What also differs: the repeats stand 78 dB over what lies between the notes, against 45 dB."},
		{1, 48, ""},
	} {
		p := NewPair(a, side("high", c.clean, c.repeats), rate)
		if want := `"high" against "low": nobody is likely to hear a difference.` + c.says; p.Sentence != want {
			t.Errorf("%v: %q, want %q", c, p.Sentence, want)
		}
	}
}
