package produce

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/samples"
)

// Recording is a dry recording that was found, with what its samples mean. It never changes.
type Recording struct {
	Key      string // equal keys, equal voltages
	Name     string // for messages: its path, or that it ships
	Title    string // without folder and extension
	Path     string // as messages have it; "" for a shipped one and standard input
	Rate     dsp.Hertz
	Frames   int64
	Volts    float64 // of a sample of 1
	Load     *board.Load
	Notes    []string // what was made of it, for the user to be told
	Cautions []string // those of them that warn
	// least and largest, in volts, of WaveColumns equal parts, or as many as it has frames; nil
	// where it was not asked for
	Waveform [][2]float64

	open func() *samples.Reader // from its beginning, of the one file
}

// WaveColumns is how many parts a waveform is drawn in.
const WaveColumns = 800

// WithRecording is the project with the recordings that its chain file names, or with another one
// in place of the file's: the path of a WAV file, or the name of one that ships; "" for none. Those
// of guitars stay. All of each is read, unless it ships and has the level that it was made with.
// The error is file.Faults, with the recording's place in the chain file, or that of another
// recording, which names it, or ctx's.
func (p *Project) WithRecording(ctx context.Context, another string) (*Project, error) {
	return p.withRecording(ctx, another, false)
}

func (p *Project) withRecording(ctx context.Context, another string, drawn bool) (*Project, error) {
	f := *p.File
	r, err := p.loader.recording(ctx, p.Text, "$.recording", &f.Recording, another, drawn)
	if err != nil {
		return nil, err
	}
	own := map[string]*Recording{}
	for _, g := range f.Guitars {
		if g.Recording == nil {
			continue
		}
		place := "$.guitars." + g.Name + ".recording"
		if own[g.Name], err = p.loader.recording(ctx, p.Text, place, g.Recording, "", drawn); err != nil {
			return nil, err
		}
		if own[g.Name].Rate != r.Rate {
			return nil, file.Faults{file.At(p.Text.Name, p.Text.Source, place, fmt.Sprintf("recording %s: is at %s, and %s at %s; all of a file's are of one sample rate",
				own[g.Name].Name, Quantity(float64(own[g.Name].Rate), dsp.Hertzes), r.Name, Quantity(float64(r.Rate), dsp.Hertzes)))}
		}
	}
	return &Project{File: &f, Text: p.Text, Dry: r, own: own, loader: p.loader, takes: map[string]*Take{}}, nil
}

// recording finds the recording that is wanted at a place of the chain file, or another one instead
// of it, which want then says.
func (l *Loader) recording(ctx context.Context, text *edit.Text, place string, want *board.Recording, another string, drawn bool) (known *Recording, err error) {
	r := &Recording{}
	opens, path := l.Folder.Open, want.File
	switch {
	case another != "" && another != Piped && !exists(another) && slices.Contains(shippedNames(), another):
		// As if the chain file said sample.
		*want = board.Recording{Sample: another, Side: want.Side}
	case another != "":
		if want.Sample != "" && want.Peak == 0 && want.FullScale == 0 {
			want.FullScale = 1
			r.note("level: 1 V at full scale, for the chain file gives none for a recording of your own")
		}
		if want.Sample != "" && !want.LoadGiven {
			r.note("load: none, for the chain file gives none for a recording of your own")
		}
		want.Sample, want.File = "", another
		opens, path, r.Path = l.Folder.Named, another, another
	case path != "" && path != Piped:
		r.Path = l.Folder.Path(path)
	}
	r.Load = want.Load

	var shipped samples.Recording
	var open func() (*samples.Reader, func(), error)
	stamp := "shipped"
	if want.Sample != "" {
		var err error
		if shipped, err = samples.Find(want.Sample); err != nil {
			if another != "" {
				return nil, err
			}
			return nil, file.Faults{file.At(text.Name, text.Source, place+".sample", err.Error())}
		}
		r.Name, r.Title = "shipped recording "+shipped.Name, shipped.Name
		open = func() (*samples.Reader, func(), error) {
			reader, err := shipped.Open()
			if err != nil {
				return nil, nil, err
			}
			return reader, func() { reader.Close() }, nil
		}
	} else {
		if r.Name = r.Path; path == Piped {
			r.Name, r.Path = "standard input", ""
		}
		r.Title = strings.TrimSuffix(filepath.Base(filepath.FromSlash(r.Name)), filepath.Ext(r.Name))
		stamp = l.Folder.Stamp(path)
		open = func() (*samples.Reader, func(), error) { return opens(path) }
	}
	load := "none"
	if r.Load != nil {
		load = fmt.Sprint(*r.Load)
	}
	r.Key = fmt.Sprintf("%q %q %v %v %v %s %s", want.File, want.Sample, want.Peak, want.FullScale, want.Side, load, stamp)
	if known, ok := l.recordings.Get(r.Key); ok && stamp != "" && another == "" && (known.Waveform != nil || !drawn) {
		return known, nil
	}

	// What is wrong with a recording that the chain file names has its place in the chain file.
	at := func(path, before string, err error) error {
		if another != "" || ctx.Err() != nil {
			return err
		}
		return file.Faults{file.At(text.Name, text.Source, path, before+err.Error())}
	}
	reader, done, err := open()
	if err != nil {
		if near := file.Nearest(another, shippedNames()); another != "" && near != "" && errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%w; did you mean the shipped recording %q?", err, near)
		}
		if another == "" && errors.Is(err, fs.ErrNotExist) {
			if near := l.Folder.Near(path); near != "" {
				err = fmt.Errorf("%w; did you mean %q?", err, near)
			}
		}
		return nil, at(place+".file", "recording ", err)
	}
	reader.SetSide(samples.Side(want.Side))
	defer func() {
		if known == nil {
			done()
		}
	}()
	if err := reader.RecordingRate(); err != nil {
		return nil, at(place+".file", "recording ", err)
	}
	r.Rate, r.Frames = dsp.Hertz(reader.Rate), reader.Frames()
	r.Notes = append(r.Notes, reader.Warnings...)
	if reader.Channels > 1 {
		r.note("%s", reader.Note())
	}
	peak := 0.0
	if own := want.Sample == "" || want.Peak != 0; own || drawn {
		if peak, err = r.look(ctx, reader, drawn); err != nil {
			return nil, at(place+".file", "recording ", err)
		}
		r.caution(reader.Clipped().Text(r.Name, reader.Rate))
	}
	switch {
	case want.FullScale != 0:
		r.Volts = float64(want.FullScale)
	case want.Peak != 0:
		if peak < allButSilent {
			why := "every sample is zero"
			if peak > 0 {
				why = fmt.Sprintf("its largest sample is %s dB under full scale", Decibels(-dsp.ToDB(peak)))
			}
			return nil, at(place+".peak", "recording ", fmt.Errorf("%s: is silent (%s), so no level can give it a peak of %s", r.Name, why, Volts(float64(want.Peak))))
		}
		r.Volts = float64(want.Peak) / peak
	default:
		r.Volts = float64(shipped.FullScale)
	}
	caution, err := plausiblePeak(dsp.Volt(r.Volts*peak), peak)
	if err != nil {
		return nil, at(place+".full_scale", "recording ", fmt.Errorf("%s: %w", r.Name, err))
	}
	r.caution(caution)
	for k := range r.Waveform {
		for j := range r.Waveform[k] {
			r.Waveform[k][j] = math.Round(r.Waveform[k][j]*r.Volts*1e5) / 1e5
		}
	}
	// From here on every sound is of what was read now: the file stays open until nobody has the
	// recording any more.
	r.open = reader.Another
	runtime.AddCleanup(r, func(done func()) { done() }, done)
	l.recordings.Add(r.Key, r)
	return r, nil
}

// look reads all of a recording for its largest magnitude, and where it is to be drawn for its
// waveform, both in samples.
func (r *Recording) look(ctx context.Context, from *samples.Reader, drawn bool) (peak float64, err error) {
	if drawn {
		r.Waveform = make([][2]float64, min(WaveColumns, r.Frames))
	}
	block := make([]float64, 4096)
	for at := int64(0); ; {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, err := from.Read(block)
		for _, x := range block[:n] {
			peak = max(peak, math.Abs(x))
			if drawn {
				w := &r.Waveform[at*int64(len(r.Waveform))/r.Frames]
				w[0], w[1] = min(w[0], x), max(w[1], x)
				at++
			}
		}
		if errors.Is(err, io.EOF) {
			return peak, nil
		}
		if err != nil {
			return 0, err
		}
	}
}

// allButSilent is the peak, of full scale, under which a recording is silence with its dither or
// noise: -80 dB. Common practice, no source.
const allButSilent = 1e-4

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func shippedNames() []string {
	var names []string
	for _, s := range samples.Shipped() {
		names = append(names, s.Name)
	}
	return names
}

func (r *Recording) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// caution is a note that warns; "" is none.
func (r *Recording) caution(text string) {
	if text != "" {
		r.note("%s", text)
		r.Cautions = append(r.Cautions, text)
	}
}

// Seconds is how long it is.
func (r *Recording) Seconds() float64 { return float64(r.Frames) / float64(r.Rate) }

// Source is the recording in volts, for a render. progress is told how many samples were read,
// unless it is nil.
func (r *Recording) Source(progress func(n int)) render.Source {
	return source{r.open(), r, progress}
}

type source struct {
	*samples.Reader
	of       *Recording // which keeps its file open
	progress func(n int)
}

// Read implements render.Source.
func (s source) Read(dst []float64) (int, error) {
	n, err := s.Reader.Read(dst)
	for k := range dst[:n] {
		dst[k] *= s.of.Volts
	}
	if s.progress != nil {
		s.progress(n)
	}
	return n, err
}

// Voltages is the frames from one to another, in volts; fewer where it ends before. What is in
// front of them is read and dropped. The error is ctx's, or that of reading, with the recording's
// name.
func (r *Recording) Voltages(ctx context.Context, from, to int64) ([]float64, error) {
	src := r.Source(nil)
	x := make([]float64, 0, max(0, min(to, r.Frames)-from))
	block := make([]float64, 4096)
	for at := int64(0); at < to; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n, err := src.Read(block[:min(int64(len(block)), to-at)])
		if skip := min(max(0, from-at), int64(n)); skip < int64(n) {
			x = append(x, block[skip:n]...)
		}
		at += int64(n)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("recording %s: %w", r.Name, err)
		}
	}
	return x, nil
}

// Beginning is the first seconds of it, in volts, or all there is. The error is that of Voltages.
func (r *Recording) Beginning(ctx context.Context, seconds float64) ([]float64, error) {
	return r.Voltages(ctx, 0, int64(min(float64(r.Frames), math.Round(seconds*float64(r.Rate)))))
}

// LoadText is what the guitar was plugged into when it was recorded.
func (r *Recording) LoadText() string {
	if r.Load == nil {
		return "none"
	}
	return fmt.Sprintf("%s and %s of cable", Quantity(float64(r.Load.Resistance), dsp.Ohms), Quantity(float64(r.Load.Cable), dsp.Metres))
}

// Data is what a comparison says of it.
func (r *Recording) Data() experiment.Recording {
	notes := r.Notes
	if notes == nil {
		notes = []string{}
	}
	return experiment.Recording{Name: r.Name, Seconds: r.Seconds(), VoltsPerUnit: r.Volts, Load: r.LoadText(), Notes: notes}
}
