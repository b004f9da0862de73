package samples

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
)

// aiffCodings is what AIFF-C says of its samples and how that is read here (Apple, Audio
// Interchange File Format AIFF-C, 1991 draft, and what is common practice since: sowt, in24, in32
// and fl64 are in no edition). Where a width is 0, it is as many bytes as the bits of a sample
// need.
var aiffCodings = map[string]struct {
	width int
	of    map[int]coding // by width
}{
	"NONE": {0, aiffBig}, "twos": {0, aiffBig}, "in24": {3, aiffBig}, "in32": {4, aiffBig},
	"sowt": {0, map[int]coding{1: signed8, 2: int16LE, 3: int24LE, 4: int32LE}},
	"42ni": {3, map[int]coding{3: int24LE}}, "23ni": {4, map[int]coding{4: int32LE}},
	"raw ": {1, map[int]coding{1: unsigned8}},
	"fl32": {4, map[int]coding{4: float32BE}}, "FL32": {4, map[int]coding{4: float32BE}},
	"fl64": {8, map[int]coding{8: float64BE}}, "FL64": {8, map[int]coding{8: float64BE}},
}

// aiffPipe is what a writer into a pipe, SoX, says of the bytes of sound, cut to whole frames.
const aiffPipe = 0x7F000000

var aiffBig = map[int]coding{1: signed8, 2: int16BE, 3: int24BE, 4: int32BE}

// readAIFF finds the format and the samples of an AIFF or AIFF-C file. The two may come in either
// order.
//
// The file is walked and judged here and the samples are decoded by Reader, as with WAV: the aiff
// package beside the one that writes WAV reads no floats, takes 8 bits for unsigned, and sets aside
// as much memory as a file claims.
func (r *Reader) readAIFF(size int64) error {
	head := make([]byte, 12)
	if _, err := r.src.ReadAt(head, 0); err != nil {
		return fmt.Errorf("is not an AIFF file: it holds %d bytes only", size)
	}
	form := string(head[8:])
	if form != "AIFF" && form != "AIFC" {
		return fmt.Errorf("is an IFF file of form %q; AIFF and AIFC are read", form)
	}
	walk := chunks{src: r.src, size: size, off: 12, order: binary.BigEndian}
	var claimed, sound int64 // frames by COMM, bytes by SSND
	for r.Rate == 0 || r.start == 0 {
		id, length, ok, err := walk.next()
		switch {
		case err != nil:
			return err
		case !ok && r.Rate == 0:
			return errors.New("ends before any COMM chunk, so the sample format is unknown")
		case !ok:
			return errors.New("has no SSND chunk, so it holds no samples")
		}
		switch id {
		case "COMM":
			if r.Rate != 0 {
				return errors.New("has two COMM chunks, so the sample format is in doubt")
			}
			b, err := walk.read("COMM", length, 18, 1024)
			if err != nil {
				return err
			}
			if claimed, err = r.readCOMM(b, form == "AIFC"); err != nil {
				return err
			}
		case "SSND":
			if r.start != 0 {
				return errors.New("has two SSND chunks before its COMM chunk, so its samples are in doubt")
			}
			if length < 8 || walk.body+8 > size {
				return errors.New("holds no samples: its SSND chunk is empty")
			}
			var b [8]byte
			if _, err := r.src.ReadAt(b[:], walk.body); err != nil {
				return fmt.Errorf("cannot read the SSND chunk: %w", err)
			}
			skip := 8 + int64(binary.BigEndian.Uint32(b[:]))
			r.start, sound = walk.body+skip, length-skip
			if sound <= 0 || r.start >= size {
				return errors.New("holds no samples: its SSND chunk is empty")
			}
		}
	}
	stride := int64(r.stride())
	r.frames = min(claimed, sound/stride, (size-r.start)/stride)
	switch {
	case claimed == aiffPipe/stride && r.frames < claimed: // written to a pipe: nothing is wrong
	case claimed == 0:
		r.frames = min(sound, size-r.start) / stride
		r.warn("was not finished: its header claims 0 frames, holds %d: read what is there", r.frames)
	case r.frames < claimed:
		r.warn("is truncated: its header claims %d frames, holds %d: read what is there", claimed, r.frames)
	}
	if r.frames == 0 {
		return errors.New("holds no samples: less than one frame of them")
	}
	return nil
}

// readCOMM judges the COMM chunk and returns how many frames it claims.
func (r *Reader) readCOMM(b []byte, coded bool) (frames int64, err error) {
	channels := int64(binary.BigEndian.Uint16(b))
	frames = int64(binary.BigEndian.Uint32(b[2:]))
	bits := int(binary.BigEndian.Uint16(b[6:]))
	// The rate is a float of 80 bits: a sign, 15 bits of exponent, and a mantissa whose first bit
	// is the unit.
	exponent := int(binary.BigEndian.Uint16(b[8:]))
	rate := math.Ldexp(float64(binary.BigEndian.Uint64(b[10:])), exponent-16383-63)
	if exponent > 16383+31 || rate != math.Trunc(rate) {
		return 0, fmt.Errorf("has a sample rate of %.6g Hz; whole numbers from %d to %d Hz are read", rate, MinReadRate, MaxReadRate)
	}
	if err := audible(channels, int64(rate)); err != nil {
		return 0, err
	}
	kind := "NONE"
	if coded {
		if len(b) < 22 {
			return 0, errors.New("is an AIFF-C file that does not say how its samples are coded")
		}
		kind = string(b[18:22])
	}
	c, known := aiffCodings[kind]
	if !known {
		return 0, fmt.Errorf("is coded as %q; only uncompressed integer and float samples are read", kind)
	}
	float := strings.EqualFold(kind[:2], "fl")
	width := c.width
	if width == 0 {
		width = (bits + 7) / 8
	}
	if float {
		bits = 8 * width // which some writers leave at 16
	}
	how, known := c.of[width]
	if !known || bits < 1 || bits > 8*width {
		return 0, fmt.Errorf("has samples of %d bits coded as %q; 1 to 32 bits are read, and 32 and 64 of floats", bits, kind)
	}
	r.Format = Format{Rate: int(rate), Channels: int(channels), Bits: bits, Float: float}
	r.coding, r.width = how, width
	return frames, nil
}
