package lesson

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
)

// Reading is something that a lesson can state: a measure of package measures by its key (or its
// name, with hyphens, where it has none), or one of those below.
type Reading struct {
	Name       string
	Unit       string
	Definition string
	Two        bool // it compares a take with another
	jack       bool // it is at a jack
	needs      string
	objective  string // its name where rank prints it; "" where it does not
	read       func(ctx context.Context, b *Bench, f Fact) (measures.Figure, error)
	command    func(f Fact, file, take string) string
}

// readings is all of them, in the order of the alphabet.
var readings = allReadings()

func readingOf(name string) (Reading, bool) {
	k := slices.IndexFunc(readings, func(r Reading) bool { return r.Name == name })
	if k < 0 {
		return Reading{}, false
	}
	return readings[k], true
}

func readingNames() (names []string) {
	for _, r := range readings {
		names = append(names, r.Name)
	}
	return names
}

func allReadings() []Reading {
	list := []Reading{
		{Name: "gain_db", Unit: "dB", jack: true, needs: "hz",
			Definition: "small-signal gain from the pickup's own voltage to a jack, at one frequency",
			read:       gainAt, command: func(f Fact, file, take string) string { return "response " + file + take + " --at " + f.Jack }},
		{Name: "tone_dbu", Unit: "dBu", jack: true, needs: "tone",
			Definition: "level (RMS) of a steady tone at a jack; the tone is at the pickup",
			read:       toneAt, command: func(f Fact, file, take string) string {
				return fmt.Sprintf("measure %s%s --quality draft --tone %q", file, take, toneText(f.Tone))
			}},
		{Name: "source_ohm", Unit: "Ω", jack: true,
			Definition: "magnitude of the impedance at 1 kHz of what drives the input at a jack, with its cable",
			read:       handover(func(h wiring.Handover) complex128 { return h.Source }), command: responseCommand},
		{Name: "input_ohm", Unit: "Ω", jack: true,
			Definition: "magnitude of the impedance at 1 kHz of what is plugged in at a jack",
			read:       handover(func(h wiring.Handover) complex128 { return h.Input }), command: responseCommand},
		{Name: toldApart, Unit: "%", Two: true,
			Definition: "chance that a listener tells a take from another at one loudness, where it is highest (ITU-R BS.1387)",
			read:       toldApartAt, command: func(f Fact, file, take string) string {
				return "compare " + file + " -o takes --quality draft --noiseless"
			}},
		{Name: "noise_share", Unit: "%", jack: true, needs: "block",
			Definition: "share of the A-weighted power of the noise at a jack that one block makes",
			read:       noiseShare, command: noiseCommand},
		{Name: "cause_share", Unit: "%", jack: true, needs: "cause",
			Definition: "share of the A-weighted power of the noise at a jack that one cause makes, like hum",
			read:       causeShare, command: noiseCommand},
	}
	for _, m := range measures.All {
		r := Reading{Name: nameOf(m), Unit: m.Shown(), Definition: m.Definition}
		switch {
		case m.At != nil:
			r.jack = true
			if m.Tones != nil {
				r.needs = "tone"
			}
			r.read = func(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) { return b.atJack(ctx, f, m) }
			r.command = func(f Fact, file, take string) string {
				if f.Tone == (dsp.Tone{}) {
					return "measure " + file + take + " --quality draft --no-tones"
				}
				return fmt.Sprintf("measure %s%s --quality draft --tone %q", file, take, toneText(f.Tone))
			}
		case m.Change != nil:
			r.Two = true
			r.read = func(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) { return b.change(ctx, f, m) }
			r.command = func(f Fact, file, take string) string {
				return "compare " + file + " -o takes --quality draft --noiseless"
			}
		default:
			r.read = func(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) { return b.ofTake(ctx, f, m) }
			r.command = func(f Fact, file, take string) string { return "measure " + file + take + " --quality draft" }
			if m.Step > 0 {
				r.objective = m.Name
				r.command = func(f Fact, file, take string) string {
					return "rank " + file + take
				}
			}
		}
		list = append(list, r)
	}
	slices.SortFunc(list, func(a, b Reading) int { return strings.Compare(a.Name, b.Name) })
	return list
}

// toldApart is the reading of a model of hearing.
const toldApart = "told-apart"

// toldApartAt is the chance that a listener tells two takes apart over the whole recording, at its
// highest; none where they are the same to the last bit.
func toldApartAt(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) {
	key := [2]string{f.Other, f.Take}
	if v, ok := b.apart[key]; ok {
		return v, nil
	}
	heard, err := b.Hear(ctx, Hearing{Takes: key, For: dsp.Second(float64(len(b.Recording.Volts)) / float64(b.Rate))})
	if err != nil {
		return measures.Figure{}, err
	}
	v := heard.Pair.Hearing.Highest
	if heard.Pair.Heard == experiment.HeardSame {
		v = measures.Figure{}
	}
	v.Value *= 100
	b.apart[key] = v
	return v, nil
}

// nameOf is what a lesson calls a measure. Of two with one key, the change is told apart.
func nameOf(m *measures.Measure) string {
	switch {
	case m.Key == "":
		return strings.NewReplacer(" ", "-", ",", "").Replace(m.Name)
	case m.Change != nil && slices.ContainsFunc(measures.All, func(d *measures.Measure) bool { return d.Change == nil && d.Key == m.Key }):
		return m.Key + "_change"
	}
	return m.Key
}

func responseCommand(f Fact, file, take string) string { return "response " + file + take }
func noiseCommand(f Fact, file, take string) string {
	return "noise " + file + take + " --at " + f.Jack
}
func toneText(t dsp.Tone) string {
	return dsp.FormatQuantity(float64(t.Hz), dsp.Hertzes) + " " + dsp.FormatQuantity(float64(t.Volts), dsp.Volts)
}

func gainAt(_ context.Context, b *Bench, f Fact) (measures.Figure, error) {
	c, err := b.chain(f.Take)
	if err != nil {
		return measures.Figure{}, err
	}
	h, err := b.plan(c).Response(f.Jack, f.Hz)
	if err != nil {
		return measures.Figure{}, err
	}
	return measures.Level(cmplx.Abs(h), "nothing comes through"), nil
}

func toneAt(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) {
	c, err := b.chain(f.Take)
	if err != nil {
		return measures.Figure{}, err
	}
	x, err := experiment.SteadyAt(ctx, c, b.Rate, b.Quality, f.Jack, f.Tone)
	if err != nil {
		return measures.Figure{}, err
	}
	return measures.RMSDBu.At(&measures.Jack{X: x, Rate: float64(b.Rate)}), nil
}

// handover is an impedance where one thing is plugged into another.
func handover(of func(wiring.Handover) complex128) func(context.Context, *Bench, Fact) (measures.Figure, error) {
	return func(_ context.Context, b *Bench, f Fact) (measures.Figure, error) {
		c, err := b.chain(f.Take)
		if err != nil {
			return measures.Figure{}, err
		}
		hands, err := wiring.Handovers(c, 1000)
		if err != nil {
			return measures.Figure{}, err
		}
		for _, h := range hands {
			if h.Jack == f.Jack {
				return measures.Read(cmplx.Abs(of(h)), nil), nil
			}
		}
		return measures.Figure{}, fmt.Errorf("nothing is plugged in at %q", f.Jack)
	}
}

func noiseShare(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) {
	return b.share(f, f.Block, func(r *experiment.NoiseReport) []experiment.NoiseGroup { return r.Blocks })
}

func causeShare(ctx context.Context, b *Bench, f Fact) (measures.Figure, error) {
	return b.share(f, f.Cause, func(r *experiment.NoiseReport) []experiment.NoiseGroup { return r.Causes })
}

func (b *Bench) share(f Fact, name string, of func(*experiment.NoiseReport) []experiment.NoiseGroup) (measures.Figure, error) {
	c, err := b.chain(f.Take)
	if err != nil {
		return measures.Figure{}, err
	}
	r, err := experiment.Noise(c, b.Rate, f.Jack)
	if err != nil {
		return measures.Figure{}, err
	}
	var names []string
	for _, g := range of(r) {
		if g.Name == name {
			return measures.Figure{Value: 100 * g.Share}, nil
		}
		names = append(names, g.Name)
	}
	return measures.Figure{}, fmt.Errorf("nothing called %q makes noise at %s (there are: %s)", name, f.Jack, strings.Join(names, ", "))
}

// atJack is a measure at a jack, over the whole recording, as the command measure has it.
func (b *Bench) atJack(ctx context.Context, f Fact, m *measures.Measure) (measures.Figure, error) {
	c, err := b.chain(f.Take)
	if err != nil {
		return measures.Figure{}, err
	}
	w, signals, err := b.rendered(ctx, c)
	if err != nil {
		return measures.Figure{}, err
	}
	v, err := experiment.AtJack(ctx, w, signals, f.Jack, m, f.Tone)
	if err == nil && m.Unit == "share" {
		v.Value *= 100
	}
	return v, err
}

func (b *Bench) ofTake(ctx context.Context, f Fact, m *measures.Measure) (measures.Figure, error) {
	c, err := b.chain(f.Take)
	if err != nil {
		return measures.Figure{}, err
	}
	v, err := b.bench().Measure(ctx, c, m)
	if err != nil {
		return measures.Figure{}, err
	}
	if m.Unit == "share" {
		v[0].Value *= 100
	}
	return v[0], nil
}

func (b *Bench) change(ctx context.Context, f Fact, m *measures.Measure) (measures.Figure, error) {
	before, err := b.sideOf(ctx, 0, f.Other, len(m.Facts) > 0)
	if err != nil {
		return measures.Figure{}, err
	}
	after, err := b.sideOf(ctx, 1, f.Take, len(m.Facts) > 0)
	if err != nil {
		return measures.Figure{}, err
	}
	return experiment.ChangeOf(m, before, after, float64(b.Rate)), nil
}

// plan is a take's wiring, made once.
func (b *Bench) plan(c *board.Chain) *render.Plan {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.plans[c] == nil {
		b.plans[c] = render.PlanOf(c, b.Rate, b.Quality)
	}
	return b.plans[c]
}

func finite(f measures.Figure) bool { return f.OK() && !math.IsNaN(f.Value) && !math.IsInf(f.Value, 0) }
