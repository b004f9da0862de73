package samples

import (
	"encoding/binary"
	"errors"
	"fmt"
)

const (
	tagInteger    = 1      // WAVE_FORMAT_PCM
	tagFloat      = 3      // WAVE_FORMAT_IEEE_FLOAT
	tagExtensible = 0xFFFE // WAVE_FORMAT_EXTENSIBLE: the real tag stands in the subformat

	// Writers that cannot seek back state a length of all ones, of zero, or this one cut to whole
	// frames.
	pipeLength = 0x7FFFF000
)

// subformatTail is bytes 2..15 of every subformat that stands for a plain format tag
// (KSDATAFORMAT_SUBTYPE_…: xxxx0000-0000-0010-8000-00AA00389B71).
const subformatTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// otherTags names what else is found inside WAV files, for the error text.
var otherTags = map[uint16]string{
	0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "µ-law", 0x0011: "IMA ADPCM", 0x0031: "GSM",
	0x0050: "MPEG audio", 0x0055: "MP3", 0x00FF: "AAC", 0x0161: "WMA", 0x674F: "Ogg Vorbis",
}

// readWAV walks the chunks of a WAV file or one of its 64-bit kinds up to the samples, and past
// them to see whether the sizes are true.
func (r *Reader) readWAV(size int64) error {
	head := make([]byte, min(40, size))
	if _, err := r.src.ReadAt(head, 0); err != nil {
		return err
	}
	walk := chunks{src: r.src, size: size, order: binary.LittleEndian, off: 12}
	var riff int64 // what the file's own length claims to be, less 8
	if string(head[:1]) == "r" {
		if len(head) < 40 {
			return fmt.Errorf("is not a W64 file: it holds %d bytes only", size)
		}
		if string(head[24:40]) != "wave"+w64Tail {
			return errors.New("is a W64 file that holds no sound")
		}
		walk.w64, walk.off = true, 40
		riff = walk.wide(binary.LittleEndian.Uint64(head[16:])) - 8
	} else {
		if len(head) < 12 {
			return fmt.Errorf("is not a WAV file: it holds %d bytes only", size)
		}
		if form := string(head[8:12]); form != "WAVE" {
			return fmt.Errorf("is a RIFF file of form %q, not %q", form, "WAVE")
		}
		riff = int64(binary.LittleEndian.Uint32(head[4:]))
		if head[1] != 'I' {
			var err error
			if riff, err = walk.readLong(); err != nil {
				return err
			}
		}
	}
	if riff < 0 {
		riff = size - 8
	}
	haveFormat := false
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
			b, err := walk.read("fmt", length, 16, 1024)
			if err != nil {
				return err
			}
			if err := r.readFormat(b); err != nil {
				return err
			}
			haveFormat = true
		case "data":
			if !haveFormat {
				return errors.New("has its data chunk before any fmt chunk, so the sample format is unknown")
			}
			return r.locateData(walk, length, size, riff)
		}
	}
}

// readFormat judges the fmt chunk.
func (r *Reader) readFormat(b []byte) error {
	tag := binary.LittleEndian.Uint16(b)
	channels := int64(binary.LittleEndian.Uint16(b[2:]))
	rate := int64(binary.LittleEndian.Uint32(b[4:]))
	align := int(binary.LittleEndian.Uint16(b[12:]))
	bits := int(binary.LittleEndian.Uint16(b[14:]))

	if tag == tagExtensible {
		if len(b) < 40 {
			return fmt.Errorf("has an extensible fmt chunk of %d bytes; it needs 40", len(b))
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
	if err := audible(channels, rate); err != nil {
		return err
	}
	if align != int(channels)*bits/8 {
		return fmt.Errorf("has a block align of %d bytes, but %d × %d bits make %d", align, channels, bits, int(channels)*bits/8)
	}
	r.Format = Format{Rate: int(rate), Channels: int(channels), Bits: bits, Float: tag == tagFloat}
	r.width = bits / 8
	// 8 bits have an offset (Multimedia Programming Interface and Data Specifications 1.0, 1991).
	r.coding = map[int]coding{8: unsigned8, 16: int16LE, 24: int24LE, 32: int32LE}[bits]
	if r.Float {
		r.coding = map[int]coding{32: float32LE, 64: float64LE}[bits]
	}
	return nil
}

// locateData settles how many frames there are, whatever the header claims.
func (r *Reader) locateData(walk chunks, claimed, size, riff int64) error {
	r.start = walk.body
	holds := size - r.start
	length, frame := claimed, int64(r.stride())
	switch {
	case holds == 0:
		return errors.New("holds no samples: it ends where its data chunk begins")
	case claimed == unknown || claimed == 0 && riff == 0 || claimed == pipeLength-pipeLength%frame && claimed > holds && !walk.w64:
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
	// FFmpeg counts the bytes that fill a chunk of a W64 file up to eight
	if cut := length % frame; cut != 0 && !(walk.w64 && length%8 == 0) {
		r.warn("ends inside a frame: the last %d bytes are left out", cut)
	}
	return nil
}

// checkRest warns when what follows the samples shows that the header was never finished, or that
// there is more to hear than is read.
func (r *Reader) checkRest(walk chunks, claimed, size, riff int64) {
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
