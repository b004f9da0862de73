package samples

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

const (
	headerBytes = 44         // RIFF head, fmt chunk of 16 bytes, head of the data chunk
	maxFile     = 0xFFFFFFFF // a RIFF size has 32 bits; the largest file that it can describe, rounded down to 4 GiB - 1
	writeFrames = 4800       // frames handed to the encoder at a time
)

// Writer writes a WAV file. The samples go to a temporary file in the same folder (".drywire-*.tmp"),
// which takes the file's name only when Close has succeeded: a run that is cut short leaves no half file.
//
// Integer samples are dithered and rounded; what lies beyond the range is limited to it and counted, never
// wrapped. Floats are written as they are, so that a file can hold volts.
type Writer struct {
	// Dither adds triangular noise of ±1 step before integers are rounded, so that the rounding is
	// noise and not distortion. It is on at first. Change it before the first Write.
	Dither bool
	// Seed chooses the dither's noise. Change it before the first Write.
	Seed uint64

	format  Format
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

// File is what a Writer needs of a file.
type File interface {
	io.WriteSeeker
	Sync() error
	Close() error
}

// sink keeps the first error of a file, because the encoder passes only some of them on whole.
type sink struct {
	File
	err error
}

func (s *sink) Write(b []byte) (int, error) {
	n, err := s.File.Write(b)
	if s.err == nil {
		s.err = err
	}
	return n, err
}

// Create begins a WAV file at path: 16- or 24-bit integer or 32-bit float, mono or stereo. Nothing
// appears at path before Close. An error names the file.
func Create(path string, f Format) (*Writer, error) { return CreateFor(path, f, 0) }

// CreateFor is Create where the number of frames is known: a file that would not fit into the 4 GiB of a
// WAV file is refused before it is begun.
func CreateFor(path string, f Format, frames int64) (*Writer, error) {
	if err := f.writable(path, frames); err != nil {
		return nil, err
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
	w := newWriter(path, f, temp)
	w.remove = func() { os.Remove(name) }
	return w, nil
}

// NewWriter begins a WAV file of so many frames, 0 where that is not known, in an empty file, which
// Close syncs and closes, as Abort does. The name stands for it in errors.
func NewWriter(to File, name string, f Format, frames int64) (*Writer, error) {
	if err := f.writable(name, frames); err != nil {
		return nil, err
	}
	return newWriter(name, f, to), nil
}

// newWriter writes f to temp. The encoder sets aside a minute's worth of bytes for the rate that it is made
// with, so it is made with rate 1 and told the true rate afterwards.
func newWriter(path string, f Format, to File) *Writer {
	temp := &sink{File: to}
	tag := tagInteger
	if f.Float {
		tag = tagFloat
	}
	enc := wav.NewEncoder(temp, 1, f.Bits, f.Channels, tag)
	enc.SampleRate = f.Rate
	return &Writer{
		Dither: !f.Float, Seed: 1,
		format: f, path: path, temp: temp, enc: enc, remove: func() {},
		ints: make([]int, 0, writeFrames*f.Channels),
	}
}

// writable says what is wrong with a file to write.
func (f Format) writable(path string, frames int64) error {
	if err := f.known(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if frames > f.maxFrames() {
		return fmt.Errorf("%s: %d frames (%s) do not fit into a WAV file, which ends at 4 GiB: at most %d do",
			path, frames, f, f.maxFrames())
	}
	return nil
}

// known says what is wrong with a format to write.
func (f Format) known() error {
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

// maxFrames is how many frames fit into a WAV file with its header and a pad byte.
func (f Format) maxFrames() int64 { return (maxFile - headerBytes - 1) / int64(f.frameBytes()) }

// Write appends frames: one slice per channel, all of one length. After an error the file cannot be
// finished, and the temporary file is gone.
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
	if w.frames+int64(n) > w.format.maxFrames() {
		return w.fail(fmt.Errorf("a WAV file ends at 4 GiB, which is %d frames (%s)", w.format.maxFrames(), w.format))
	}
	if w.noise == nil {
		w.noise = rand.New(rand.NewPCG(w.Seed, 0x64697468)) // the second word only sets dither apart from other uses of a seed
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
		v += w.noise.Float64() - w.noise.Float64() // triangular, ±1 step: the sum of two uniform ones
	}
	v = math.RoundToEven(v)
	if v > top-1 || v < -top {
		w.clipped++
		v = max(-top, min(v, top-1))
	}
	return int(v), nil
}

// Clipped is how many samples lay beyond the range of the integers and were limited to it. The range is
// -1 to one step below +1.
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
	if w.frames*int64(w.format.frameBytes())%2 == 1 { // a chunk of odd size is followed by a zero byte
		if _, err := w.temp.Write([]byte{0}); err != nil {
			return w.fail(err)
		}
		w.enc.WrittenBytes++ // so that the RIFF size counts it; the data chunk's size does not
	}
	if err := w.enc.Close(); err != nil {
		return w.fail(err)
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

// syncFolder makes a rename last through a power cut where the system can do that. The file is complete
// either way, so an error means nothing to the caller.
func syncFolder(path string) {
	if d, err := os.Open(path); err == nil {
		d.Sync()
		d.Close()
	}
}

// Abort gives the file up and removes what was written. After Close it does nothing, so it can be deferred.
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
