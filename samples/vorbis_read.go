package samples

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	mathbits "math/bits"
	"strings"

	"github.com/jfreymuth/vorbis"
)

// readVorbis decodes an Ogg file with one stream of Vorbis in it (Vorbis I specification; RFC
// 3533).
func (r *Reader) readVorbis(size int64) error {
	if err := r.decode(0, size, r.decodeVorbis); err != nil {
		return err
	}
	r.lossy("Ogg Vorbis")
	return nil
}

// decodeVorbis walks the pages and judges the headers itself, and gives the decoder nothing but
// packets: the decoder believes what headers claim, in memory and in time.
func (r *Reader) decodeVorbis(from *io.SectionReader, to *decoded) error {
	packets := oggPackets{from: bufio.NewReader(from)}
	var d vorbis.Decoder
	for k := range 3 {
		packet, _, _, err := packets.next()
		if err == io.EOF {
			return errors.New("ends inside its headers")
		}
		if err != nil {
			return fmt.Errorf("is damaged in its headers: %w", err)
		}
		if len(packet) < 7 || packet[0] != byte(2*k+1) || string(packet[1:7]) != "vorbis" {
			return otherOgg(packet)
		}
		switch k {
		case 0:
			if err := r.readVorbisFormat(packet[7:]); err != nil {
				return err
			}
		case 1: // whose counts the decoder would believe
			packet = []byte("\x03vorbis\x00\x00\x00\x00\x00\x00\x00\x00\x01")
		case 2:
			if err := judgeCodebooks(packet[7:]); err != nil {
				return err
			}
		}
		if err := d.ReadHeader(packet); err != nil {
			return fmt.Errorf("is damaged in its headers: %w", err)
		}
	}
	out := make([]float32, d.BufferSize())
	var bytes []byte
	frames := int64(0)
	begin, end := int64(math.MinInt64), int64(-1) // granules
	for {
		packet, ends, last, err := packets.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return fmt.Errorf("is damaged after %d frames: %w", frames, err)
		}
		if len(packet) > 0 { // nothing stands for a packet that was lost
			x, err := d.DecodeInto(packet, out)
			if err != nil {
				return fmt.Errorf("is damaged after %d frames: %w", frames, err)
			}
			bytes = bytes[:0]
			for _, v := range x {
				bytes = binary.LittleEndian.AppendUint32(bytes, math.Float32bits(v))
			}
			if _, err := to.Write(bytes); err != nil {
				return err
			}
			frames += int64(len(x) / r.Channels)
		}
		if ends >= 0 {
			if begin == math.MinInt64 {
				// A beginning below zero is left out (A.2); one that is short by its end is not
				// meant.
				if begin = ends - frames; last {
					begin = max(begin, 0)
				}
			}
			if last {
				end = ends
			}
		}
	}
	lead := int64(0)
	if begin != math.MinInt64 {
		lead = min(frames, max(0, -begin))
	}
	r.frames = frames - lead
	if end >= 0 {
		r.frames = min(r.frames, max(0, end-max(0, begin)))
	}
	if packets.cut {
		r.warn("is truncated: it ends without its last page: read what is there")
	}
	if packets.other {
		r.warn("has another stream after its first: left out")
	}
	r.start = lead * int64(r.stride())
	if r.frames == 0 {
		return errors.New("holds no samples")
	}
	return nil
}

// otherOgg says what else is in an Ogg file.
func otherOgg(packet []byte) error {
	for magic, name := range map[string]string{"OpusHead": "Opus", "\x7fFLAC": "FLAC", "Speex   ": "Speex", "\x80theora": "Theora", "fishead\x00": "several streams"} {
		if strings.HasPrefix(string(packet), magic) {
			return fmt.Errorf("is an Ogg file with %s in it; one stream of Vorbis is read", name)
		}
	}
	return errors.New("is an Ogg file without the headers of Vorbis; one stream of that is read")
}

// readVorbisFormat judges the identification header (4.2.2).
func (r *Reader) readVorbisFormat(b []byte) error {
	if len(b) < 23 || b[22]&1 == 0 || binary.LittleEndian.Uint32(b) != 0 {
		return errors.New("is damaged in its first header")
	}
	channels, rate := int64(b[4]), int64(binary.LittleEndian.Uint32(b[5:]))
	if err := audible(channels, rate); err != nil {
		return err
	}
	if short, long := b[21]&15, b[21]>>4; short < 6 || long > 13 || short > long {
		return fmt.Errorf("has blocks of 2^%d and 2^%d samples; 2^6 to 2^13 are legal, the shorter first", short, long)
	}
	r.Format = Format{Rate: int(rate), Channels: int(channels), Bits: 32, Float: true}
	r.coding, r.width = float32LE, 4
	return nil
}

// What codebooks may be. Those of coders have up to some ten thousand entries in all; the decoder's
// memory grows with entries and dimensions, and its time with the square of the entries of a book.
const (
	mostEntries    = 1 << 15 // of one book
	mostAllEntries = 1 << 17
	mostValues     = 1 << 21 // entries times dimensions, of all
	// Those of coders have up to some ten (from memory). For every packet, however short, the
	// decoder sets aside as many numbers as the book of classes has dimensions.
	mostDimensions = 1 << 10
)

// judgeCodebooks reads the codebooks at the beginning of the setup header (3.2.1) and refuses what
// the decoder would take for true and not survive: books that are empty, that are no whole tree, or
// that claim more than memory holds.
func judgeCodebooks(b []byte) error {
	bits := bitReader{b: b}
	damaged := errors.New("is damaged in its codebooks")
	entriesOfAll, valuesOfAll := 0, 0
	for range bits.read(8) + 1 {
		if bits.read(24) != 0x564342 {
			return damaged
		}
		dimensions, entries := int(bits.read(16)), int(bits.read(24))
		entriesOfAll += entries
		valuesOfAll += entries * dimensions
		if bits.over || dimensions == 0 || entries == 0 {
			return damaged
		}
		if entries > mostEntries || entriesOfAll > mostAllEntries || valuesOfAll > mostValues {
			return fmt.Errorf("has codebooks of more than %d entries, or of more than %d values, than are read", mostAllEntries, mostValues)
		}
		if dimensions > mostDimensions {
			return fmt.Errorf("has a codebook of %d dimensions; up to %d are read", dimensions, mostDimensions)
		}
		whole := uint64(0) // of the tree, in parts of 2^32: a word of n bits takes 2^(32-n)
		if bits.read(1) == 1 {
			length := bits.read(5) + 1
			for at := 0; at < entries; length++ {
				n := int(bits.read(bitLength(entries - at)))
				if length > 32 || at+n > entries || bits.over {
					return damaged
				}
				whole += uint64(n) << (32 - length)
				at += n
			}
		} else {
			sparse := bits.read(1) == 1
			for range entries {
				if !sparse || bits.read(1) == 1 {
					whole += 1 << (32 - (bits.read(5) + 1))
				}
			}
		}
		if whole != 1<<32 {
			return errors.New("has a codebook that is no whole tree")
		}
		switch lookup := bits.read(4); lookup {
		case 0:
		case 1, 2:
			bits.read(32)
			bits.read(32)
			width := bits.read(4) + 1
			bits.read(1)
			n := entries * dimensions
			if lookup == 1 {
				// as the decoder has it
				n = int(math.Floor(math.Pow(float64(entries), 1/float64(dimensions))))
				if power(n, dimensions) > entries || power(n+1, dimensions) <= entries {
					return errors.New("has a codebook whose lattice the decoder takes for another")
				}
			}
			for range n {
				bits.read(uint32(width))
			}
		default:
			return damaged
		}
		if bits.over {
			return damaged
		}
	}
	return judgeResidues(&bits)
}

// judgeResidues reads on, over what stands between the codebooks and the residues (4.2.4, 6.2.1,
// 7.2.2), and refuses a residue that ends before it begins (8.6.1): the decoder would take that for
// one of 2^32 values.
func judgeResidues(bits *bitReader) error {
	for range bits.read(6) + 1 {
		bits.read(16) // of a time domain transform, which there is none of
	}
	for range bits.read(6) + 1 {
		switch kind := bits.read(16); kind {
		case 0:
			bits.skip(8 + 16 + 16 + 6 + 8)
			bits.skip(8 * (int(bits.read(4)) + 1))
		case 1:
			classes, most := make([]uint32, bits.read(5)), -1
			for k := range classes {
				classes[k] = bits.read(4)
				most = max(most, int(classes[k]))
			}
			dimensions := make([]int, most+1)
			for k := range dimensions {
				dimensions[k] = int(bits.read(3)) + 1
				subclasses := bits.read(2)
				if subclasses > 0 {
					bits.skip(8)
				}
				bits.skip(8 << subclasses)
			}
			bits.skip(2)
			width := int(bits.read(4))
			for _, c := range classes {
				bits.skip(width * dimensions[c])
			}
		default:
			return errors.New("is damaged in its floors")
		}
	}
	for range bits.read(6) + 1 {
		kind, begin, end := bits.read(16), bits.read(24), bits.read(24)
		bits.skip(24) // size of a partition
		cascades := make([]uint32, bits.read(6)+1)
		bits.skip(8) // book of classes
		for k := range cascades {
			cascades[k] = bits.read(3)
			if bits.read(1) == 1 {
				cascades[k] |= bits.read(5) << 3
			}
		}
		for _, books := range cascades {
			bits.skip(8 * mathbits.OnesCount32(books))
		}
		if bits.over || kind > 2 || begin > end {
			return errors.New("is damaged in its residues")
		}
	}
	return nil
}

// power is n to the k, or more than any book has entries.
func power(n, k int) int {
	p := 1
	for ; k > 0 && p <= mostEntries && n > 1; k-- {
		p *= n
	}
	return p
}

// bitLength is how many bits a number takes.
func bitLength(n int) (bits uint32) {
	for ; n > 0; n >>= 1 {
		bits++
	}
	return bits
}

// bitReader reads numbers of up to 32 bits, the lowest first (2.1.4). Beyond the end there are
// zeros.
type bitReader struct {
	b    []byte
	at   int // in bits
	over bool
}

// skip leaves out n bits.
func (r *bitReader) skip(n int) { r.at += n }

func (r *bitReader) read(n uint32) (v uint32) {
	for k := range n {
		if r.at>>3 >= len(r.b) {
			r.over = true
			return v
		}
		v |= uint32(r.b[r.at>>3]>>(r.at&7)&1) << k
		r.at++
	}
	return v
}
