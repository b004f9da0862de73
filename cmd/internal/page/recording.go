package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path/filepath"
	"strings"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/cmd/internal/inputs"
	"drywire/dsp"
	"drywire/samples"
)

// recording is a dry recording that was found in the opened folder, or that ships, with what its samples mean.
type recording struct {
	key      string
	name     string
	rate     dsp.Hertz
	frames   int64
	volts    float64 // of a sample of 1
	load     *board.Load
	cautions []string     // where it stood at full scale, and of its level
	waveform [][2]float64 // least and largest, in volts, of waveColumns equal parts
	open     func() (r *samples.Reader, done func(), err error)
}

// waveColumns is how many parts a waveform is drawn in.
const waveColumns = 800

// openFile opens a WAV file by the path that a chain file gives, and says what it is for: one that stays in the folder, whatever links there are in it.
func (s *server) openFile(what, path string) (*samples.Reader, func(), error) {
	clean := filepath.FromSlash(path)
	if !filepath.IsLocal(clean) {
		return nil, nil, fmt.Errorf("%s %s is not in the folder that was opened; a page plays only what is", what, path)
	}
	info, err := s.root.Stat(clean) // before opening: opening a named pipe would wait for ever
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil, fmt.Errorf("%s %s: %w", what, path, fs.ErrNotExist)
		}
		return nil, nil, fmt.Errorf("%s %s is not to be read from the folder that was opened", what, path)
	}
	if !info.Mode().IsRegular() {
		return nil, nil, fmt.Errorf("%s %s is not a regular file", what, path)
	}
	f, err := s.root.Open(clean)
	if err != nil {
		return nil, nil, fmt.Errorf("%s %s: %w", what, path, plain(err))
	}
	held, err := inputs.New(context.Background()).Hold(path, f, nil)
	if err != nil {
		return nil, nil, fmt.Errorf("%s %w", what, err)
	}
	r, err := samples.NewReader(held, held.Size(), path)
	if err != nil {
		f.Close()
		return nil, nil, fmt.Errorf("%s %w", what, err)
	}
	return r, func() { r.Close(); f.Close() }, nil
}

// recordingOf finds the recording of a parsed file and reads it once, for its peak and its waveform. What was found is remembered.
func (s *server) recordingOf(ctx context.Context, f *board.File, text []byte) (*recording, error) {
	want := f.Recording
	at := func(path string, err error) error {
		return file.Faults{file.At(s.name, text, path, err.Error())}
	}
	r := &recording{load: want.Load}
	r.key = fmt.Sprintf("%q %q %v %v %v", want.File, want.Sample, want.Peak, want.FullScale, want.Side)
	var shipped samples.Recording
	if want.Sample != "" {
		var err error
		if shipped, err = samples.Find(want.Sample); err != nil {
			return nil, at("$.recording.sample", err)
		}
		r.name, r.open = shipped.Name, func() (*samples.Reader, func(), error) {
			reader, err := shipped.Open()
			return reader, func() { reader.Close() }, err
		}
	} else {
		r.name = strings.TrimSuffix(filepath.Base(filepath.FromSlash(want.File)), filepath.Ext(want.File))
		r.open = func() (*samples.Reader, func(), error) { return s.openFile("recording", want.File) }
		if info, err := s.root.Stat(filepath.FromSlash(want.File)); err == nil {
			r.key += fmt.Sprint(info.Size(), info.ModTime().UnixNano())
		}
	}
	side := samples.Side(want.Side)
	open := r.open
	r.open = func() (*samples.Reader, func(), error) {
		reader, done, err := open()
		if err == nil {
			reader.SetSide(side)
		}
		return reader, done, err
	}
	s.mu.Lock()
	known := s.recordings[r.key]
	s.mu.Unlock()
	if known != nil {
		return known, nil
	}

	reader, done, err := r.open()
	if err != nil {
		if want.File != "" {
			return nil, at("$.recording.file", err)
		}
		return nil, err
	}
	if err := reader.RecordingRate(); err != nil {
		done()
		return nil, at("$.recording.file", err)
	}
	r.rate, r.frames = dsp.Hertz(reader.Rate), reader.Frames()
	peak, err := r.look(ctx, reader)
	if err != nil {
		done()
		return nil, err
	}
	// From here on every sound is of what was read now: the file stays open until the recording is forgotten.
	r.open = func() (*samples.Reader, func(), error) { return reader.Another(), func() {}, nil }
	switch {
	case want.FullScale != 0:
		r.volts = float64(want.FullScale)
	case want.Peak != 0 && peak == 0:
		return nil, at("$.recording", fmt.Errorf("%s is silent, so no level can give it a peak", r.name))
	case want.Peak != 0:
		r.volts = float64(want.Peak) / peak
	default:
		r.volts = float64(shipped.FullScale)
	}
	caution, err := board.PlausiblePeak(dsp.Volt(r.volts*peak), peak)
	if err != nil {
		return nil, at("$.recording.full_scale", fmt.Errorf("recording %s: %w", r.name, err))
	}
	for _, text := range []string{reader.Clipped().Text(r.name, reader.Rate), caution} {
		if text != "" {
			r.cautions = append(r.cautions, strings.TrimPrefix(text, "CAUTION: ")) // the page says so itself
		}
	}
	for k := range r.waveform {
		for j := range r.waveform[k] {
			r.waveform[k][j] = math.Round(r.waveform[k][j]*r.volts*1e5) / 1e5
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.recordings) > 8 {
		clear(s.recordings)
	}
	s.recordings[r.key] = r
	return r, nil
}

// look reads all of a recording for its peak and its waveform, in samples.
func (r *recording) look(ctx context.Context, from *samples.Reader) (peak float64, err error) {
	r.waveform = make([][2]float64, min(waveColumns, r.frames))
	block := make([]float64, 4096)
	at := int64(0)
	for {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, err := from.Read(block)
		for _, x := range block[:n] {
			w := &r.waveform[at*int64(len(r.waveform))/r.frames]
			w[0], w[1] = min(w[0], x), max(w[1], x)
			peak = max(peak, math.Abs(x))
			at++
		}
		if errors.Is(err, io.EOF) {
			return peak, nil
		}
		if err != nil {
			return 0, err
		}
	}
}

// read is a stretch of the recording in volts.
func (r *recording) read(ctx context.Context, from, to int64) ([]float64, error) {
	reader, done, err := r.open()
	if err != nil {
		return nil, err
	}
	defer done()
	block := make([]float64, 4096)
	var x []float64
	for at := int64(0); at < to; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n, err := reader.Read(block[:min(int64(len(block)), to-at)])
		for k, v := range block[:n] {
			if at+int64(k) >= from {
				x = append(x, v*r.volts)
			}
		}
		at += int64(n)
		if err != nil && (!errors.Is(err, io.EOF) || at < to) {
			return nil, fmt.Errorf("recording %s: %w", r.name, err)
		}
	}
	return x, nil
}
