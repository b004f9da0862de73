package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/dsp"
	"drywire/dsp/section"
	"drywire/samples"
)

// recording is a dry recording that was found, with what its samples mean.
type recording struct {
	name   string
	path   string // "" for a shipped one
	open   func() (*samples.Reader, error)
	side   samples.Side
	rate   dsp.Hertz
	frames int64
	volts  float64 // of a sample of 1
	load   *board.Load
	notes  []string // what was made of it, for the user to be told
}

// nearFile is the file beside a missing one whose name it is probably a slip of: another ending, or a few letters; "" for none.
func nearFile(path string) string {
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return ""
	}
	base := filepath.Base(path)
	stem := func(name string) string { return strings.ToLower(strings.TrimSuffix(name, filepath.Ext(name))) }
	var names []string
	for _, e := range list {
		if e.IsDir() || e.Name() == base {
			continue
		}
		if name := e.Name(); stem(name) == stem(base) && filepath.Ext(name) != ".yaml" {
			return name
		}
		names = append(names, e.Name())
	}
	return file.Nearest(base, names)
}

// findRecording finds the recording of a chain file, or the one given in its place, and changes the file's to match. It reads all of it,
// unless it is a shipped one with the level that it was made with.
func findRecording(ctx context.Context, f *chainFile, override string) (*recording, error) {
	want := &f.Recording
	r := &recording{side: samples.Side(want.Side)}
	switch {
	case override != "" && override != "-" && !exists(override) && slices.Contains(shippedNames(), override):
		// As if the chain file said sample.
		*want = board.Recording{Sample: override, Side: want.Side}
	case override != "":
		if want.Sample != "" && want.Peak == 0 && want.FullScale == 0 {
			want.FullScale = 1
			r.note("level: 1 V at full scale, for the chain file gives none for a recording of your own")
		}
		if want.Sample != "" && !want.LoadGiven {
			r.note("load: none, for the chain file gives none for a recording of your own")
		}
		want.Sample, want.File = "", override
		r.path = override
	case want.File != "":
		if r.path = want.File; r.path != "-" {
			r.path = f.beside(want.File)
		}
	}
	r.load = want.Load

	var shipped samples.Recording
	if want.Sample != "" {
		var err error
		if shipped, err = samples.Find(want.Sample); err != nil {
			if override != "" {
				return nil, err
			}
			return nil, file.Faults{file.At(f.name, f.source, "$.recording.sample", err.Error())}
		}
		r.name, r.open = "shipped recording "+shipped.Name, shipped.Open
	} else if r.path == "-" {
		r.name, r.path, r.open = "standard input", "", f.piped
	} else {
		r.name, r.open = r.path, func() (*samples.Reader, error) { return f.open(r.path) }
	}

	// What is wrong with a recording that the chain file names has its place in the chain file.
	at := func(path, before string, err error) error {
		if override != "" || ctx.Err() != nil {
			return err
		}
		return file.Faults{file.At(f.name, f.source, path, before+err.Error())}
	}
	reader, err := r.reader()
	if err != nil {
		if near := file.Nearest(override, shippedNames()); override != "" && near != "" && errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%w; did you mean the shipped recording %q?", err, near)
		}
		if near := nearFile(r.path); near != "" && errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("%w; did you mean %q?", err, near)
		}
		return nil, at("$.recording.file", "recording ", err)
	}
	defer reader.Close()
	if err := reader.RecordingRate(); err != nil {
		return nil, at("$.recording.file", "recording ", err)
	}
	r.rate, r.frames = dsp.Hertz(reader.Rate), reader.Frames()
	r.notes = append(r.notes, reader.Warnings...)
	if reader.Channels > 1 {
		r.note("%s", reader.Note())
	}
	peak := 0.0
	if want.Sample == "" || want.Peak != 0 {
		if peak, err = largest(ctx, reader); err != nil {
			return nil, at("$.recording.file", "recording ", err)
		}
		if text := reader.Clipped().Text(r.name, reader.Rate); text != "" {
			r.note("%s", text)
		}
	}
	switch {
	case want.FullScale != 0:
		r.volts = float64(want.FullScale)
	case want.Peak != 0:
		if peak < allButSilent {
			why := "every sample is zero"
			if peak > 0 {
				why = fmt.Sprintf("its largest sample is %s dB under full scale", decibels(-dsp.ToDB(peak)))
			}
			return nil, at("$.recording.peak", "recording ", fmt.Errorf("%s: is silent (%s), so no level can give it a peak of %s", r.name, why, volts(float64(want.Peak))))
		}
		r.volts = float64(want.Peak) / peak
	default:
		r.volts = float64(shipped.FullScale)
	}
	caution, err := board.PlausiblePeak(dsp.Volt(r.volts*peak), peak)
	if err != nil {
		return nil, at("$.recording.full_scale", "recording ", fmt.Errorf("%s: %w", r.name, err))
	}
	if caution != "" {
		r.note("%s", caution)
	}
	return r, nil
}

// material is what most commands begin with: a chain file, the recording in its place or in the file's, and a quality.
func material(ctx context.Context, s streams, file, override, name string) (f *chainFile, r *recording, q section.Quality, err error) {
	if q, err = quality(name); err != nil {
		return nil, nil, q, err
	}
	if f, err = readChainFile(s, file); err != nil {
		return nil, nil, q, err
	}
	r, err = findRecording(ctx, f, override)
	return f, r, q, err
}

// allButSilent is the peak, of full scale, under which a recording is silence with its dither or noise: -80 dB. Common practice, no source.
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

func (r *recording) note(format string, args ...any) {
	r.notes = append(r.notes, fmt.Sprintf(format, args...))
}

func (r *recording) reader() (*samples.Reader, error) {
	reader, err := r.open()
	if err != nil {
		return nil, err
	}
	reader.SetSide(r.side)
	return reader, nil
}

// largest is the largest magnitude of a recording.
func largest(ctx context.Context, r *samples.Reader) (float64, error) {
	block := make([]float64, 4096)
	peak := 0.0
	for {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, err := r.Read(block)
		for _, x := range block[:n] {
			peak = max(peak, math.Abs(x))
		}
		if errors.Is(err, io.EOF) {
			return peak, nil
		}
		if err != nil {
			return 0, err
		}
	}
}

func (r *recording) seconds() float64 { return float64(r.frames) / float64(r.rate) }

// loadText is what the guitar was plugged into when it was recorded.
func (r *recording) loadText() string {
	if r.load == nil {
		return "none"
	}
	return fmt.Sprintf("%s and %s of cable", quantity(float64(r.load.Resistance), dsp.Ohms), quantity(float64(r.load.Cable), dsp.Metres))
}

// describe says what is rendered.
func (r *recording) describe(s streams) {
	long := fmt.Sprintf("%.1f s", r.seconds())
	if r.seconds() < 0.95 {
		long = quantity(r.seconds(), dsp.Seconds)
	}
	s.printf("Recording  %s, %s, %s; full scale is %s peak; load %s\n", r.name, rateText(float64(r.rate)), long, volts(r.volts), r.loadText())
	for _, n := range r.notes {
		paragraph(s.out, "           ", n, width)
	}
}

func (r *recording) data() experiment.Recording {
	notes := r.notes
	if notes == nil {
		notes = []string{}
	}
	return experiment.Recording{Name: r.name, Seconds: r.seconds(), VoltsPerUnit: r.volts, Load: r.loadText(), Notes: notes}
}

// source is the recording in volts, for a render; progress is told of every sample.
type source struct {
	*samples.Reader
	volts    float64
	progress *progress
}

func (s source) Read(dst []float64) (int, error) {
	n, err := s.Reader.Read(dst)
	for k := range dst[:n] {
		dst[k] *= s.volts
	}
	s.progress.add(n)
	return n, err
}
