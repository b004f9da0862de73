package samples

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// W64 names its chunks by GUIDs of sixteen bytes: four letters, and one of two tails.
const (
	w64RIFF = "riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
	w64Tail = "\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"
)

// unknown is the length of a chunk whose writer could not seek back to state it.
const unknown = -1

const maxChunks = 4096 // more than any honest file has; bounds the walk through a hostile one

// chunks goes from chunk to chunk of a file of one of three layouts: RIFF (with RF64 and BW64), W64
// and IFF.
type chunks struct {
	src  io.ReaderAt
	size int64
	off  int64 // of the next chunk's head
	body int64 // of the current chunk's body
	seen int

	order binary.ByteOrder
	w64   bool
	// what a ds64 chunk states; a chunk of 0xFFFFFFFF bytes has its length here
	long map[string]int64
}

// next moves on to the next chunk. It is not ok at the end of the file. The length is what the file
// claims, or unknown.
func (w *chunks) next() (id string, length int64, ok bool, err error) {
	headBytes := int64(8)
	if w.w64 {
		headBytes = 24
	}
	if w.off+headBytes > w.size {
		return "", 0, false, nil
	}
	if w.seen++; w.seen > maxChunks {
		return "", 0, false, fmt.Errorf("has more than %d chunks", maxChunks)
	}
	var head [24]byte
	if _, err := w.src.ReadAt(head[:headBytes], w.off); err != nil {
		return "", 0, false, fmt.Errorf("cannot read the chunk at byte %d: %w", w.off, err)
	}
	for _, c := range head[:4] {
		if c < ' ' || c > '~' {
			return "", 0, false, fmt.Errorf("has no chunk at byte %d, where the size of the one before says that the next begins", w.off)
		}
	}
	id = string(head[:4])
	w.body = w.off + headBytes
	if w.w64 {
		length = w.wide(binary.LittleEndian.Uint64(head[16:]))
		if string(head[4:16]) != w64Tail {
			id = "" // a chunk of somebody's own
		}
		if length >= 0 && length < headBytes {
			return "", 0, false, fmt.Errorf("has a chunk of %d bytes at byte %d; its head alone takes %d", length, w.off, headBytes)
		}
		if length > 0 {
			length -= headBytes // which the size counts
		}
	} else if n := w.order.Uint32(head[4:]); n == math.MaxUint32 && (w.long != nil || w.order == binary.LittleEndian) {
		length = unknown
		if n, known := w.long[id]; known {
			length = n
		}
	} else {
		length = int64(n)
	}
	if length == unknown {
		w.off = w.size
		return id, length, true, nil
	}
	w.off = w.body + length
	switch {
	case w.w64:
		w.off += (8 - w.off%8) % 8
	case length%2 == 1 && w.off < w.size: // a chunk of odd size is followed by a zero byte, but some writers forget it
		var pad [1]byte
		if _, err := w.src.ReadAt(pad[:], w.off); err != nil {
			return "", 0, false, fmt.Errorf("cannot read the chunk at byte %d: %w", w.off, err)
		}
		if pad[0] == 0 {
			w.off++
		}
	}
	return id, length, true, nil
}

// wide is a length of 64 bits; all ones, or all but the sign, is what pipes leave there. Lengths
// that no file has are cut to one that can be reckoned with.
func (w *chunks) wide(n uint64) int64 {
	if n == math.MaxUint64 || n == math.MaxInt64 {
		return unknown
	}
	return int64(min(n, 1<<60))
}

// read is the body of the current chunk, which has length bytes and may have no more than most.
func (w *chunks) read(what string, length, least, most int64) ([]byte, error) {
	if length < least || length > most {
		return nil, fmt.Errorf("has a %s chunk of %d bytes; between %d and %d are legal", what, max(length, 0), least, most)
	}
	if w.body+length > w.size {
		return nil, fmt.Errorf("is cut off inside its %s chunk: that claims %d bytes, the file holds %d more", what, length, w.size-w.body)
	}
	b := make([]byte, length)
	if _, err := w.src.ReadAt(b, w.body); err != nil && err != io.EOF {
		return nil, fmt.Errorf("cannot read the %s chunk: %w", what, err)
	}
	return b, nil
}

// readLong reads the ds64 chunk, which comes first in RF64 (EBU Tech 3306, 3.3) and BW64 (ITU-R
// BS.2088), and states the lengths that do not fit into 32 bits. It returns the length of the whole
// file less 8.
func (w *chunks) readLong() (riff int64, err error) {
	id, length, ok, err := w.next()
	if err != nil {
		return 0, err
	}
	if !ok || id != "ds64" {
		return 0, errors.New("has no ds64 chunk at its beginning, so its lengths are unknown")
	}
	b, err := w.read("ds64", length, 28, 28+12*maxChunks)
	if err != nil {
		return 0, err
	}
	le := binary.LittleEndian
	w.long = map[string]int64{"data": w.wide(le.Uint64(b[8:]))}
	for k := range min(int(le.Uint32(b[24:])), (len(b)-28)/12) {
		entry := b[28+12*k:]
		if id := string(entry[:4]); id != "data" {
			w.long[id] = w.wide(le.Uint64(entry[4:]))
		}
	}
	return w.wide(le.Uint64(b)), nil
}
