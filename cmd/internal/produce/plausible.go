package produce

import (
	"fmt"
	"strconv"

	"drywire/dsp"
)

// What the loudest moment of a guitar may be at its jack. Passive pickups give up to about 1 V and
// the hottest a few; electronics in the guitar no more than half of their supply, 9 V of two
// batteries. A soft note is 10 mV. Common practice, no source. Beyond the bounds something is off
// by so much that nothing is worth computing; in between the user is told.
const (
	faintestPeak dsp.Volt = 1e-3
	loudestPeak  dsp.Volt = 10
	mostPeak     dsp.Volt = 100
)

// plausiblePeak judges the loudest moment, peak, of a recording at the guitar's jack, where the
// largest sample is of that size and full scale is 1. The caution is for the user and empty where
// all is well; an error says that it can be no guitar. Silence is plausible.
func plausiblePeak(peak dsp.Volt, largest float64) (caution string, err error) {
	three := func(v dsp.Volt) string {
		rounded, _ := strconv.ParseFloat(strconv.FormatFloat(float64(v), 'g', 3, 64), 64)
		return dsp.FormatQuantity(rounded, dsp.Volts)
	}
	switch {
	case peak > mostPeak:
		beyond := "is full_scale what was meant?"
		if largest > 2 {
			beyond = fmt.Sprintf("its largest sample is %.5g, where ±1 is full scale: bring it to that scale, or say full_scale of a sample of 1", largest)
		}
		return "", fmt.Errorf("its loudest moment would be %s at the guitar's jack, and nothing from a guitar is over %s; %s", three(peak), three(mostPeak), beyond)
	case peak > loudestPeak:
		return fmt.Sprintf("CAUTION: its loudest moment is %s at the guitar's jack; guitars give 1 V or a few, and up to %s: look at its level in the chain file", three(peak), three(loudestPeak)), nil
	case peak > 0 && peak < faintestPeak:
		return fmt.Sprintf("CAUTION: its loudest moment is %s at the guitar's jack, and a soft note is 10 mV: look at its level in the chain file", three(peak)), nil
	}
	return "", nil
}
