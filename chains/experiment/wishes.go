package experiment

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// WishInfo says what a wish measures. More is better of all of them.
type WishInfo struct {
	Name       string  `json:"name"`
	Unit       string  `json:"unit"`
	Better     string  `json:"better"` // "higher"
	Step       float64 `json:"step"`   // in the unit: what differs by less counts as equal
	Definition string  `json:"definition"`
}

type wish struct {
	WishInfo
	measure func(b *wishBench, ctx context.Context, p *played) (Figure, error)
}

// played is the recording through a chain.
type played struct {
	*chains.Plan
	order *chains.Order
	out   []float64 // V
	key   [32]byte  // of out
}

// wishes is all wishes, in the order of the alphabet. Their definitions are this project's own, from standard measures where there are some.
var wishes = []wish{
	{WishInfo{"brightness kept", "dB", "higher", 0.1,
		"power from 2 to 8 kHz over that from 80 Hz to 20 kHz, at out, less the same in the recording"}, (*wishBench).brightness},
	{WishInfo{"clean-up", "dB", "higher", 0.5,
		"THD at out with the guitar's volume at 10 over that with it at 2, for a tone of 997 Hz and 0.2 V peak"}, (*wishBench).cleanUp},
	{WishInfo{"clear repeats", "dB", "higher", 0.5,
		"while a second note is played, what the first repeat of a first note has at its own harmonics over all that belongs to neither note"}, (*wishBench).clearRepeats},
	{WishInfo{"dynamics kept", "dB", "higher", 0.1,
		"from the 10 % to the 95 % point of the levels of 50 ms at out (those within 40 dB of the loudest), less the same in the recording"}, (*wishBench).dynamicsKept},
	{WishInfo{"headroom", "dB", "higher", 0.1,
		"the least, over all stages with a ceiling, of that ceiling over the highest peak that goes in or comes out"}, (*wishBench).headroom},
	{WishInfo{"quiet", "dB", "higher", 0.1,
		"A-weighted level of the take at out over the A-weighted noise that is there when nobody plays"}, (*wishBench).quiet},
	{WishInfo{"sustain", "s", "higher", 0.02,
		"time in which a note of 196 Hz that falls by 20 dB in 2 s at the guitar falls by 20 dB at out"}, (*wishBench).sustained},
}

// Wishes is what every wish measures.
func Wishes() []WishInfo {
	var all []WishInfo
	for _, w := range wishes {
		all = append(all, w.WishInfo)
	}
	return all
}

// usualWishes is what a ranking goes by where the chain file does not say: they cost next to nothing beside the render.
var usualWishes = []string{"quiet", "headroom", "brightness kept"}

func findWishes(names []string) ([]wish, error) {
	if len(names) == 0 {
		names = usualWishes
	}
	var list []wish
	for _, name := range names {
		i := slices.IndexFunc(wishes, func(w wish) bool { return w.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("no wish %q", name)
		}
		list = append(list, wishes[i])
	}
	return list, nil
}

// wishBench is what the wishes of many orders of the same blocks are measured with: renders that share their beginnings.
type wishBench struct {
	rate      dsp.Hertz
	quality   section.Quality
	recording []float64 // V
	memory    int       // bytes, for each set of remembered signals
	literal   bool      // orders are computed as they stand

	main   *chains.Orders
	noise  *chains.NoiseLevels
	mu     sync.Mutex
	probes map[string]*chains.Orders // test signals in the place of the recording
	asked  map[string]Figure         // of the recording
	heard  map[heardKey]Figure       // of signals at out
}

type heardKey struct {
	what   string
	signal [32]byte
}

func newWishBench(recording []float64, rate dsp.Hertz, q section.Quality, memory int, literal bool) *wishBench {
	b := &wishBench{rate: rate, quality: q, recording: recording, memory: memory, literal: literal, probes: map[string]*chains.Orders{}, asked: map[string]Figure{}, heard: map[heardKey]Figure{}}
	b.main = b.orders(recording, memory)
	b.noise = chains.NewNoiseLevels(rate)
	return b
}

func (b *wishBench) orders(recording []float64, memory int) *chains.Orders {
	o := chains.NewOrders(recording, b.rate, b.quality, memory)
	o.Literal = b.literal
	return o
}

// measure is the values of some wishes for one chain.
func (b *wishBench) measure(ctx context.Context, c *chains.Chain, list []wish) ([]Figure, error) {
	p, err := b.play(ctx, c)
	if err != nil {
		return nil, err
	}
	values := make([]Figure, len(list))
	for k, wish := range list {
		if values[k], err = wish.measure(b, ctx, p); err != nil {
			return nil, fmt.Errorf("wish %q: %w", wish.Name, err)
		}
	}
	return values, nil
}

func (b *wishBench) play(ctx context.Context, c *chains.Chain) (*played, error) {
	w := c.Plan(b.rate, b.quality)
	p := &played{Plan: w, order: b.main.Order(w)}
	var err error
	if p.out, err = p.order.Signal(ctx, "out"); err != nil {
		return nil, err
	}
	p.key, err = p.order.Key(ctx, "out")
	return p, err
}

// inOut is a figure of the signal at out, worked out once for all orders that have it.
func (b *wishBench) inOut(what string, p *played, of func([]float64) Figure) Figure {
	key := heardKey{what, p.key}
	b.mu.Lock()
	f, ok := b.heard[key]
	b.mu.Unlock()
	if !ok {
		f = of(p.out)
		b.mu.Lock()
		b.heard[key] = f
		b.mu.Unlock()
	}
	return f
}

// probe is a memo with a test signal in the place of the recording.
func (b *wishBench) probe(name string, signal func() []float64) *chains.Orders {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.probes[name] == nil {
		b.probes[name] = b.orders(signal(), b.memory/4)
	}
	return b.probes[name]
}

// inRecording is a figure of the recording, worked out once.
func (b *wishBench) inRecording(name string, of func([]float64) Figure) Figure {
	b.mu.Lock()
	defer b.mu.Unlock()
	f, ok := b.asked[name]
	if !ok {
		f = of(b.recording)
		b.asked[name] = f
	}
	return f
}

func (b *wishBench) brightness(_ context.Context, p *played) (Figure, error) {
	share := func(x []float64) Figure {
		if f := unplayed(x); !f.OK() {
			return f
		}
		s, err := measure.Welch(x, float64(b.rate), segment(float64(b.rate)))
		if err != nil {
			return figure(0, err)
		}
		all := s.Power(80, 20e3)
		if all == 0 {
			return noFigure("%s", measure.Silence)
		}
		return levelOf(math.Sqrt(s.Power(2e3, 8e3)/all), "nothing from 2 to 8 kHz")
	}
	return b.inOut("brightness", p, share).minus(b.inRecording("brightness", share)), nil
}

func (b *wishBench) quiet(_ context.Context, p *played) (Figure, error) {
	level := b.inOut("level", p, func(x []float64) Figure {
		if f := unplayed(x); !f.OK() {
			return f
		}
		rms, err := measure.AWeighted(x, float64(b.rate))
		return figure(dsp.ToDB(rms), err)
	})
	if !level.OK() {
		return level, nil
	}
	noise, err := b.noise.AWeighted(p.Chain)
	if err != nil {
		return Figure{}, err
	}
	if noise == 0 {
		return noFigure("no noise"), nil
	}
	return figure(level.Value-dsp.ToDB(noise), nil), nil
}

func (b *wishBench) headroom(ctx context.Context, p *played) (Figure, error) {
	least := noFigure("no stage has a ceiling")
	for _, s := range p.Stages {
		if s.Ceiling == 0 {
			continue
		}
		top, err := p.order.Peak(ctx, s)
		if err != nil {
			return Figure{}, err
		}
		if top < Silence {
			return noFigure("%s", measure.Silence), nil
		}
		if db := dsp.ToDB(s.Ceiling / top); !least.OK() || db < least.Value {
			least = Figure{Value: db}
		}
	}
	return least, nil
}

func (b *wishBench) dynamicsKept(_ context.Context, p *played) (Figure, error) {
	spread := func(x []float64) Figure { return levelSpread(x, float64(b.rate)) }
	return b.inOut("dynamics", p, spread).minus(b.inRecording("dynamics", spread)), nil
}

// levelSpread is from the 10 % to the 95 % point of the levels of 50 ms, in dB, of those within 40 dB of the loudest.
func levelSpread(x []float64, rate float64) Figure {
	if f := unplayed(x); !f.OK() {
		return f
	}
	n := int(0.05 * rate)
	var levels []float64
	for at := 0; at+n <= len(x); at += n {
		l, err := measure.MeasureLevels(x[at : at+n])
		if err != nil {
			return figure(0, err)
		}
		if l.RMS > 0 {
			levels = append(levels, dsp.ToDB(l.RMS))
		}
	}
	if len(levels) < 20 {
		return noFigure("%s: %.2g s, needs 1 s of sound", measure.TooShort, float64(len(x))/rate)
	}
	slices.Sort(levels)
	loudest := levels[len(levels)-1]
	from, _ := slices.BinarySearch(levels, loudest-40)
	levels = levels[from:]
	at := func(share float64) float64 { return levels[int(math.Round(share*float64(len(levels)-1)))] }
	return Figure{Value: at(0.95) - at(0.10)}
}

// cleanUp is Dynamics' clean-up range, with the renders shared.
func (b *wishBench) cleanUp(ctx context.Context, p *played) (Figure, error) {
	thd := func(volume float64) (Figure, error) {
		c := *p.Chain
		c.Guitar.Volume = volume
		return b.thd(ctx, c.Plan(b.rate, b.quality))
	}
	full, err := thd(10)
	if err != nil {
		return Figure{}, err
	}
	rolled, err := thd(2)
	if err != nil || !full.OK() || !rolled.OK() {
		return full.minus(rolled), err
	}
	if full.Value < barely {
		return noFigure("nothing to clean up: under %g %% of distortion", barely), nil
	}
	return Figure{Value: dsp.ToDB(full.Value / math.Max(rolled.Value, barely))}, nil
}

// thd is the THD at out of the test tone, as in Dynamics.
func (b *wishBench) thd(ctx context.Context, w *chains.Plan) (Figure, error) {
	m := b.probe("tone", func() []float64 { return sines(int(0.5*float64(b.rate)), float64(b.rate), TestTone) })
	x, err := m.Order(w).Signal(ctx, "out")
	if err != nil {
		return Figure{}, err
	}
	return toneTHD(x[len(x)-int(0.1*float64(b.rate)):], float64(b.rate)), nil
}

// barely is a THD, in percent, under which what is left is the rounding of the render and no property of the chain.
const barely = 1e-3

// toneTHD is the THD in percent of the test tone.
func toneTHD(x []float64, rate float64) Figure {
	if f := unplayed(x); !f.OK() {
		return f
	}
	h, err := measure.FitHarmonics(x, rate, TestTone.Hz, 10)
	if err != nil {
		return figure(0, err)
	}
	return percent(h.THD(), nil)
}

func (b *wishBench) sustained(ctx context.Context, p *played) (Figure, error) {
	m := b.probe("note", func() []float64 { return fallingNote(float64(b.rate)) })
	x, err := m.Order(p.Plan).Signal(ctx, "out")
	if err != nil {
		return Figure{}, err
	}
	return fallTime(x, float64(b.rate)), nil
}

// fallingNote is the note of Dynamics.Sustain.
func fallingNote(rate float64) []float64 {
	x := sines(int(noteTime*rate), rate, Tone{noteHz, TestTone.Volts})
	for k := range x {
		x[k] *= dsp.FromDB(-20 * float64(k) / (noteFalls * rate))
	}
	return x
}

// clearRepeats plays one note for as long as the delay takes and another one over its repeat.
//
// Both notes and the window are so chosen that every harmonic of either falls on a line of the transform, and that the lines of the two have no common
// factor. What a non-linear block makes of both together, and what a reverb smears, falls between.
func (b *wishBench) clearRepeats(ctx context.Context, p *played) (Figure, error) {
	time := 0.0
	for _, p := range p.Chain.Blocks {
		if p.Kind.Name == "delay" && !p.Off {
			if time > 0 {
				return noFigure("two delays: which repeat is meant?"), nil
			}
			time = p.Settings.Number("time")
		}
	}
	if time == 0 {
		return noFigure("no delay in the chain"), nil
	}
	rate := float64(b.rate)
	length := int(math.Round(time * rate))
	size := 1 << 14
	settle := int(0.02 * rate)
	for size+settle > length {
		if size /= 2; float64(size) < 0.04*rate {
			return noFigure("%s: a delay of %.0f ms; it takes 60 ms and more to tell notes apart", measure.TooShort, 1e3*time), nil
		}
	}
	low, high := repeatLines(size, rate)
	m := b.probe(fmt.Sprintf("repeats %d %d", length, size), func() []float64 { return twoNotes(length, size, rate) })
	x, err := m.Order(p.Plan).Signal(ctx, "out")
	if err != nil {
		return Figure{}, err
	}
	return repeatClarity(x[length+settle:][:size], low, high, rate), nil
}

// repeatLines is the lines of the first and the second note: about 330 Hz and 440 Hz, in numbers without a common factor.
func repeatLines(size int, rate float64) (low, high int) {
	low = int(math.Round(330 * float64(size) / rate))
	high = int(math.Round(440 * float64(size) / rate))
	for gcd(low, high) > 1 {
		high++
	}
	return low, high
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// twoNotes is one note of the given length in samples, and another as long right after it, each swelling and falling within 10 ms.
func twoNotes(length, size int, rate float64) []float64 {
	low, high := repeatLines(size, rate)
	x := make([]float64, 2*length)
	edge := int(0.01 * rate)
	for part, line := range []int{low, high} {
		for k := range length {
			g := 1.0
			if e := min(k, length-1-k); e < edge {
				g = 0.5 - 0.5*math.Cos(math.Pi*float64(e)/float64(edge))
			}
			x[part*length+k] = g * TestTone.Volts * math.Sin(2*math.Pi*float64(line)*float64(k)/float64(size))
		}
	}
	return x
}

// repeatClarity is the power at the harmonics of the low note over that at no harmonic of either, 20 Hz to 20 kHz, in dB. A Hann window is as wide as two lines to
// either side; so far do lines belong to a harmonic.
func repeatClarity(x []float64, low, high int, rate float64) Figure {
	n := len(x)
	windowed := make([]float64, n)
	for k, v := range x {
		windowed[k] = v * (0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(n)))
	}
	const wide = 2
	of := func(k, note int) bool {
		r := k % note
		return k > note/2 && min(r, note-r) <= wide
	}
	var own, rest float64
	for k, z := range fourier.NewFFT(n).Coefficients(nil, windowed) {
		f := float64(k) * rate / float64(n)
		if f < measure.BandLow || f > measure.BandHigh {
			continue
		}
		p := real(z)*real(z) + imag(z)*imag(z)
		switch {
		case of(k, high):
		case of(k, low):
			own += p
		default:
			rest += p
		}
	}
	if own < 1e-12*rest || own == 0 {
		return noFigure("no repeat is heard")
	}
	if rest == 0 {
		return noFigure("nothing beside the notes")
	}
	return Figure{Value: 10 * math.Log10(own/rest)}
}

// unplayed has no value, and the reason, where a signal is silent, not finite or clips throughout.
func unplayed(x []float64) Figure {
	l, err := measure.MeasureLevels(x)
	if err != nil {
		return figure(0, err)
	}
	if l.Peak < Silence {
		return noFigure("%s", measure.Silence)
	}
	if clipsThroughout(x, l.Peak) {
		return noFigure("clips throughout")
	}
	return Figure{}
}

// clipsThroughout says whether a signal stands at its own peak, within 1 %, for nine tenths of the time: nothing is left of what was played. The loudest
// sine does so for 9 %: 2·acos(0.99)/π.
func clipsThroughout(x []float64, peak float64) bool {
	at := 0
	for _, v := range x {
		if math.Abs(v) > 0.99*peak {
			at++
		}
	}
	return 10*at >= 9*len(x)
}
