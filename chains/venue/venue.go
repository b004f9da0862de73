// Package venue says what becomes of the presets of a board where they are played soft or loud: how
// loud each is to a listener (ISO 532-1), how far the power amplifiers are under their ceiling, the
// trims that level the presets at each place, one set of trims for all places, and what differs
// then.
//
// Start reading at Ask.
package venue

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/place"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// Answer is what is known of the presets at every venue. It is also the JSON object that the
// command prints.
type Answer struct {
	Sentence string  `json:"sentence"`
	Why      string  `json:"not_measurable,omitempty"` // why there are no trims
	Venues   []Place `json:"venues"`                   // in the order of the file
	Presets  []Trim  `json:"presets"`                  // in the order of the file: one set for all venues
}

// Place is a venue and its presets.
type Place struct {
	Name    string   `json:"name"`
	Down    string   `json:"turned_down"` // in words
	Level   float64  `json:"level_db_spl"`
	Presets []Preset `json:"presets"` // in the order of the file
	Amps    []Amp    `json:"power_amplifiers"`
	Spread  float64  `json:"spread_phon"` // from the softest to the loudest, with the file's trims
	Alone   float64  `json:"spread_phon_own_trims"`
	Both    float64  `json:"spread_phon_trims_for_all"`
}

// Preset is a preset at a venue. Loudness levels are in phon, at the listener.
type Preset struct {
	Name  string  `json:"name"`
	Sone  float64 `json:"sone"` // with the file's trim, as the two below
	Phon  float64 `json:"phon"`
	SPL   float64 `json:"db_spl"`
	Trim  float64 `json:"trim_db"`             // that makes it as loud as the one in the middle here
	Left  float64 `json:"left_phon"`           // what it then still is louder than that
	All   float64 `json:"phon_trims_for_all"`  // with the trim that is for all venues
	Apart float64 `json:"apart_trims_for_all"` // what it then is louder than the mean of all presets, in phon
}

// Trim is the trim of a preset that is for all venues.
type Trim struct {
	Name string  `json:"name"`
	Was  float64 `json:"was_db"`
	DB   float64 `json:"trim_db"`
}

// Amp is how near a power amplifier comes to its ceiling on the loudest preset.
type Amp struct {
	Block   string  `json:"block"`
	Ceiling float64 `json:"ceiling_volts"` // at 8 Ω
	Under   float64 `json:"under_db"`      // the highest peak under it; less than 0: over
	Preset  string  `json:"preset"`
}

// Question is what is asked.
type Question struct {
	File      *board.File
	Recording experiment.Dry
	Rate      dsp.Hertz
	Quality   section.Quality
	Progress  func() // a rendering is done; nil: no progress is wanted
}

// Renders is about how many renderings an answer takes.
func Renders(f *board.File) int { return len(f.Venues) * len(f.Presets) * (rounds + 1) }

// Steps of a trim and its range in dB, and how often one is corrected.
const (
	trimStep = 0.1
	mostTrim = 20.0
	rounds   = 4
)

// Ask answers. The error is of a render, of the context, or of a file without presets or venues.
func Ask(ctx context.Context, q Question) (*Answer, error) {
	if len(q.File.Venues) == 0 {
		return nil, fmt.Errorf("the file names no venue; write them like  venue: {home: {amps: -20 dB, level: 70 dB}, stage: {level: 100 dB}}")
	}
	bench, err := experiment.NewPresetBench(q.File, q.Recording, q.Rate, q.Quality)
	if err != nil {
		return nil, err
	}
	a := &Answer{Venues: []Place{}, Presets: []Trim{}}
	s := &surveyor{q: q, bench: bench}
	for _, p := range q.File.Presets {
		was, ok := q.File.TrimOf(p.Name)
		if !ok {
			a.Why = "the file's order has no switcher, whose output could be trimmed"
		}
		a.Presets = append(a.Presets, Trim{p.Name, was, was})
	}
	for _, v := range q.File.Venues {
		if len(powerAmps(q.File.OnPreset(q.File.Presets[0].Name, "", nil))) == 0 && (v.Watts > 0 || v.Amps < 0 && v.By == place.TurnedDownBy[0]) {
			return nil, fmt.Errorf("venue %s turns down a power amplifier, and the file's order has none (blocks of kind %s)", v.Name, powerKind)
		}
		p, err := s.place(ctx, v, a)
		if err != nil {
			return nil, err
		}
		a.Venues = append(a.Venues, *p)
	}
	if a.Why == "" {
		if err := s.forAll(ctx, a); err != nil {
			return nil, err
		}
	}
	a.Sentence = a.sentence()
	return a, nil
}

// surveyor renders presets at venues.
type surveyor struct {
	q     Question
	bench *experiment.PresetBench
	// by venue: what a power of 1 V² is at the listener, in dB SPL
	offsets []float64
}

// spectrum is what both loudspeakers of a preset radiate together, as powers add.
func (s *surveyor) spectrum(ctx context.Context, v place.Venue, preset string, trim *float64) (sum measure.Spectrum, err error) {
	defer func() {
		if s.q.Progress != nil {
			s.q.Progress()
		}
	}()
	c := at(s.q.File, v, preset, trim)
	ends, err := s.bench.Ends(ctx, c)
	if err != nil {
		return sum, err
	}
	for _, x := range ends {
		one, err := measures.Spectrum(x, float64(s.q.Rate))
		if err != nil {
			return sum, fmt.Errorf("preset %q: %w", preset, err)
		}
		if sum.Density == nil {
			sum = one
			continue
		}
		for k, d := range one.Density {
			sum.Density[k] += d
		}
	}
	return sum, nil
}

// each does something for every preset, on all cores.
func (s *surveyor) each(ctx context.Context, do func(ctx context.Context, k int, preset string) error) error {
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, p := range s.q.File.Presets {
		g.Go(func() error { return do(inner, k, p.Name) })
	}
	return g.Wait()
}

// place measures a venue with the file's trims, and finds those that level its presets.
func (s *surveyor) place(ctx context.Context, v place.Venue, a *Answer) (*Place, error) {
	p := &Place{Name: v.Name, Down: downText(v), Level: v.Level, Presets: make([]Preset, len(a.Presets)), Amps: []Amp{}}
	spectra := make([]measure.Spectrum, len(a.Presets))
	err := s.each(ctx, func(ctx context.Context, k int, preset string) (err error) {
		spectra[k], err = s.spectrum(ctx, v, preset, nil)
		return err
	})
	if err != nil {
		return nil, err
	}
	power := make([]float64, len(spectra))
	for k, one := range spectra {
		if power[k] = 10 * math.Log10(one.Power(measure.BandLow, measure.BandHigh)); math.IsInf(power[k], 0) || math.IsNaN(power[k]) {
			return nil, fmt.Errorf("preset %q is silent", a.Presets[k].Name)
		}
	}
	offset := v.Level - middle(power)
	s.offsets = append(s.offsets, offset)
	var phon []float64
	for k, one := range spectra {
		sone := measure.Zwicker(one.ZwickerLevels(offset))
		phon = append(phon, measure.Phon(sone))
		p.Presets[k] = Preset{Name: a.Presets[k].Name, Sone: sone, Phon: phon[k], SPL: offset + power[k], Trim: a.Presets[k].Was}
	}
	p.Spread = slices.Max(phon) - slices.Min(phon)
	if err := s.amps(ctx, v, p); err != nil {
		return nil, err
	}
	if a.Why != "" {
		return p, nil
	}
	target := middle(phon)
	left := make([]float64, len(phon))
	err = s.each(ctx, func(ctx context.Context, k int, preset string) (err error) {
		p.Presets[k].Trim, left[k], err = s.trim(ctx, v, offset, preset, a.Presets[k].Was, phon[k], target)
		return err
	})
	for k, l := range left {
		p.Presets[k].Left = l - target
	}
	p.Alone = slices.Max(left) - slices.Min(left)
	return p, err
}

// middle is the value in the middle, the lower one of two.
func middle(values []float64) float64 {
	return slices.Sorted(slices.Values(values))[(len(values)-1)/2]
}

// trim is the trim in dB with which a preset is nearest to a loudness level, and its own then. What
// stands behind the switcher may be non-linear, so by how much a decibel counts is taken from the
// last two renders.
func (s *surveyor) trim(ctx context.Context, v place.Venue, offset float64, preset string, was, phon, target float64) (db, got float64, err error) {
	db, got = was, phon
	best, nearest, slope := db, got, 1.0
	for range rounds {
		next := toStep(db + (target-got)/slope)
		next = math.Min(mostTrim, math.Max(-mostTrim, next))
		if math.Abs(next-db) < trimStep/2 {
			break
		}
		spectrum, err := s.spectrum(ctx, v, preset, &next)
		if err != nil {
			return 0, 0, err
		}
		now := measure.Phon(measure.Zwicker(spectrum.ZwickerLevels(offset)))
		slope = math.Min(2, math.Max(0.1, (now-got)/(next-db)))
		if db, got = next, now; math.Abs(got-target) < math.Abs(nearest-target) {
			best, nearest = db, got
		}
	}
	return best, nearest, nil
}

// amps is how near the power amplifiers come to their ceilings.
func (s *surveyor) amps(ctx context.Context, v place.Venue, p *Place) error {
	var mu sync.Mutex
	err := s.each(ctx, func(ctx context.Context, _ int, preset string) error {
		c := at(s.q.File, v, preset, nil)
		for _, amp := range powerAmps(c) {
			if amp.Off {
				continue
			}
			x, err := s.bench.Jacks(ctx, c, amp.Name+".out")
			if err != nil {
				return err
			}
			peak := 0.0
			for _, y := range x[0] {
				peak = math.Max(peak, math.Abs(y))
			}
			one := Amp{Block: amp.Name, Ceiling: math.Sqrt(2 * amp.Settings.Number("watts") * 8), Preset: preset}
			one.Under = dsp.ToDB(one.Ceiling / math.Max(peak, measures.Silence))
			mu.Lock()
			if k := slices.IndexFunc(p.Amps, func(o Amp) bool { return o.Block == amp.Name }); k < 0 {
				p.Amps = append(p.Amps, one)
			} else if one.Under < p.Amps[k].Under || one.Under == p.Amps[k].Under && one.Preset < p.Amps[k].Preset {
				p.Amps[k] = one
			}
			mu.Unlock()
		}
		return nil
	})
	slices.SortFunc(p.Amps, func(x, y Amp) int { return cmp.Compare(x.Block, y.Block) })
	return err
}

// toStep is a trim, in dB, to the step that one is given in: 0.1 dB, as the decimal number is
// written.
func toStep(db float64) float64 { return math.Round(db/trimStep) / math.Round(1/trimStep) }

// forAll finds one trim of each preset for all venues, the mean of those that level it at each, and
// renders all with it.
func (s *surveyor) forAll(ctx context.Context, a *Answer) error {
	for k := range a.Presets {
		sum := 0.0
		for _, p := range a.Venues {
			sum += p.Presets[k].Trim
		}
		a.Presets[k].DB = toStep(sum / float64(len(a.Venues)))
	}
	for n := range a.Venues {
		p := &a.Venues[n]
		err := s.each(ctx, func(ctx context.Context, k int, preset string) error {
			spectrum, err := s.spectrum(ctx, s.q.File.Venues[n], preset, &a.Presets[k].DB)
			p.Presets[k].All = measure.Phon(measure.Zwicker(spectrum.ZwickerLevels(s.offsets[n])))
			return err
		})
		if err != nil {
			return err
		}
		mean, low, high := 0.0, math.Inf(1), math.Inf(-1)
		for _, one := range p.Presets {
			mean += one.All / float64(len(p.Presets))
			low, high = math.Min(low, one.All), math.Max(high, one.All)
		}
		for k := range p.Presets {
			p.Presets[k].Apart = p.Presets[k].All - mean
		}
		p.Both = high - low
	}
	return nil
}

// downText says how the amplifiers are turned down.
func downText(v place.Venue) string {
	var list []string
	if v.Watts > 0 {
		list = append(list, fmt.Sprintf("other power amplifiers of %g W", v.Watts))
	}
	switch {
	case v.Amps < 0 && v.By == place.TurnedDownBy[0]:
		list = append(list, fmt.Sprintf("%g dB by the power amplifier's level", v.Amps))
	case v.Amps < 0:
		list = append(list, fmt.Sprintf("%g dB by an attenuator, so that nothing before it changes", v.Amps))
	}
	if len(list) == 0 {
		return "as the file has them"
	}
	return strings.Join(list, ", and ")
}

// sentence is the answer in words.
func (a *Answer) sentence() string {
	var now, then []string
	for _, p := range a.Venues {
		now = append(now, fmt.Sprintf("%s: %.1f phon apart", p.Name, p.Spread))
		then = append(then, fmt.Sprintf("%s: %.1f phon", p.Name, p.Both))
	}
	text := "The presets as the file has them, softest to loudest: " + strings.Join(now, "; ") + "."
	if a.Why != "" {
		return text + " There are no trims: " + a.Why + "."
	}
	return text + " What one set of trims for all leaves: " + strings.Join(then, "; ") + "."
}
