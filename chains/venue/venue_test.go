package venue_test

import (
	"math"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/venue"
	"drywire/dsp/section"
)

const rate = 48000

const text = `drywire: 1
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks:
  box:   {kind: switcher, loops: {1: [lift], 2: [tone]}}
  lift:  {kind: boost, gain: 9 dB}
  tone:  {kind: eq, low: 15 dB, low_freq: 150 Hz}
  power: {kind: poweramp, level: 2, watts: 50, sag: 0}
  cab:   {kind: speaker}
order: [box, power, cab]
presets: {plain: {loops: []}, deep: {loops: [2]}, loud: {loops: [1]}}
venue:
  home:  {amps: -20 dB, level: 50 dB}
  quiet: {amps: -20 dB, by: attenuator, level: 50 dB}
  small: {watts: 5, level: 50 dB}
  stage: {level: 100 dB}
`

func ask(t *testing.T) *venue.Answer {
	t.Helper()
	a, err := venue.Ask(t.Context(), venue.Question{File: chaintest.MustParse(t, text), Recording: chaintest.Chord(rate, rate), Rate: rate, Quality: section.Draft})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// What is turned down is what was said: 20 dB of level by the master, none before an attenuator,
// and 10 dB less of a ceiling with a tenth of the watts, in closed form. What is far under the
// ceiling changes by as much.
func TestTurnedDown(t *testing.T) {
	a := ask(t)
	under := map[string]venue.Amp{}
	for _, p := range a.Venues {
		if len(p.Amps) != 1 || p.Amps[0].Block != "power" {
			t.Fatalf("%s: %+v", p.Name, p.Amps)
		}
		under[p.Name] = p.Amps[0]
	}
	if d := under["home"].Under - under["stage"].Under; math.Abs(d-20) > 0.2 {
		t.Errorf("the master takes the power amplifier %.2f dB down, want 20 dB", d)
	}
	if under["quiet"] != under["stage"] {
		t.Errorf("an attenuator changes what comes before it: %+v, %+v", under["quiet"], under["stage"])
	}
	if d := under["small"].Ceiling / under["stage"].Ceiling; math.Abs(d-math.Sqrt(0.1)) > 1e-9 {
		t.Errorf("a tenth of the watts: %.4f of the ceiling, want √0.1", d)
	}
}

// The level at the listener is that of the preset in the middle; 9 dB more are 9 dB more there,
// and about as many phon where it is loud; softly they are more, as low tones grow faster than one
// of 1 kHz (the contours of ISO 226 lie closer); the trims take both away, at every venue by itself and to what
// is left with one set for all. A preset with more bass is heard less of where it is soft: the ear
// loses bass first (ISO 532-1's threshold), so softly its trim is higher.
func TestLoudSoftAndTrimmed(t *testing.T) {
	a := ask(t)
	trims, boost := map[string]float64{}, map[string]float64{}
	for _, p := range a.Venues {
		of := map[string]venue.Preset{}
		middle := false
		for _, one := range p.Presets {
			of[one.Name] = one
			middle = middle || math.Abs(one.SPL-p.Level) < 1e-9
			if math.Abs(one.Left) > 0.3 {
				t.Errorf("%s, %s: with its own trim %.2f phon away", p.Name, one.Name, one.Left)
			}
		}
		if !middle {
			t.Errorf("%s: no preset is at %v dB: %+v", p.Name, p.Level, p.Presets)
		}
		if p.Name != "small" {
			if d := of["loud"].SPL - of["plain"].SPL; math.Abs(d-9) > 0.3 {
				t.Errorf("%s: the boost of 9 dB is %.2f dB", p.Name, d)
			}
			boost[p.Name] = of["loud"].Phon - of["plain"].Phon
		}
		trims[p.Name] = of["deep"].Trim - of["plain"].Trim
		if p.Alone > 0.6 || p.Both < p.Alone-0.1 || p.Both > p.Spread {
			t.Errorf("%s: %.1f phon apart, %.1f with its own trims, %.1f with those for all", p.Name, p.Spread, p.Alone, p.Both)
		}
	}
	if d := boost["stage"]; math.Abs(d-9) > 1.5 || boost["quiet"] < d+1 {
		t.Errorf("9 dB more: %v phon, want about 9 on stage and more where it is soft", boost)
	}
	t.Logf("the deep preset's trim against the plain one's: %v", trims)
	if trims["quiet"] < trims["stage"]+0.5 {
		t.Errorf("trim of the deep preset: %.1f dB at 50 dB, %.1f dB at 100 dB; want it higher softly", trims["quiet"], trims["stage"])
	}
}
