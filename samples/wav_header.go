package samples

import (
	"encoding/binary"
	"math"
)

// container is a kind of WAV file that is written.
type container int

const (
	wavFile  container = iota // RIFF: the lengths have 32 bits
	rf64File                  // EBU Tech 3306: a ds64 chunk states lengths of 64 bits
	bw64File                  // ITU-R BS.2088: the same under another name
	// chunks named by GUIDs, lengths of 64 bits, everything filled up to eight bytes
	w64File
)

// maxFile is the largest file that a RIFF size of 32 bits can describe, rounded down to 4 GiB - 1.
const maxFile = 0xFFFFFFFF

// maxFrames is how many frames fit into a file with its header and its pad bytes.
func (f Format) maxFrames(k container) int64 {
	most := int64(math.MaxInt64 / 2)
	if k == wavFile {
		most = maxFile
	}
	return (most - headerBytes - 1) / int64(f.frameBytes())
}

// pad is how many bytes follow the samples so that the chunk is filled up.
func (k container) pad(f Format, frames int64) int64 {
	data := frames * int64(f.frameBytes())
	if k == w64File {
		return (8 - data%8) % 8 // the header is a multiple of eight
	}
	return data % 2
}

// header is all that comes before the samples, of which there are so many frames.
func (k container) header(f Format, frames int64) []byte {
	le := binary.LittleEndian
	data := uint64(frames) * uint64(f.frameBytes())
	total := data + uint64(k.pad(f, frames)) // and the header
	tag := uint16(tagInteger)
	if f.Float {
		tag = tagFloat
	}
	format := make([]byte, 0, 16)
	format = le.AppendUint16(format, tag)
	format = le.AppendUint16(format, uint16(f.Channels))
	format = le.AppendUint32(format, uint32(f.Rate))
	format = le.AppendUint32(format, uint32(f.Rate*f.frameBytes()))
	format = le.AppendUint16(format, uint16(f.frameBytes()))
	format = le.AppendUint16(format, uint16(f.Bits))

	var b []byte
	head := func(id string, length uint64) {
		b = append(b, id...)
		if k == w64File {
			if id != w64RIFF {
				b = append(b, w64Tail...)
			}
			b = le.AppendUint64(b, 24+length)
			return
		}
		b = le.AppendUint32(b, uint32(length))
	}
	switch k {
	case w64File:
		head(w64RIFF, 16+24+16+24+total)
		b = append(b, "wave"+w64Tail...)
	case wavFile:
		head("RIFF", headerBytes-8+total)
		b = append(b, "WAVE"...)
	default:
		name, count := "RF64", uint64(frames)
		if k == bw64File {
			name, count = "BW64", 0 // a dummy there
		}
		head(name, math.MaxUint32)
		b = append(b, "WAVE"...)
		head("ds64", 28)
		b = le.AppendUint64(b, headerBytes-8+36+total)
		b = le.AppendUint64(b, data)
		b = le.AppendUint64(b, count)
		b = le.AppendUint32(b, 0) // no table of other chunks
		data = math.MaxUint32
	}
	head("fmt ", 16)
	b = append(b, format...)
	head("data", data)
	return b
}
