package experiment

import (
	"context"
	"math"

	"drywire/chains"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// Dynamics is how a take answers to how hard one plays, at the jack out, or at out.left where it ends in two. The definitions are this project's own. All of it is rendered at draft quality, which
// is plenty for levels.
type Dynamics struct {
	// Curve is the level at out for steady tones at the source, every 6 dB.
	Curve []CurvePoint `json:"curve"`
	// Compression is by how many dB the output rises less than the input over the last 12 dB up to the test tone's level: 0 is linear, 12 is a wall.
	Compression Figure `json:"compression_db"`
	// Sustain is the time in which a note falls by 20 dB at out, from its loudest 50 ms. The note is a tone of 196 Hz that falls at the source by 20 dB
	// in 2 s from the test tone's level.
	Sustain      Figure  `json:"sustain_seconds"`
	SourceFalls  float64 `json:"source_falls_seconds"`
	CleanUp      Figure  `json:"clean_up_db"`  // THD with the guitar's volume at 10 over that with it at 2, in dB
	FullTHD      Figure  `json:"thd_full"`     // percent, guitar's volume at 10
	RolledTHD    Figure  `json:"thd_rolled"`   // percent, at 2
	FallOfLevels Figure  `json:"roll_down_db"` // by how much the tone at out gets softer from 10 to 2
}

// CurvePoint is a point of the input-output level curve: RMS levels.
type CurvePoint struct {
	InDBV  float64 `json:"in_dbv"`
	OutDBV Figure  `json:"out_dbv"`
}

const (
	noteHz    = 196.0 // the open third string
	noteFalls = 2.0   // s for 20 dB
	noteTime  = 8.0   // s that are looked at
)

func dynamics(ctx context.Context, c *chains.Chain, rate dsp.Hertz, tone Tone) (Dynamics, error) {
	d := Dynamics{SourceFalls: noteFalls}
	var work []func(context.Context) error
	work = append(work, func(ctx context.Context) (err error) {
		d.Sustain, err = sustain(ctx, c, rate, tone.Volts)
		return err
	})
	const lowest, highest, step = -48, 12, 6 // dB re the test tone
	for db := lowest; db <= highest; db += step {
		d.Curve = append(d.Curve, CurvePoint{})
		p := len(d.Curve) - 1
		at := Tone{tone.Hz, tone.Volts * dsp.FromDB(float64(db))}
		work = append(work, func(ctx context.Context) error {
			x, err := toneAlone(ctx, c, rate, at)
			if err != nil {
				return err
			}
			l, err := measure.MeasureLevels(x)
			d.Curve[p] = CurvePoint{dsp.VoltsToDBV(at.Volts / math.Sqrt2), silentBelow(l)}
			return err
		})
	}
	work = append(work, func(ctx context.Context) error { return d.cleanUp(ctx, c, rate, tone) })
	err := together(ctx, work...)
	at := func(db int) Figure { return d.Curve[(db-lowest)/step].OutDBV }
	d.Compression = Figure{Value: 12}.minus(at(0).minus(at(-12)))
	return d, err
}

func silentBelow(l measure.Levels) Figure {
	if l.Peak < silent {
		return Figure{Why: string(measure.Silence)}
	}
	return figure(l.RMSDB())
}

// toneAlone is the steady state at out before any tail has filled: 0.4 s after the tone began, for 0.1 s. An echo or a reverb has come in by then as far
// as it does while one plays.
func toneAlone(ctx context.Context, c *chains.Chain, rate dsp.Hertz, tone Tone) ([]float64, error) {
	r, err := c.At(0).Plan(rate, section.Draft).Renderer(c.Ends()[0])
	if err != nil {
		return nil, err
	}
	out, err := runKept(ctx, r, sines(int(0.5*float64(rate)), float64(rate), tone), int(0.1*float64(rate)))
	if err != nil {
		return nil, err
	}
	return out[0], nil
}

// sustain renders the falling note and looks for the time.
func sustain(ctx context.Context, c *chains.Chain, rate dsp.Hertz, volts float64) (Figure, error) {
	r, err := c.At(0).Plan(rate, section.Draft).Renderer(c.Ends()[0])
	if err != nil {
		return Figure{}, err
	}
	x := sines(int(noteTime*float64(rate)), float64(rate), Tone{noteHz, volts})
	for k := range x {
		x[k] *= dsp.FromDB(-20 * float64(k) / (noteFalls * float64(rate)))
	}
	out, err := runKept(ctx, r, x, len(x))
	if err != nil {
		return Figure{}, err
	}
	return fallTime(out[0], float64(rate)), nil
}

// fallTime is the time from the loudest 50 ms to the first 50 ms that are 20 dB softer, between the middles of both, in steps of 5 ms.
func fallTime(x []float64, rate float64) Figure {
	const width, step, fall = 0.05, 0.005, 20.0
	n, hop := int(width*rate), int(step*rate)
	if len(x) < 2*n {
		return noFigure("%s: %.2g s", measure.TooShort, float64(len(x))/rate)
	}
	var level []float64
	for at := 0; at+n <= len(x); at += hop {
		sum := 0.0
		for _, v := range x[at : at+n] {
			sum += v * v
		}
		level = append(level, math.Sqrt(sum/float64(n)))
	}
	top := 0
	for k, v := range level {
		if v > level[top] {
			top = k
		}
	}
	if level[top] < silent {
		return Figure{Why: string(measure.Silence)}
	}
	least := 0.0
	for k := top; k < len(level); k++ {
		down := dsp.ToDB(level[top] / math.Max(level[k], silent))
		if down >= fall {
			// Between two steps, along a straight line in dB.
			part := 1.0
			if before := dsp.ToDB(level[top] / math.Max(level[k-1], silent)); down > before {
				part = (fall - before) / (down - before)
			}
			return Figure{Value: (float64(k-1-top) + part) * float64(hop) / rate}
		}
		least = math.Max(least, down)
	}
	return noFigure("falls by %.1f dB in the %.0f s that are looked at", least, float64(len(x))/rate)
}

// cleanUp compares the guitar's volume at 10 and at 2.
func (d *Dynamics) cleanUp(ctx context.Context, c *chains.Chain, rate dsp.Hertz, tone Tone) error {
	thd := func(volume float64) (Figure, Figure, error) {
		rolled := *c.At(0)
		rolled.Guitar.Volume = volume
		x, err := toneAlone(ctx, &rolled, rate, tone)
		if err != nil {
			return Figure{}, Figure{}, err
		}
		h, err := measure.FitHarmonics(x, float64(rate), tone.Hz, 10)
		if err != nil {
			return figure(0, err), figure(0, err), nil
		}
		return percent(h.THD(), nil), figure(dsp.ToDB(h.Amplitude[0]), nil), nil
	}
	full, loud, err := thd(10)
	if err != nil {
		return err
	}
	rolled, soft, err := thd(2)
	if err != nil {
		return err
	}
	d.FullTHD, d.RolledTHD, d.FallOfLevels = full, rolled, loud.minus(soft)
	// Under a thousandth of a percent, what is left is the rounding of the render and no property of the chain.
	const clean = 1e-3
	switch {
	case !full.OK():
		d.CleanUp = full
	case !rolled.OK():
		d.CleanUp = rolled
	case full.Value < clean:
		d.CleanUp = noFigure("nothing to clean up: under %g %% of distortion", clean)
	default:
		d.CleanUp = Figure{Value: dsp.ToDB(full.Value / math.Max(rolled.Value, clean))}
	}
	return nil
}
