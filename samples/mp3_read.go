package samples

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"

	mp3 "github.com/hajimehoshi/go-mp3"
)

const mp3Frame = 1152 // samples of a frame of MPEG-1 layer III

// mp3Header is what is used of the four bytes that begin a frame (ISO/IEC 11172-3, 2.4.1.3).
type mp3Header struct {
	rate, channels int
	length         int64 // of the whole frame, in bytes
}

// parseMP3Header is not ok for what is no frame of MPEG-1 layer III with a bit rate.
func parseMP3Header(b []byte) (h mp3Header, ok bool) {
	rates := [4]int{44100, 48000, 32000, 0}
	kbits := [16]int{0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 0}
	rate, kbit := rates[b[2]>>2&3], kbits[b[2]>>4]
	if b[0] != 0xff || b[1]&0xfe != 0xfa || rate == 0 || kbit == 0 || b[3]&3 == 2 {
		return h, false
	}
	h = mp3Header{rate: rate, channels: 2, length: int64(144000*kbit/rate) + int64(b[2]>>1&1)}
	if b[3]>>6 == 3 {
		h.channels = 1
	}
	return h, true
}

// readMP3 decodes an MP3 file. Its frames are counted and judged first: the decoder takes whatever
// comes, of whatever rate.
func (r *Reader) readMP3(size int64) error {
	at, err := r.behindID3(size)
	if err != nil {
		return err
	}
	in := bufio.NewReader(io.NewSectionReader(r.src, at, size-at))
	var first mp3Header
	frames, end := int64(0), at
	var trim mp3Trim
	known := false // that there is a trim
	for {
		b, err := in.Peek(4)
		if err != nil && err != io.EOF {
			return err
		}
		var h mp3Header
		ok := len(b) == 4
		if ok {
			h, ok = parseMP3Header(b)
		}
		if !ok {
			if tail := string(b); frames > 0 && len(b) > 0 && !strings.HasPrefix(tail, "TAG") && !strings.HasPrefix(tail, "APET") {
				r.warn("has rubbish from byte %d on: left out", end)
			}
			break
		}
		if frames == 0 && !known {
			first = h
		} else if h.rate != first.rate || h.channels != first.channels {
			return fmt.Errorf("changes its rate or its channels at byte %d", end)
		}
		if frames == 0 && !known { // what may be a frame without sound, with a table of contents
			whole, err := in.Peek(int(h.length))
			if err != nil && err != io.EOF {
				return err
			}
			if trim, known = parseMP3Trim(whole, h); known {
				at += h.length
			}
		}
		if n, err := in.Discard(int(h.length)); err == io.EOF {
			r.warn("is truncated: its last frame claims %d bytes, holds %d: left out", h.length, n)
			break
		} else if err != nil {
			return err
		}
		if end += h.length; end > at {
			frames++
		}
	}
	if frames == 0 {
		return errors.New("holds no frame of MPEG-1 layer III, so it is no MP3 file that is read")
	}
	if err := audible(int64(first.channels), int64(first.rate)); err != nil {
		return err
	}
	r.lossy("MP3")
	r.Format = Format{Rate: first.rate, Channels: first.channels, Bits: 16}
	r.coding, r.width = int16LE, 2
	if err := r.decode(at, end, r.decodeMP3); err != nil {
		return err
	}
	if known {
		whole := max(trim.frames, frames) * mp3Frame // of which the end may be missing
		lead := min(trim.lead, r.frames)
		r.start = lead * int64(r.stride())
		r.frames = max(0, min(r.frames, whole-trim.cut)-lead)
		if r.frames == 0 {
			return errors.New("holds no samples but those that its coder put around them")
		}
	}
	return nil
}

// decodeMP3 writes what go-mp3 gives, which is 16 bits in stereo always.
func (r *Reader) decodeMP3(from *io.SectionReader, to *decoded) error {
	// Without Seek, or the decoder keeps the place of every frame.
	d, err := mp3.NewDecoder(bufio.NewReader(struct{ io.Reader }{from}))
	if err != nil {
		return fmt.Errorf("is damaged: %w", err)
	}
	b := make([]byte, 4*mp3Frame)
	for {
		n, err := io.ReadFull(d, b)
		out := b[:n]
		if r.Channels == 1 {
			for k := 0; k < n; k += 4 {
				copy(out[k/2:], b[k:k+2])
			}
			out = out[:n/2]
		}
		if _, err := to.Write(out); err != nil {
			return err
		}
		r.frames += int64(n / 4)
		switch {
		case err == io.EOF || err == io.ErrUnexpectedEOF:
			return nil
		case err != nil:
			return fmt.Errorf("is damaged at frame %d: %w", r.frames, err)
		}
	}
}

// mp3Trim is what a coder says of its own file.
type mp3Trim struct {
	frames int64 // there should be; 0 where it does not say
	// samples to leave out: of all delays at the beginning, and what fills up the last frame
	lead, cut int64
}

// parseMP3Trim reads the frame that some coders put first, which holds no sound. Common practice,
// no standard: a tag "Xing" or "Info" behind the side information, its fields, and 21 bytes behind
// the coder's name three bytes with two numbers of twelve bits, the coder's delay and the filling.
func parseMP3Trim(frame []byte, h mp3Header) (trim mp3Trim, ok bool) {
	at := 4 + 32
	if h.channels == 1 {
		at = 4 + 17
	}
	if len(frame) < at+12 {
		return trim, false
	}
	if tag := string(frame[at : at+4]); tag != "Xing" && tag != "Info" {
		return trim, false
	}
	flags := binary.BigEndian.Uint32(frame[at+4:])
	at += 8
	if flags&1 == 1 {
		trim.frames = int64(binary.BigEndian.Uint32(frame[at:]))
	}
	for bit, n := range []int{4, 4, 100, 4} {
		if flags>>bit&1 == 1 {
			at += n
		}
	}
	if len(frame) < at+24 || string(frame[at:at+4]) != "LAME" && string(frame[at:at+3]) != "Lav" {
		return trim, true
	}
	delays := int64(frame[at+21])<<16 | int64(frame[at+22])<<8 | int64(frame[at+23])
	const decoder = 529 // samples that any decoder of layer III is late
	trim.lead, trim.cut = delays>>12+decoder, max(0, delays&0xfff-decoder)
	return trim, true
}
