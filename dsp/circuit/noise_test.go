package circuit_test

import (
	"math"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// TestShotNoiseBesideOthers: a transistor and a diode that share no more than a supply each make
// the shot noise 2qI of their own currents; the base current's is amplified by gm = Ic/Vt.
func TestShotNoiseBesideOthers(t *testing.T) {
	n := circuit.New()
	n.V("supply", "s", "0", 10)
	n.ColdR("rd", "s", "d", 10e3)
	n.D("d", "d", "0", circuit.Diode{Name: "x", Is: 1e-12})
	n.ColdR("rb", "s", "b", 10e6)
	n.ColdR("rc", "s", "c", 1e3)
	n.Q("q", "c", "b", "0", circuittest.SiliconNPN)
	ac := mustAC(t, n)
	through := func(node string, r float64) float64 { return (10 - ac.Point.V(node)) / r }
	id, ib, ic := through("d", 10e3), through("b", 10e6), through("c", 1e3)
	z := func(node string) float64 { return real(ac.Impedance(node, 1000)) }
	amplified := ic / circuit.ThermalVoltage * z("b")
	for node, current := range map[string]float64{"d": id, "b": ib, "c": ic + ib*amplified*amplified} {
		sum := 0.0
		for _, s := range ac.Noise(node, 1000) {
			sum += s.Density
		}
		got, want := math.Sqrt(sum), math.Sqrt(2*circuit.Charge*current)*z(node)
		if d := dsp.ToDB(got / want); !(math.Abs(d) <= 0.01) {
			t.Errorf("noise at %s is %.4g V/√Hz, want %.4g (%+.2f dB)", node, got, want, d)
		}
	}
}
