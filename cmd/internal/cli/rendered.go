package cli

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime/debug"
	"slices"
	"strings"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/cmd/internal/files"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// fadeTime is how long takes for listening fade in and out: long enough that a render which begins or is cut inside a note does not click.
const fadeTime dsp.Second = 8e-3

// rendered is one jack's voltage over a whole take, or those of the two that a take in stereo ends in, kept on disk so that a recording may be of any
// length, with its measures.
type rendered struct {
	chain    *chains.Chain
	wiring   *chains.Wiring
	file     files.File
	frames   int64
	kept     int // channels
	channels int // that are played and written: where one is kept and two are played, both have it
	levels   measure.Levels
	peak     float64 // true peak, V
	reports  []chains.SectionReport
	settled  experiment.Settled
}

// renderer wires a take and prepares it to be rendered.
func renderer(c *chains.Chain, r *recording, q section.Quality, jacks ...string) (*chains.Renderer, error) {
	return c.Wire(r.rate, q).Renderer(jacks...)
}

// runAll renders the recording and passes on what all jacks have that are read.
func runAll(ctx context.Context, render *chains.Renderer, r *recording, after dsp.Second, p *progress, sink func(taps [][]float64) error) error {
	reader, err := r.reader()
	if err != nil {
		return err
	}
	defer reader.Close()
	return render.Run(ctx, source{reader, r.volts, p}, after, sink)
}

// endsOf is which of the jacks that are read are kept: both ends of a take in stereo where both are read, else the last.
func endsOf(render *chains.Renderer) []int {
	var ends []int
	for _, j := range render.Wiring.Chain.Ends() {
		if k := slices.Index(render.Taps, j); k >= 0 {
			ends = append(ends, k)
		}
	}
	if len(ends) == 2 {
		return ends
	}
	return []int{len(render.Taps) - 1}
}

// keep renders the recording and keeps the jacks of endsOf in a file without a name in the outputs' folder. beside is shown all jacks, unless it is nil.
func keep(ctx context.Context, render *chains.Renderer, r *recording, after dsp.Second, out *outputs, p *progress, beside func(taps [][]float64)) (d *rendered, err error) {
	defer func() {
		if v := recover(); v != nil { // in a goroutine of its own, a panic would leave files behind
			err = fmt.Errorf("take %q: a mistake in the program: %v\n%s", render.Wiring.Chain.Take, v, debug.Stack())
		}
		if err != nil && d != nil {
			d.close()
			d = nil
		}
	}()
	f, err := out.Scratch()
	if err != nil {
		return nil, err
	}
	ends := endsOf(render)
	d = &rendered{chain: render.Wiring.Chain, wiring: render.Wiring, file: f, kept: len(ends), channels: len(ends)}
	var levels measure.LevelMeter // of all channels, so that its RMS is that of both together
	peaks := make([]measure.TruePeakMeter, len(ends))
	kept := bufio.NewWriterSize(f, 1<<16)
	var bytes []byte
	err = runAll(ctx, render, r, after, p, func(taps [][]float64) error {
		if beside != nil {
			beside(taps)
		}
		for k, end := range ends {
			levels.Push(taps[end])
			peaks[k].Push(taps[end])
		}
		d.frames += int64(len(taps[0]))
		bytes = bytes[:0]
		for at := range taps[0] {
			for _, end := range ends {
				bytes = binary.LittleEndian.AppendUint32(bytes, math.Float32bits(float32(taps[end][at])))
			}
		}
		_, err := kept.Write(bytes)
		return d.blame(err)
	})
	if err != nil {
		return d, err
	}
	if err := kept.Flush(); err != nil {
		return d, d.blame(err)
	}
	d.reports = render.Reports()
	if d.levels, err = levels.Levels(); err != nil {
		return d, err
	}
	for k := range peaks {
		peak, err := peaks[k].TruePeak()
		if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
			return d, err
		}
		d.peak = max(d.peak, peak)
	}
	return d, nil
}

// blame words an error of the temporary file.
func (d *rendered) blame(err error) error {
	if err == nil {
		return nil
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("take %q: cannot keep the render in the output folder: %w", d.chain.Take, err)
}

func (d *rendered) close() {
	d.file.Close()
}

// chunk is how many samples are read back at a time.
const chunk = 4800

// play reads a kept take from its beginning.
func (d *rendered) play() *player {
	return &player{d: d, from: bufio.NewReaderSize(io.NewSectionReader(d.file, 0, d.frames*int64(4*d.kept)), 1<<16), bytes: make([]byte, 4*d.kept*chunk)}
}

type player struct {
	d     *rendered
	from  *bufio.Reader
	at    int64
	bytes []byte
	both  [][]float64 // for next
}

// blocks is room for the next samples.
func (d *rendered) blocks() [][]float64 {
	blocks := make([][]float64, d.channels)
	for k := range blocks {
		blocks[k] = make([]float64, chunk)
	}
	return blocks
}

// nextOf reads the next samples of every channel, shaped, into slices of length chunk, and returns them; nil at the end.
func (p *player) nextOf(dst [][]float64, shape experiment.Shape) ([][]float64, error) {
	n := int(min(chunk, p.d.frames-p.at))
	if n == 0 {
		return nil, nil
	}
	if _, err := io.ReadFull(p.from, p.bytes[:4*p.d.kept*n]); err != nil {
		return nil, p.d.blame(err)
	}
	out := make([][]float64, len(dst))
	for c := range dst {
		from := min(c, p.d.kept-1)
		out[c] = dst[c][:n]
		for k := range out[c] {
			out[c][k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(p.bytes[4*(p.d.kept*k+from):])))
		}
		shape.Apply(out[c], out[c], p.at)
	}
	p.at += int64(n)
	return out, nil
}

// next reads the mean of all channels into dst of length chunk and returns how many samples that is; 0 at the end.
func (p *player) next(dst []float64, shape experiment.Shape) (int, error) {
	if p.both == nil {
		p.both = p.d.blocks()
	}
	channels, err := p.nextOf(p.both, shape)
	if channels == nil {
		return 0, err
	}
	n := len(channels[0])
	for k := range dst[:n] {
		dst[k] = 0
		for _, x := range channels {
			dst[k] += x[k] / float64(len(channels))
		}
	}
	return n, nil
}

func (d *rendered) shape(gain float64) experiment.Shape {
	return experiment.Shape{Gain: gain, Fade: int(math.Round(float64(fadeTime) * float64(d.wiring.Rate))), Frames: d.frames}
}

// settle finds the gain that brings the take to a target level.
func (d *rendered) settle(ctx context.Context, target float64) error {
	rate := float64(d.wiring.Rate)
	blocks := d.blocks()
	meter := experiment.NewMeter
	if d.channels == 2 {
		meter = experiment.NewStereoMeter
	}
	var err error
	d.settled, err = experiment.Settle(d.peak, target, func(gain float64) (experiment.Reading, error) {
		m := meter(rate, experiment.ByLoudness(d.frames, rate))
		for p, shape := d.play(), d.shape(gain); ; {
			if err := ctx.Err(); err != nil {
				return experiment.Reading{}, err
			}
			x, err := p.nextOf(blocks, shape)
			if err != nil {
				return experiment.Reading{}, err
			}
			if x == nil {
				return m.Reading()
			}
			m.Push(x...)
		}
	})
	return err
}

// matchedBy is the word for what takes of that length are matched by.
func (d *rendered) matchedBy() string {
	if experiment.ByLoudness(d.frames, float64(d.wiring.Rate)) {
		return "loudness"
	}
	return "rms"
}

// unconverged is how many steps of the solver did not converge.
func unconverged(reports []chains.SectionReport) int64 {
	n := int64(0)
	for _, r := range reports {
		n += r.Failures
	}
	return n
}

// warn says loudly where the solver did not converge.
func warn(s streams, w *chains.Wiring, reports []chains.SectionReport) {
	for _, r := range reports {
		if r.Failures > 0 {
			s.say("drywire: WARNING: take %q: %s of %s steps did not converge in the section of %s.", w.Chain.Take, grouped(r.Failures), grouped(r.Steps), strings.Join(partsOf(w, r.Section), " + "))
			s.say("         Their voltages were held: what you hear there is wrong. Try --quality fine.")
		}
	}
}
