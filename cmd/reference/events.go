package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/samples"

	"gonum.org/v1/gonum/dsp/fourier"
)

// What a verdict on two takes has to be, written down before the code that gives it: a recording
// against itself after something was done to it of which it is known, from elsewhere, whether
// people hear it.

// An event is one thing done to a recording.
type event struct {
	name   string
	do     func(x []float64, rate float64) []float64 // of the same length
	want   verdict
	source string
}

// A verdict is what is expected: some things are heard by some and not by others, and of those
// nothing is expected.
type verdict int

const (
	unheard verdict = iota // identical, or nobody is likely to hear it
	heard                  // in places or most of the time
	either                 // at the threshold
)

func (v verdict) String() string { return [...]string{"not heard", "heard", "either"}[v] }

// Sources of the expectations.
const (
	byDefinition = "by definition"
	intensity    = "level steps: 0.5 dB for wide-band noise, no less than 0.3 dB for anything (textbook of hearing, from memory)"
	tiltStep     = "a tilt of 1 dB over the middle decades is about 0.3 dB an octave, the least that trained listeners told apart (from memory)"
	highEdge     = "a guitar has next to nothing above 10 kHz (common practice, no source)"
	latency      = "nobody hears when a recording begins; to play through it is another matter (common practice, no source)"
	pitchStep    = "the least change of pitch that is heard is 3 to 5 cents (textbook of hearing, from memory)"
	harmonics    = "a second harmonic 1 % and more of a tone is heard in quiet comparison, 0.3 % never in music (common practice, no source)"
	threshold    = "white noise of 12 dB SPL lies under a quiet room's own, 22 dB SPL over it (common practice, no source)"
	gaps         = "gaps of 3 ms are heard in noise (textbook of hearing, from memory); 10 ms and more at the loudest moment are chops"
	clicks       = "a click of a third of the peak is a crackle (common practice, no source)"
	dropouts     = "an octave divider that stumbles is what players complain of (common practice, no source)"
)

// events is the table.
func events() []event {
	var list []event
	add := func(name string, want verdict, source string, do func(x []float64, rate float64) []float64) {
		list = append(list, event{name: name, do: do, want: want, source: source})
	}
	gain := func(db float64) func(x []float64, rate float64) []float64 {
		return func(x []float64, _ float64) []float64 {
			return each(x, func(_ int, v float64) float64 { return v * dsp.FromDB(db) })
		}
	}
	add("identical", unheard, byDefinition, gain(0))
	for _, s := range []struct {
		db   float64
		want verdict
	}{{0.2, unheard}, {0.3, unheard}, {0.5, either}, {1, heard}} {
		add(fmt.Sprintf("%+.1f dB", s.db), s.want, intensity, gain(s.db))
		add(fmt.Sprintf("%+.1f dB", -s.db), s.want, intensity, gain(-s.db))
	}
	for _, s := range []struct {
		db   float64
		want verdict
	}{{0.5, unheard}, {1, either}} {
		add(fmt.Sprintf("tilt of %.1f dB, 100 Hz to 10 kHz", s.db), s.want, tiltStep, tilt(s.db))
	}
	add("low-pass at 15 kHz", unheard, highEdge, lowPass(15000))
	for _, ms := range []float64{1, 3, 3.0103, 40} {
		add(fmt.Sprintf("%.4g ms late", ms), unheard, latency, func(x []float64, rate float64) []float64 { return late(x, ms*1e-3*rate, 0) })
	}
	add("1 cent slow", unheard, pitchStep, func(x []float64, _ float64) []float64 { return late(x, 0, math.Pow(2, -1.0/1200)-1) })
	for _, s := range []struct {
		percent float64
		want    verdict
	}{{0.1, unheard}, {0.3, unheard}, {1, either}, {3, either}} {
		add(fmt.Sprintf("second harmonic of %.1f %%", s.percent), s.want, harmonics, second(s.percent/100))
	}
	add("noise at -60 dB", unheard, threshold, hiss(-60))
	add("noise at -50 dB", either, threshold, hiss(-50))
	for _, ms := range []float64{10, 30, 90} {
		add(fmt.Sprintf("a hole of %.0f ms", ms), heard, gaps, hole(ms))
	}
	add("one click of 30 % of peak", heard, clicks, crackle(1))
	add("clicks of 30 % of peak, two a second", heard, clicks, crackle(0.5))
	add("four stumbles of 60 ms, an octave down", heard, dropouts, stumble)
	return list
}

func each(x []float64, f func(k int, v float64) float64) []float64 {
	y := make([]float64, len(x))
	for k, v := range x {
		y[k] = f(k, v)
	}
	return y
}

// tilt raises everything above 1 kHz and lowers what is below, by db over the decades from 100 Hz
// to 10 kHz, straight in dB over the logarithm of frequency, by the recording's transform.
func tilt(db float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, rate float64) []float64 {
		return shaped(x, rate, func(hz float64) float64 {
			return dsp.FromDB(db / 2 * math.Log10(min(max(hz, 20), 20000)/1000))
		})
	}
}

func lowPass(edge float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, rate float64) []float64 {
		return shaped(x, rate, func(hz float64) float64 { return min(1, max(0, (edge+500-hz)/1000)) })
	}
}

// shaped is x with a gain by frequency, without phase.
func shaped(x []float64, rate float64, gain func(hz float64) float64) []float64 {
	n := 2 * len(x) // so that no end meets the beginning
	plan, padded := fourier.NewFFT(n), make([]float64, n)
	copy(padded, x)
	lines := plan.Coefficients(nil, padded)
	for k := range lines {
		lines[k] *= complex(gain(float64(k)*rate/float64(n))/float64(n), 0)
	}
	return plan.Sequence(padded, lines)[:len(x)]
}

// late is x so many samples later, and slower by a share of its speed; its end is lost. Between
// samples it is the sinc of them, under a window of 64.
func late(x []float64, samples, slower float64) []float64 {
	const half = 32
	return each(x, func(k int, _ float64) float64 {
		at := float64(k)*(1+slower) - samples
		sum := 0.0
		for j := int(math.Floor(at)) - half + 1; j <= int(math.Floor(at))+half; j++ {
			if j < 0 || j >= len(x) {
				continue
			}
			d := at - float64(j)
			if d == 0 {
				sum += x[j]
				continue
			}
			sum += x[j] * math.Sin(math.Pi*d) / (math.Pi * d) * (0.5 + 0.5*math.Cos(math.Pi*d/half))
		}
		return sum
	})
}

// second adds a second harmonic of such a share to what is as loud as the peak.
func second(share float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, _ float64) []float64 {
		peak := x[loudest(x)]
		// v + 2·share·v²/peak: of a sine of the peak's height, its second harmonic is share.
		return each(x, func(_ int, v float64) float64 { return v + 2*share*v*v/math.Abs(peak) })
	}
}

// hiss adds white noise, in dB re the recording's RMS.
func hiss(db float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, _ float64) []float64 {
		rng := rand.New(rand.NewPCG(1, 2))
		sum := 0.0
		for _, v := range x {
			sum += v * v
		}
		rms := math.Sqrt(sum/float64(len(x))) * dsp.FromDB(db)
		return each(x, func(_ int, v float64) float64 { return v + rms*rng.NormFloat64() })
	}
}

// hole is silence around the loudest moment.
func hole(ms float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, rate float64) []float64 {
		at, half := loudest(x), int(ms*1e-3*rate/2)
		return each(x, func(k int, v float64) float64 {
			if k >= at-half && k < at+half {
				return 0
			}
			return v
		})
	}
}

// crackle adds a click of 0.1 ms, a third of the peak high, in the middle of every so many seconds.
func crackle(every float64) func(x []float64, rate float64) []float64 {
	return func(x []float64, rate float64) []float64 {
		y, height := each(x, func(_ int, v float64) float64 { return v }), 0.3*math.Abs(x[loudest(x)])
		step, width := int(every*rate), max(1, int(1e-4*rate))
		for k := step / 2; k+width < len(y); k += step {
			for j := range width {
				y[k+j] += height
			}
			if every >= 1 {
				break
			}
		}
		return y
	}
}

// stumble turns the polarity of 60 ms after the loudest moment, and three times again 150 ms later,
// as a divider that loses count does.
func stumble(x []float64, rate float64) []float64 {
	at, step, width := loudest(x), int(0.15*rate), int(0.06*rate)
	return each(x, func(k int, v float64) float64 {
		if k >= at && k < at+4*step && (k-at)%step < width {
			return -v
		}
		return v
	})
}

func loudest(x []float64) int {
	at := 0
	for k, v := range x {
		if math.Abs(v) > math.Abs(x[at]) {
			at = k
		}
	}
	return at
}

// A programme is a recording to do it to, at the loudness of takes for listening.
type programme struct {
	name string
	rate float64
	x    []float64
}

// programmes is the recordings at the paths, or where there are none the shipped ones, up to 6 s of
// each.
func programmes(paths []string) ([]programme, error) {
	var list []programme
	add := func(name string, r *samples.Reader, err error) error {
		if err != nil {
			return err
		}
		defer r.Close()
		x := make([]float64, min(int64(6*r.Rate), r.Frames()))
		n := 0
		for n < len(x) {
			got, err := r.Read(x[n:])
			if n += got; err != nil && err != io.EOF {
				return err
			} else if got == 0 {
				break
			}
		}
		x = x[:n]
		l, err := measure.Loudness(x, float64(r.Rate))
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		list = append(list, programme{name, float64(r.Rate), each(x, func(_ int, v float64) float64 { return v * dsp.FromDB(experiment.Target-l) })})
		return nil
	}
	for _, p := range paths {
		r, err := samples.Open(p)
		if err := add(filepath.Base(p), r, err); err != nil {
			return nil, err
		}
	}
	if len(paths) == 0 {
		for _, s := range samples.Shipped() {
			r, err := s.Open()
			if err := add(s.Name, r, err); err != nil {
				return nil, err
			}
		}
	}
	return list, nil
}

// said is the verdict on a recording against itself after something was done to it.
func said(p programme, e event) experiment.Pair {
	side := func(name string, x []float64) *measures.Side {
		return &measures.Side{Name: name, Samples: x, Matched: true, Gain: 1, Facts: measures.NoValues(measures.Facts(), measures.None("not asked"))}
	}
	return experiment.NewPair(side("as it was", p.x), side(e.name, e.do(p.x, p.rate)), p.rate)
}

// checkEvents prints the verdicts, a row an event, and says whether all are as expected.
func checkEvents(paths []string, out io.Writer) (bool, error) {
	list, err := programmes(paths)
	if err != nil {
		return false, err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "what was done\texpected")
	for _, p := range list {
		fmt.Fprintf(w, "\t%s", strings.TrimSuffix(p.name, filepath.Ext(p.name)))
	}
	fmt.Fprintln(w)
	wrong, asked := 0, 0
	for _, e := range events() {
		fmt.Fprintf(w, "%s\t%s", e.name, e.want)
		for _, p := range list {
			pair := said(p, e)
			mark := ""
			if !agrees(pair, e.want) {
				mark = " WRONG"
				wrong++
			}
			if e.want != either {
				asked++
			}
			fmt.Fprintf(w, "\t%s%s", pair.Heard, mark)
		}
		fmt.Fprintln(w)
	}
	w.Flush()
	fmt.Fprintf(out, "\n%d of %d verdicts are not as expected\n", wrong, asked)
	return wrong == 0, nil
}

func agrees(p experiment.Pair, want verdict) bool {
	is := p.Heard == experiment.HeardInParts || p.Heard == experiment.HeardMostly
	return want == either || is == (want == heard)
}
