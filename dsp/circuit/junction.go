package circuit

import "math"

// Physical constants: CODATA 2014, the values that the reference simulator uses, so that both speak
// of the same thermal voltage. Temperature is the usual 27 °C.
const (
	Boltzmann      = 1.38064852e-23                   // J/K
	Charge         = 1.6021766208e-19                 // C
	Temperature    = 300.15                           // K
	ThermalVoltage = Boltzmann * Temperature / Charge // V
)

// gmin is the conductance across every junction, in siemens, as in the reference simulator. It
// keeps a cut-off junction from leaving a node floating.
const gmin = 1e-12

// critical is the junction voltage above which Newton steps are shortened.
func critical(nvt, is float64) float64 { return nvt * math.Log(nvt/(math.Sqrt2*is)) }

// needsLimiting reports whether a Newton step of a junction from old to v is to be shortened: it
// ends above the critical voltage, and is longer than the exponential is straight; or it is not a
// number.
func needsLimiting(v, old, nvt, crit float64) bool { return !(v <= crit || math.Abs(v-old) <= 2*nvt) }

// limitJunction shortens such a step: above the critical voltage it is taken in current, not in
// voltage. Source: the junction limiting of SPICE2 (UCB/ERL M520, 1975).
func limitJunction(v, old, nvt, crit float64) float64 {
	if old <= 0 {
		return nvt * math.Log(v/nvt)
	}
	arg := 1 + (v-old)/nvt
	if arg <= 0 {
		return crit
	}
	return old + nvt*math.Log(arg)
}

// exponent is exp(x) and its derivative as a junction has them. Beyond the exponents that any
// physical current reaches it goes on as a straight line, so that a wild iterate cannot overflow.
// Below -3, where a junction is reverse-biased, it is -(3/(e·x))³, which meets exp(x) and its slope
// at -3: so the law of SPICE has it since its second version (UCB/ERL M520, 1975), and with a
// leakage of 200 nA the 0.1 % that lies between the two moves an operating point by 0.2 mV.
//
// In between it is most of what a junction costs, so it is written out: with x = n·ln2/128 + r,
// exp(x) = 2^(n/128)·exp(r), the first from a table and the second by its series, |r| < 0.0028. The
// relative error is under 2e-15, what the fifth power of r leaves. Source of the method: ACM TOMS
// 15(2) 144-157, 1989.
func exponent(x float64) (e, de float64) {
	if x > expTop || x < expBottom {
		return exponentFar(x)
	}
	// Adding 1.5·2^52 rounds to a whole number that then stands in the low bits.
	t := x*(expSteps/math.Ln2) + 0x1.8p52
	n := int64(math.Float64bits(t) << 12 >> 12)
	n -= 1 << 51
	f := t - 0x1.8p52
	r := x - f*ln2High - f*ln2Low
	p := 1 + r*(1+r*(1./2+r*(1./6+r*(1./24))))
	scale := math.Float64frombits(expTable[n&(expSteps-1)] + uint64(n>>expBits)<<52)
	e = scale * p
	return e, e
}

const (
	expTop    = 80
	expBottom = -3
	expBits   = 7
	expSteps  = 1 << expBits
	// ln2/128 in two parts; the first has so few bits that its product with n is exact.
	ln2High = 0x1.62e42fep-1 / expSteps
	ln2Low  = (math.Ln2 - 0x1.62e42fep-1) / expSteps
)

var expTable = func() (table [expSteps]uint64) {
	for k := range table {
		table[k] = math.Float64bits(math.Exp2(float64(k) / expSteps))
	}
	return table
}()

func exponentFar(x float64) (e, de float64) {
	if x > expTop {
		de = math.Exp(expTop)
		return de * (1 + x - expTop), de
	}
	r := -expBottom / (math.E * x)
	e = -r * r * r
	return e, -3 * e / x
}
