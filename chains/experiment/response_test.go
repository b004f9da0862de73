package experiment

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// The response is that of the wiring, by AC analysis through sections and stages, wherever that one
// is smooth.
func TestResponseIsTheWirings(t *testing.T) {
	c := take(t, "fuzz: {kind: fuzz}; buffer: {kind: buffer}; eq: {kind: eq, high: 9 dB}", "volume: 7", "fuzz", "buffer", "eq")
	for _, jack := range []string{"guitar", "fuzz.out", "out"} {
		r, err := Response(c, measureRate, jack)
		if err != nil {
			t.Fatal(err)
		}
		w := render.PlanOf(c, measureRate, section.Draft)
		worst := 0.0
		for k := 0; k < len(r.Points); k += 8 {
			p := r.Points[k]
			if p.Hz > 16000 { // where the filters around a stage begin to fall
				break
			}
			h, err := w.Response(jack, dsp.Hertz(p.Hz))
			if err != nil {
				t.Fatal(err)
			}
			worst = math.Max(worst, math.Abs(p.GainDB.Value-dsp.ToDB(cmplx.Abs(h))))
		}
		if !(worst <= 0.01) {
			t.Errorf("%s: %.4f dB off, want 0.01", jack, worst)
		}
	}
}

// A pickup without eddy currents, with a volume pot and a load, is a low-pass of second order whose
// peak and corners have a closed form.
func TestResponseOfAPickup(t *testing.T) {
	// 2 H, 5 kΩ, 100 pF; pots of 10 MΩ that load next to nothing; 4 m of cable at 100 pF/m; 100 kΩ
	// in.
	c := take(t, "pedal: {kind: volume, track: 100 kΩ}", "pickup: {resistance: 5 kΩ, inductance: 2 H, capacitance: 100 pF}, volume_pot: 10 MΩ, tone_pot: 10 MΩ, tone_capacitor: 100 pF, tone: 10, cable: 4 m", "pedal")
	r, err := Response(c, measureRate, "guitar")
	if err != nil {
		t.Fatal(err)
	}
	const l, rs, load = 2.0, 5e3, 1 / (1/100e3 + 1/10e6)
	const all = 100e-12 + 400e-12 + 300e-12 // winding, cable, and behind the pedal 3 m to the load
	gain := func(f, capacitance float64) float64 {
		s := complex(0, 2*math.Pi*f)
		tone := 1 / (complex(10e6, 0) + 1/(s*100e-12))
		y := complex(1/load, 0) + s*complex(capacitance, 0) + tone + complex(1/1e6, 0)
		return dsp.ToDB(1 / cmplx.Abs(1+(complex(rs, 0)+s*l)*y))
	}
	// The pedal is full up, so that the load's 1 MΩ and 3 m are in parallel, through an ohm.
	worst, high := 0.0, 0.0
	for _, p := range r.Points {
		worst = math.Max(worst, math.Abs(p.GainDB.Value-gain(p.Hz, all)))
		if p.GainDB.Value >= r.Middle.Value-3 {
			high = p.Hz
		}
	}
	if !(worst <= 0.01) {
		t.Errorf("%.4f dB off the closed form, want 0.01", worst)
	}
	near(t, "gain at 1 kHz", r.Middle, gain(1000, all), 0.01, "dB")
	near(t, "upper edge", r.High, high, 0.03*high, "Hz") // a cell is 2.9 % wide
	if d := gain(1000, all) - 3 - gain(r.High.Value, all); math.Abs(d) > 0.02 {
		t.Errorf("at the upper edge, %.0f Hz, the closed form is %.3f dB off 3 dB down", r.High.Value, d)
	}
	if r.Low.OK() {
		t.Errorf("a pickup has a lower edge at %v Hz", r.Low.Value)
	}
}

// A source of 100 Ω with a long cable into 10 kΩ: what each takes is a divider.
func TestLosses(t *testing.T) {
	c := take(t, "buffer: {kind: buffer}; pedal: {kind: volume, track: 10 kΩ}", "cable: 5 m", "buffer", "pedal")
	c.Patch = 100 // m: 10 nF, 10 Ω
	r, err := Response(c, measureRate, "pedal.out")
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Losses) != 3 {
		t.Fatalf("%d hand-overs up to pedal.out, want 3: its own load is felt there", len(r.Losses))
	}
	l := r.Losses[1]
	if l.Jack != "pedal.in" || math.Abs(l.Source-100) > 0.01 || l.Cable != 100 {
		t.Errorf("second hand-over: %+v", l)
	}
	for _, p := range l.At {
		s := complex(0, 2*math.Pi*p.Hz)
		// the track full up, and through it 3 m of cable and 1 MΩ
		in := 1 + 1/(1/complex(10e3-1, 0)+1/(0.3+1/(1/complex(1e6, 0)+s*300e-12)))
		cable := s * 10e-9
		all := cmplx.Abs(1 + 110*(cable+1/in))
		near(t, "input", p.Input, dsp.ToDB(all/cmplx.Abs(1+110*cable)), 0.001, "dB")
		near(t, "cable", p.Cable, dsp.ToDB(all/cmplx.Abs(1+100/in)), 0.001, "dB")
		near(t, "both", p.Both, dsp.ToDB(all), 0.001, "dB")
	}
	if l.At[2].Cable.Value < 0.001 || l.At[2].Input.Value < 0.05 {
		t.Errorf("the losses are too small to be a check: %+v", l.At[2])
	}
}

// In a split, a jack's losses are those on its own path.
func TestLossesOfAPath(t *testing.T) {
	f, err := file.Parse("test.yaml", []byte(`
drywire: 1
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks: {drive: {kind: overdrive}, a: {kind: buffer}, b: {kind: buffer}}
order: [drive, {split: {left: [a], right: [b]}}]
`))
	if err != nil {
		t.Fatal(err)
	}
	for jack, want := range map[string]string{"drive.in": "drive.in", "out.left": "drive.in a.in load.left", "out.right": "drive.in b.in load.right"} {
		r, err := Response(f.Chains()[0], measureRate, jack)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, l := range r.Losses {
			got = append(got, l.Jack)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: hand-overs %v, want %s", jack, got, want)
		}
	}
}

// Where the noise comes near a threshold and its ledger is rendered, the gain stands at the middles
// of the cells as everywhere, and not where the noise in them is.
func TestResponseBesideLoudNoise(t *testing.T) {
	loud, err := Response(take(t, "fuzz: {kind: op-amp-fuzz, sustain: 9}; dist: {kind: distortion, distortion: 8}; gate: {kind: gate}", "volume: 10", "fuzz", "dist", "gate"), 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	quiet, err := Response(take(t, "buffer: {kind: buffer}", "volume: 10", "buffer"), 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	for k, p := range quiet.Points {
		if got := loud.Points[k].Hz; got != p.Hz {
			t.Fatalf("point %d is at %.2f Hz, and at %.2f Hz of a quiet chain", k, got, p.Hz)
		}
	}
}
