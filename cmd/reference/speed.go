package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"drywire/dsp/section"
)

// faster is how many times as fast as the simulator the render must be at the same accuracy.
const faster = 25

// ladder is how the simulator is run, fastest first.
var ladder = []Accuracy{
	{5.6e-6, 1e-3}, {2.8e-6, 1e-3}, {1.4e-6, 1e-3}, {1.4e-6, 1e-5}, {0.7e-6, 1e-3}, {0.7e-6, 1e-5}, {0.35e-6, 1e-3}, {0.35e-6, 1e-5}, {0.175e-6, 1e-5},
}

// speed holds the time of a render against that of the simulator on the same deck: the fastest way
// to run it that is at least as accurate as the render. Where none is, it says so and takes the
// slowest. Both run alone, the render three times of which the fastest counts.
func speed(ctx context.Context, version string, out io.Writer) (bool, error) {
	const length = 0.2 // s
	fmt.Fprintf(out, "%s against a render of %v s on one core\n", version, length)
	ok := true
	for _, c := range []Case{
		fuzzCase("silicon", 10, 10, false, 48000, length, Tones(330, 0.2)),
		fuzzCase("germanium", 10, 10, false, 48000, length, Tones(330, 0.2)),
		fuzzCase("silicon", 10, 10, true, 48000, length, Tones(1244.5, 0.5)),
	} {
		want, residual, a, err := c.Reference(ctx)
		if err != nil {
			return false, err
		}
		fmt.Fprintf(out, "\n%s; reference at %.2g µs, %.1f dB from twice that\n", c.Name, a.Step*1e6, residual)
		for _, q := range []section.Quality{section.Normal, section.Fine} {
			ours := time.Duration(math.MaxInt64)
			level := 0.0
			for range 3 {
				start := time.Now()
				y, _, err := c.Render(ctx, q)
				if err != nil {
					return false, err
				}
				ours = min(ours, time.Since(start))
				level = ErrorDB(c.Spectrum(y, 1), want)
			}
			fmt.Fprintf(out, "  %-7s %7.1f dB %8.3f s\n", q.Name, level, ours.Seconds())
			if q.Name != section.Normal.Name {
				continue
			}
			for k, a := range ladder {
				x, w, err := c.Simulate(ctx, a)
				if err != nil {
					return false, err
				}
				theirs := ErrorDB(c.Spectrum(x, high), want)
				ratio := w.Took.Seconds() / ours.Seconds()
				fmt.Fprintf(out, "  ngspice %7.1f dB %8.3f s at %.3g µs, reltol %v: %.0f times the render\n", theirs, w.Took.Seconds(), a.Step*1e6, a.RelTol, ratio)
				if last := k == len(ladder)-1; theirs <= level || last {
					verdict := "at least as accurate as the render"
					if theirs > level {
						verdict = "as accurate as it was tried"
					}
					fmt.Fprintf(out, "  => %.0f times as fast as the simulator, %s\n", ratio, verdict)
					ok = ok && ratio >= faster
					break
				}
			}
		}
	}
	return ok, nil
}
