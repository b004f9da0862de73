package experiment

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"drywire/chains"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// Measures is what the meters say about one take, at every jack. It is also the JSON object that the command prints. Voltages are those of the simulated
// circuit; a Figure that has no value says why.
type Measures struct {
	Take    string         `json:"take"`
	Order   []string       `json:"order"`
	Quality string         `json:"quality"`
	RateHz  int            `json:"rate_hz"`
	Seconds float64        `json:"seconds"`        // of the recording; the meters read no longer
	Tone    Tone           `json:"tone"`           // in the place of the recording; nought where none was asked for
	Held    string         `json:"held,omitempty"` // what moves and stands still in tones, noise and ceilings, as chains.Held says it
	Jacks   []JackMeasures `json:"jacks"`          // in the order of the signal

	Dynamics Dynamics `json:"dynamics"`
}

// JackMeasures is the meters at one jack. Levels: of the RMS voltage over the whole recording; dBV re 1 V, dBu re 0.7746 V. Crest: peak over RMS.
// Loudness: ITU-R BS.1770-5, integrated, with 1 V as full scale. Noise: the ledger of chains.Noise, 20 Hz to 20 kHz. Signal to noise: RMS level over
// noise, both in that band; A-weighted: both weighted. Ceiling: chains.Ceiling of the block that the jack leads into.
type JackMeasures struct {
	Jack          string      `json:"jack"`
	PeakVolts     float64     `json:"peak_volts"`
	PeakDBV       Figure      `json:"peak_dbv"` // 0 dBV is a peak of 1 V here
	RMSVolts      float64     `json:"rms_volts"`
	DBV           Figure      `json:"rms_dbv"`
	DBu           Figure      `json:"rms_dbu"`
	CrestDB       Figure      `json:"crest_db"`
	Loudness      Figure      `json:"loudness_lufs"`
	NoiseDBu      Figure      `json:"noise_dbu"`
	NoiseADBu     Figure      `json:"noise_a_dbu"`
	SNR           Figure      `json:"signal_to_noise_db"`
	SNRA          Figure      `json:"signal_to_noise_a_db"`
	CeilingOf     string      `json:"ceiling_of"` // the block; "" at the last jack
	CeilingVolts  Figure      `json:"ceiling_volts"`
	HeadroomDB    Figure      `json:"headroom_db"` // ceiling over peak; negative where the peak is over it
	OverShare     Figure      `json:"over_share"`  // of the samples that are over the ceiling
	CentroidHz    Figure      `json:"centroid_hz"`
	ThirdOctaves  []BandLevel `json:"third_octaves"`
	THD           Figure      `json:"thd_percent"`        // of the test tone
	THDN          Figure      `json:"thd_n_percent"`      // with the noise of the chain at rest
	Modulation    Figure      `json:"modulation_percent"` // 60 Hz and 7 kHz, 4 to 1: second- and third-order side lines together
	Difference    Figure      `json:"difference_percent"` // 8 and 11.95 kHz: second- and third-order lines together
	noise, noiseA float64
}

// BandLevel is a third-octave band: IEC 61260-1, base ten.
type BandLevel struct {
	Hz  float64 `json:"hz"`
	DBV Figure  `json:"dbv"`
}

// Tone is the test tone of a measurement, in the place of the recording.
type Tone struct {
	Hz    float64 `json:"hz"`
	Volts float64 `json:"volts"` // peak
}

// NoTone is why there is no figure that needs a test tone where there was none.
const NoTone = "no test tone was asked for"

// TestTone is AES17-2015's 997 Hz, as high as a hard single note is at a pickup (common practice, no source).
var TestTone = Tone{997, 0.2}

// Signals gives the voltage of a jack over the whole recording, like chains.Memo's method Signal.
type Signals func(ctx context.Context, w *chains.Plan, jack string) ([]float64, error)

// Rendered renders a recording in volts once, with all jacks of the wiring read.
func Rendered(ctx context.Context, w *chains.Plan, recording []float64) (Signals, error) {
	jacks := w.Chain.Jacks()
	r, err := w.Renderer(jacks...)
	if err != nil {
		return nil, err
	}
	all, err := runKept(ctx, r, recording, len(recording))
	if err != nil {
		return nil, err
	}
	return func(_ context.Context, other *chains.Plan, jack string) ([]float64, error) {
		for k, j := range jacks {
			if j == jack && other == w {
				return all[k], nil
			}
		}
		return nil, fmt.Errorf("take %q, jack %s: not rendered", other.Chain.Take, jack)
	}, nil
}

// Measure measures a take. With a test tone it is also run with tones; without one (its zero value), those figures are not measured.
func Measure(ctx context.Context, w *chains.Plan, signals Signals, tone Tone) (*Measures, error) {
	c := w.Chain
	m := &Measures{Take: c.Take, Order: orderOf(c), Quality: w.Quality.Name, RateHz: int(w.Rate), Held: chains.Held(c)}
	jacks := c.Jacks()
	ledgers, err := c.Noises(w.Rate, jacks...)
	if errors.Is(err, chains.ErrNoLedger) { // then only some jacks have none
		ledgers = make([]*chains.Ledger, len(jacks))
		for k, jack := range jacks {
			if ledgers[k], err = c.Noise(w.Rate, jack); err != nil && !errors.Is(err, chains.ErrNoLedger) {
				return nil, err
			}
		}
	} else if err != nil {
		return nil, err
	}
	ceilings, err := c.Ceilings(ctx, w.Rate)
	if err != nil {
		return nil, err
	}
	for k, jack := range jacks {
		x, err := signals(ctx, w, jack)
		if err != nil {
			return nil, err
		}
		m.Seconds = float64(len(x)) / float64(w.Rate)
		m.Jacks = append(m.Jacks, jackMeasures(jack, x, float64(w.Rate), ledgers[k], ceilingAt(jacks, ceilings, k)))
	}
	if tone == (Tone{}) {
		none := Figure{Why: NoTone}
		for k := range m.Jacks {
			j := &m.Jacks[k]
			j.THD, j.THDN, j.Modulation, j.Difference = none, none, none, none
		}
		m.Dynamics = Dynamics{Curve: []CurvePoint{}, Compression: none, Sustain: none, SourceFalls: noteFalls, CleanUp: none, FullTHD: none, RolledTHD: none, FallOfLevels: none}
		return m, nil
	}
	m.Tone = tone
	if err := m.distortions(ctx, c, w.Rate, w.Quality, tone); err != nil {
		return nil, err
	}
	m.Dynamics, err = dynamics(ctx, c, w.Rate, tone)
	return m, err
}

// ceilingAt is the ceiling of the block that the k-th jack leads into: a block's own input, or the next one's behind an output.
func ceilingAt(jacks []string, all []chains.Ceiling, k int) chains.Ceiling {
	into, ok := strings.CutSuffix(jacks[k], ".in")
	if leads := jacks[k] == "guitar" || strings.HasSuffix(jacks[k], ".out"); !ok && leads && k+1 < len(jacks) {
		into, ok = strings.CutSuffix(jacks[k+1], ".in")
	}
	if ok {
		for _, c := range all {
			if c.Block == into {
				return c
			}
		}
	}
	return chains.Ceiling{Why: "it leads into nothing that is known"}
}

// jackMeasures reads a voltage. Without a ledger there is no noise figure.
func jackMeasures(jack string, x []float64, rate float64, l *chains.Ledger, top chains.Ceiling) JackMeasures {
	j := JackMeasures{Jack: jack, CeilingOf: top.Block, ThirdOctaves: []BandLevel{}}
	levels, err := measure.MeasureLevels(x)
	none := figure(0, err)
	j.PeakVolts, j.RMSVolts = levels.Peak, levels.RMS
	j.PeakDBV, j.DBV = figure(levels.PeakDB()), figure(levels.RMSDB())
	j.CrestDB = figure(levels.CrestDB())
	j.Loudness = figure(measure.Loudness(x, rate))
	if levels.Peak < silent { // what rounding leaves of silence
		none = Figure{Why: string(measure.Silence)}
	}
	if !none.OK() {
		j.PeakDBV, j.DBV, j.CrestDB, j.Loudness = none, none, none, none
	}
	j.DBu = j.DBV.minus(Figure{Value: dsp.VoltsToDBV(dsp.DBu)})

	j.NoiseDBu, j.NoiseADBu = noFigure("%v", chains.ErrNoLedger), noFigure("%v", chains.ErrNoLedger)
	if l != nil {
		j.noise, j.noiseA = l.RMS(chains.Flat), l.RMS(chains.AWeighted)
		j.NoiseDBu, j.NoiseADBu = noiseLevel(j.noise*j.noise), noiseLevel(j.noiseA*j.noiseA)
	}
	flat := inBand(x, rate, none)
	j.SNR = flat.minus(j.NoiseDBu)
	j.SNRA = none
	if none.OK() {
		a, err := measure.AWeighted(x, rate)
		j.SNRA = figure(dsp.VoltsToDBu(a), err).minus(j.NoiseADBu)
	}

	j.CeilingVolts, j.HeadroomDB, j.OverShare = Figure{Why: top.Why}, Figure{Why: top.Why}, Figure{Why: top.Why}
	if top.Volts > 0 {
		j.CeilingVolts = Figure{Value: top.Volts}
		j.HeadroomDB = Figure{Value: dsp.VoltsToDBV(top.Volts)}.minus(j.PeakDBV)
		over := 0
		for _, v := range x {
			if math.Abs(v) > top.Volts {
				over++
			}
		}
		j.OverShare = none
		if none.OK() {
			j.OverShare = Figure{Value: float64(over) / float64(len(x))}
		}
	}

	j.CentroidHz = none
	if none.OK() {
		s, err := measure.Welch(x, rate, segment(rate))
		if err != nil {
			j.CentroidHz = figure(0, err)
			return j
		}
		j.CentroidHz = figure(s.Centroid(measure.BandLow, measure.BandHigh))
		for _, b := range s.ThirdOctaves() {
			j.ThirdOctaves = append(j.ThirdOctaves, BandLevel{b.Centre, figure(b.LevelDB())})
		}
	}
	return j
}

// segment is the length of a spectrum's segments: at least 0.3 s, and a power of two.
func segment(rate float64) int {
	n := 1 << 14
	for float64(n) < 0.3*rate {
		n *= 2
	}
	return n
}

// inBand is the level in dBu of the RMS from 20 Hz to 20 kHz.
func inBand(x []float64, rate float64, none Figure) Figure {
	if !none.OK() {
		return none
	}
	s, err := measure.Welch(x, rate, segment(rate))
	if err != nil {
		return figure(0, err)
	}
	return noiseLevel(s.Power(measure.BandLow, measure.BandHigh))
}

// distortions measures with test tones, at every jack.
func (m *Measures) distortions(ctx context.Context, c *chains.Chain, rate dsp.Hertz, q section.Quality, tone Tone) error {
	var pure, modulation, difference [][]float64
	if err := together(ctx,
		toneThrough(&pure, c, rate, q, tone),
		toneThrough(&modulation, c, rate, q, Tone{60, 0.8 * tone.Volts}, Tone{7000, 0.2 * tone.Volts}),
		toneThrough(&difference, c, rate, q, Tone{8000, tone.Volts / 2}, Tone{11950, tone.Volts / 2}),
	); err != nil {
		return err
	}
	for k := range m.Jacks {
		j := &m.Jacks[k]
		if h, err := measure.FitHarmonics(pure[k], float64(rate), tone.Hz, 10); err != nil {
			j.THD = figure(0, err)
		} else {
			j.THD = percent(h.THD(), nil)
		}
		if j.THDN = withNoise(pure[k], float64(rate), j.noise); !j.NoiseDBu.OK() {
			j.THDN = j.NoiseDBu
		}
		i, err := measure.ModulationDistortion(modulation[k], float64(rate), 60, 7000)
		j.Modulation = percent(i.Second+i.Third, err)
		i, err = measure.DifferenceDistortion(difference[k], float64(rate), 8000, 11950)
		j.Difference = percent(i.Second+i.Third, err)
	}
	return nil
}

// withNoise is AES17's THD+N of a tone, in percent, with the noise of the chain at rest: what a render has of it is none, so its power is added.
func withNoise(x []float64, rate, noise float64) Figure {
	ratio, err := measure.THDN(x, rate)
	if err != nil {
		return figure(0, err)
	}
	l, err := measure.MeasureLevels(x)
	if err != nil {
		return figure(0, err)
	}
	total := l.RMS*l.RMS - l.DC*l.DC
	return percent(math.Sqrt((ratio*ratio*total+noise*noise)/(total+noise*noise)), nil)
}

func percent(ratio float64, err error) Figure {
	f := figure(ratio, err)
	f.Value *= 100
	return f
}

// steady is for how long test tones are measured, once the chain has settled: enough for AES17's notch and for lines 50 Hz apart.
const steady dsp.Second = 0.5

// toneThrough puts into out what the jacks have in the steady state of some tones.
func toneThrough(out *[][]float64, c *chains.Chain, rate dsp.Hertz, q section.Quality, tones ...Tone) func(context.Context) error {
	return func(ctx context.Context) error {
		w := c.At(0).Plan(rate, q) // a steady state has no time
		r, err := w.Renderer(c.Jacks()...)
		if err != nil {
			return err
		}
		keep := int(float64(steady) * float64(rate))
		n := int(settling(w)*float64(rate)) + keep
		*out, err = runKept(ctx, r, sines(n, float64(rate), tones...), keep)
		return err
	}
}

// together runs independent pieces of work on all cores.
func together(ctx context.Context, work ...func(context.Context) error) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, f := range work {
		g.Go(func() error { return f(ctx) })
	}
	return g.Wait()
}

// settling is how long a chain is left alone before a steady state is measured: its tails, 1.5 s at most, and what a guitar and its couplings need.
func settling(w *chains.Plan) float64 { return 0.3 + math.Min(1.5, float64(w.Tail())) }

func sines(n int, rate float64, tones ...Tone) []float64 {
	x := make([]float64, n)
	for _, t := range tones {
		for k := range x {
			x[k] += t.Volts * math.Sin(2*math.Pi*t.Hz/rate*float64(k))
		}
	}
	return x
}

// runKept renders a signal and keeps the last samples of each tap.
func runKept(ctx context.Context, r *chains.Renderer, x []float64, keep int) ([][]float64, error) {
	out := make([][]float64, len(r.Taps))
	err := r.Run(ctx, chains.Volts(x), 0, func(taps [][]float64) error {
		for k, b := range taps {
			out[k] = append(out[k], b...)
			if extra := len(out[k]) - keep; extra > keep {
				out[k] = out[k][:copy(out[k], out[k][extra:])]
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for k, x := range out {
		out[k] = x[len(x)-keep:]
	}
	for _, s := range r.Reports() {
		if s.Failures > 0 {
			return nil, fmt.Errorf("%d steps did not converge in the section with %s", s.Failures, s.Section)
		}
	}
	return out, nil
}
