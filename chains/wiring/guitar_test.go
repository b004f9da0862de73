package wiring_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

// parts is a guitar as this test knows it, and what it is plugged into; all in Ω, H, F.
type parts struct {
	first, second          coil
	series                 bool
	level                  float64 // of the second, negative out of phase; 0: no second
	volume, tone           float64 // pots
	upper, rheostat        float64 // of the volume above its wiper, and what the tone's leaves
	cap                    float64 // of the tone
	after                  bool
	bleed, bleedS, bleedP  float64
	cableR, cableC, loadR  float64
	recR, recCableR, recCC float64 // what the recording was loaded with; 0: nothing
}

type coil struct{ r, l, c, eddy float64 }

func par(a, b complex128) complex128 { return a * b / (a + b) }

// winding is the series impedance of a coil: half of its inductance beside the eddy resistance.
func (k coil) winding(w float64) complex128 {
	half := complex(0, w*k.l/2)
	return complex(k.r, 0) + half + par(half, complex(k.eddy, 0))
}

// behind is a coil's Thévenin source: what it gives of a volt, and its impedance. Where the volt is
// that of its terminals, its capacitance is a part of its impedance alone.
func (k coil) behind(w float64, atTerminals bool) (e, z complex128) {
	zc := 1 / complex(0, w*k.c)
	z = par(k.winding(w), zc)
	if atTerminals {
		return 1, z
	}
	return zc / (k.winding(w) + zc), z
}

// jack is the voltage at the first input for one volt of the recording, by complex impedances: a
// Thévenin source for the pickups, then the ladder from their hot end to the input.
func (p parts) jack(w float64) complex128 {
	toneBranch := func(r float64) complex128 { return complex(r, 0) + 1/complex(0, w*p.cap) }
	input := func(cableR, cableC, load float64) complex128 {
		return complex(cableR, 0) + par(1/complex(0, w*cableC), complex(load, 0))
	}
	loaded := p.recR > 0
	e, z := p.first.behind(w, loaded)
	source := complex128(1)
	if loaded {
		// The recorded volt is at the jack, full up: what the load drew comes back over the winding.
		drawn := 1/complex(p.volume, 0) + 1/toneBranch(p.tone) + 1/input(p.recCableR, p.recCC, p.recR)
		source = 1 + z*drawn
	}
	if p.level != 0 {
		e2, z2 := p.second.behind(w, loaded)
		e2 *= complex(p.level, 0)
		if p.series {
			e, z = e+e2, z+z2
		} else {
			e, z = (e/z+e2/z2)/(1/z+1/z2), par(z, z2)
		}
	}
	e *= source
	above := complex(p.upper, 0)
	if p.bleed > 0 {
		above = par(above, complex(p.bleedS, 0)+1/complex(0, w*p.bleed))
		if p.bleedP > 0 {
			above = par(above, complex(p.bleedP, 0))
		}
	}
	in := input(p.cableR, p.cableC, p.loadR)
	out := par(in, complex(p.volume-p.upper, 0))
	tone := toneBranch(p.rheostat)
	if p.after {
		out = par(out, tone)
	}
	hot := above + out
	if !p.after {
		hot = par(hot, tone)
	}
	v := e * hot / (hot + z) * out / (above + out)
	return v * par(1/complex(0, w*p.cableC), complex(p.loadR, 0)) / in
}

// The guitar's wirings against complex impedances, worked out here: treble bleeds, the tone on
// either side of the volume, two pickups in series and parallel, in phase and out, of recordings
// with and without a load.
func TestGuitarWirings(t *testing.T) {
	humbucker, single := coil{8e3, 4.4, 130e-12, 300e3}, coil{6e3, 2.4, 110e-12, 300e3}
	// A single coil against the two of a humbucker, by turns: see TestGuitarsDifferInLevel.
	softer := math.Sqrt(2.4 / 8.8)
	const taper = (1/0.15 - 1) * (1/0.15 - 1)
	audio := func(dial float64) float64 { return math.Min(1, (math.Pow(taper, dial/10)-1)/(taper-1)) }
	worst, count := 0.0, 0
	for _, load := range []string{"none", "{resistance: 1 MΩ, cable: 3 m}"} {
		for bleedText, bleed := range map[string][3]float64{
			"none": {}, "{capacitor: 1 nF}": {1e-9, 0, 0}, "{capacitor: 1.2 nF, series: 130 kΩ}": {1.2e-9, 130e3, 0},
			"{capacitor: 680 pF, parallel: 150 kΩ}": {680e-12, 0, 150e3}, "{capacitor: 2 nF, series: 20 kΩ, parallel: 300 kΩ}": {2e-9, 20e3, 300e3},
		} {
			for _, wired := range []string{"before", "after"} {
				for second, level := range map[string]float64{
					"none": 0, "{pickup: single-coil, wired: parallel}": softer, "{pickup: single-coil, wired: series}": softer,
					"{pickup: single-coil, wired: parallel, phase: out}": -softer, "{pickup: single-coil, wired: series, phase: out}": -softer,
				} {
					for _, dials := range [][2]float64{{10, 10}, {6, 10}, {3, 4}} {
						f := chaintest.MustParse(t, fmt.Sprintf(`drywire: 1
recording: {file: riff.wav, peak: 300 mV, load: %s}
guitar: {pickup: humbucker, volume: %v, tone: %v, treble_bleed: %s, tone_wired: %s, second: %s, cable: 4 m}
blocks: {keep: {kind: buffer}}
order: [keep]
`, load, dials[0], dials[1], bleedText, wired, second))
						w := wiring.Of(f.Chains()[0], 48000, section.Normal)
						ac, err := w.Section("guitar").AC()
						if err != nil {
							t.Fatal(err)
						}
						p := parts{
							first: humbucker, second: single, series: strings.Contains(second, "series"), level: level,
							volume: 500e3, tone: 500e3, upper: math.Min(math.Max(1, 500e3*(1-audio(dials[0]))), 500e3-1), rheostat: math.Max(1, 500e3*audio(dials[1])),
							cap: 22e-9, after: wired == "after", bleed: bleed[0], bleedS: bleed[1], bleedP: bleed[2],
							cableR: 0.4, cableC: 400e-12, loadR: 1e6,
						}
						if load != "none" {
							p.recR, p.recCableR, p.recCC = 1e6, 0.3, 300e-12
						}
						for _, hz := range []float64{60, 440, 1500, 3300, 7000, 16000} {
							got, want := ac.Transfer(wiring.Source, dsp.Hertz(hz), "keep.in")[0], p.jack(2*math.Pi*hz)
							// Every node has a shunt of 1e-12 S, which this has not: at the half MΩ of a coil
							// in resonance, a millionth each. 1e-5 is 0.0001 dB.
							off := cmplx.Abs(got-want) / math.Max(cmplx.Abs(want), 0.2)
							worst, count = math.Max(worst, off), count+1
							if off > 1e-5 {
								t.Fatalf("load %s, volume %v, tone %v, bleed %s, tone %s, second %s, %v Hz: %v, want %v", load, dials[0], dials[1], bleedText, wired, second, hz, got, want)
							}
						}
					}
				}
			}
		}
	}
	t.Logf("%d points, worst %.1e", count, worst)
}

// A treble bleed keeps what a volume that is turned down loses: at 5 of 10 into a cable of 6 m, the
// treble at 2.5 kHz against 400 Hz, in dB.
func TestTrebleBleedKeepsTreble(t *testing.T) {
	tilt := func(bleed, volume string) float64 {
		f := chaintest.MustParse(t, "drywire: 1\nrecording: {file: riff.wav, peak: 300 mV, load: none}\nguitar: {volume: "+volume+", treble_bleed: "+bleed+", cable: 6 m}\nblocks: {keep: {kind: buffer}}\norder: [keep]\n")
		w := wiring.Of(f.Chains()[0], 48000, section.Normal)
		low, err := w.Response("keep.in", 400)
		if err != nil {
			t.Fatal(err)
		}
		high, err := w.Response("keep.in", 2500)
		if err != nil {
			t.Fatal(err)
		}
		return dsp.ToDB(cmplx.Abs(high) / cmplx.Abs(low))
	}
	full, down, bled := tilt("none", "10"), tilt("none", "5"), tilt("{capacitor: 1 nF, series: 130 kΩ}", "5")
	t.Logf("full %.1f dB, at 5 %.1f dB, with a treble bleed %.1f dB", full, down, bled)
	if !(down < full-1 && bled > down+1) {
		t.Errorf("full %.1f dB, at 5 %.1f dB, with a treble bleed %.1f dB", full, down, bled)
	}
}
