package samples

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

const (
	// RIFF head, fmt chunk of 16 bytes, head of the data chunk: what the encoder writes
	headerBytes = 44
	writeFrames = 4800 // frames handed to the encoder at a time
)

// Writer writes a WAV file, or one of its 64-bit kinds. The samples go to a temporary file in the
// same folder (".drywire-*.tmp"), which takes the file's name only when Close has succeeded: a run
// that is cut short leaves no half file.
//
// Integer samples are dithered and rounded; what lies beyond the range is limited to it and
// counted, never wrapped. Floats are written as they are, so that a file can hold volts.
type Writer struct {
	// Dither adds triangular noise of ±1 step before integers are rounded, so that the rounding is
	// noise and not distortion. It is on at first. Change it before the first Write.
	Dither bool
	// Seed chooses the dither's noise. Change it before the first Write.
	Seed uint64

	format  Format
	kind    container
	promise int64 // frames that the header of a pipe states; 0 where it is written at the end
	path    string
	temp    *sink
	remove  func() // removes the temporary file
	enc     *wav.Encoder
	noise   *rand.Rand
	ints    []int
	frames  int64
	clipped int64
	err     error // the first error; everything after it fails with it
	done    bool
}

// File is what a Writer needs of a file. Its errors become those of the Writer.
type File interface {
	io.WriteSeeker
	Sync() error
	Close() error
}

// sink keeps the first error of a file, because the encoder passes only some of them on whole. It
// may put a header of its own before the samples: then the encoder's is swallowed, with its later
// corrections.
type sink struct {
	File
	err     error
	own     bool
	swallow int  // bytes that are yet to come of the encoder's header
	sealed  bool // the encoder only corrects now
}

func (s *sink) Write(b []byte) (int, error) {
	if s.sealed {
		return len(b), nil
	}
	skip := min(s.swallow, len(b))
	s.swallow -= skip
	n := 0
	if skip < len(b) {
		var err error
		n, err = s.File.Write(b[skip:])
		if s.err == nil {
			s.err = err
		}
	}
	return skip + n, s.err
}

func (s *sink) Seek(offset int64, whence int) (int64, error) {
	if s.own {
		return 0, nil
	}
	return s.File.Seek(offset, whence)
}

// Create begins a WAV file at path: 16- or 24-bit integer or 32-bit float, mono or stereo. Nothing
// appears at path before Close. An error names the file.
func Create(path string, f Format) (*Writer, error) { return CreateFor(path, f, 0) }

// CreateFor is Create where the number of frames is known. A file of the name .w64 or .bw64 is a
// W64 or a BW64 file; any other is a WAV file, or an RF64 file where those frames do not fit into
// the 4 GiB of a WAV file. The error names the path: a format that is not written, a folder in its
// place, or the file system's.
func CreateFor(path string, f Format, frames int64) (*Writer, error) {
	if err := f.writable(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder", path)
	}
	temp, err := os.CreateTemp(filepath.Dir(path), ".drywire-*.tmp")
	if err != nil {
		return nil, plainPathError(path, err)
	}
	name := temp.Name()
	if err := temp.Chmod(0o644); err != nil {
		temp.Close()
		os.Remove(name)
		return nil, plainPathError(path, err)
	}
	w := newWriter(path, f, containerOf(path, f, frames), temp)
	w.remove = func() { os.Remove(name) }
	return w, nil
}

// containerOf is the kind of a file of that name and so many frames; see CreateFor.
func containerOf(path string, f Format, frames int64) container {
	switch ext := filepath.Ext(path); {
	case strings.EqualFold(ext, ".w64"):
		return w64File
	case strings.EqualFold(ext, ".bw64"):
		return bw64File
	case frames > f.maxFrames(wavFile):
		return rf64File
	}
	return wavFile
}

// NewWriter begins a file of that name, as CreateFor does, in an empty file, which Close syncs and
// closes, as Abort does. The name says its kind and stands for it in errors. The error is of a
// format that is not written.
func NewWriter(to File, name string, f Format, frames int64) (*Writer, error) {
	if err := f.writable(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return newWriter(name, f, containerOf(name, f, frames), to), nil
}

// newWriter writes f to temp. The encoder sets aside a minute's worth of bytes for the rate that it
// is made with, so it is made with rate 1 and told the true rate afterwards.
func newWriter(path string, f Format, kind container, to File) *Writer {
	temp := &sink{File: to, own: kind != wavFile}
	tag := tagInteger
	if f.Float {
		tag = tagFloat
	}
	enc := wav.NewEncoder(temp, 1, f.Bits, f.Channels, tag)
	enc.SampleRate = f.Rate
	w := &Writer{
		Dither: !f.Float, Seed: 1,
		format: f, kind: kind, path: path, temp: temp, enc: enc, remove: func() {},
		ints: make([]int, 0, writeFrames*f.Channels),
	}
	if temp.own {
		w.begin()
	}
	return w
}

// begin writes the header of its own kind. An error comes out at the first Write.
func (w *Writer) begin() {
	w.temp.Write(w.kind.header(w.format, w.promise))
	w.temp.own, w.temp.swallow = true, headerBytes
}

// NewPipe writes frames into what cannot seek back, as a pipe: a WAV file whose header states its
// true length beforehand, or an RF64 file where that does not fit. Exactly so many frames have to
// be written. The name stands for the pipe in errors. Nothing is taken back from a pipe: where the
// run fails, what was written stays a file that is cut off. The error is of a format that is not
// written, or of no frames.
func NewPipe(to io.Writer, name string, f Format, frames int64) (*Writer, error) {
	if err := f.writable(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if frames <= 0 {
		return nil, fmt.Errorf("%s: no samples to write", name)
	}
	w := newWriter(name, f, wavFile, pipe{to})
	if frames > f.maxFrames(wavFile) {
		w.kind = rf64File
	}
	w.promise = frames
	w.begin()
	return w, nil
}

// pipe is a file that cannot seek and has no name.
type pipe struct{ io.Writer }

func (pipe) Seek(int64, int) (int64, error) { return 0, nil }
func (pipe) Sync() error                    { return nil }
func (pipe) Close() error                   { return nil }

// writable says what is wrong with a format to write.
func (f Format) writable() error {
	switch {
	case f.Channels != 1 && f.Channels != 2:
		return fmt.Errorf("cannot write %d channels; mono and stereo are written", f.Channels)
	case f.Rate < MinRate || f.Rate > MaxRate:
		return fmt.Errorf("cannot write a sample rate of %d Hz; %d to %d Hz are written", f.Rate, MinRate, MaxRate)
	case f.Float && f.Bits != 32, !f.Float && f.Bits != 16 && f.Bits != 24:
		return fmt.Errorf("cannot write %s; 16- and 24-bit integers and 32-bit floats are written", f)
	}
	return nil
}

// Write appends frames: one slice per channel, all of one length. After an error the file cannot be
// finished, and the temporary file is gone. It is an error to write what is not finite, more frames
// than the file can hold or than it promises, and after Close or Abort; others are the file
// system's. It panics where there are not as many slices as channels, or they differ in length.
func (w *Writer) Write(channels ...[]float64) error {
	if w.err != nil {
		return w.err
	}
	if w.done {
		return fmt.Errorf("%s: written to after Close or Abort", w.path)
	}
	if len(channels) != w.format.Channels {
		panic(fmt.Sprintf("samples: %d channels written to a file of %d", len(channels), w.format.Channels))
	}
	n := len(channels[0])
	if len(channels) == 2 && len(channels[1]) != n {
		panic("samples: channels of different length written")
	}
	switch most := w.format.maxFrames(w.kind); {
	case w.promise > 0 && w.frames+int64(n) > w.promise:
		return w.fail(fmt.Errorf("more than the %d frames that its header promises", w.promise))
	case w.frames+int64(n) > most:
		return w.fail(fmt.Errorf("a WAV file ends at 4 GiB, which is %d frames (%s)", most, w.format))
	}
	if w.noise == nil {
		// the second word only sets dither apart from other uses of a seed
		w.noise = rand.New(rand.NewPCG(w.Seed, 0x64697468))
	}
	for at := 0; at < n; at += writeFrames {
		end := min(at+writeFrames, n)
		w.ints = w.ints[:0]
		for i := at; i < end; i++ {
			for _, c := range channels {
				v, err := w.encode(c[i])
				if err != nil {
					return w.fail(fmt.Errorf("frame %d: %w", w.frames+int64(i), err))
				}
				w.ints = append(w.ints, v)
			}
		}
		if err := w.put(); err != nil {
			return w.fail(err)
		}
	}
	w.frames += int64(n)
	return nil
}

// put hands the collected samples to the encoder.
func (w *Writer) put() error {
	return w.enc.Write(&audio.IntBuffer{
		Format:         &audio.Format{NumChannels: w.format.Channels, SampleRate: w.format.Rate},
		Data:           w.ints,
		SourceBitDepth: w.format.Bits,
	})
}

// encode makes the stored number of a sample.
func (w *Writer) encode(x float64) (int, error) {
	if math.IsNaN(x - x) { // Inf-Inf is NaN too
		return 0, fmt.Errorf("%v is not a finite number", x)
	}
	if w.format.Float {
		if f := float32(x); !math.IsInf(float64(f), 0) {
			return int(int32(math.Float32bits(f))), nil
		}
		return 0, fmt.Errorf("%v is too large for a 32-bit float", x)
	}
	top := math.Ldexp(1, w.format.Bits-1)
	v := x * top
	if w.Dither {
		// triangular, ±1 step: the sum of two uniform ones
		v += w.noise.Float64() - w.noise.Float64()
	}
	v = math.RoundToEven(v)
	if v > top-1 || v < -top {
		w.clipped++
		v = max(-top, min(v, top-1))
	}
	return int(v), nil
}

// Clipped is how many samples lay beyond the range of the integers and were limited to it. The
// range is -1 to one step below +1.
func (w *Writer) Clipped() int64 { return w.clipped }

// Frames is how many frames have been written.
func (w *Writer) Frames() int64 { return w.frames }

// Close finishes the file and gives it its name. A file of no frames is an error.
func (w *Writer) Close() error {
	if w.err != nil {
		return w.err
	}
	if w.done {
		return nil
	}
	if w.frames == 0 {
		return w.fail(errors.New("no samples were written"))
	}
	if w.promise > 0 && w.frames < w.promise {
		return w.fail(fmt.Errorf("%d frames were written, and its header promises %d", w.frames, w.promise))
	}
	if pad := w.kind.pad(w.format, w.frames); pad > 0 {
		if _, err := w.temp.Write(make([]byte, pad)); err != nil {
			return w.fail(err)
		}
		// so that the RIFF size counts it; the data chunk's size does not
		w.enc.WrittenBytes += int(pad)
	}
	w.temp.sealed = w.temp.own
	if err := w.enc.Close(); err != nil {
		return w.fail(err)
	}
	if w.temp.own && w.promise == 0 {
		_, err := w.temp.File.Seek(0, io.SeekStart)
		if err == nil {
			_, err = w.temp.File.Write(w.kind.header(w.format, w.frames))
		}
		if err != nil {
			return w.fail(err)
		}
	}
	if err := w.temp.Sync(); err != nil {
		return w.fail(err)
	}
	return w.publish()
}

// publish closes the temporary file and renames it.
func (w *Writer) publish() error {
	if err := w.temp.Close(); err != nil {
		w.done = true // closed is closed, even with an error
		w.remove()
		w.err = plainPathError(w.path, err)
		return w.err
	}
	w.done = true
	if f, ok := w.temp.File.(*os.File); ok {
		if err := os.Rename(f.Name(), w.path); err != nil {
			w.remove()
			w.err = fmt.Errorf("%s: cannot take its place: %w", w.path, errors.Unwrap(err))
			return w.err
		}
		syncFolder(filepath.Dir(w.path))
	}
	return nil
}

// syncFolder makes a rename last through a power cut where the system can do that. The file is
// complete either way, so an error means nothing to the caller.
func syncFolder(path string) {
	if d, err := os.Open(path); err == nil {
		d.Sync()
		d.Close()
	}
}

// Abort gives the file up and removes what was written. After Close it does nothing, so it can be
// deferred.
func (w *Writer) Abort() {
	if w.done {
		return
	}
	w.done = true
	w.temp.Close()
	w.remove()
}

// fail gives the file up and keeps the reason.
func (w *Writer) fail(err error) error {
	w.Abort()
	if w.temp.err != nil {
		err = w.temp.err
	}
	w.err = plainPathError(w.path, err)
	return w.err
}
