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

const (
	tagInteger    = 1      // WAVE_FORMAT_PCM
	tagFloat      = 3      // WAVE_FORMAT_IEEE_FLOAT
	tagExtensible = 0xFFFE // WAVE_FORMAT_EXTENSIBLE: the real tag stands in the subformat

	maxChunks   = 4096 // more than any honest file has; bounds the walk through a hostile one
	blockFrames = 4096 // frames read at a time, at most 64 KiB

	// Writers that cannot seek back state one of these lengths: all ones, or the largest round number below
	// 2 GiB, cut to whole frames of at most 16 bytes.
	unknownLength = 0xFFFFFFFF
	pipeLength    = 0x7FFFF000 - 15
)

// subformatTail is bytes 2..15 of every subformat that stands for a plain format tag
// (KSDATAFORMAT_SUBTYPE_…: xxxx0000-0000-0010-8000-00AA00389B71).
const subformatTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// otherTags names what else is found inside WAV files, for the error text.
var otherTags = map[uint16]string{
	0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "µ-law", 0x0011: "IMA ADPCM", 0x0031: "GSM",
	0x0050: "MPEG audio", 0x0055: "MP3", 0x00FF: "AAC", 0x0161: "WMA", 0x674F: "Ogg Vorbis",
}

// otherFiles names files that are often mistaken for WAV, by their first bytes.
var otherFiles = []struct{ magic, name string }{
	{"RF64", "a 64-bit RIFF file (RF64)"}, {"BW64", "a 64-bit RIFF file (BW64)"}, {"RIFX", "a big-endian RIFF file (RIFX)"},
	{"riff", "a 64-bit wave file (W64)"}, {"FORM", "an AIFF file"}, {"fLaC", "a FLAC file"}, {"OggS", "an Ogg file"},
	{"ID3", "an MP3 file"}, {"\xff\xfb", "an MP3 file"}, {"caff", "a CAF file"}, {".snd", "an AU file"}, {"PK\x03\x04", "a ZIP archive"},
}

// Reader streams a WAV file as one channel of float64 samples. Integers are scaled so that the most
// negative one is -1; floats come as they are and may go beyond ±1. Memory is bounded whatever the
// file claims. A Reader is for one goroutine.
type Reader struct {
	Format
	// Warnings says what is wrong with the file although it could be read. Each names the file.
	Warnings []string

	src    io.ReaderAt
	closer io.Closer
	name   string
	side   Side
	start  int64 // where the samples begin in the file
	frames int64
	next   int64 // the frame that comes next
	buf    []byte

	// Where it stood at full scale.
	top     float64
	least   int64
	runs    [2]clipRun
	clipped Clipped
}

// Open opens a WAV file for reading. An error names the file and the fault.
func Open(path string) (*Reader, error) {
	info, err := os.Stat(path) // before opening: opening a named pipe would wait for ever
	if err != nil {
		return nil, plainPathError(path, err)
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, not a WAV file", path)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is not a regular file; a WAV file is read more than once, so save it to disk first", path)
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
	r.closer = f
	return r, nil
}

// plainPathError puts the path first, as all errors here have it, and drops the name of the system call.
func plainPathError(path string, err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// NewReader reads a WAV file of size bytes from src. The name stands for the file in errors and warnings.
func NewReader(src io.ReaderAt, size int64, name string) (*Reader, error) {
	r := &Reader{src: src, name: name, side: Sum}
	if err := r.readHeader(size); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	r.top, r.least = r.clipRule()
	r.buf = make([]byte, min(blockFrames, r.frames)*int64(r.frameBytes()))
	return r, nil
}

// readHeader walks the chunks up to the samples, and past them to see whether the sizes are true.
func (r *Reader) readHeader(size int64) error {
	if size == 0 {
		return errors.New("is empty")
	}
	var head [12]byte
	n, err := r.src.ReadAt(head[:min(12, size)], 0)
	if n < len(head) {
		if err != nil && err != io.EOF {
			return err
		}
		return fmt.Errorf("is not a WAV file: it holds %d bytes only", size)
	}
	if err := notWAV(head); err != nil {
		return err
	}

	haveFormat := false
	walk := chunkWalk{r: r, size: size, off: 12}
	for {
		id, length, ok, err := walk.next()
		if err != nil {
			return err
		}
		if !ok {
			if !haveFormat {
				return errors.New("ends before any fmt chunk, so the sample format is unknown")
			}
			return errors.New("has no data chunk, so it holds no samples")
		}
		switch id {
		case "fmt ":
			if haveFormat {
				return errors.New("has two fmt chunks, so the sample format is in doubt")
			}
			if err := r.readFormat(walk.body, length, size); err != nil {
				return err
			}
			haveFormat = true
		case "data":
			if !haveFormat {
				return errors.New("has its data chunk before any fmt chunk, so the sample format is unknown")
			}
			return r.locateData(walk, length, size, int64(binary.LittleEndian.Uint32(head[4:])))
		}
	}
}

// notWAV tells what the file is instead, where its first bytes give it away.
func notWAV(head [12]byte) error {
	if string(head[:4]) == "RIFF" {
		if form := string(head[8:]); form != "WAVE" {
			return fmt.Errorf("is a RIFF file of form %q, not %q", form, "WAVE")
		}
		return nil
	}
	for _, other := range otherFiles {
		if strings.HasPrefix(string(head[:]), other.magic) {
			return fmt.Errorf("is %s, not a plain WAV file; export it as WAV (RIFF, integer or float samples)", other.name)
		}
	}
	return errors.New(`is not a WAV file: it does not begin with "RIFF"`)
}

// chunkWalk goes from chunk to chunk.
type chunkWalk struct {
	r    *Reader
	size int64
	off  int64 // of the next chunk's head
	body int64 // of the current chunk's body
	seen int
}

// next moves on to the next chunk. It is not ok at the end of the file.
func (w *chunkWalk) next() (id string, length int64, ok bool, err error) {
	if w.off+8 > w.size {
		return "", 0, false, nil
	}
	if w.seen++; w.seen > maxChunks {
		return "", 0, false, fmt.Errorf("has more than %d chunks", maxChunks)
	}
	var head [8]byte
	if _, err := w.r.src.ReadAt(head[:], w.off); err != nil {
		return "", 0, false, fmt.Errorf("cannot read the chunk at byte %d: %w", w.off, err)
	}
	for _, c := range head[:4] {
		if c < ' ' || c > '~' {
			return "", 0, false, fmt.Errorf("has no chunk at byte %d, where the size of the one before says that the next begins", w.off)
		}
	}
	id, length = string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
	w.body = w.off + 8
	w.off = w.body + length
	if length%2 == 1 && w.off < w.size { // a chunk of odd size is followed by a zero byte, but some writers forget it
		var pad [1]byte
		if _, err := w.r.src.ReadAt(pad[:], w.off); err != nil {
			return "", 0, false, fmt.Errorf("cannot read the chunk at byte %d: %w", w.off, err)
		}
		if pad[0] == 0 {
			w.off++
		}
	}
	return id, length, true, nil
}

// readFormat reads and judges the fmt chunk.
func (r *Reader) readFormat(at, length, size int64) error {
	if length < 16 || length > 1024 {
		return fmt.Errorf("has a fmt chunk of %d bytes; between 16 and 1024 are legal", length)
	}
	if at+length > size {
		return fmt.Errorf("is cut off inside its fmt chunk: that claims %d bytes, the file holds %d more", length, size-at)
	}
	b := make([]byte, length)
	if _, err := r.src.ReadAt(b, at); err != nil && err != io.EOF {
		return fmt.Errorf("cannot read the fmt chunk: %w", err)
	}
	tag := binary.LittleEndian.Uint16(b)
	channels := int(binary.LittleEndian.Uint16(b[2:]))
	rate := int64(binary.LittleEndian.Uint32(b[4:]))
	align := int(binary.LittleEndian.Uint16(b[12:]))
	bits := int(binary.LittleEndian.Uint16(b[14:]))

	if tag == tagExtensible {
		if length < 40 {
			return fmt.Errorf("has an extensible fmt chunk of %d bytes; it needs 40", length)
		}
		tag = binary.LittleEndian.Uint16(b[24:])
		if string(b[26:40]) != subformatTail {
			return errors.New("has an extensible format with an unknown subformat; integer and float samples are read")
		}
	}
	switch {
	case tag == tagInteger && (bits == 8 || bits == 16 || bits == 24 || bits == 32):
	case tag == tagFloat && (bits == 32 || bits == 64):
	case tag == tagInteger:
		return fmt.Errorf("has integer samples of %d bits; 8, 16, 24 and 32 are read", bits)
	case tag == tagFloat:
		return fmt.Errorf("has float samples of %d bits; 32 and 64 are read", bits)
	default:
		what := fmt.Sprintf("format tag 0x%04X", tag)
		if name := otherTags[tag]; name != "" {
			what = fmt.Sprintf("%s (%s)", name, what)
		}
		return fmt.Errorf("is coded as %s; only uncompressed integer and float samples are read", what)
	}
	switch {
	case channels == 0:
		return errors.New("claims to have no channels")
	case channels > 2:
		return fmt.Errorf("has %d channels; mono and stereo are read", channels)
	case rate < MinRate || rate > MaxRate:
		return fmt.Errorf("has a sample rate of %d Hz; %d to %d Hz are read", rate, MinRate, MaxRate)
	case align != channels*bits/8:
		return fmt.Errorf("has a block align of %d bytes, but %d × %d bits make %d", align, channels, bits, channels*bits/8)
	}
	r.Format = Format{Rate: int(rate), Channels: channels, Bits: bits, Float: tag == tagFloat}
	return nil
}

// locateData settles how many frames there are, whatever the header claims.
func (r *Reader) locateData(walk chunkWalk, claimed, size, riff int64) error {
	r.start = walk.body
	holds := size - r.start
	length, frame := claimed, int64(r.frameBytes())
	switch {
	case holds == 0:
		return errors.New("holds no samples: it ends where its data chunk begins")
	case claimed == unknownLength || claimed >= pipeLength && claimed > holds:
		length = holds // written to a pipe: nothing is wrong, the length is what is there
		if whole := length - length%frame; whole%2 == 1 && length == whole+1 {
			length = whole // and a pad byte
		}
	case claimed > holds:
		length = holds
		r.warn("is truncated: its data chunk claims %d bytes, holds %d: read what is there", claimed, holds)
	case claimed == 0:
		// Either there are no samples, or the recorder was stopped before it wrote the length.
		if _, _, ok, err := walk.next(); ok && err == nil {
			return errors.New("holds no samples: its data chunk is empty")
		}
		length = holds
		r.warn("was not finished: its data chunk claims 0 bytes, holds %d: read what is there", holds)
	default:
		r.checkRest(walk, claimed, size, riff)
	}
	r.frames = length / frame
	if r.frames == 0 {
		return fmt.Errorf("holds no samples: %d bytes of data are less than one frame of %d", length, frame)
	}
	if cut := length % frame; cut != 0 {
		r.warn("ends inside a frame: the last %d bytes are left out", cut)
	}
	return nil
}

// checkRest warns when what follows the samples shows that the header was never finished, or that there is
// more to hear than is read.
func (r *Reader) checkRest(walk chunkWalk, claimed, size, riff int64) {
	for {
		at := walk.off
		id, length, ok, err := walk.next()
		switch {
		case (err != nil || !ok && at < size) && riff+8 < size:
			r.warn("may not have been finished: its header accounts for %d of %d bytes: read the %d bytes of samples that it claims", riff+8, size, claimed)
			return
		case err != nil:
			r.warn("has rubbish after its samples, from byte %d on: left out", at)
			return
		case !ok:
			return
		case id == "data":
			r.warn("has a second data chunk of %d bytes: left out", length)
			return
		}
	}
}

func (r *Reader) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, r.name+": "+fmt.Sprintf(format, args...))
}

// Name is the name that errors and warnings call the file by.
func (r *Reader) Name() string { return r.name }

// Frames is how many frames the file holds, by what is there rather than by what is claimed.
func (r *Reader) Frames() int64 { return r.frames }

// SetSide chooses what is made of a stereo file; the default is Sum. It means nothing for a mono file. It
// panics when there is no such side: words of a user go through ParseSide.
func (r *Reader) SetSide(s Side) {
	if s != Sum && s != Left && s != Right {
		panic(fmt.Sprintf("samples: no side %q", s))
	}
	r.side = s
}

// Note says what Read makes of the channels, for the user to be told.
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

// Read fills dst with the next frames and returns how many. At the end it returns 0 and io.EOF. A sample
// that is not a finite number is an error that names its frame; the frames before it are returned.
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
		b := r.buf[:n*r.frameBytes()]
		if got, err := r.src.ReadAt(b, r.start+r.next*int64(r.frameBytes())); got < len(b) {
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
	width := r.Bits / 8
	frame := r.frameBytes()
	for i := range dst {
		p := b[i*frame : (i+1)*frame]
		v := r.sample(p)
		if r.Channels == 2 {
			right := r.sample(p[width:])
			if math.IsNaN(v-v) || math.IsNaN(right-right) { // also when it hides in the side that is left out
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

// sample decodes one sample. Integers are divided by the size of the most negative one; 8-bit samples are
// stored with an offset of 128 (Multimedia Programming Interface and Data Specifications 1.0, 1991).
func (r *Reader) sample(p []byte) float64 {
	switch {
	case r.Bits == 8:
		return (float64(p[0]) - 128) / (1 << 7)
	case r.Bits == 16:
		return float64(int16(binary.LittleEndian.Uint16(p))) / (1 << 15)
	case r.Bits == 24:
		return float64(audio.Int24LETo32(p[:3])) / (1 << 23)
	case r.Bits == 32 && r.Float:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(p)))
	case r.Bits == 32:
		return float64(int32(binary.LittleEndian.Uint32(p))) / (1 << 31)
	default:
		return math.Float64frombits(binary.LittleEndian.Uint64(p))
	}
}

// Rewind goes back to the first frame, for a second pass.
func (r *Reader) Rewind() { r.next, r.runs, r.clipped = 0, [2]clipRun{}, Clipped{} }

// Another is a reader of the same file at its first frame, with a place, a side and an account of clipping of its own, for another goroutine or another pass. It
// shares what was opened: after Close of the first no other reads any more, and Close of another does nothing.
func (r *Reader) Another() *Reader {
	other := *r
	other.closer, other.buf = nil, make([]byte, len(r.buf))
	other.Rewind()
	return &other
}

// Close closes the file that Open has opened.
func (r *Reader) Close() error {
	if r.closer == nil {
		return nil
	}
	c := r.closer
	r.closer = nil
	return c.Close()
}
