package produce

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"drywire/chains/because"
	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/chains/report"
	"drywire/dsp"
)

// MostMeasured is how much of a recording is measured, in seconds: enough for any figure, and it is
// all kept in memory at every jack.
const MostMeasured = 30.0

// findings is what the page shows beyond a comparison.
type findings struct {
	page report.Page
}

// begin makes room for the given number of takes.
func (f *findings) begin(n int) {
	f.page.Measures = make([]*experiment.Measures, n)
	f.page.Guitar = make([]*experiment.ResponseReport, n)
	f.page.Responses = make([]*experiment.ResponseReport, n)
	f.page.Noise = make([]*experiment.NoiseReport, n)
}

// jackKeeper keeps the beginning of what a render has at every jack.
type jackKeeper struct {
	jacks []string
	most  int
	kept  [][]float32
}

func newJackKeeper(c *board.Chain, r *Recording) *jackKeeper {
	k := &jackKeeper{jacks: c.Jacks(), most: int(min(float64(r.Frames), math.Round(MostMeasured*float64(r.Rate))))}
	k.kept = make([][]float32, len(k.jacks))
	for n := range k.kept {
		k.kept[n] = make([]float32, 0, k.most)
	}
	return k
}

func (k *jackKeeper) push(taps [][]float64) {
	for n, x := range taps {
		for _, v := range x[:min(len(x), k.most-len(k.kept[n]))] {
			k.kept[n] = append(k.kept[n], float32(v))
		}
	}
}

// Signal is an experiment.Signals.
func (k *jackKeeper) signal(_ context.Context, w *render.Plan, jack string) ([]float64, error) {
	for n, j := range k.jacks {
		if j == jack {
			x := make([]float64, len(k.kept[n]))
			for i, v := range k.kept[n] {
				x[i] = float64(v)
			}
			return x, nil
		}
	}
	return nil, fmt.Errorf("take %q, jack %s: not rendered", w.Chain.Take, jack)
}

// measure takes all measures of one take. What cannot be measured is left out of the page, which
// says why.
func (f *findings) measure(ctx context.Context, n int, w *render.Plan, k *jackKeeper) (remarks []string, err error) {
	c := w.Chain
	note := func(what string, e error) {
		if e != nil && ctx.Err() == nil {
			remarks = append(remarks, fmt.Sprintf("Take %d, %s: not measurable: %v.", n+1, what, e))
		}
	}
	var e error
	f.page.Measures[n], e = experiment.Measure(ctx, w, k.signal, dsp.Tone{})
	note("levels at the jacks", e)
	if m := f.page.Measures[n]; m != nil {
		for _, s := range m.Switched {
			remarks = append(remarks, fmt.Sprintf("Take %d. %s", n+1, s.Sentence()))
		}
	}
	f.page.Guitar[n], e = experiment.Response(c, w.Rate, "guitar")
	note("response at the guitar", e)
	end := c.Ends()[0] // of two amplifiers in stereo, the left one: the page says so
	f.page.Responses[n], e = experiment.Response(c, w.Rate, end)
	note("response", e)
	f.page.Noise[n], e = experiment.Noise(c, w.Rate, end)
	note("noise", e)
	return remarks, ctx.Err()
}

// listen reads the matched takes for the player, as much of them as the page can hold.
func (f *findings) listen(takes []*Rendered) error {
	rate, frames := float64(takes[0].Plan.Rate), takes[0].frames
	if most := report.Longest(len(takes), takes[0].channels); frames > most {
		f.page.Part = fmt.Sprintf("The player holds the first %.0f of %.0f seconds.", float64(most)/rate, float64(frames)/rate)
		frames = most
	}
	for _, d := range takes {
		sound := report.Sound{Rate: int(rate), Channels: make([][]float32, d.channels)}
		shape := d.shape(d.Settled.Gain)
		shape.Frames = frames
		room := d.blocks()
		for p := d.play(); int64(len(sound.Channels[0])) < frames; {
			x, err := p.nextOf(room, shape)
			if err != nil {
				return err
			}
			for c := range x {
				for _, v := range x[c][:min(int64(len(x[c])), frames-int64(len(sound.Channels[c])))] {
					sound.Channels[c] = append(sound.Channels[c], float32(v))
				}
			}
		}
		f.page.Sounds = append(f.page.Sounds, sound)
	}
	return nil
}

// Words is what the report's page says beside what was found.
type Words struct {
	Version   string // of this program
	ListenFor []string
	Swaps     *experiment.SwapMap // nil for none
}

// because says of every pair why the second sounds other than the first.
func (c *Compared) because(ctx context.Context, p *Project) ([]*because.Because, error) {
	x, err := p.Beginning(ctx, MostMeasured)
	if err != nil {
		return nil, err
	}
	moment := because.NewMoment(x, p.Dry.Rate)
	list := make([]*because.Because, len(c.Pairs))
	for k, pair := range c.Pairs {
		a, b := p.Takes[pair.A-1], p.Takes[pair.B-1]
		if list[k], err = moment.Between(ctx, p.File, a, b, "“"+a.Name+"”", pair.Respects); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// WriteReport writes the report's page of a comparison of a project's takes. The error is of a
// render, of the recording, of report.Write, or ctx's.
func (c *Compared) WriteReport(ctx context.Context, to io.Writer, p *Project, words Words) error {
	page := c.found.page
	because, err := c.because(ctx, p)
	if err != nil {
		return err
	}
	for _, b := range because {
		page.Because = append(page.Because, b.Sentence)
	}
	page.Version, page.Comparison, page.Swaps = words.Version, c.Comparison, words.Swaps
	page.Command = fmt.Sprintf("drywire compare %s -o takes", filepath.Base(p.Text.Name))
	page.ListenFor, page.Hearing = words.ListenFor, Hearing
	page.ChainName, page.ChainFile = filepath.Base(p.Text.Name), string(p.Text.Source)
	if p.Dry.Seconds() > MostMeasured {
		page.Remarks = append(page.Remarks, fmt.Sprintf("Levels at the jacks and spectra are of the first %.0f of %.0f seconds.", MostMeasured, p.Dry.Seconds()))
	}
	return report.Write(to, page)
}
