package produce

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

	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/cmd/internal/files"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/samples"
)

// FadeTime is how long takes for listening fade in and out: long enough that a render which begins
// or is cut inside a note does not click.
const FadeTime dsp.Second = 8e-3

// Rendered is one jack's voltage over a whole take, or those of the two that a take in stereo ends
// in, kept on disk so that a recording may be of any length, with its measures.
type Rendered struct {
	Plan    *render.Plan
	Levels  measure.Levels
	Peak    float64 // true peak, V
	Reports []render.SectionReport
	Settled experiment.Settled // by Settle

	file     files.File
	frames   int64
	kept     int // channels
	channels int // that are played and written: where one is kept and two are played, both have it
}

// FramesWith is how many samples a take has: those of the recording and of what sounds on after it.
func (r *Recording) FramesWith(after dsp.Second) int64 {
	return r.Frames + int64(math.Round(float64(after)*float64(r.Rate)))
}

// Run renders the recording and passes on what all jacks have that are read. progress is told how
// many samples were read, unless it is nil. The errors are those of render.Renderer.Run.
func Run(ctx context.Context, renderer *render.Renderer, r *Recording, after dsp.Second, progress func(n int), sink func(taps [][]float64) error) error {
	return renderer.Run(ctx, r.Source(progress), after, sink)
}

// endsOf is which of the jacks that are read are kept: both ends of a take in stereo where both are
// read, else the last.
func endsOf(renderer *render.Renderer) []int {
	var ends []int
	for _, j := range renderer.Plan.Chain.Ends() {
		if k := slices.Index(renderer.Taps, j); k >= 0 {
			ends = append(ends, k)
		}
	}
	if len(ends) == 2 {
		return ends
	}
	return []int{len(renderer.Taps) - 1}
}

// Keep renders the recording and keeps the last jack that is read, or both ends of a take in
// stereo, in a file without a name in the outputs' folder. progress is told how many samples were
// read, and beside is shown all jacks, unless they are nil. The caller closes what comes back. The
// error is of a render or of the outputs' folder; a panic of the render is one too, worded as a
// mistake in the program.
func Keep(ctx context.Context, renderer *render.Renderer, r *Recording, after dsp.Second, out *files.Outputs, progress func(n int), beside func(taps [][]float64)) (d *Rendered, err error) {
	defer func() {
		if v := recover(); v != nil { // in a goroutine of its own, a panic would leave files behind
			err = fmt.Errorf("take %q: a mistake in the program: %v\n%s", renderer.Plan.Chain.Take, v, debug.Stack())
		}
		if err != nil && d != nil {
			d.Close()
			d = nil
		}
	}()
	f, err := out.Scratch()
	if err != nil {
		return nil, err
	}
	ends := endsOf(renderer)
	d = &Rendered{Plan: renderer.Plan, file: f, kept: len(ends), channels: len(ends)}
	var levels measure.LevelMeter // of all channels, so that its RMS is that of both together
	peaks := make([]measure.TruePeakMeter, len(ends))
	kept := bufio.NewWriterSize(f, 1<<16)
	var bytes []byte
	err = Run(ctx, renderer, r, after, progress, func(taps [][]float64) error {
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
	d.Reports = renderer.Reports()
	if d.Levels, err = levels.Levels(); err != nil {
		return d, err
	}
	for k := range peaks {
		peak, err := peaks[k].TruePeak()
		if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
			return d, err
		}
		d.Peak = max(d.Peak, peak)
	}
	return d, nil
}

// blame words an error of the temporary file.
func (d *Rendered) blame(err error) error {
	if err == nil {
		return nil
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("take %q: cannot keep the render in the output folder: %w", d.Plan.Chain.Take, err)
}

// Close removes what is kept.
func (d *Rendered) Close() {
	d.file.Close()
}

// chunk is how many samples are read back at a time.
const chunk = 4800

// play reads a kept take from its beginning.
func (d *Rendered) play() *player {
	return &player{d: d, from: bufio.NewReaderSize(io.NewSectionReader(d.file, 0, d.frames*int64(4*d.kept)), 1<<16), bytes: make([]byte, 4*d.kept*chunk)}
}

type player struct {
	d     *Rendered
	from  *bufio.Reader
	at    int64
	bytes []byte
	both  [][]float64 // for next
}

// blocks is room for the next samples.
func (d *Rendered) blocks() [][]float64 {
	blocks := make([][]float64, d.channels)
	for k := range blocks {
		blocks[k] = make([]float64, chunk)
	}
	return blocks
}

// nextOf reads the next samples of every channel, shaped, into slices of length chunk, and returns
// them; nil at the end.
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

// next reads the mean of all channels into dst of length chunk and returns how many samples that
// is; 0 at the end.
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

func (d *Rendered) shape(gain float64) experiment.Shape {
	return experiment.Shape{Gain: gain, Fade: int(math.Round(float64(FadeTime) * float64(d.Plan.Rate))), Frames: d.frames}
}

// Settle finds the gain that brings the take to a target level. The error is ctx's, or that of
// reading the file without a name.
func (d *Rendered) Settle(ctx context.Context, target float64) error {
	rate := float64(d.Plan.Rate)
	blocks := d.blocks()
	meter := experiment.NewMeter
	if d.channels == 2 {
		meter = experiment.NewStereoMeter
	}
	var err error
	d.Settled, err = experiment.Settle(d.Peak, target, func(gain float64) (experiment.Reading, error) {
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

// MatchedBy is the word for what takes of that length are matched by.
func (d *Rendered) MatchedBy() string {
	if experiment.ByLoudness(d.frames, float64(d.Plan.Rate)) {
		return "loudness"
	}
	return "rms"
}

// Unconverged is how many steps of the solver did not converge.
func Unconverged(reports []render.SectionReport) int64 {
	n := int64(0)
	for _, r := range reports {
		n += r.Failures
	}
	return n
}

// Write brings the take to the usual loudness and writes it. limited says that its true peak has
// kept it under that. The error is Settle's or the WAV file's.
func (d *Rendered) Write(ctx context.Context, wav *samples.Writer) (limited bool, err error) {
	if err := d.Settle(ctx, experiment.Target); err != nil {
		return false, err
	}
	target, by := experiment.Common([]experiment.Settled{d.Settled})
	if limited = by >= 0; limited {
		if err := d.Settle(ctx, target); err != nil {
			return limited, err
		}
	}
	blocks := d.blocks()
	for p, shape := d.play(), d.shape(d.Settled.Gain); ; {
		if err := ctx.Err(); err != nil {
			return limited, err
		}
		x, err := p.nextOf(blocks, shape)
		if x == nil || err != nil {
			return limited, err
		}
		if err := wav.Write(x...); err != nil {
			return limited, err
		}
	}
}
