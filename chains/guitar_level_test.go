package chains_test

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

// The voltage of a pickup goes with its turns, its inductance with their square, and the coils of a
// humbucker add: against one of 2 × 2.2 H, a single coil of 2.4 H has √(2.4/8.8) of the voltage,
// -5.6 dB. At low frequencies, where no winding is loaded, that is the guitar's output, whatever
// the recording was plugged into, and a stronger magnet is on top of it.
func TestGuitarsDifferInLevel(t *testing.T) {
	const guitars = `
guitar: {pickup: humbucker}
guitars:
  bright: {pickup: single-coil, volume_pot: 500 kΩ, tone_pot: 500 kΩ}
  hot: {pickup: {resistance: 8 kΩ, inductance: 4.4 H, capacitance: 130 pF, eddy: 300 kΩ, magnet: 3 dB}}
blocks: {keep: {kind: buffer}}
order: [keep]
takes: [{name: own}, {name: bright, guitar: bright}, {name: hot, guitar: hot}]
`
	for _, c := range []struct{ recording, load string }{{"load: none", "none"}, {"load: {resistance: 1 MΩ}", "1 MΩ"}} {
		f := chaintest.MustParse(t, "drywire: 1\nrecording: {file: riff.wav, peak: 300 mV, "+c.recording+"}\n"+guitars)
		level := func(take string) float64 {
			h, err := wiring.Of(chaintest.TakeOf(t, f, take), 48000, section.Normal).Response("guitar", 40)
			if err != nil {
				t.Fatal(err)
			}
			return dsp.ToDB(cmplx.Abs(h))
		}
		own := level("own")
		for take, want := range map[string]float64{"bright": dsp.ToDB(math.Sqrt(2.4 / 8.8)), "hot": 3} {
			if got := level(take) - own; math.Abs(got-want) > 0.1 {
				t.Errorf("recorded into %s, the guitar %q is at %.2f dB, want %.2f dB", c.load, take, got, want)
			}
		}
	}
	// What the recording was played on is stated: then the single coil is as loud as it was.
	f := chaintest.MustParse(t, "drywire: 1\nrecording: {file: riff.wav, peak: 300 mV, load: none, pickup: single-coil}\n"+guitars)
	if got := chaintest.TakeOf(t, f, "bright").GuitarLevel(); got != 1 {
		t.Errorf("the recording's own guitar plays at %v of its level", got)
	}
	if got := chaintest.TakeOf(t, f, "own").GuitarLevel(); math.Abs(dsp.ToDB(got)-5.64) > 0.01 {
		t.Errorf("a humbucker in the place of a single coil plays at %.2f dB, want 5.64 dB", dsp.ToDB(got))
	}
	// What was played on a guitar itself is as loud as it was, whatever its pickup.
	f = chaintest.MustParse(t, "drywire: 1\nrecording: {file: riff.wav, peak: 300 mV, load: none}\n"+strings.Replace(guitars, "{pickup: single-coil,", "{pickup: single-coil, recording: {file: bright.wav, peak: 90 mV, load: {resistance: 500 kΩ}},", 1))
	bright := chaintest.TakeOf(t, f, "bright")
	if bright.RecordingOf != "bright" || bright.Recording.File != "bright.wav" || bright.Recording.Load.Resistance != 500e3 || bright.GuitarLevel() != 1 {
		t.Errorf("a guitar with a recording of its own plays %+v of %q at %v of its level", bright.Recording, bright.RecordingOf, bright.GuitarLevel())
	}
	if own := chaintest.TakeOf(t, f, "own"); own.RecordingOf != "" || own.Recording.File != "riff.wav" || own.Recording.Load != nil {
		t.Errorf("the file's own guitar plays %+v of %q", own.Recording, own.RecordingOf)
	}
	a, _ := board.FindPickup("humbucker")
	if a.Over(a) != 1 {
		t.Error("a pickup is not as loud as itself")
	}
}
