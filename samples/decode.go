package samples

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
)

// mostDecoded is how much a coded file may become, in bytes: a day of 24 bits at 48 kHz and some. A
// megabyte of FLAC can be 18 GB of silence.
var mostDecoded int64 = 16 << 30

// decoded is where a decoder puts frames: little-endian samples in a nameless file in the system's
// folder for such, so that a coded file is decoded once, held in bounded memory and read from any
// place.
type decoded struct {
	*bufio.Writer
	bytes int64
}

// Write implements io.Writer.
func (d *decoded) Write(b []byte) (int, error) {
	if d.bytes += int64(len(b)); d.bytes > mostDecoded {
		return 0, fmt.Errorf("becomes more than %d GiB when it is decoded", mostDecoded>>30)
	}
	return d.Writer.Write(b)
}

// decode lets a decoder read the file from its byte at on, and reads what it has made of it from
// then on. The decoder sets format, coding and width before it writes, and is held to be hostile:
// what makes it panic is an error.
func (r *Reader) decode(at, size int64, with func(from *io.SectionReader, to *decoded) error) (err error) {
	temp, err := os.CreateTemp("", ".drywire-*.tmp")
	if err != nil {
		return fmt.Errorf("cannot be decoded into a file of its own: %w", err)
	}
	name := temp.Name()
	os.Remove(name) // not every system can do that to an open file
	r.closers = append(r.closers, closer(func() error { defer os.Remove(name); return temp.Close() }))
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("is damaged: its decoder gave up (%v)", fault)
		}
		if err != nil {
			r.Close()
		}
	}()
	to := &decoded{Writer: bufio.NewWriterSize(temp, 1<<16)}
	from := &watched{ReaderAt: r.src}
	err = with(io.NewSectionReader(from, at, size-at), to)
	if from.err != nil { // which decoders take for an end, or for damage
		return from.err
	}
	if err != nil {
		return err
	}
	if err := to.Flush(); err != nil {
		return err
	}
	r.src = temp
	if r.frames == 0 {
		r.frames = to.bytes/int64(r.stride()) - r.start/int64(r.stride())
	}
	if r.frames <= 0 {
		return errors.New("holds no samples")
	}
	return nil
}

// watched keeps the first error of reading.
type watched struct {
	io.ReaderAt
	err error
}

func (w *watched) ReadAt(b []byte, off int64) (int, error) {
	n, err := w.ReaderAt.ReadAt(b, off)
	if err != nil && err != io.EOF && w.err == nil {
		w.err = err
	}
	return n, err
}

type closer func() error

func (c closer) Close() error { return c() }

// lossy is the note that a lossy coder's loss remains.
func (r *Reader) lossy(kind string) {
	r.warn("is %s, a coding with loss: what its coder took for inaudible is not in it, and a fuzz may bring that out", kind)
}

// behindID3 is where a file begins behind the ID3v2 tags that are put before it (ID3v2.4, 3.1).
func (r *Reader) behindID3(size int64) (int64, error) {
	at := int64(0)
	for range 16 {
		var head [10]byte
		if n, err := r.src.ReadAt(head[:], at); n < len(head) {
			if err == io.EOF {
				return at, nil
			}
			return 0, err
		}
		if string(head[:3]) != "ID3" {
			return at, nil
		}
		at += 10
		if head[5]&0x10 != 0 { // a footer
			at += 10
		}
		for k, b := range head[6:] { // seven bits in each
			at += int64(b&0x7f) << (7 * (3 - k))
		}
	}
	return 0, errors.New("begins with more than 16 ID3 tags")
}

// readTagged reads what begins with an ID3 tag: an MP3 file, mostly.
func (r *Reader) readTagged(size int64) error {
	at, err := r.behindID3(size)
	if err != nil {
		return err
	}
	var magic [4]byte
	if _, err := r.src.ReadAt(magic[:], at); err == nil && string(magic[:]) == "fLaC" {
		return r.readFLAC(size)
	}
	return r.readMP3(size)
}
