package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"drywire/dsp"
)

// Drive is what the recording holds: a sum of partials that may decay, faded in from silence by a
// raised cosine so smooth that nothing of it lies above half any sample rate. So its samples and
// its expression in a deck are the same signal.
type Drive struct {
	Fade     float64   `json:"fade"` // s
	Partials []Partial `json:"partials"`
}

// Partial is a sine of a peak in volts that falls by 1/e in each decay, in seconds (0: it does not
// fall).
type Partial struct {
	Frequency float64 `json:"frequency"`
	Peak      float64 `json:"peak"`
	Decay     float64 `json:"decay,omitempty"`
}

// At is the drive at a time, in volts.
func (d Drive) At(t float64) float64 {
	if t <= 0 {
		return 0
	}
	sum := 0.0
	for _, p := range d.Partials {
		x := p.Peak * math.Sin(2*math.Pi*p.Frequency*t)
		if p.Decay > 0 {
			x *= math.Exp(-t / p.Decay)
		}
		sum += x
	}
	if t < d.Fade {
		sum *= 0.5 - 0.5*math.Cos(math.Pi*t/d.Fade)
	}
	return sum
}

// Expression is the drive for a behavioural source in a deck.
func (d Drive) Expression() string {
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	var terms []string
	for _, p := range d.Partials {
		s := num(p.Peak) + "*sin(" + num(2*math.Pi*p.Frequency) + "*time)"
		if p.Decay > 0 {
			s += "*exp(-time/" + num(p.Decay) + ")"
		}
		terms = append(terms, s)
	}
	return fmt.Sprintf("V=((time<%s)?(0.5-0.5*cos(%s*time)):1)*(%s)", num(d.Fade), num(math.Pi/d.Fade), strings.Join(terms, "+"))
}

func (d Drive) String() string {
	if len(d.Partials) > 2 {
		return fmt.Sprintf("pluck %.4g Hz %.3g mV", d.Partials[0].Frequency, 1e3*d.peakSum())
	}
	var s []string
	for _, p := range d.Partials {
		s = append(s, fmt.Sprintf("%.4g Hz %.3g mV", p.Frequency, 1e3*p.Peak))
	}
	return strings.Join(s, " + ")
}

func (d Drive) peakSum() float64 {
	sum := 0.0
	for _, p := range d.Partials {
		sum += p.Peak
	}
	return sum
}

// fade is over how long a drive comes in, in seconds.
const fade = 0.02

// Tones is a drive of one or two lasting tones.
func Tones(pairs ...float64) Drive {
	d := Drive{Fade: fade}
	for k := 0; k+1 < len(pairs); k += 2 {
		d.Partials = append(d.Partials, Partial{Frequency: pairs[k], Peak: pairs[k+1]})
	}
	return d
}

// Pluck is a string's first partials below 5 kHz, at most twelve: plucked at 0.23 of its length,
// the higher ones sharp by stiffness and sooner gone. Peaks add up to the one asked for.
func Pluck(frequency, peak float64) Drive {
	const (
		place     = 0.23
		stiffness = 6e-5
		highest   = 5e3 // Hz
	)
	d := Drive{Fade: fade}
	sum := 0.0
	for n := 1.0; n <= 12; n++ {
		f := n * frequency * math.Sqrt(1+stiffness*n*n)
		if f > highest {
			break
		}
		a := math.Abs(math.Sin(n*math.Pi*place)) / n
		sum += a
		d.Partials = append(d.Partials, Partial{f, a, 0.6 / (1 + 0.25*n)})
	}
	for k := range d.Partials {
		d.Partials[k].Peak *= peak / sum
	}
	return d
}

// parseTones reads "330 Hz 200 mV, 441 Hz 50 mV".
func parseTones(text string) (Drive, error) {
	d := Drive{Fade: fade}
	for _, part := range strings.Split(text, ",") {
		f, v, err := parseTone(part)
		if err != nil {
			return d, err
		}
		d.Partials = append(d.Partials, Partial{Frequency: f, Peak: v})
	}
	return d, nil
}

func parseTone(text string) (frequency, peak float64, err error) {
	words := strings.Fields(text)
	if len(words) != 4 {
		return 0, 0, fmt.Errorf("%q is no tone; want one like \"330 Hz 200 mV\"", strings.TrimSpace(text))
	}
	if frequency, err = dsp.ParseQuantity(words[0]+" "+words[1], dsp.Hertzes); err != nil {
		return 0, 0, err
	}
	if peak, err = dsp.ParseQuantity(words[2]+" "+words[3], dsp.Volts); err != nil {
		return 0, 0, err
	}
	if !(frequency > 0) || !(peak > 0) {
		return 0, 0, fmt.Errorf("%q: frequency and peak must be positive", strings.TrimSpace(text))
	}
	return frequency, peak, nil
}
