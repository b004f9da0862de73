package experiment

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

// PresetSpread is how far apart, in LU, trimmed presets may be: the largest difference between any
// two. A change of half a decibel in a broad band is about the least that is noticed (JASA 19(4),
// 609-619, 1947, from memory).
const PresetSpread = 0.5

// trimStep is how finely trims are given, in dB.
const trimStep = 0.1

// Presets is what the presets of a file do, on every guitar of it. It is also the JSON object that
// the command prints. Levels are ITU-R BS.1770-5 loudness with 1 V as full scale, or dB RMS re 1 V
// where the recording is under 0.4 s; of a file that ends in two paths, of both.
type Presets struct {
	Title   string  `json:"title"`
	Quality string  `json:"quality"`
	RateHz  int     `json:"rate_hz"`
	Seconds float64 `json:"seconds"` // of the recording
	ByRMS   bool    `json:"by_rms"`  // it is too short for a loudness
	// what moves and stands still in noise and distortion, as board.Held says it
	Held    string           `json:"held,omitempty"`
	Presets []PresetMeasures `json:"presets"` // in the order of the file
	Jumps   []PresetJump     `json:"jumps"`   // of every two, largest first
	Spread  measures.Figure  `json:"spread"`  // LU from the softest to the loudest
	Trims   PresetTrims      `json:"trims"`
	// every preset on every guitar, where that was asked for
	Guitars []GuitarPreset `json:"guitars"`
}

// PresetMeasures is a preset on the guitar that it is for.
type PresetMeasures struct {
	Name  string   `json:"name"`
	Order []string `json:"order"`
	Trim  float64  `json:"trim_db"` // as the file has it
	GuitarPreset
}

// GuitarPreset is what is measured of a preset on a guitar. Noise: A-weighted, at rest; of two ends
// the sum of their powers. Distortion: measures.ToneTHD.
type GuitarPreset struct {
	Preset     string          `json:"preset"`
	Guitar     string          `json:"guitar"` // "" is the file's own
	Level      measures.Figure `json:"level_lufs"`
	PeakVolts  float64         `json:"peak_volts"`
	NoiseDBu   measures.Figure `json:"noise_a_dbu"`
	Distortion measures.Figure `json:"thd_percent"`
}

// PresetJump is by how much the level changes when one preset follows another.
type PresetJump struct {
	From string  `json:"from"`
	To   string  `json:"to"`
	LU   float64 `json:"lu"`
	// blocks whose echoes end as they sound, going there and coming back: those of loops that go
	// out
	Cuts     []string `json:"cuts"`
	CutsBack []string `json:"cuts_back"`
}

// PresetTrims is the trims that bring the presets to one level, and what they did.
type PresetTrims struct {
	Why string `json:"not_measurable,omitempty"` // there are none
	// the level of the preset in the middle, which keeps its trim; where not all can have that, the
	// nearest that they can
	Target float64      `json:"target_lufs"`
	Trims  []PresetTrim `json:"presets"`
	// from the softest to the loudest, rendered with the trims
	Spread float64 `json:"spread_lu"`
	Within bool    `json:"within"` // no more than PresetSpread
}

// PresetTrim is one of them.
type PresetTrim struct {
	Name  string  `json:"name"`
	DB    float64 `json:"db"`    // what the switcher's trim should be
	Level float64 `json:"level"` // rendered with it
}

// PresetBench renders presets. It remembers signals, so that trims cost little.
type PresetBench struct {
	File    *board.File
	Rate    dsp.Hertz
	Quality section.Quality
	dry     Dry
	memos   map[string]*render.Memo // by board.Chain.RecordingOf
}

// presetMemory is how many bytes of signals are remembered.
const presetMemory = 512 << 20

// NewPresetBench takes what was played. It is an error where the file has no presets, or no
// order for them.
func NewPresetBench(f *board.File, dry Dry, rate dsp.Hertz, q section.Quality) (*PresetBench, error) {
	if len(f.Presets) == 0 {
		return nil, fmt.Errorf("the file has no presets")
	}
	if f.Order == nil {
		return nil, fmt.Errorf("the file has no order of its own, only those of takes; presets are played through the file's")
	}
	b := &PresetBench{File: f, Rate: rate, Quality: q, dry: dry, memos: map[string]*render.Memo{"": render.NewMemo(dry.Volts, rate, q, presetMemory)}}
	for guitar, x := range dry.Own {
		b.memos[guitar] = render.NewMemo(x, rate, q, presetMemory)
	}
	return b, nil
}

// Ends is what the preset has at the end of the chain, in volts, a slice per jack of
// board.Chain.Ends, as long as the recording. The errors are those of Jacks.
func (b *PresetBench) Ends(ctx context.Context, c *board.Chain) ([][]float64, error) {
	return b.Jacks(ctx, c, c.Ends()...)
}

// Jacks is the same at jacks of the chain. The errors are those of render.Memo.Signal.
func (b *PresetBench) Jacks(ctx context.Context, c *board.Chain, jacks ...string) ([][]float64, error) {
	w := render.PlanOf(c, b.Rate, b.Quality)
	var all [][]float64
	for _, jack := range jacks {
		x, err := b.memos[c.RecordingOf].Signal(ctx, w, jack)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}

func (b *PresetBench) level(ctx context.Context, c *board.Chain) (measures.Figure, float64, error) {
	ends, err := b.Ends(ctx, c)
	if err != nil {
		return measures.Figure{}, 0, err
	}
	meter := NewMeter
	if len(ends) == 2 {
		meter = NewStereoMeter
	}
	m := meter(float64(b.Rate), ByLoudness(int64(len(ends[0])), float64(b.Rate))).ofLevel()
	m.Push(ends...)
	peak := 0.0
	for _, x := range ends {
		for _, v := range x {
			peak = math.Max(peak, math.Abs(v))
		}
	}
	if peak < measures.Silence {
		return measures.None("silent (under 1 µV)"), peak, nil
	}
	r, err := m.Reading()
	return measures.Read(r.Level, err), peak, nil
}

// Measure is a preset on a guitar of the file, as board.File.OnPreset has it. The error is of a
// render.
func (b *PresetBench) Measure(ctx context.Context, preset, guitar string) (GuitarPreset, error) {
	c := b.File.OnPreset(preset, guitar, nil)
	g := GuitarPreset{Preset: preset, Guitar: c.GuitarName}
	var err error
	if g.Level, g.PeakVolts, err = b.level(ctx, c); err != nil {
		return g, err
	}
	a, err := noiseOf(c, b.Rate)
	if err != nil {
		return g, err
	}
	g.NoiseDBu = measures.NoiseLevel(a * a)
	g.Distortion, err = measures.ToneTHD.OfTake(ctx, newTrial(c, b.Rate, measures.TestTone, true))
	return g, err
}

// Run measures every preset on the guitar that it is for, or on every guitar, and finds the trims.
// The error is of a render.
func (b *PresetBench) Run(ctx context.Context, everyGuitar bool) (*Presets, error) {
	rate := float64(b.Rate)
	p := &Presets{
		Title: b.File.Title, Quality: b.Quality.Name, RateHz: int(b.Rate), Seconds: float64(len(b.dry.Volts)) / rate,
		ByRMS: !ByLoudness(int64(len(b.dry.Volts)), rate), Jumps: []PresetJump{}, Guitars: []GuitarPreset{},
	}
	var own []*board.Chain
	for _, preset := range b.File.Presets {
		own = append(own, b.File.OnPreset(preset.Name, "", nil))
	}
	p.Held = board.Held(own...)
	guitars := []string{board.OwnGuitar}
	for _, g := range b.File.Guitars {
		guitars = append(guitars, g.Name)
	}
	if !everyGuitar {
		guitars = []string{""}
	}
	all := make([]GuitarPreset, len(own)*len(guitars))
	var work []func(context.Context) error
	for k, preset := range b.File.Presets {
		for g, guitar := range guitars {
			work = append(work, func(ctx context.Context) (err error) {
				all[k*len(guitars)+g], err = b.Measure(ctx, preset.Name, guitar)
				return err
			})
		}
	}
	if err := together(ctx, work...); err != nil {
		return nil, err
	}
	for k, preset := range b.File.Presets {
		trim, _ := b.File.TrimOf(preset.Name)
		of := all[k*len(guitars) : (k+1)*len(guitars)]
		at := slices.IndexFunc(of, func(g GuitarPreset) bool { return g.Guitar == own[k].GuitarName })
		p.Presets = append(p.Presets, PresetMeasures{preset.Name, orderOf(own[k]), trim, of[at]})
	}
	if everyGuitar {
		p.Guitars = all
	}
	for i, from := range p.Presets {
		for k, to := range p.Presets[i+1:] {
			if d := to.Level.Minus(from.Level); d.OK() {
				p.Jumps = append(p.Jumps, PresetJump{from.Name, to.Name, d.Value, cuts(own[i], own[i+1+k]), cuts(own[i+1+k], own[i])})
			}
		}
	}
	slices.SortStableFunc(p.Jumps, func(a, b PresetJump) int { return cmp.Compare(math.Abs(b.LU), math.Abs(a.LU)) })
	p.Spread = measures.None("fewer than two presets have a level")
	if len(p.Jumps) > 0 {
		p.Spread = measures.Figure{Value: math.Abs(p.Jumps[0].LU)}
	}
	var err error
	p.Trims, err = b.trims(ctx, p.Presets)
	return p, err
}

// longRing is from where on a tail is missed when it is cut off, in seconds: common practice, no
// source.
const longRing = 0.1

// cuts is the blocks of one preset that ring on and that another one does not go through.
func cuts(from, to *board.Chain) []string {
	list := []string{}
	for _, s := range wiring.Of(from, 48000, section.Draft).Stages {
		there := slices.ContainsFunc(to.Every(), func(p board.Placed) bool { return p.Name == s.Owner })
		if s.Shape().Tail() >= longRing && !there && !slices.Contains(list, s.Owner) {
			list = append(list, s.Owner)
		}
	}
	return list
}

// trims looks for the trims of every preset on the guitar that it is for. What stands behind the
// switcher may be non-linear, so what a trim does is looked at each time.
func (b *PresetBench) trims(ctx context.Context, presets []PresetMeasures) (PresetTrims, error) {
	t := PresetTrims{Trims: []PresetTrim{}}
	var levels []float64
	for _, p := range presets {
		if !p.Level.OK() {
			return PresetTrims{Why: fmt.Sprintf("preset %q has no level: %s", p.Name, p.Level.Why), Trims: t.Trims}, nil
		}
		if _, ok := b.File.TrimOf(p.Name); !ok {
			return PresetTrims{Why: "the file's order has no switcher, whose output could be trimmed", Trims: t.Trims}, nil
		}
		levels = append(levels, p.Level.Value)
		t.Trims = append(t.Trims, PresetTrim{p.Name, p.Trim, p.Level.Value})
	}
	sorted := slices.Sorted(slices.Values(levels))
	t.Target = sorted[(len(sorted)-1)/2]
	return b.reached(ctx, "", t)
}

// GuitarTrims is the trims of all presets on one guitar.
type GuitarTrims struct {
	Guitar string // board.OwnGuitar for the file's own
	PresetTrims
}

// TrimsOnGuitars is the trims that bring every preset on every guitar of the file to one level: the
// one that Run's trims have, for guitars to be changed at the same loudness as presets. done is
// called after each guitar. The error is of a render.
func (b *PresetBench) TrimsOnGuitars(ctx context.Context, done func()) ([]GuitarTrims, error) {
	run, err := b.levels(ctx, "")
	if err != nil {
		return nil, err
	}
	own, err := b.trims(ctx, run)
	if err != nil {
		return nil, err
	}
	guitars := []string{board.OwnGuitar}
	for _, g := range b.File.Guitars {
		guitars = append(guitars, g.Name)
	}
	var list []GuitarTrims
	for _, guitar := range guitars {
		t := PresetTrims{Why: own.Why, Target: own.Target, Trims: []PresetTrim{}}
		if t.Why == "" {
			presets, err := b.levels(ctx, guitar)
			if err != nil {
				return nil, err
			}
			for _, p := range presets {
				if !p.Level.OK() {
					t.Why = fmt.Sprintf("preset %q has no level: %s", p.Name, p.Level.Why)
				}
				t.Trims = append(t.Trims, PresetTrim{p.Name, p.Trim, p.Level.Value})
			}
		}
		if t.Why == "" {
			if t, err = b.reached(ctx, guitar, t); err != nil {
				return nil, err
			}
		}
		list = append(list, GuitarTrims{guitar, t})
		done()
	}
	return list, nil
}

// levels is the level of every preset on a guitar, with the trim that the file has; "" is the
// guitar that the preset is for.
func (b *PresetBench) levels(ctx context.Context, guitar string) ([]PresetMeasures, error) {
	list := make([]PresetMeasures, len(b.File.Presets))
	var work []func(context.Context) error
	for k, p := range b.File.Presets {
		work = append(work, func(ctx context.Context) (err error) {
			list[k].Name = p.Name
			list[k].Trim, _ = b.File.TrimOf(p.Name)
			list[k].Level, list[k].PeakVolts, err = b.level(ctx, b.File.OnPreset(p.Name, guitar, nil))
			return err
		})
	}
	return list, together(ctx, work...)
}

// reached turns trims on a guitar until their target is reached, or a level that all can have.
func (b *PresetBench) reached(ctx context.Context, guitar string, t PresetTrims) (PresetTrims, error) {
	// The target may be out of reach for a preset at the end of its range. Then that end is aimed
	// at, which others may reach.
	for range 4 {
		if err := b.aim(ctx, guitar, &t); err != nil {
			return t, err
		}
		// levels that all presets which are at an end of their range can have
		least, most := math.Inf(-1), math.Inf(1)
		for _, trim := range t.Trims {
			if trim.DB <= -mostTrim && trim.Level > t.Target+trimClose {
				least = math.Max(least, trim.Level)
			}
			if trim.DB >= mostTrim && trim.Level < t.Target-trimClose {
				most = math.Min(most, trim.Level)
			}
		}
		switch low, high := !math.IsInf(least, 0), !math.IsInf(most, 0); {
		case low == high: // all is reached, or no level is in reach of all
			return t.finish(), nil
		case low:
			t.Target = least
		default:
			t.Target = most
		}
	}
	return t.finish(), nil
}

// mostTrim is the range of the switcher's trim, and trimClose a little more than half a step; both
// in dB.
const (
	mostTrim  = 20.0
	trimClose = 0.06
)

// aim turns the trims on a guitar until every preset is as near to the target as it comes. A
// non-linearity behind the switcher makes a level follow its trim by less than a decibel for each,
// so by how much it does is taken from the last two renders.
func (b *PresetBench) aim(ctx context.Context, guitar string, t *PresetTrims) error {
	slopes := make([]float64, len(t.Trims)) // dB of level for one of trim
	for k := range slopes {
		slopes[k] = 1
	}
	for range 8 {
		moved := false
		for k := range t.Trims {
			trim := &t.Trims[k]
			db := math.Round((trim.DB+(t.Target-trim.Level)/slopes[k])/trimStep) * trimStep
			db = math.Min(mostTrim, math.Max(-mostTrim, db))
			if math.Abs(trim.Level-t.Target) <= trimClose || math.Abs(db-trim.DB) < trimStep/2 {
				continue
			}
			moved = true
			level, _, err := b.level(ctx, b.File.OnPreset(trim.Name, guitar, &db))
			if err != nil {
				return err
			}
			slopes[k] = math.Min(1.5, math.Max(0.1, (level.Value-trim.Level)/(db-trim.DB)))
			trim.DB, trim.Level = db, level.Value
		}
		if !moved {
			break
		}
	}
	return nil
}

// finish says how far apart the presets are.
func (t PresetTrims) finish() PresetTrims {
	low, high := math.Inf(1), math.Inf(-1)
	for _, trim := range t.Trims {
		low, high = math.Min(low, trim.Level), math.Max(high, trim.Level)
	}
	t.Spread = high - low
	t.Within = t.Spread <= PresetSpread
	return t
}
