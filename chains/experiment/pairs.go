package experiment

import (
	"context"
	"fmt"
	"math"
	"strings"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// Playback is the level, in dB SPL, that a full-scale sine of 1 kHz is taken to have at the
// listener's ear: BS.1387's 92 dB, where nothing is known. Takes at -20 LUFS are then played at
// some 72 dB.
const Playback = 92.0

// PairSeconds is how much of two takes is compared, from their beginning.
const PairSeconds = 20.0

// pairLag is the longest delay between two takes that is compensated, in seconds. It is inaudible
// to a listener; a player may feel it as latency.
const pairLag = 50e-3

// Pair is how a take differs from another, both brought to one loudness and aligned: in Values all
// that package measures has for that. Changes are of take b against take a.
type Pair struct {
	A int `json:"a"` // numbers of takes
	B int `json:"b"`

	// by how much b comes later than a at its beginning, in seconds, where both are most alike,
	// within 50 ms; taken back, to a fraction of a sample
	Lag measures.Figure `json:"lag_s"`
	// by how many cents b runs slower; taken back
	Drift measures.Figure `json:"drift_cents"`
	// b is upside down against a; taken back for the null
	Inverted bool         `json:"inverted"`
	Bands    []BandChange `json:"third_octaves"`
	Hearing  Hearing      `json:"hearing"`

	Heard string `json:"heard"` // Heard… below
	// in what the change is large enough to speak of: level, tone, noise, distortion, decay,
	// repeats; the clearest first
	Respects []string `json:"respects"`
	Sentence string   `json:"sentence"` // what a player will hear

	measures.Values `json:"-"`
}

// MarshalJSON implements json.Marshaler.
func (p Pair) MarshalJSON() ([]byte, error) {
	type fields Pair
	return p.Values.Object(fields(p))
}

// BandChange is the change in a third-octave band (IEC 61260-1, base ten).
type BandChange struct {
	Hz float64         `json:"hz"`
	DB measures.Figure `json:"db"`
}

// Hearing is whether a listener could tell: measure.Audibility, to ITU-R BS.1387.
type Hearing struct {
	Playback float64 `json:"playback_db_spl"`
	// that the difference is heard, mean over the frames
	Probability measures.Figure `json:"probability"`
	// of the frames in which it is more likely heard than not
	Share   measures.Figure `json:"share"`
	Highest measures.Figure `json:"highest"` // probability, smoothed over some 10 frames
	// most critical bands over the detection step in any frame
	Bands   measures.Figure `json:"bands"`
	BandsOf int             `json:"bands_of"`
	// frames in which it is beyond doubt, and when it is clearest, in seconds from the beginning
	Events   int             `json:"events"`
	Clearest measures.Figure `json:"clearest_s"`
	// how far the difference lies over what a masks, mean over bands and frames, in dB
	NoiseToMask measures.Figure `json:"noise_to_mask_db"`
}

// Whether a listener could tell.
const (
	HeardNot = "not heard" // the smoothed probability is never over one half
	// it is, but in less than half of the frames; or it is beyond doubt in a frame
	HeardInParts = "in places"
	HeardMostly  = "mostly"    // it is in half of the frames and more
	HeardSame    = "identical" // to the last bit
	HeardUnknown = "not measurable"
	// each on a recording of its own: what was measured of either is compared, and no moments
	HeardApart = "played apart"
)

// What is large enough to speak of.
const (
	// tellLevel: comments on level vanish at 0.5 dB (common practice, no source), the textbook's
	// step for wide-band noise.
	tellLevel = 0.5 // LU
	// tellTone: 1 dB of excitation in any band is the textbook's step of hearing; here in a third
	// of the spectrum.
	tellTone = 1.0 // dB
	// tellDistortion: common practice, no source; only where the larger THD is over 1 %.
	tellDistortion = 3.0 // dB
	tellTHD        = 1.0 // %
	// tellDecay: 5 % is the step for reverberation times (ISO 3382-1); a note's is taken for twice
	// that.
	tellDecay = 0.10
	// tellRepeats: half of the amplitude, or twice, of what is between the notes; only where the
	// less clear repeat is under 30 dB, 10 dB over the limit of the complaint: common practice, no
	// source.
	tellRepeats = 6.0 // dB
	// tellHeadroom: half as hard again, or two thirds: common practice, no source.
	tellHeadroom = 3.0  // dB
	clearRepeats = 30.0 // dB
	// An A-weighted noise that is softer than this at the playback level is not heard in any room:
	// threshold of hearing.
	tellNoiseLevel = 0.0 // dB SPL(A)
)

// FactsOf computes what a comparison wants to know of a take beside its sound, at draft quality. A
// fact that could not be computed says why; it is an error only where ctx is done. The take's noise
// is that of its measures where these are there, and else (nil) worked out.
func FactsOf(ctx context.Context, c *board.Chain, rate dsp.Hertz, m *Measures) (measures.Values, error) {
	facts := measures.NoValues(measures.Facts(), measures.Figure{})
	t := newTrial(c, rate, measures.TestTone, true)
	if m != nil {
		t.noise = func() (float64, error) { return m.rest, nil }
		t.hiss = func() (float64, error) { return m.hiss, nil }
	}
	work := t.work(facts)
	for k, f := range work {
		work[k] = func(ctx context.Context) error {
			if err := f(ctx); err != nil {
				facts[k].Figure = measures.Read(0, err)
			}
			return ctx.Err()
		}
	}
	return facts, together(ctx, work...)
}

// NewPair compares b with a at a rate in Hz, sides of one length unless they were played apart.
func NewPair(a, b *measures.Side, rate float64) Pair {
	list := measures.Changes()
	p := Pair{A: a.Number, B: b.Number, Bands: []BandChange{}, Respects: []string{}, Hearing: Hearing{Playback: Playback, BandsOf: measure.BandCount}}
	for _, s := range []*measures.Side{a, b} {
		f := measures.Unplayed(s.Samples)
		if f.OK() && !s.Matched {
			f = measures.None("%s", measure.Silence)
		}
		if f.OK() {
			continue
		}
		none := measures.None("%q: %s", s.Name, f.Why)
		p.Values = measures.NoValues(list, none)
		p.unheard(none)
		p.Heard = HeardUnknown
		p.Sentence = "Not measurable: " + none.Why + "."
		return p
	}
	both := p.sides(a, b, rate)
	x, y, _ := both.Aligned()
	for _, m := range list {
		p.Values = append(p.Values, measures.Value{Measure: m, Figure: m.Change(both)})
	}
	p.bands(both)
	if apart := measures.Apart(a, b); !apart.OK() {
		p.unheard(apart)
		p.judge(a, b, x, y)
		p.Sentence = p.sentence(a, b)
		return p
	}
	h, err := measure.Audible(x, y, rate, Playback)
	p.Hearing.Probability, p.Hearing.Share, p.Hearing.Highest = measures.Read(h.Probability, err), measures.Read(h.Share, err), measures.Read(h.Highest, err)
	p.Hearing.Bands, p.Hearing.Events = measures.Read(float64(h.Bands), err), h.Events
	p.Hearing.Clearest, p.Hearing.NoiseToMask = measures.Read(h.Clearest, err), measures.Read(h.NoiseToMask, err)
	if math.IsInf(h.NoiseToMask, -1) {
		p.Hearing.Clearest, p.Hearing.NoiseToMask = measures.None("no difference"), measures.None("no difference")
	}
	p.judge(a, b, x, y)
	p.Sentence = p.sentence(a, b) + p.rest(a, b)
	return p
}

// unheard gives what compares moments no value.
func (p *Pair) unheard(none measures.Figure) {
	p.Lag, p.Drift = none, none
	p.Hearing.Probability, p.Hearing.Share, p.Hearing.Highest, p.Hearing.Bands = none, none, none, none
	p.Hearing.Clearest, p.Hearing.NoiseToMask = none, none
}

// sides is both, to be aligned by this pair unless they were played apart.
func (p *Pair) sides(a, b *measures.Side, rate float64) *measures.Sides {
	return &measures.Sides{A: a, B: b, Rate: rate, Align: func() (x, y []float64, inverted bool) {
		if !measures.Apart(a, b).OK() {
			return a.Samples, b.Samples, false
		}
		x, y = p.align(a.Samples, b.Samples, rate)
		return x, y, p.Inverted
	}}
}

// ChangeOf is one measure of how b differs from a, as NewPair has it, without the work of the
// others. rate is in Hz.
func ChangeOf(m *measures.Measure, a, b *measures.Side, rate float64) measures.Figure {
	for _, s := range []*measures.Side{a, b} {
		if f := measures.Unplayed(s.Samples); !f.OK() || !s.Matched {
			return measures.None("%q: %s", s.Name, measure.Silence)
		}
	}
	var p Pair
	return m.Change(p.sides(a, b, rate))
}

// align finds where both are most alike and returns what they have in common there.
func (p *Pair) align(x, y []float64, rate float64) ([]float64, []float64) {
	f, x, y, err := measure.FitTo(x, y, rate, pairLag)
	p.Lag, p.Drift, p.Inverted = measures.Read(f.Lag, err), measures.Read(1200*math.Log2(1+f.Drift), err), f.Inverted
	return x, y
}

// bands compares the third octaves; there are none where there is no spectrum.
func (p *Pair) bands(s *measures.Sides) {
	a, b, err := s.Spectra()
	if err != nil {
		return
	}
	was, is := a.ThirdOctaves(), b.ThirdOctaves()
	loudest := 0.0
	for k := range was {
		loudest = math.Max(loudest, math.Max(was[k].Power, is[k].Power))
	}
	for k := range was {
		c := BandChange{Hz: was[k].Centre, DB: measures.None("more than 60 dB under the loudest band")}
		if math.Max(was[k].Power, is[k].Power) > 1e-6*loudest && was[k].Power > 0 && is[k].Power > 0 {
			c.DB = measures.Read(10*math.Log10(is[k].Power/was[k].Power), nil)
		}
		p.Bands = append(p.Bands, c)
	}
}

// judge reports whether the difference is heard and in what it is large enough to speak of.
func (p *Pair) judge(a, b *measures.Side, x, y []float64) {
	switch {
	case !measures.Apart(a, b).OK():
		p.Heard = HeardApart
	case identical(x, y) && p.Lag.Value == 0:
		p.Heard = HeardSame
	case !p.Hearing.Highest.OK():
		p.Heard = HeardUnknown
	case p.Hearing.Highest.Value <= 0.5 && p.Hearing.Events == 0:
		p.Heard = HeardNot
	case p.Hearing.Share.Value < 0.5:
		p.Heard = HeardInParts
	default:
		p.Heard = HeardMostly
	}
	type respect struct {
		name  string
		times float64 // the step that is spoken of
	}
	var found []respect
	add := func(name string, times float64) {
		at := len(found)
		for at > 0 && found[at-1].times < times {
			at--
		}
		found = append(found[:at], append([]respect{{name, times}}, found[at:]...)...)
	}
	if p.Of(measures.LevelChange).OK() && math.Abs(p.Of(measures.LevelChange).Value) >= tellLevel {
		add("level", math.Abs(p.Of(measures.LevelChange).Value)/tellLevel)
	}
	if t := p.tilt(); t >= tellTone && p.audible() {
		add("tone", t/tellTone)
	}
	if p.noisier(a, b) {
		add("noise", math.Abs(p.Of(measures.NoiseChange).Value)/worthMoving)
	}
	if p.Of(measures.THDChange).OK() && math.Abs(p.Of(measures.THDChange).Value) >= tellDistortion && math.Max(a.Facts.Of(measures.ToneTHD).Value, b.Facts.Of(measures.ToneTHD).Value) >= tellTHD && p.audible() {
		add("distortion", math.Abs(p.Of(measures.THDChange).Value)/tellDistortion)
	}
	if p.Of(measures.SustainChange).OK() && p.Of(measures.SustainChange).Value != 0 && p.audible() {
		if times := math.Abs(p.Of(measures.SustainChange).Value) / (tellDecay * math.Min(a.Facts.Of(measures.Sustain).Value, b.Facts.Of(measures.Sustain).Value)); times >= 1 {
			add("decay", times)
		}
	}
	if f := p.Of(measures.RepeatsChange); f.OK() && math.Abs(f.Value) >= tellRepeats && p.audible() &&
		math.Min(a.Facts.Of(measures.ClearRepeats).Value, b.Facts.Of(measures.ClearRepeats).Value) < clearRepeats {
		add("repeats", math.Abs(f.Value)/tellRepeats)
	}
	for _, r := range found {
		p.Respects = append(p.Respects, r.name)
	}
}

func (p *Pair) audible() bool {
	return p.Heard == HeardInParts || p.Heard == HeardMostly || p.Heard == HeardApart
}

// tilt is the largest change of bass, middle and treble.
func (p *Pair) tilt() float64 {
	most := 0.0
	for _, f := range []measures.Figure{p.Of(measures.BassChange), p.Of(measures.MiddleChange), p.Of(measures.TrebleChange)} {
		if f.OK() {
			most = math.Max(most, math.Abs(f.Value))
		}
	}
	return most
}

// noisier reports whether the noise changes by as much as one notices, and can be heard at the
// playback level.
func (p *Pair) noisier(a, b *measures.Side) bool {
	if !p.Of(measures.NoiseChange).OK() || math.Abs(p.Of(measures.NoiseChange).Value) < worthMoving {
		return false
	}
	// A full-scale sine has an RMS of -3.01 dB re full scale.
	atEar := func(s *measures.Side) float64 {
		return s.Facts.Of(measures.NoiseAtEnd).Value + dsp.ToDB(dsp.DBu) + dsp.ToDB(s.Gain) + 3.01 + Playback
	}
	return math.Max(atEar(a), atEar(b)) >= tellNoiseLevel
}

func identical(x, y []float64) bool {
	for k := range x {
		if x[k] != y[k] {
			return false
		}
	}
	return true
}

// sentence says what a player will hear, and no more than was measured.
func (p *Pair) sentence(a, b *measures.Side) string {
	subject := fmt.Sprintf("%q against %q", b.Name, a.Name)
	switch p.Heard {
	case HeardSame:
		if p.Of(measures.LevelChange).OK() && math.Abs(p.Of(measures.LevelChange).Value) < 1e-6 {
			return fmt.Sprintf("%q and %q are the same.", a.Name, b.Name)
		}
	case HeardUnknown:
		return fmt.Sprintf("Not measurable: %s.", p.Hearing.Highest.Why)
	}
	var parts []string
	for _, r := range p.Respects {
		parts = append(parts, p.words(r, a, b)...)
	}
	said := strings.Join(parts, ", ")
	switch {
	case p.Heard == HeardApart && said != "":
		return fmt.Sprintf("%s, each on a recording of its own: %s.", subject, said)
	case p.Heard == HeardApart:
		return fmt.Sprintf("%s, each on a recording of its own: alike in all that was measured; what differs is the playing.", subject)
	case p.Heard == HeardMostly && said != "":
		return fmt.Sprintf("%s: a clear difference: %s.", subject, said)
	case p.Heard == HeardMostly:
		return fmt.Sprintf("%s: a difference that is heard most of the time, in nothing that was measured apart%s.", subject, measuredApart)
	case p.Heard == HeardInParts && said != "":
		return fmt.Sprintf("%s: a difference in places: %s.", subject, said)
	case p.Heard == HeardInParts:
		return fmt.Sprintf("%s: a difference that is heard in places, in nothing that was measured apart%s.", subject, measuredApart)
	case said != "":
		return fmt.Sprintf("%s: at equal loudness the playing sounds the same; %s.", subject, said)
	}
	return fmt.Sprintf("%s: nobody is likely to hear a difference.", subject)
}

// rest is what still differs where nothing else does: what one feels before one hears it; "" for
// nothing. A change of clean headroom is told from tellHeadroom on, one of repeats that are clear
// on both sides as that of others.
func (p *Pair) rest(a, b *measures.Side) string {
	if len(p.Respects) > 0 || p.Heard == HeardSame || p.Heard == HeardUnknown {
		return ""
	}
	var list []string
	if was, is := a.Clean, b.Clean; was.OK() && is.OK() && math.Abs(is.Value-was.Value) >= tellHeadroom {
		list = append(list, fmt.Sprintf("%s is %s, against %s in %s", is.By, towards(is.Value, "where it begins to colour"), towards(was.Value, "it"), was.By))
	}
	if was, is := a.Facts.Of(measures.ClearRepeats), b.Facts.Of(measures.ClearRepeats); was.OK() && is.OK() && math.Abs(is.Value-was.Value) >= tellRepeats {
		list = append(list, fmt.Sprintf("the repeats stand %.0f dB over what lies between the notes, against %.0f dB", is.Value, was.Value))
	}
	if list == nil {
		return ""
	}
	return " What also differs: " + strings.Join(list, "; ") + "."
}

// towards is a clean headroom in words: of a peak against where something begins.
func towards(db float64, what string) string {
	if db < 0 {
		return fmt.Sprintf("%.1f dB past %s", -db, what)
	}
	return fmt.Sprintf("%.1f dB short of %s", db, what)
}

// measuredApart says what was, and what nothing here measures.
const measuredApart = " (level, tone, noise, distortion, how long a note rings, clear repeats); when things sound, how they swing and how it answers to touch are for your ears"

// words is the change in one respect.
func (p *Pair) words(respect string, a, b *measures.Side) []string {
	more := func(f measures.Figure, up, down string) string {
		if f.Value > 0 {
			return up
		}
		return down
	}
	switch respect {
	case "level":
		return []string{fmt.Sprintf("%.1f LU %s as it comes out of the chain", math.Abs(p.Of(measures.LevelChange).Value), more(p.Of(measures.LevelChange), "louder", "softer"))}
	case "tone":
		var list []string
		if p.Of(measures.TrebleChange).OK() && math.Abs(p.Of(measures.TrebleChange).Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s (%+.1f dB above 2 kHz)", more(p.Of(measures.TrebleChange), "brighter", "duller"), p.Of(measures.TrebleChange).Value))
		}
		if p.Of(measures.MiddleChange).OK() && math.Abs(p.Of(measures.MiddleChange).Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s middle (%+.1f dB)", more(p.Of(measures.MiddleChange), "more", "less"), p.Of(measures.MiddleChange).Value))
		}
		if p.Of(measures.BassChange).OK() && math.Abs(p.Of(measures.BassChange).Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s bass (%+.1f dB below 250 Hz)", more(p.Of(measures.BassChange), "more", "less"), p.Of(measures.BassChange).Value))
		}
		return list
	case "noise":
		return []string{fmt.Sprintf("noise %.1f dB %s when nobody plays", math.Abs(p.Of(measures.NoiseChange).Value), more(p.Of(measures.NoiseChange), "louder", "softer"))}
	case "distortion":
		return []string{fmt.Sprintf("%s distorted (THD %s %% against %s %%)", more(p.Of(measures.THDChange), "more", "less"), b.Facts.Of(measures.ToneTHD).Text(1), a.Facts.Of(measures.ToneTHD).Text(1))}
	case "repeats":
		return []string{fmt.Sprintf("the repeats are %s (%.0f dB over what lies between the notes, against %.0f dB)", more(p.Of(measures.RepeatsChange), "clearer", "more smeared"),
			b.Facts.Of(measures.ClearRepeats).Value, a.Facts.Of(measures.ClearRepeats).Value)}
	case "decay":
		by := fmt.Sprintf("%.1f s", math.Abs(p.Of(measures.SustainChange).Value))
		if math.Abs(p.Of(measures.SustainChange).Value) < 0.095 {
			by = fmt.Sprintf("%.0f ms", 1e3*math.Abs(p.Of(measures.SustainChange).Value))
		}
		return []string{fmt.Sprintf("a held note rings %s %s", by, more(p.Of(measures.SustainChange), "longer", "shorter"))}
	}
	panic("experiment: no respect " + respect)
}
