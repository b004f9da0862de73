package samples

import (
	"crypto/md5"
	"errors"
	"fmt"
	"io"

	"github.com/mewkiz/flac"
)

// readFLAC decodes a FLAC file (RFC 9639).
func (r *Reader) readFLAC(size int64) error {
	at, err := r.behindID3(size)
	if err != nil {
		return err
	}
	return r.decode(at, size, r.decodeFLAC)
}

func (r *Reader) decodeFLAC(from *io.SectionReader, to *decoded) error {
	stream, err := flac.New(from)
	if err != nil {
		return fmt.Errorf("has no FLAC header that can be read: %w", err)
	}
	info := stream.Info
	bits := int(info.BitsPerSample)
	if err := audible(int64(info.NChannels), int64(info.SampleRate)); err != nil {
		return err
	}
	if bits < 4 || bits > 24 {
		return fmt.Errorf("has samples of %d bits; 4 to 24 are read of FLAC", bits)
	}
	r.Format = Format{Rate: int(info.SampleRate), Channels: int(info.NChannels), Bits: bits}
	r.width = (bits + 7) / 8
	r.coding = []coding{signed8, int16LE, int24LE}[r.width-1]
	shift := 8*r.width - bits

	sum := md5.New()
	var b []byte
	claimed, frames := int64(info.NSamples), int64(0)
	for claimed == 0 || frames < claimed {
		frame, err := stream.Next()
		if err == io.EOF {
			break
		}
		if err == nil {
			if int(frame.BitsPerSample) != bits || frame.Channels.Count() != r.Channels || frame.SampleRate != 0 && int(frame.SampleRate) != r.Rate {
				return fmt.Errorf("changes its format at frame %d, or leaves it to its header, which is not read", frames)
			}
			err = frame.Parse()
		}
		if errors.Is(err, io.ErrUnexpectedEOF) && frames > 0 {
			break
		}
		if err != nil {
			return fmt.Errorf("is damaged at frame %d: %w", frames, err)
		}
		n := len(frame.Subframes[0].Samples)
		b = b[:0]
		for k := range n {
			for _, s := range frame.Subframes {
				v := s.Samples[k] << shift
				for low := 0; low < 8*r.width; low += 8 {
					b = append(b, byte(v>>low))
				}
			}
		}
		if shift == 0 {
			sum.Write(b)
		} else {
			frame.Hash(sum)
		}
		if _, err := to.Write(b); err != nil {
			return err
		}
		frames += int64(n)
	}
	switch {
	case frames < claimed:
		r.warn("is truncated: its header claims %d frames, holds %d: read what is there", claimed, frames)
	case info.MD5sum != [16]byte{} && info.MD5sum != [16]byte(sum.Sum(nil)):
		return errors.New("is damaged: its samples do not have the checksum that its header states")
	}
	r.frames = frames
	return nil
}
