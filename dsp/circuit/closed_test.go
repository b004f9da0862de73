package circuit_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// omega is j·2πf.
func omega(f float64) complex128 { return complex(0, 2*math.Pi*f) }

func parallel(z ...complex128) complex128 {
	var y complex128
	for _, x := range z {
		y += 1 / x
	}
	return 1 / y
}

// tolClosed is the relative error against closed forms: what 1 pS at every node (see Shunt) and
// rounding leave.
const tolClosed = 1e-5

func near(t *testing.T, what string, got, want complex128, tol float64) {
	t.Helper()
	if d := cmplx.Abs(got - want); !(d <= tol*cmplx.Abs(want)) {
		t.Errorf("%s: %.8g, want %.8g (off by %.2g of it)", what, got, want, d/cmplx.Abs(want))
	}
}

func mustAC(t *testing.T, n *circuit.Netlist) *circuit.AC {
	t.Helper()
	ac, err := n.AC()
	if err != nil {
		t.Fatal(err)
	}
	return ac
}

// TestClosedFormResponses holds responses and impedances to the formulas of the networks.
func TestClosedFormResponses(t *testing.T) {
	const r, l, c = 1e3, 0.1, 100e-9
	low := circuit.New() // RC low-pass
	low.Input("V", "in", "0")
	low.R("r", "in", "out", r)
	low.C("c", "out", "0", c)

	resonant := circuit.New() // series RLC, over the capacitor
	resonant.Input("V", "in", "0")
	resonant.R("r", "in", "a", r)
	resonant.L("l", "a", "out", l)
	resonant.C("c", "out", "0", c)

	// Twin-T: H = (1-x²)/(1-x²+4jx), x = ωRC, into no load.
	twin := circuit.New()
	twin.Input("V", "in", "0")
	twin.R("r1", "in", "a", r)
	twin.R("r2", "a", "out", r)
	twin.C("c3", "a", "0", 2*c)
	twin.C("c1", "in", "b", c)
	twin.C("c2", "b", "out", c)
	twin.R("r3", "b", "0", r/2)

	// Gyrator: behind r1, a capacitor into a follower's input with rg to ground looks like an
	// inductor of r1·rg·c with r1 in series.
	const r1, rg = 100.0, 100e3
	gyrator := circuit.New()
	gyrator.Input("V", "in", "0")
	gyrator.R("r", "in", "out", r)
	gyrator.R("r1", "out", "f", r1)
	gyrator.C("c", "out", "p", 10e-9)
	gyrator.R("rg", "p", "0", rg)
	gyrator.E("e", "f", "0", "p", "0", 1)

	for _, f := range []float64{20, 137, 1000, 1591.549, 7321, 20e3} {
		s := omega(f)
		out := func(n *circuit.Netlist) complex128 { return mustAC(t, n).Transfer("V", dsp.Hertz(f), "out")[0] }
		near(t, "RC", out(low), 1/(1+s*r*c), tolClosed)
		near(t, "RC, output impedance", mustAC(t, low).Impedance("out", dsp.Hertz(f)), parallel(r, 1/(s*c)), tolClosed)
		near(t, "RLC", out(resonant), 1/(1+s*r*c+s*s*l*c), tolClosed)
		x := 2 * math.Pi * f * r * c
		if got, want := out(twin), complex(1-x*x, 0)/complex(1-x*x, 4*x); cmplx.Abs(got-want) > tolClosed {
			t.Errorf("twin-T at %v Hz: %v, want %v", f, got, want)
		}
		zc := 1 / (s * 10e-9)
		p := rg / (rg + zc) // the follower's share
		y := (1-p)/r1 + 1/(rg+zc)
		near(t, "gyrator", out(gyrator), 1/(1+r*y), tolClosed)
	}
}

// TestClosedFormAmplifier is the op-amp with one pole: A(s) = 1/(1/A0 + s/(2π·GBW)), input
// resistance between its inputs, output resistance.
func TestClosedFormAmplifier(t *testing.T) {
	const a0, gbw, rin, rout, rf, rg, rs, rl = 1e5, 1e6, 1e9, 75.0, 100e3, 10e3, 10e3, 1e3
	ac := mustAC(t, circuittest.Amplifier(0))
	for _, f := range []float64{20, 1000, 20e3, 300e3} {
		s := omega(f)
		a := 1 / (1/a0 + s/(2*math.Pi*gbw))
		zl := rl + 1/(s*1e-9)
		// Nodes p, m and o by hand: (in-p)/rs = (p-m)/rin; (o-m)/rf + (p-m)/rin = m/rg;
		// (a(p-m)-o)/rout = (o-m)/rf + o/zl. In terms of d = p-m: p = 1-d·rs/rin, m = p-d, o = m +
		// rf·(m/rg-d/rin), linear in d.
		at := func(d complex128) complex128 {
			p := 1 - d*rs/rin
			m := p - d
			o := m + rf*(m/rg-d/rin)
			return (a*d-o)/rout - (o-m)/rf - o/zl
		}
		d := -at(0) / (at(1) - at(0))
		p := 1 - d*rs/rin
		m := p - d
		near(t, "amplifier", ac.Transfer("Vdry", dsp.Hertz(f), "o")[0], m+rf*(m/rg-d/rin), tolClosed)
	}
}

// TestLoadedPickups holds loaded pickups to the closed form of the network, and that to a table
// worked out by somebody else: winding R and L in series, shunt C; pots at maximum; tone capacitor
// 22 nF; cable 500 pF; 1 MΩ input. Peaks are above the level at 100 Hz, to 0.1 dB; frequencies are
// of a grid of about 0.5 %. Its open pickups have 10 MΩ across them, which it does not say, but
// which all three peaks tell to within 2 %.
func TestLoadedPickups(t *testing.T) {
	type load struct {
		pot, cable, input float64 // Ω (0: no pots), F, Ω
	}
	loads := []load{{0, 0, 10e6}, {250e3, 500e-12, 1e6}, {500e3, 500e-12, 1e6}, {250e3, 1000e-12, 1e6}, {500e3, 500e-12, 68e3}, {250e3, 500e-12, 5e3}}
	rows := []struct {
		l, r, c float64
		// Per load: peak in dB and its frequency; where there is none (0 dB) the frequency 3 dB
		// down from 100 Hz.
		peak, at []float64
		low      float64 // level at 100 Hz under the last load, dB
	}{
		{2.2, 6e3, 110e-12, []float64{24.9, 4.5, 8.2, 5.9, 0.5, 0}, []float64{10250, 3990, 4240, 3070, 2610, 802}, -7.1},
		{4.4, 8e3, 130e-12, []float64{24.2, 2.5, 6.2, 4.0, 0, 0}, []float64{6640, 2550, 2870, 2060, 2950, 487}, -8.7},
		{8, 15e3, 150e-12, []float64{21.1, 0.9, 4.0, 2.0, 0, 0}, []float64{4590, 1540, 2020, 1390, 1670, 419}, -12.6},
	}
	const (
		rounding = 0.05  // dB, half the table's last digit
		tolGain  = 0.05  // dB
		tolPlace = 0.001 // of a frequency
		grid     = 0.006 // of a frequency, the table's own
		half     = 3.0103
	)
	for _, row := range rows {
		for k, ld := range loads {
			n := circuit.New()
			n.Input("V", "e", "0")
			n.R("r", "e", "a", dsp.Ohm(row.r))
			n.L("l", "a", "out", dsp.Henry(row.l))
			n.C("c", "out", "0", dsp.Farad(row.c))
			n.R("input", "out", "0", dsp.Ohm(ld.input))
			if ld.pot > 0 {
				n.R("volume", "out", "0", dsp.Ohm(ld.pot))
				n.R("tone", "out", "t", dsp.Ohm(ld.pot))
				n.C("tonecap", "t", "0", 22e-9)
				n.C("cable", "out", "0", dsp.Farad(ld.cable))
			}
			ac := mustAC(t, n)
			closed := func(f float64) float64 {
				s := omega(f)
				y := s*complex(row.c+ld.cable, 0) + complex(1/ld.input, 0)
				if ld.pot > 0 {
					y += complex(1/ld.pot, 0) + 1/(complex(ld.pot, 0)+1/(s*22e-9))
				}
				return dsp.ToDB(cmplx.Abs(1 / (1 + y*(complex(row.r, 0)+s*complex(row.l, 0)))))
			}
			level := func(f float64) float64 { return dsp.ToDB(cmplx.Abs(ac.Transfer("V", dsp.Hertz(f), "out")[0])) }
			for f := 20.0; f <= 16e3; f *= 1.07 {
				if got, want := level(f), closed(f); math.Abs(got-want) > tolGain {
					t.Errorf("%v H, load %d: %.3f dB at %.0f Hz, want %.3f", row.l, k, got, f, want)
				}
			}
			best, at, corner := -100.0, 0.0, 0.0
			for f := 100.0; f < 16e3; f *= 1.0001 {
				v := closed(f)
				if v > best {
					best, at = v, f
				}
				if corner == 0 && v < closed(100)-half {
					corner = f
				}
			}
			if row.peak[k] == 0 {
				if best > closed(100)+0.1 {
					t.Errorf("%v H, load %d: a peak of %.2f dB where there is none", row.l, k, best)
				}
				if math.Abs(corner/row.at[k]-1) > grid {
					t.Errorf("%v H, load %d: 3 dB down at %.1f Hz, want %v", row.l, k, corner, row.at[k])
				}
				if got := level(corner); math.Abs(got-closed(100)+half) > tolGain {
					t.Errorf("%v H, load %d: %.3f dB at %.1f Hz", row.l, k, got, corner)
				}
			} else {
				if got := level(at) - level(100); math.Abs(got-row.peak[k]) > tolGain+rounding {
					t.Errorf("%v H, load %d: peak of %.2f dB, want %.1f", row.l, k, got, row.peak[k])
				}
				if math.Abs(at/row.at[k]-1) > grid {
					t.Errorf("%v H, load %d: peak at %.1f Hz, want %.0f", row.l, k, at, row.at[k])
				}
				if below, above := level(at*(1-tolPlace)), level(at*(1+tolPlace)); !(level(at) > below && level(at) > above) {
					t.Errorf("%v H, load %d: the peak is not within 0.1 %% of %.1f Hz", row.l, k, at)
				}
			}
			if k == 5 && math.Abs(level(100)-row.low) > tolGain+rounding {
				t.Errorf("%v H, load %d: %.2f dB at 100 Hz, want %.1f", row.l, k, level(100), row.low)
			}
		}
	}
}

// TestClosedFormNoise: 4kTR through an RC, and kT/C over all frequencies.
func TestClosedFormNoise(t *testing.T) {
	const r, c = 10e3, 1e-9
	n := circuit.New()
	n.R("r", "out", "0", r)
	n.C("c", "out", "0", c)
	n.ColdR("cold", "out", "0", 1e12) // makes none
	ac := mustAC(t, n)
	total, last := 0.0, 0.0
	for f := 1.0; f < 1e9; f *= 1.01 {
		list := ac.Noise("out", dsp.Hertz(f))
		if len(list) != 1 || list[0].Element != "r" || list[0].Cause != "thermal" {
			t.Fatalf("noise of %v, want that of r alone", list)
		}
		x := 2 * math.Pi * f * r * c
		want := 4 * circuit.Boltzmann * circuit.Temperature * r / (1 + x*x)
		near(t, "thermal noise", complex(list[0].Density, 0), complex(want, 0), tolClosed)
		total += (list[0].Density + last) / 2 * (f - f/1.01)
		last = list[0].Density
	}
	// the sum
	if want := circuit.Boltzmann * circuit.Temperature / c; math.Abs(total/want-1) > 1e-3 {
		t.Errorf("noise over all frequencies is %.5g V², want kT/C = %.5g", total, want)
	}
	// Shot noise: 2qI of a forward diode, into its own resistance Vt/I; and an amplifier's input
	// noise, times its gain of 11.
	d := circuit.New()
	d.V("supply", "s", "0", 10)
	d.ColdR("rs", "s", "out", 1e6)
	d.D("d", "out", "0", circuit.Diode{Name: "x", Is: 1e-12})
	da := mustAC(t, d)
	i := (10 - da.Point.V("out")) / 1e6
	// slope of Is·(exp(v/Vt)-1), and the resistor
	z := 1 / ((i+1e-12)/circuit.ThermalVoltage + 1e-6)
	shot := da.Noise("out", 1000)
	if len(shot) != 1 || shot[0].Cause != "shot" {
		t.Fatalf("noise of %v, want the diode's alone", shot)
	}
	near(t, "shot noise", complex(shot[0].Density, 0), complex(2*circuit.Charge*i*z*z, 0), tolClosed)
	a := circuit.New()
	a.R("rp", "p", "0", 1)
	a.OpAmp("a", "p", "m", "out", circuit.OpAmp{Gain: 1e6, GBW: 10e6, Rin: 1e9, Rout: 1, Lo: -4, Hi: 4, Noise: 5e-9})
	a.ColdR("rf", "out", "m", 10e3)
	a.ColdR("rg", "m", "0", 1e3)
	for _, s := range mustAC(t, a).Noise("out", 1000) {
		if s.Cause == "input" {
			// 11/(1+11/A), |A| = 10^4
			near(t, "input noise", complex(math.Sqrt(s.Density), 0), 11*5e-9, 1e-3)
			return
		}
	}
	t.Error("no input noise of the amplifier")
}
