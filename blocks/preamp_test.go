package blocks_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// The circuit from its grid resistor to the send, with the tone controls at their ends and in the
// middle, against a circuit simulator: ngspice 39.3, ngspice -b DECK, where DECK is what this test
// logs (go test ./blocks -run PreampAgainstSimulator -v).
func TestPreampAgainstSimulator(t *testing.T) {
	const tolerance = 0.01 // dB
	frequencies := []dsp.Hertz{80, 500, 2000, 8000}
	for _, c := range []struct {
		treble, middle, bass float64
		want                 [4]float64
	}{
		{5, 5, 5, [4]float64{22.72602, 21.64729, 25.07109, 21.85419}},
		{10, 0, 10, [4]float64{24.69908, 11.10323, 27.12325, 25.53356}},
		{0, 10, 0, [4]float64{16.28917, 24.25270, 24.85956, 18.56762}},
	} {
		b := laid("preamp", map[string]float64{"treble": c.treble, "middle": c.middle, "bass": c.bass})
		lines := []string{".control"}
		for k, f := range frequencies {
			if got := dsp.ToDB(cmplx.Abs(between(t, b, "preamp.driven", "preamp.mastered", f))); math.Abs(got-c.want[k]) > tolerance {
				t.Errorf("treble %v, middle %v, bass %v: %v Hz at %.4f dB, want %.4f dB", c.treble, c.middle, c.bass, float64(f), got, c.want[k])
			}
			lines = append(lines, fmt.Sprintf("ac lin 1 %v %v", float64(f), float64(f)), "print vdb(preamp_mastered)")
		}
		t.Log(b.Circuit.Deck(circuit.Deck{Title: "preamp", RelTol: 1e-6, Lines: append(lines, ".endc"), Drive: map[string]string{"preamp.sent": "DC 0"}}))
	}
}

// The gains for which the Miller capacitances stand are those of the stages: within 5 %, which
// moves the treble's corner as much.
func TestPreampMiller(t *testing.T) {
	b := laid("preamp", map[string]float64{"gain": 10})
	for _, c := range []struct {
		grid, plate string
		want        float64
	}{{"preamp.g1", "preamp.p1", 65.5}, {"preamp.g2", "preamp.p2", 38.4}} {
		if got := cmplx.Abs(between(t, b, "preamp.driven", c.plate, 1000) / between(t, b, "preamp.driven", c.grid, 1000)); math.Abs(got/c.want-1) > 0.05 {
			t.Errorf("from %s to %s the gain is %.2f, the capacitance is for %v", c.grid, c.plate, got, c.want)
		}
	}
}

// Gain is distortion, master is level: the control before the second triode makes harmonics, the
// one behind it makes the same sound louder.
func TestPreampGainAndMaster(t *testing.T) {
	sound := func(gain, master float64) (level, harmonics float64) {
		y := onRig(t, "preamp", map[string]any{"gain": gain, "master": master}, 250, 0.1, 9600)
		first, rest := line(y, 250), 0.0
		for h := 2.0; h < 10; h++ {
			rest = math.Hypot(rest, line(y, 250*h))
		}
		return dsp.ToDB(rms(y)), dsp.ToDB(rest / first)
	}
	l1, h1 := sound(3, 2)
	l2, h2 := sound(3, 5)
	l3, h3 := sound(9, 2)
	if math.Abs(h2-h1) > 0.2 || l2-l1 < 8 {
		t.Errorf("master from 2 to 5: %.2f dB louder, harmonics from %.2f to %.2f dB", l2-l1, h1, h2)
	}
	if h3-h1 < 10 {
		t.Errorf("gain from 3 to 9: %.2f dB louder, harmonics from %.2f to %.2f dB", l3-l1, h1, h3)
	}
}
