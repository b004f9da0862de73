package samples

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

// be puts numbers one after another, big-endian.
func be(parts ...any) []byte {
	var b bytes.Buffer
	for _, p := range parts {
		if s, ok := p.(string); ok {
			b.WriteString(s)
		} else if err := binary.Write(&b, binary.BigEndian, p); err != nil {
			panic(err)
		}
	}
	return b.Bytes()
}

func iff(form string, chunks ...[]byte) []byte {
	body := be(form, bytes.Join(chunks, nil))
	return be("FORM", uint32(len(body)), body)
}

func iffChunk(id string, body []byte) []byte {
	b := be(id, uint32(len(body)), body)
	if len(body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

// comm is a COMM chunk of 48 kHz: 48000 = 0xBB80 · 2^0, whose first bit has the weight 2^15.
func comm(channels uint16, frames uint32, bits uint16, kind string) []byte {
	b := be(channels, frames, bits, uint16(16383+15), uint64(0xBB80)<<48)
	if kind != "" {
		b = append(b, be(kind, uint8(0), uint8(0))...)
	}
	return iffChunk("COMM", b)
}

func ssnd(offset uint32, data []byte) []byte {
	return iffChunk("SSND", be(offset, uint32(0), make([]byte, offset), data))
}

// Extremes and middle of every coding, by the definition of the format: v / 2^(bits-1),
// left-justified in whole bytes.
func TestReadAIFF(t *testing.T) {
	for _, c := range []struct {
		name string
		file []byte
		want []float64
		bits int
	}{
		{"8 bits, signed", iff("AIFF", comm(1, 4, 8, ""), ssnd(0, []byte{0x80, 0xff, 0, 0x7f})), []float64{-1, -1. / 128, 0, 127. / 128}, 8},
		{"8 bits, raw", iff("AIFC", comm(1, 3, 8, "raw "), ssnd(0, []byte{0, 128, 255})), []float64{-1, 0, 127. / 128}, 8},
		{"12 bits in 16", iff("AIFF", comm(1, 2, 12, ""), ssnd(0, be(int16(-32768), int16(0x7ff0)))), []float64{-1, 2047. / 2048}, 12},
		{"16 bits behind a comment", iff("AIFF", comm(1, 2, 16, ""), ssnd(6, be(int16(-1), int16(16384)))), []float64{-1. / 32768, 0.5}, 16},
		{"20 bits in 24", iff("AIFF", comm(1, 1, 20, ""), ssnd(0, []byte{0xc0, 0, 0})), []float64{-0.5}, 20},
		{"32 bits", iff("AIFC", comm(1, 2, 32, "NONE"), ssnd(0, be(int32(math.MinInt32), int32(1)))), []float64{-1, 1. / (1 << 31)}, 32},
		{"sowt", iff("AIFC", comm(1, 1, 24, "sowt"), ssnd(0, []byte{0, 0, 0x40})), []float64{0.5}, 24},
		{"floats that say 16 bits", iff("AIFC", comm(1, 2, 16, "fl32"), ssnd(0, be(float32(1.5), float32(-2)))), []float64{1.5, -2}, 32},
		{"sound first", iff("AIFF", ssnd(0, be(int16(8192))), comm(1, 1, 16, "")), []float64{0.25}, 16},
		{"stereo", iff("AIFF", comm(2, 1, 16, ""), ssnd(0, be(int16(16384), int16(8192)))), []float64{0.375}, 16},
	} {
		r := open(t, c.file)
		got, err := readAll(r, 2)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if r.Bits != c.bits || r.Rate != 48000 || len(r.Warnings) > 0 {
			t.Errorf("%s: %v, warnings %q", c.name, r.Format, r.Warnings)
		}
		equal(t, got, c.want)
	}
}

func TestAIFFRefusedOrTold(t *testing.T) {
	sound := ssnd(0, be(int16(8192), int16(16384)))
	rate := func(exponent uint16, mantissa uint64) []byte {
		return iff("AIFF", iffChunk("COMM", be(uint16(1), uint32(2), uint16(16), exponent, mantissa)), sound)
	}
	for _, c := range []struct {
		name string
		file []byte
		told string
	}{
		{"form", iff("8SVX", sound), `of form "8SVX"`},
		{"no format", iff("AIFF", sound), "before any COMM chunk"},
		{"no sound", iff("AIFF", comm(1, 2, 16, "")), "no SSND chunk"},
		{"two formats", iff("AIFF", comm(1, 2, 16, ""), comm(1, 2, 16, ""), sound), "two COMM chunks"},
		{"format of 4 GiB", iff("AIFF", be("COMM", uint32(0xFFFFFFF0), uint16(1)), sound), "COMM chunk of 4294967280 bytes"},
		{"comment of 4 GiB", iff("AIFF", comm(1, 2, 16, ""), iffChunk("SSND", be(uint32(0xFFFFFFF0), uint32(0), int16(1)))), "SSND chunk is empty"},
		{"µ-law", iff("AIFC", comm(1, 2, 8, "ulaw"), sound), `coded as "ulaw"`},
		{"no coding", iff("AIFC", comm(1, 2, 16, ""), sound), "does not say how"},
		{"bits 0", iff("AIFF", comm(1, 2, 0, ""), sound), "samples of 0 bits"},
		{"bits 33", iff("AIFF", comm(1, 2, 33, ""), sound), "samples of 33 bits"},
		{"three channels", iff("AIFF", comm(3, 2, 16, ""), sound), "has 3 channels"},
		{"rate 8000", rate(16383+12, 8000<<51), "sample rate of 8000 Hz"},
		{"rate that is no whole number", rate(16383+15, 0xBB80<<48|1<<40), "whole numbers"},
		{"rate below zero", rate(0x8000+16383+15, 0xBB80<<48), "sample rate of"},
		{"rate endless", rate(0x7fff, 0xBB80<<48), "sample rate of"},
		{"cut off", iff("AIFF", comm(1, 9, 16, ""), sound), "is truncated: its header claims 9 frames, holds 2"},
		{"not finished", iff("AIFF", comm(1, 0, 16, ""), sound), "was not finished: its header claims 0 frames, holds 2"},
	} {
		r, err := NewReader(bytes.NewReader(c.file), int64(len(c.file)), "x.aiff")
		text := ""
		if err != nil {
			text = err.Error()
		} else {
			text = strings.Join(r.Warnings, "\n")
		}
		if !strings.HasPrefix(text, "x.aiff: ") || !strings.Contains(text, c.told) {
			t.Errorf("%s: %q, want %q", c.name, text, c.told)
		}
	}
}
