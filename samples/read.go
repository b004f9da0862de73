package samples

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/go-audio/audio"
)

const blockFrames = 4096 // frames read at a time, at most 64 KiB

// readers is every kind of file that is read, by how it begins.
var readers = []struct {
	name string
	is   func(head []byte) bool
	read func(r *Reader, size int64) error
}{
	{"WAV", begins("RIFF"), (*Reader).readWAV},
	{"RF64", begins("RF64"), (*Reader).readWAV},
	{"BW64", begins("BW64"), (*Reader).readWAV},
	{"W64", begins(w64RIFF), (*Reader).readWAV},
	{"AIFF", begins("FORM"), (*Reader).readAIFF},
	{"FLAC", begins("fLaC"), (*Reader).readFLAC},
	{"Ogg Vorbis", begins("OggS"), (*Reader).readVorbis},
	{"MP3", begins("ID3"), (*Reader).readTagged},
	{"MP3", begins("\xff\xfb"), (*Reader).readMP3},
	{"MP3", begins("\xff\xfa"), (*Reader).readMP3},
}

// readable is the formats that are read, for messages.
const readable = "WAV, RF64, BW64, W64, AIFF, FLAC, Ogg Vorbis and MP3"

func begins(magic string) func([]byte) bool {
	return func(head []byte) bool { return strings.HasPrefix(string(head), magic) }
}

// otherFiles names files that are often mistaken for those, by their first bytes.
var otherFiles = []struct{ magic, name string }{
	{"RIFX", "a big-endian RIFF file (RIFX)"}, {"\xff\xf3", "an MP3 file at half the usual rates"}, {"\xff\xf2", "an MP3 file at half the usual rates"},
	{"caff", "a CAF file"}, {".snd", "an AU file"}, {"PK\x03\x04", "a ZIP archive"},
	{"\x00\x00\x00 ftyp", "an MPEG-4 file"}, {"drywire:", "a chain file"},
}

// coding is how one sample is stored.
type coding int

const (
	unsigned8 coding = iota // with an offset of 128
	signed8
	int16LE
	int16BE
	int24LE
	int24BE
	int32LE
	int32BE
	float32LE
	float32BE
	float64LE
	float64BE
)

// Reader streams a sound file as one channel of float64 samples. Integers are scaled so that the
// most negative one is -1; floats come as they are and may go beyond ±1. Memory is bounded whatever
// the file claims. A Reader is for one goroutine; Another is for another.
type Reader struct {
	Format
	// Warnings says what is wrong with the file although it could be read. Each names the file.
	Warnings []string

	coding  coding
	width   int // bytes that a sample takes
	src     io.ReaderAt
	closers []io.Closer
	name    string
	side    Side
	start   int64 // where the samples begin in the file
	frames  int64
	next    int64 // the frame that comes next
	buf     []byte

	// Where it stood at full scale.
	top     float64
	least   int64
	runs    [2]clipRun
	clipped Clipped
}

// Open opens a sound file for reading. An error names the file and the fault.
func Open(path string) (*Reader, error) {
	info, err := os.Stat(path) // before opening: opening a named pipe would wait for ever
	if err != nil {
		return nil, plainPathError(path, err)
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, not a file", path)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is not a regular file; a recording is read more than once, so save it to disk first", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, plainPathError(path, err)
	}
	r, err := NewReader(f, info.Size(), path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.closers = append(r.closers, f)
	return r, nil
}

// readHeader finds out what kind of file it is and where its samples are.
func (r *Reader) readHeader(size int64) error {
	if size == 0 {
		return errors.New("is empty")
	}
	head := make([]byte, min(16, size))
	if n, err := r.src.ReadAt(head, 0); n < len(head) {
		if err != nil && err != io.EOF {
			return err
		}
		return errors.New("became shorter while it was read")
	}
	for _, c := range readers {
		if c.is(head) {
			return c.read(r, size)
		}
	}
	return Known(head)
}

// Known is nil where the first 16 bytes of a file, or fewer where it has no more, are of a kind
// that is read; else the error says what it is instead, and what is read.
func Known(head []byte) error {
	for _, c := range readers {
		if c.is(head) {
			return nil
		}
	}
	for _, other := range otherFiles {
		if begins(other.magic)(head) {
			return fmt.Errorf("is %s; what is read is %s", other.name, readable)
		}
	}
	return fmt.Errorf("is no sound file of a kind that is read, which is %s", readable)
}

// audible is an error unless channels and rate are some that are read.
func audible(channels, rate int64) error {
	switch {
	case channels == 0:
		return errors.New("claims to have no channels")
	case channels > 2:
		return fmt.Errorf("has %d channels; mono and stereo are read", channels)
	case rate < MinReadRate || rate > MaxReadRate:
		return fmt.Errorf("has a sample rate of %d Hz; %d to %d Hz are read", rate, MinReadRate, MaxReadRate)
	}
	return nil
}

// RecordingRate is an error, which names the file, where the rate is none that a recording may
// have. Rates of recordings are kept, never converted, so they are those that are rendered and
// written at; an impulse response, which is resampled, may have any that is read.
func (r *Reader) RecordingRate() error {
	if r.Rate < MinRate || r.Rate > MaxRate {
		return fmt.Errorf("%s: has a sample rate of %d Hz; a recording has one of %d to %d Hz", r.name, r.Rate, MinRate, MaxRate)
	}
	return nil
}

// plainPathError puts the path first, as all errors here have it, and drops the name of the system
// call.
func plainPathError(path string, err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// NewReader reads a sound file of size bytes from src, of a kind that its first bytes tell. The
// name stands for the file in errors and warnings. The error begins with the name and says what of
// the header is not read, or is that of src. It panics where readHeader has let through what is not
// read, which is a mistake in this package.
func NewReader(src io.ReaderAt, size int64, name string) (*Reader, error) {
	r := &Reader{src: src, name: name, side: Sum}
	if err := r.readHeader(size); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if r.Channels != 1 && r.Channels != 2 || r.Rate < MinReadRate || r.Rate > MaxReadRate {
		panic(fmt.Sprintf("samples: a header was let through with %v", r.Format))
	}
	r.top, r.least = r.clipRule()
	r.buf = make([]byte, min(blockFrames, r.frames)*int64(r.stride()))
	return r, nil
}

func (r *Reader) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, r.name+": "+fmt.Sprintf(format, args...))
}

// Name is the name that errors and warnings call the file by.
func (r *Reader) Name() string { return r.name }

// Frames is how many frames the file holds, by what is there rather than by what is claimed.
func (r *Reader) Frames() int64 { return r.frames }

// SetSide chooses what is made of a stereo file; the default is Sum. It means nothing for a mono
// file. It panics when there is no such side: words of a user go through ParseSide.
func (r *Reader) SetSide(s Side) {
	if s != Sum && s != Left && s != Right {
		panic(fmt.Sprintf("samples: no side %q", s))
	}
	r.side = s
}

// Note says how Read turns the channels into one, for messages.
func (r *Reader) Note() string {
	switch {
	case r.Channels == 1:
		return "mono"
	case r.side == Left:
		return "stereo: the left side is used, the right one is left out"
	case r.side == Right:
		return "stereo: the right side is used, the left one is left out"
	}
	return "stereo: left and right are summed to mono, (L+R)/2"
}

// Read fills dst with the next frames and returns how many. At the end it returns 0 and io.EOF. A
// sample that is not a finite number is an error that names its frame; the frames before it are
// returned.
func (r *Reader) Read(dst []float64) (int, error) {
	if len(dst) == 0 {
		return 0, nil
	}
	if r.next >= r.frames {
		return 0, io.EOF
	}
	done := 0
	for done < len(dst) && r.next < r.frames {
		n := int(min(int64(len(dst)-done), r.frames-r.next, blockFrames))
		b := r.buf[:n*r.stride()]
		if got, err := r.src.ReadAt(b, r.start+r.next*int64(r.stride())); got < len(b) {
			if err == nil || err == io.EOF {
				err = errors.New("became shorter while it was read")
			}
			return done, fmt.Errorf("%s: frame %d: %w", r.name, r.next, err)
		}
		good := r.convert(dst[done:done+n], b)
		done += good
		r.next += int64(good)
		if good < n {
			return done, fmt.Errorf("%s: frame %d (%.3f s) is not a finite number (NaN or infinite)",
				r.name, r.next, float64(r.next)/float64(r.Rate))
		}
	}
	return done, nil
}

// convert decodes the frames in b and returns how many came before the first that is not finite.
func (r *Reader) convert(dst []float64, b []byte) int {
	width := r.width
	frame := r.stride()
	for i := range dst {
		p := b[i*frame : (i+1)*frame]
		v := r.sample(p)
		if r.Channels == 2 {
			right := r.sample(p[width:])
			// also when it hides in the side that is left out
			if math.IsNaN(v-v) || math.IsNaN(right-right) {
				return i
			}
			if r.side != Left && (math.Abs(right) >= r.top || r.runs[1].length > 0) {
				r.clip(1, right, r.next+int64(i))
			}
			if r.side != Right && (math.Abs(v) >= r.top || r.runs[0].length > 0) {
				r.clip(0, v, r.next+int64(i))
			}
			switch r.side {
			case Right:
				v = right
			case Sum:
				v = v/2 + right/2 // halves first: two large doubles would overflow
			}
		} else if math.IsNaN(v - v) { // Inf-Inf is NaN too
			return i
		} else if math.Abs(v) >= r.top || r.runs[0].length > 0 {
			r.clip(0, v, r.next+int64(i))
		}
		dst[i] = v
	}
	return len(dst)
}

// stride is the size of one stored frame, in bytes.
func (r *Reader) stride() int { return r.Channels * r.width }

// sample decodes one sample. Integers are divided by the size of the most negative one.
func (r *Reader) sample(p []byte) float64 {
	switch r.coding {
	case unsigned8:
		return (float64(p[0]) - 128) / (1 << 7)
	case signed8:
		return float64(int8(p[0])) / (1 << 7)
	case int16LE:
		return float64(int16(binary.LittleEndian.Uint16(p))) / (1 << 15)
	case int16BE:
		return float64(int16(binary.BigEndian.Uint16(p))) / (1 << 15)
	case int24LE:
		return float64(audio.Int24LETo32(p[:3])) / (1 << 23)
	case int24BE:
		return float64(audio.Int24BETo32(p[:3])) / (1 << 23)
	case int32LE:
		return float64(int32(binary.LittleEndian.Uint32(p))) / (1 << 31)
	case int32BE:
		return float64(int32(binary.BigEndian.Uint32(p))) / (1 << 31)
	case float32LE:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(p)))
	case float32BE:
		return float64(math.Float32frombits(binary.BigEndian.Uint32(p)))
	case float64LE:
		return math.Float64frombits(binary.LittleEndian.Uint64(p))
	default:
		return math.Float64frombits(binary.BigEndian.Uint64(p))
	}
}

// Rewind goes back to the first frame, for a second pass.
func (r *Reader) Rewind() { r.next, r.runs, r.clipped = 0, [2]clipRun{}, Clipped{} }

// Another is a reader of the same file at its first frame, with a place, a side and an account of
// clipping of its own, for another goroutine or another pass. It shares what was opened: after
// Close of the first no other reads any more, and Close of another does nothing.
func (r *Reader) Another() *Reader {
	other := *r
	other.closers, other.buf = nil, make([]byte, len(r.buf))
	other.Rewind()
	return &other
}

// Close closes what Open has opened, and what a coded file was decoded into. Errors are those of
// the files' own Close, joined.
func (r *Reader) Close() error {
	var err error
	for _, c := range r.closers {
		err = errors.Join(err, c.Close())
	}
	r.closers = nil
	return err
}
