package samples

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

// codes is a WAV file of 16-bit codes.
func codes(t *testing.T, rate uint32, channels uint16, list ...int16) *Reader {
	t.Helper()
	var body bytes.Buffer
	if err := binary.Write(&body, binary.LittleEndian, list); err != nil {
		t.Fatal(err)
	}
	return open(t, riff(chunk("fmt ", format(tagInteger, channels, rate, 16)), chunk("data", body.Bytes())))
}

func clippedOf(t *testing.T, r *Reader, side Side, call int) Clipped {
	t.Helper()
	r.SetSide(side)
	r.Rewind()
	if _, err := readAll(r, call); err != nil {
		t.Fatal(err)
	}
	return r.Clipped()
}

// Runs counted by hand, however the file is read.
func TestClipped(t *testing.T) {
	const top, bottom = 32767, -32768
	for _, c := range []struct {
		name string
		rate uint32
		list []int16
		want Clipped
	}{
		{"none", 48000, []int16{0, 100, top, top, 100, bottom, bottom, 0}, Clipped{}},
		{"three", 48000, []int16{0, 5, top, top, top, 5}, Clipped{Runs: 1, Samples: 3, First: 2, Longest: 3, At: 2}},
		{"either side of zero", 48000, []int16{top, top, bottom, bottom, top, top}, Clipped{}},
		{"both", 48000, []int16{0, bottom, bottom, bottom, 1, -32767, -32767, bottom, bottom, 9, top, top}, Clipped{Runs: 2, Samples: 7, First: 1, Longest: 4, At: 5}},
		{"flat, but lower", 48000, []int16{0, 30000, 30000, 30000, 30000, 0}, Clipped{}},
		{"192 kHz: twelve", 192000, []int16{0, top, top, top, top, top, top, top, top, top, top, top, 0}, Clipped{}},
		{"192 kHz: thirteen", 192000, []int16{top, top, top, top, top, top, top, top, top, top, top, top, top}, Clipped{Runs: 1, Samples: 13, First: 0, Longest: 13, At: 0}},
	} {
		for _, call := range []int{1, 3, 1000} {
			if got := clippedOf(t, codes(t, c.rate, 1, c.list...), Sum, call); got != c.want {
				t.Errorf("%s, %d at a time: %+v, want %+v", c.name, call, got, c.want)
			}
		}
	}
}

// A side that clips is found although the sum of both stays under full scale; a side that is left
// out is nobody's trouble.
func TestClippedSide(t *testing.T) {
	var list []int16
	for range 5 {
		list = append(list, 32767, 100) // left and right
	}
	for side, want := range map[Side]int{Sum: 1, Left: 1, Right: 0} {
		if got := clippedOf(t, codes(t, 48000, 2, list...), side, 100); got.Runs != want {
			t.Errorf("%s: %+v, want %d runs", side, got, want)
		}
	}
}

// A clean sine of the low E that was brought up to full scale has not clipped, and one that is 1 dB
// too loud for its converter has, twice a period. A float file goes beyond ±1 and loses nothing;
// one that was limited there has clipped. 8 bits are not judged.
func TestClippedSine(t *testing.T) {
	const n = 48000
	sine := func(peak float64, limit float64) []float64 {
		x := make([]float64, n)
		for k := range x {
			x[k] = math.Max(-limit, math.Min(limit, peak*math.Sin(2*math.Pi*82.41*float64(k)/48000)))
		}
		return x
	}
	file := func(x []float64, bits uint16, float bool) *Reader {
		var body bytes.Buffer
		tag := uint16(tagInteger)
		for _, v := range x {
			switch {
			case float:
				tag = tagFloat
				binary.Write(&body, binary.LittleEndian, float32(v))
			case bits == 8:
				body.WriteByte(byte(128 + math.Round(127*v)))
			default:
				binary.Write(&body, binary.LittleEndian, int16(math.Max(-32768, math.Min(32767, math.Round(32767*v)))))
			}
		}
		return open(t, riff(chunk("fmt ", format(tag, 1, 48000, bits)), chunk("data", body.Bytes())))
	}
	for _, c := range []struct {
		name string
		r    *Reader
		runs int
	}{
		{"full scale", file(sine(1, 1), 16, false), 0},
		{"1 dB over", file(sine(1.122, 1), 16, false), 164}, // 82.41 periods of two peaks
		{"float beyond full scale", file(sine(1.122, 9), 32, true), 0},
		{"float limited", file(sine(1.122, 1), 32, true), 164},
		{"8 bits", file(sine(1, 1), 8, false), 0},
	} {
		got := clippedOf(t, c.r, Sum, 512)
		if got.Runs < c.runs || got.Runs > c.runs+1 {
			t.Errorf("%s: %+v, want %d runs", c.name, got, c.runs)
		}
	}
	// Above 1/1.122, a sine is for 2·acos(1/1.122)/2π of its period: 0.149 of 12.13 ms, 1.81 ms.
	got := clippedOf(t, file(sine(1.122, 1), 16, false), Sum, 512)
	if long := float64(got.Longest) / 48; math.Abs(long-1.81) > 0.05 {
		t.Errorf("the longest run is %.3f ms, want 1.81", long)
	}
	if text := got.Text("riff.wav", 48000); !strings.Contains(text, "riff.wav stands at full scale 16") || !strings.Contains(text, "for 1.8 ms at 0.00") {
		t.Errorf("said: %s", text)
	}
	if text := (Clipped{}).Text("riff.wav", 48000); text != "" {
		t.Errorf("said of a clean one: %s", text)
	}
}
