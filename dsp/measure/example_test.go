package measure_test

import (
	"errors"
	"fmt"
	"math"

	"drywire/dsp/measure"
)

// Two takes are matched in loudness before they are compared.
func ExampleLoudness() {
	const rate = 48000
	loud, soft := make([]float64, rate), make([]float64, rate)
	for i := range loud {
		loud[i] = 0.5 * math.Sin(2*math.Pi*330*float64(i)/rate)
		soft[i] = 0.2 * math.Sin(2*math.Pi*330*float64(i)/rate)
	}
	a, errA := measure.Loudness(loud, rate)
	b, errB := measure.Loudness(soft, rate)
	if err := errors.Join(errA, errB); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("turn the second up by %.2f dB\n", a-b)
	// Output: turn the second up by 7.96 dB
}

// What cannot be measured says why.
func ExampleNotMeasurable() {
	_, err := measure.Loudness(make([]float64, 100), 48000)
	fmt.Println(err)
	var why measure.NotMeasurable
	fmt.Println(errors.As(err, &why) && why.Reason == measure.TooShort)
	// Output:
	// not measurable: too short: 0.002 s, needs 0.4 s
	// true
}
