package experiment

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// take is the first take of a chain with these blocks, in their order, whose recording is the
// pickup's own voltage.
func take(t testing.TB, blocks, guitar string, order ...string) *board.Chain {
	t.Helper()
	text := "drywire: 1\ntitle: test\nrecording: {file: a.wav, full_scale: 1 V, load: none}\nguitar: {" + guitar + "}\n"
	if blocks != "" {
		text += "blocks:\n"
		for _, b := range strings.Split(blocks, ";") {
			text += "  " + strings.TrimSpace(b) + "\n"
		}
	}
	f, err := file.Parse("test.yaml", []byte(text+"order: ["+strings.Join(order, ", ")+"]\ntakes: [{name: take}]\n"))
	if err != nil {
		t.Fatal(err)
	}
	return f.Chains()[0]
}

const measureRate = 48000

// measured measures a take of a recording.
func measured(t testing.TB, c *board.Chain, recording []float64, tone dsp.Tone) *Measures {
	t.Helper()
	w := render.PlanOf(c, measureRate, section.Draft)
	signals, err := Rendered(t.Context(), w, recording)
	if err != nil {
		t.Fatal(err)
	}
	m, err := Measure(t.Context(), w, signals, tone)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// swelling is a tone that comes up within 5 ms, so that no pickup rings at its start.
func swelling(seconds float64, tone dsp.Tone) []float64 {
	x := measures.Sines(int(seconds*measureRate), measureRate, tone)
	const up = measureRate / 200
	for k := range up {
		x[k] *= 0.5 - 0.5*math.Cos(math.Pi*float64(k)/up)
	}
	return x
}

func (m *Measures) jack(t testing.TB, name string) JackMeasures {
	t.Helper()
	for _, j := range m.Jacks {
		if j.Jack == name {
			return j
		}
	}
	t.Fatalf("no jack %s", name)
	return JackMeasures{}
}

func near(t *testing.T, what string, got measures.Figure, want, tol float64, unit string) {
	t.Helper()
	if !got.OK() {
		t.Errorf("%s: not measurable: %s; want %.4g %s", what, got.Why, want, unit)
	} else if !(math.Abs(got.Value-want) <= tol) {
		t.Errorf("%s: %.5g %s, want %.5g within %.2g", what, got.Value, unit, want, tol)
	}
}

// clippedTHD is the THD, to the tenth harmonic, of a sine clipped hard at the share x of its peak,
// a = arcsin x: b1 = (2/π)(a + x·cos a); for odd n, bn = (4/π)((sin((n-1)a)/(n-1) -
// sin((n+1)a)/(n+1))/2 + x·cos(na)/n).
func clippedTHD(x float64) float64 {
	a := math.Asin(x)
	b1 := 2 / math.Pi * (a + x*math.Cos(a))
	sum := 0.0
	for n := 3.0; n <= 9; n += 2 {
		b := 4 / math.Pi * ((math.Sin((n-1)*a)/(n-1)-math.Sin((n+1)*a)/(n+1))/2 + x*math.Cos(n*a)/n)
		sum += b * b
	}
	return math.Sqrt(sum) / b1
}

// A sine through a chain that leaves it alone: every figure has its closed form.
func TestMeasureSine(t *testing.T) {
	c := take(t, "buffer: {kind: buffer}", "volume: 10", "buffer")
	in := swelling(2, dsp.Tone{Hz: 1000, Volts: 0.5})
	m := measured(t, c, in, measures.TestTone)
	h, err := render.PlanOf(c, measureRate, section.Draft).Response("buffer.in", 1000)
	if err != nil {
		t.Fatal(err)
	}
	gain := math.Hypot(real(h), imag(h)) // by AC analysis
	peak := 0.5 * gain
	j := m.jack(t, "buffer.in")
	near(t, "level", j.Of(measures.RMSDBV), dsp.ToDB(peak/math.Sqrt2), 0.02, "dBV") // it swells
	near(t, "level", j.Of(measures.RMSDBu), dsp.ToDB(peak/math.Sqrt2/math.Sqrt(0.6)), 0.02, "dBu")
	near(t, "crest", j.Of(measures.Crest), 3.0103, 0.02, "dB") // √2
	// BS.1770: a sine of 997 Hz at full scale in one channel is -3.01 LUFS; at 1 kHz the weighting
	// is the same within 0.01 dB.
	near(t, "loudness", j.Of(measures.Loudness), dsp.ToDB(peak)-3.01, 0.05, "LUFS")
	near(t, "centroid", j.Of(measures.Centroid), 1000, 2, "Hz")
	near(t, "signal to noise", j.Of(measures.SignalToNoise), j.Of(measures.RMSDBu).Value-j.Of(measures.Noise).Value, 0.02, "dB")
	// A is 0 dB at 1 kHz
	near(t, "A-weighted signal to noise", j.Of(measures.SignalToNoiseA), j.Of(measures.RMSDBu).Value-j.Of(measures.NoiseA).Value, 0.05, "dB")
	near(t, "headroom", j.Of(measures.Headroom), dsp.ToDB(j.Of(measures.Ceiling).Value/j.Of(measures.PeakVolts).Value), 1e-9, "dB")
	near(t, "share over the ceiling", j.Of(measures.OverShare), 0, 0, "")
	for _, b := range j.ThirdOctaves {
		if math.Abs(b.Hz-1000) < 1 {
			near(t, "band at 1 kHz", b.DBV, j.Of(measures.RMSDBV).Value, 0.02, "dBV")
		}
	}
	out := m.jack(t, "out")
	near(t, "THD", out.Of(measures.THD), 0, 0.002, "%")
	near(t, "modulation", out.Of(measures.Modulation), 0, 0.002, "%")
	near(t, "difference", out.Of(measures.Difference), 0, 0.002, "%")
	if out.Of(measures.Ceiling).OK() || out.Of(measures.Headroom).OK() {
		t.Error("the last jack has a ceiling")
	}
	d := m.Dynamics
	near(t, "compression", d.Of(measures.Compression), 0, 0.01, "dB")
	// a linear chain changes no time
	near(t, "sustain", d.Of(measures.Sustain), measures.NoteFalls, 0.01, "s")
	if d.Of(measures.CleanUp).OK() {
		t.Errorf("a clean chain cleans up by %v dB", d.Of(measures.CleanUp).Value)
	}
	// 8 nV/√Hz of the follower and the guitar's own noise bring THD+N over THD: noise over tone,
	// both at out.
	want := 100 * dsp.DBu * dsp.FromDB(out.Of(measures.Noise).Value) / (float64(measures.TestTone.Volts) * gain / math.Sqrt2)
	near(t, "THD+N", out.Of(measures.THDN), want, 0.05*want+0.0005, "%")
}

// A sine over the rails of a buffer: the distortion of a clipped sine, the share of time over a
// level, and how it cleans up.
func TestMeasureClipping(t *testing.T) {
	c := take(t, "buffer: {kind: buffer}", "volume: 10", "buffer")
	const volts = 8
	m := measured(t, c, swelling(1, dsp.Tone{Hz: 997, Volts: volts}), dsp.Tone{Hz: 997, Volts: volts})
	in, out := m.jack(t, "buffer.in"), m.jack(t, "out")
	h, err := render.PlanOf(c, measureRate, section.Draft).Response("buffer.in", 997)
	if err != nil {
		t.Fatal(err)
	}
	peak := volts * math.Hypot(real(h), imag(h))
	thd := 100 * clippedTHD(3/peak) // rails at 4.5 V - 1.5 V
	near(t, "THD", out.Of(measures.THD), thd, 0.005*thd, "%")
	near(t, "THD before", in.Of(measures.THD), 0, 0.002, "%")
	near(t, "headroom", in.Of(measures.Headroom), dsp.ToDB(in.Of(measures.Ceiling).Value/peak), 0.1, "dB")
	near(t, "share over the ceiling", in.Of(measures.OverShare), 2/math.Pi*math.Acos(in.Of(measures.Ceiling).Value/peak), 0.005, "")
	near(t, "THD at volume 10", m.Dynamics.Of(measures.FullTHD), thd, 0.01*thd, "%")
	near(t, "clean-up range", m.Dynamics.Of(measures.CleanUp), dsp.ToDB(thd/math.Max(1e-3, m.Dynamics.Of(measures.RolledTHD).Value)), 0.1, "dB")
	if m.Dynamics.Of(measures.CleanUp).Value < 40 {
		t.Errorf("a tone that is well under the rails at volume 2 cleans up by only %.1f dB", m.Dynamics.Of(measures.CleanUp).Value)
	}
	// From clipping far over the rails, 12 dB more at the input bring what a clipped sine's RMS
	// says: at x of the peak, rms² = (2/π)(peak²·(a/2 - sin(2a)/4) + rail²·(π/2 - a)).
	rms := func(peak float64) float64 {
		if peak <= 3 {
			return peak / math.Sqrt2
		}
		a := math.Asin(3 / peak)
		return math.Sqrt(2 / math.Pi * (peak*peak*(a/2-math.Sin(2*a)/4) + 9*(math.Pi/2-a)))
	}
	want := 12 - dsp.ToDB(rms(peak)/rms(peak*dsp.FromDB(-12)))
	near(t, "compression", m.Dynamics.Of(measures.Compression), want, 0.05, "dB")
}

// What cannot be measured says so, and nothing in the JSON is NaN: encoding/json refuses those.
func TestMeasureNothing(t *testing.T) {
	c := take(t, "buffer: {kind: buffer}", "volume: 10", "buffer")
	loud := make([]float64, measureRate)
	for k := range loud {
		loud[k] = 300
		if k/50%2 == 1 {
			loud[k] = -300
		}
	}
	for _, r := range []struct {
		name      string
		recording []float64
		dumb      func(JackMeasures) []measures.Figure // figures that have no value
	}{
		{"what rounding leaves of silence", measures.Sines(measureRate, measureRate, dsp.Tone{Hz: 440, Volts: 1e-12}), func(j JackMeasures) []measures.Figure {
			return []measures.Figure{j.Of(measures.PeakDBV), j.Of(measures.RMSDBV), j.Of(measures.RMSDBu), j.Of(measures.Crest), j.Of(measures.Loudness), j.Of(measures.SignalToNoise), j.Of(measures.SignalToNoiseA), j.Of(measures.Centroid)}
		}},
		{"a tenth of a second", measures.Sines(4800, measureRate, dsp.Tone{Hz: 440, Volts: 0.2}), func(j JackMeasures) []measures.Figure {
			return []measures.Figure{j.Of(measures.Loudness), j.Of(measures.SignalToNoise), j.Of(measures.Centroid)}
		}},
		{"clipped throughout", loud, func(JackMeasures) []measures.Figure { return nil }},
	} {
		m := measured(t, c, r.recording, dsp.Tone{})
		for _, j := range m.Jacks {
			for k, f := range r.dumb(j) {
				if f.OK() {
					t.Errorf("%s, %s: figure %d is %v, want none", r.name, j.Jack, k, f.Value)
				}
			}
		}
		b, err := json.Marshal(m)
		if err != nil {
			t.Errorf("%s: %v", r.name, err)
		}
		if r.name != "clipped throughout" && !strings.Contains(string(b), `{"not_measurable":"`) {
			t.Errorf("%s: nothing in the JSON says what could not be measured", r.name)
		}
		if r.name == "clipped throughout" {
			if j := m.jack(t, "buffer.in"); j.Of(measures.OverShare).Value < 0.95 || j.Of(measures.Headroom).Value > -30 {
				t.Errorf("a square wave of 300 V is over the ceiling for %.2f of the time, with %.1f dB of headroom", j.Of(measures.OverShare).Value, j.Of(measures.Headroom).Value)
			}
		}
	}
}

// A jack at which the test tone is not to be found has no distortion, and says why: nothing at all,
// and an octave below alone.
func TestMeasureWithoutTheTone(t *testing.T) {
	for name, c := range map[string]*board.Chain{
		"an octave below": take(t, "low: {kind: octave-down, direct: 0, octave: 10}", "volume: 10", "low"),
		"nothing":         take(t, "pedal: {kind: volume, volume: 0}", "volume: 0", "pedal"),
	} {
		m := measured(t, c, measures.Sines(measureRate, measureRate, dsp.Tone{Hz: 440, Volts: 0.2}), measures.TestTone)
		j := m.jack(t, "out")
		if j.Of(measures.THD).OK() || j.Of(measures.THD).Why == "" {
			t.Errorf("%s: THD %+v, want none, and why", name, j.Of(measures.THD))
		}
	}
}
