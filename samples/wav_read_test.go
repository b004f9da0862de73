package samples

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// le puts numbers one after another, little-endian.
func le(parts ...any) []byte {
	var b bytes.Buffer
	for _, p := range parts {
		if s, ok := p.(string); ok {
			b.WriteString(s)
		} else if err := binary.Write(&b, binary.LittleEndian, p); err != nil {
			panic(err)
		}
	}
	return b.Bytes()
}

// chunk is one chunk with a true size and its pad byte.
func chunk(id string, body []byte) []byte {
	b := le(id, uint32(len(body)), body)
	if len(body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

// format is the body of a fmt chunk.
func format(tag, channels uint16, rate uint32, bits uint16) []byte {
	align := channels * bits / 8
	return le(tag, channels, rate, rate*uint32(align), align, bits)
}

// extensible is the body of an extensible fmt chunk.
func extensible(tag, channels uint16, rate uint32, bits, valid uint16) []byte {
	return le(format(tagExtensible, channels, rate, bits), uint16(22), valid, uint32(4), tag, subformatTail)
}

// riff wraps chunks into a WAV file with a true size.
func riff(chunks ...[]byte) []byte {
	body := le("WAVE", bytes.Join(chunks, nil))
	return le("RIFF", uint32(len(body)), body)
}

// patched is a copy of b with 32 bits overwritten.
func patched(b []byte, at int, v uint32) []byte {
	b = bytes.Clone(b)
	binary.LittleEndian.PutUint32(b[at:], v)
	return b
}

// readAll reads a whole file in calls of n frames.
func readAll(r *Reader, n int) ([]float64, error) {
	var all []float64
	buf := make([]float64, n)
	for {
		got, err := r.Read(buf)
		all = append(all, buf[:got]...)
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
	}
}

func open(t *testing.T, b []byte) *Reader {
	t.Helper()
	r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x.wav")
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The extremes and the middle of every width, from the definition of the format: v / 2^(bits-1),
// and (v-128)/128 for 8 bits.
func TestReadEveryWidth(t *testing.T) {
	for _, c := range []struct {
		name  string
		fmt   []byte
		data  []byte
		want  []float64
		bits  int
		float bool
	}{
		{"int8", format(1, 1, 48000, 8), []byte{0, 127, 128, 129, 255}, []float64{-1, -1. / 128, 0, 1. / 128, 127. / 128}, 8, false},
		{"int16", format(1, 1, 48000, 16), le([]int16{-32768, -1, 0, 1, 32767}), []float64{-1, -1. / 32768, 0, 1. / 32768, 32767. / 32768}, 16, false},
		{"int24", format(1, 1, 48000, 24), []byte{0, 0, 0x80, 0xff, 0xff, 0xff, 0, 0, 0, 1, 0, 0, 0xff, 0xff, 0x7f},
			[]float64{-1, -1. / 8388608, 0, 1. / 8388608, 8388607. / 8388608}, 24, false},
		{"int32", format(1, 1, 48000, 32), le([]int32{math.MinInt32, -1, 0, 1, math.MaxInt32}),
			[]float64{-1, -1. / 2147483648, 0, 1. / 2147483648, 2147483647. / 2147483648}, 32, false},
		{"float32", format(3, 1, 48000, 32), le([]float32{-2.5, -1, 0, 0.25, 9}), []float64{-2.5, -1, 0, 0.25, 9}, 32, true},
		{"float64", format(3, 1, 48000, 64), le([]float64{-2.5, -1, 0, 0.1, 9}), []float64{-2.5, -1, 0, 0.1, 9}, 64, true},
		{"extensible int24", extensible(1, 1, 48000, 24, 24), []byte{0, 0, 0x80}, []float64{-1}, 24, false},
		{"extensible 20 bits in 24", extensible(1, 1, 48000, 24, 20), []byte{0, 0, 0xc0}, []float64{-0.5}, 24, false},
		{"extensible float32", extensible(3, 1, 48000, 32, 32), le([]float32{0.75}), []float64{0.75}, 32, true},
		{"fmt of 18 bytes", append(format(1, 1, 48000, 16), 0, 0), le([]int16{16384}), []float64{0.5}, 16, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := open(t, riff(chunk("fmt ", c.fmt), chunk("data", c.data)))
			if r.Bits != c.bits || r.Float != c.float || r.Channels != 1 || r.Rate != 48000 {
				t.Errorf("format %v", r.Format)
			}
			if r.Frames() != int64(len(c.want)) || len(r.Warnings) != 0 {
				t.Errorf("%d frames, want %d; warnings %q", r.Frames(), len(c.want), r.Warnings)
			}
			got, err := readAll(r, 2)
			if err != nil {
				t.Fatal(err)
			}
			equal(t, got, c.want)
			r.Rewind()
			again, _ := readAll(r, 3)
			equal(t, again, c.want)
		})
	}
}

func equal(t *testing.T, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d samples, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("sample %d: %v, want %v", i, got[i], want[i])
		}
	}
}

func TestSides(t *testing.T) {
	b := riff(chunk("fmt ", format(3, 2, 48000, 64)), chunk("data", le([]float64{1, 0.5, -1, 0.25})))
	for side, c := range map[Side]struct {
		want []float64
		note string
	}{
		Sum:   {[]float64{0.75, -0.375}, "(L+R)/2"},
		Left:  {[]float64{1, -1}, "left side"},
		Right: {[]float64{0.5, 0.25}, "right side"},
	} {
		r := open(t, b)
		if r.Note() != "stereo: left and right are summed to mono, (L+R)/2" {
			t.Errorf("at first: %q", r.Note())
		}
		r.SetSide(side)
		got, err := readAll(r, 1)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, got, c.want)
		if !strings.Contains(r.Note(), c.note) {
			t.Errorf("%s: note %q", side, r.Note())
		}
		if s, err := ParseSide(string(side)); s != side || err != nil {
			t.Errorf("ParseSide(%q) = %q, %v", side, s, err)
		}
	}
	if _, err := ParseSide("middle"); err == nil || !strings.Contains(err.Error(), "sum, left or right") {
		t.Errorf("ParseSide(middle): %v", err)
	}
	if s, err := ParseSide(""); s != Sum || err != nil {
		t.Errorf("ParseSide of nothing: %q, %v", s, err)
	}
}

// Every file here is refused, and the error names the file and says what is wrong with it.
func TestRefused(t *testing.T) {
	pcm := chunk("fmt ", format(1, 1, 48000, 16))
	data := chunk("data", le([]int16{1, 2, 3, 4}))
	good := riff(pcm, data)
	with := func(f []byte) []byte { return riff(chunk("fmt ", f), data) }
	wrongAlign := format(1, 2, 48000, 16)
	wrongAlign[12] = 3
	oddGUID := extensible(1, 1, 48000, 16, 16)
	oddGUID[39] = 0
	for _, c := range []struct {
		name  string
		file  []byte
		fault string
	}{
		{"empty", nil, "is empty"},
		{"one byte", []byte("R"), "no sound file of a kind that is read"},
		{"eleven bytes", good[:11], "holds 11 bytes only"},
		{"twelve bytes", good[:12], "before any fmt chunk"},
		{"half a chunk head", good[:17], "before any fmt chunk"},
		{"cut inside fmt", good[:24], "cut off inside its fmt chunk"},
		{"cut after fmt", good[:36], "no data chunk"},
		{"cut inside the data head", good[:42], "no data chunk"},
		{"cut after the data head", good[:44], "holds no samples"},
		{"less than a frame", good[:45], "less than one frame"},
		{"text", []byte("Dear diary, today I wrote a file"), "no sound file of a kind that is read"},
		{"zeros", make([]byte, 4096), "no sound file of a kind that is read"},
		{"video", append([]byte("RIFF\x20\x00\x00\x00AVI "), data...), `of form "AVI "`},
		{"64-bit RIFF", append([]byte("RF64\xff\xff\xff\xffWAVE"), pcm...), "no ds64 chunk"},
		{"64-bit RIFF, broadcast", append([]byte("BW64\xff\xff\xff\xffWAVE"), pcm...), "no ds64 chunk"},
		{"big-endian", append([]byte("RIFX\x00\x00\x00\x20WAVE"), pcm...), "RIFX"},
		{"AIFF", []byte("FORM\x00\x00\x00\x20AIFFCOMM"), "before any COMM chunk"},
		{"FLAC", []byte("fLaC\x00\x00\x00\x22\x10\x00\x10\x00"), "FLAC"},
		{"MP3 with a tag", []byte("ID3\x04\x00\x00\x00\x00\x00\x00\x00\x00"), "MP3"},
		{"MP3", []byte("\xff\xfb\x90\x00\x00\x00\x00\x00\x00\x00\x00\x00"), "MP3"},
		{"Ogg", []byte("OggS\x00\x02\x00\x00\x00\x00\x00\x00"), "Ogg"},
		{"data first", riff(data, pcm), "data chunk before any fmt chunk"},
		{"two fmt", riff(pcm, pcm, data), "two fmt chunks"},
		{"fmt of 0", riff(chunk("fmt ", nil), data), "fmt chunk of 0 bytes"},
		{"fmt of 14", riff(chunk("fmt ", format(1, 1, 48000, 16)[:14]), data), "fmt chunk of 14 bytes"},
		{"fmt of 1026", riff(chunk("fmt ", make([]byte, 1026)), data), "fmt chunk of 1026 bytes"},
		{"fmt of 4 GiB", patched(good, 16, 0xFFFFFFF0), "fmt chunk of 4294967280 bytes"},
		{"list of 4 GiB", riff(patched(chunk("LIST", make([]byte, 20)), 4, 0xFFFFFFF0), pcm, data), "before any fmt chunk"},
		{"list of 4 GiB before data", riff(pcm, patched(chunk("LIST", make([]byte, 20)), 4, 0xFFFFFFF0), data), "no data chunk"},
		{"no channels", with(format(1, 0, 48000, 16)), "no channels"},
		{"three channels", with(format(1, 3, 48000, 16)), "has 3 channels"},
		{"65535 channels", with(format(1, 65535, 48000, 16)), "has 65535 channels"},
		{"rate 0", with(format(1, 1, 0, 16)), "sample rate of 0 Hz; 22050 to 384000 Hz"},
		{"rate 8000", with(format(1, 1, 8000, 16)), "sample rate of 8000 Hz"},
		{"rate 384001", with(format(1, 1, 384001, 16)), "sample rate of 384001 Hz"},
		{"rate 2^32-1", with(format(1, 1, math.MaxUint32, 16)), "sample rate of 4294967295 Hz"},
		{"bits 0", with(format(1, 1, 48000, 0)), "integer samples of 0 bits"},
		{"bits 7", with(format(1, 1, 48000, 7)), "integer samples of 7 bits"},
		{"bits 12", with(format(1, 1, 48000, 12)), "integer samples of 12 bits"},
		{"bits 64", with(format(1, 1, 48000, 64)), "integer samples of 64 bits"},
		{"bits 65535", with(format(1, 1, 48000, 65535)), "integer samples of 65535 bits"},
		{"float16", with(format(3, 1, 48000, 16)), "float samples of 16 bits"},
		{"float24", with(format(3, 1, 48000, 24)), "float samples of 24 bits"},
		{"block align", with(wrongAlign), "block align of 3 bytes"},
		{"ADPCM", with(format(2, 1, 48000, 4)), "ADPCM (format tag 0x0002)"},
		{"A-law", with(format(6, 1, 48000, 8)), "A-law"},
		{"MP3 inside", with(format(0x55, 1, 48000, 16)), "MP3 (format tag 0x0055)"},
		{"unknown tag", with(format(0x1234, 1, 48000, 16)), "format tag 0x1234"},
		{"extensible, short", with(extensible(1, 1, 48000, 16, 16)[:30]), "extensible fmt chunk of 30 bytes"},
		{"extensible, unknown subformat", with(oddGUID), "unknown subformat"},
		{"extensible of extensible", with(extensible(tagExtensible, 1, 48000, 16, 16)), "format tag 0xFFFE"},
		{"extensible ADPCM", with(extensible(2, 1, 48000, 4, 4)), "ADPCM"},
		{"empty data, then more", riff(pcm, chunk("data", nil), chunk("LIST", []byte("abcd"))), "holds no samples"},
		{"rubbish between chunks", riff(pcm, []byte("\x01\x02\x03\x04\x05\x06\x07\x08\x09"), data), "has no chunk at byte 36"},
		{"endless empty chunks", riff(bytes.Repeat(chunk("JUNK", nil), 5000), pcm, data), "more than 4096 chunks"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "bad.wav")
			if err := os.WriteFile(path, c.file, 0o644); err != nil {
				t.Fatal(err)
			}
			r, err := Open(path)
			if err == nil {
				r.Close()
				t.Fatalf("read as %v, %d frames", r.Format, r.Frames())
			}
			if !strings.HasPrefix(err.Error(), path+": ") || !strings.Contains(err.Error(), c.fault) {
				t.Errorf("got  %v\nwant it to name the file and to say %q", err, c.fault)
			}
		})
	}
}

// Every file here is odd but can be read; the warning names the file and says what is odd.
func TestReadWithWarning(t *testing.T) {
	pcm := chunk("fmt ", format(1, 1, 48000, 16))
	data := chunk("data", le([]int16{8192, 16384, -16384, -8192}))
	good := riff(pcm, data)
	want := []float64{0.25, 0.5, -0.5, -0.25}
	mono24 := chunk("fmt ", format(1, 1, 48000, 24))
	unpadded := chunk("LIST", []byte("abc"))[:11]
	for _, c := range []struct {
		name    string
		file    []byte
		want    []float64
		warning string // "" for none
	}{
		{"as it should be", good, want, ""},
		{"lies about the data size", patched(good, 40, 1000), want, "data chunk claims 1000 bytes, holds 8"},
		{"cut off", good[:48], want[:2], "data chunk claims 8 bytes, holds 4"},
		{"cut inside a frame", good[:51], want[:3], "the last 1 bytes are left out"},
		{"half a frame claimed", patched(good, 40, 7), want[:3], "the last 1 bytes are left out"},
		{"data size 0, not finished", patched(good, 40, 0), want, "was not finished"},
		{"stopped writer", patched(patched(good, 4, 42-8), 40, 4), want[:2], "header accounts for 42 of 52 bytes"},
		{"pipe, all ones", patched(patched(good, 4, 0xFFFFFFFF), 40, 0xFFFFFFFF), want, ""},
		{"pipe, below 2 GiB", patched(patched(good, 4, 0x7FFFF024), 40, 0x7FFFF000), want, ""},
		{"pipe, zeros", patched(patched(good, 4, 0), 40, 0), want, ""},
		{"nearly a pipe's length", patched(patched(good, 4, 0x7FFFF022), 40, 0x7FFFEFFE), want, "data chunk claims 2147479550 bytes, holds 8"},
		{"2.5 GB claimed", patched(patched(good, 4, 2500000036), 40, 2500000000), want, "data chunk claims 2500000000 bytes, holds 8"},
		{"nearly all ones", patched(patched(good, 4, 0xFFFFFFFE), 40, 0xFFFFFFFE), want, "data chunk claims 4294967294 bytes, holds 8"},
		{"wrong RIFF size", patched(good, 4, 1), want, ""},
		{"extra chunks", riff(chunk("bext", make([]byte, 603)), chunk("LIST", []byte("abc")), pcm, chunk("fact", le(uint32(4))), data,
			chunk("LIST", []byte("odd"))), want, ""},
		{"forgotten pad byte", riff(unpadded, pcm, data), want, ""},
		{"rubbish at the end", append(bytes.Clone(good), "\x01\x02\x03\x04\x05\x06\x07\x08"...), want, "header accounts for 52 of 60"},
		{"rubbish inside", patched(append(bytes.Clone(good), "\x01\x02\x03\x04\x05\x06\x07\x08"...), 4, 52), want, "rubbish after its samples, from byte 52"},
		{"two data chunks", riff(pcm, data, data), want, "second data chunk of 8 bytes"},
		{"odd data with its pad byte", riff(mono24, chunk("data", []byte{0, 0, 0x40})), []float64{0.5}, ""},
		{"odd data without", riff(mono24, chunk("data", []byte{0, 0, 0x40})[:11]), []float64{0.5}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := open(t, c.file)
			got, err := readAll(r, 3)
			if err != nil {
				t.Fatal(err)
			}
			equal(t, got, c.want)
			all := strings.Join(r.Warnings, "\n")
			if c.warning == "" && all != "" {
				t.Errorf("warned: %s", all)
			}
			if !strings.Contains(all, c.warning) || all != "" && !strings.HasPrefix(all, "x.wav: ") {
				t.Errorf("warnings %q, want one that says %q", all, c.warning)
			}
		})
	}
}

// NaN and infinity are named by frame, whichever side they are in, and what came before is
// returned.
func TestNotFinite(t *testing.T) {
	nan32, inf32 := float32(math.NaN()), float32(math.Inf(-1))
	for _, c := range []struct {
		name string
		file []byte
		good int
		want string
	}{
		{"NaN, mono", riff(chunk("fmt ", format(3, 1, 48000, 32)), chunk("data", le([]float32{1, 2, nan32, 4}))), 2, "x.wav: frame 2 (0.000 s)"},
		{"infinity, left", riff(chunk("fmt ", format(3, 2, 48000, 32)), chunk("data", le([]float32{1, 2, inf32, 4}))), 1, "x.wav: frame 1 "},
		{"NaN, right", riff(chunk("fmt ", format(3, 2, 48000, 32)), chunk("data", le([]float32{1, 2, 3, nan32}))), 1, "x.wav: frame 1 "},
		{"infinity, 64 bits", riff(chunk("fmt ", format(3, 1, 48000, 64)), chunk("data", le([]float64{math.Inf(1)}))), 0, "x.wav: frame 0 "},
	} {
		for _, side := range []Side{Sum, Left, Right} {
			r := open(t, c.file)
			r.SetSide(side)
			got, err := readAll(r, 100)
			if err == nil || !strings.Contains(err.Error(), c.want) || len(got) != c.good {
				t.Errorf("%s, %s: %d frames, then %v; want %d and %q", c.name, side, len(got), err, c.good, c.want)
			}
		}
	}
}

// Files that other programs have made; testdata/foreign/make.sh has the commands. The tone is a
// closed form.
func TestForeignFiles(t *testing.T) {
	for _, c := range []struct {
		name   string
		format Format
		step   float64 // of the samples' width
	}{
		{"sox-int8", Format{48000, 1, 8, false}, 1. / 128},
		{"sox-int16", Format{48000, 1, 16, false}, 1. / 32768},
		{"sox-int24", Format{48000, 1, 24, false}, 1. / 8388608},
		{"sox-int32", Format{48000, 1, 32, false}, 1. / (1 << 30)}, // two roundings, of the tone and of its volume
		{"sox-float32", Format{48000, 1, 32, true}, 1. / (1 << 23)},
		{"sox-float64", Format{48000, 1, 64, true}, 1. / (1 << 30)}, // SoX computes in 32-bit integers
		{"sox-pipe", Format{48000, 1, 24, false}, 1. / 8388608},
		{"ffmpeg-int24-list", Format{48000, 1, 24, false}, 1. / 8388608},
		{"ffmpeg-int24-stereo", Format{48000, 2, 24, false}, 1. / 8388608},
		{"ffmpeg-int8-stereo", Format{48000, 2, 8, false}, 1. / 128},
		{"ffmpeg-float32-stereo", Format{48000, 2, 32, true}, 1. / (1 << 24)},
		{"ffmpeg-float64", Format{48000, 1, 64, true}, 1e-13},
		{"ffmpeg-int32", Format{48000, 1, 32, false}, 1. / (1 << 31)},
		{"ffmpeg-pipe", Format{48000, 1, 16, false}, 1. / 32768},
		{"ffmpeg-192k", Format{192000, 1, 16, false}, 1. / 32768},
		{"ffmpeg-rf64", Format{48000, 1, 16, false}, 1. / 32768},
		{"ffmpeg-pipe-rf64", Format{48000, 1, 16, false}, 1. / 32768},
		{"sndfile-rf64", Format{48000, 1, 24, false}, 1. / 8388608},
		{"ffmpeg-w64-stereo.w64", Format{48000, 2, 24, false}, 1. / 8388608},
		{"ffmpeg-pipe.w64", Format{48000, 1, 24, false}, 1. / 8388608},
		{"sox-w64.w64", Format{48000, 1, 24, false}, 1. / 8388608},
		{"sndfile-float32-stereo.w64", Format{48000, 2, 32, true}, 1. / (1 << 24)},
		{"sox-aiff8.aiff", Format{48000, 1, 8, false}, 1. / 128},
		{"sox-aiff16.aiff", Format{48000, 1, 16, false}, 1. / 32768},
		{"sox-aiff24.aiff", Format{48000, 1, 24, false}, 1. / 8388608},
		{"sox-aiff32.aiff", Format{48000, 1, 32, false}, 1. / (1 << 30)},
		{"sox-pipe.aiff", Format{48000, 1, 24, false}, 1. / 8388608},
		{"ffmpeg-aiff16-stereo.aiff", Format{48000, 2, 16, false}, 1. / 32768},
		{"ffmpeg-sowt.aiff", Format{48000, 1, 16, false}, 1. / 32768},
		{"ffmpeg-fl32.aiff", Format{48000, 1, 32, true}, 1. / (1 << 24)},
		{"ffmpeg-fl64.aiff", Format{48000, 1, 64, true}, 1e-13},
		{"sox-int8.flac", Format{48000, 1, 8, false}, 1. / 128},
		{"flac-int16.flac", Format{48000, 1, 16, false}, 1. / 32768},
		{"flac-int24-stereo.flac", Format{48000, 2, 24, false}, 1. / 8388608},
		{"ffmpeg-pipe.flac", Format{48000, 1, 24, false}, 1. / 8388608},
		{"sndfile-float32-stereo.aifc", Format{48000, 2, 32, true}, 1. / (1 << 24)},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := "testdata/foreign/" + c.name
			if !strings.Contains(c.name, ".") {
				path += ".wav"
			}
			r, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			if r.Format != c.format || r.Frames() != 61 || len(r.Warnings) != 0 {
				t.Errorf("%v, %d frames, warnings %q", r.Format, r.Frames(), r.Warnings)
			}
			for _, side := range []Side{Left, Right, Sum} {
				r.SetSide(side)
				r.Rewind()
				got, err := readAll(r, 17)
				if err != nil || len(got) != 61 {
					t.Fatalf("%d frames, %v", len(got), err)
				}
				for k, v := range got {
					w := 2 * math.Pi * 1000 * float64(k) / float64(r.Rate)
					want := 0.5 * math.Sin(w)
					if r.Channels == 2 {
						right := 0.25 * math.Cos(w)
						want = map[Side]float64{Left: want, Right: right, Sum: (want + right) / 2}[side]
					}
					if math.Abs(v-want) > c.step {
						t.Fatalf("%s, frame %d: %v, want %v within %v", side, k, v, want, c.step)
					}
				}
			}
		})
	}
	for name, fault := range map[string]string{"ffmpeg-adpcm": "ADPCM"} {
		if _, err := Open("testdata/foreign/" + name + ".wav"); err == nil || !strings.Contains(err.Error(), fault) {
			t.Errorf("%s: %v, want %q", name, err, fault)
		}
	}
}

func TestOpenOddPaths(t *testing.T) {
	dir := t.TempDir()
	for path, fault := range map[string]string{
		dir:                            "is a folder",
		filepath.Join(dir, "none.wav"): "no such file",
		os.DevNull:                     "not a regular file",
	} {
		_, err := Open(path)
		if err == nil || !strings.HasPrefix(err.Error(), path+": ") || !strings.Contains(err.Error(), fault) {
			t.Errorf("%s: %v, want %q", path, err, fault)
		}
	}
	if _, err := Open(filepath.Join(dir, "none.wav")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the cause is lost: %v", err)
	}
}

// shrunk claims more bytes than it gives, as a file does that is overwritten while it is read.
type shrunk struct{ *bytes.Reader }

func TestFileShrinksWhileRead(t *testing.T) {
	b := riff(chunk("fmt ", format(1, 1, 48000, 16)), chunk("data", make([]byte, 100)))
	r, err := NewReader(shrunk{bytes.NewReader(b[:80])}, int64(len(b)), "x.wav")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := readAll(r, 10); err == nil || !strings.Contains(err.Error(), "x.wav: frame 10: became shorter") {
		t.Errorf("got %v", err)
	}
}

// hour is a WAV file of one hour, 96 kHz, stereo, 32-bit float, 2.8 GB, that is not there: it is
// all zeros.
type hour struct{ head []byte }

const hourFrames = 3600 * 96000

func newHour() (hour, int64) {
	head := riff(chunk("fmt ", format(3, 2, 96000, 32)), chunk("data", nil))
	return hour{patched(head, 40, hourFrames*8)}, int64(len(head)) + hourFrames*8
}

func (h hour) ReadAt(p []byte, off int64) (int, error) {
	clear(p)
	if off < int64(len(h.head)) {
		copy(p, h.head[off:])
	}
	return len(p), nil
}

// The bound is on what is allocated, not on time: opening takes one buffer of 4096 frames and small
// change, reading takes nothing more, at the beginning and beyond 2^31 bytes.
func TestHourInBoundedMemory(t *testing.T) {
	src, size := newHour()
	const most = 64 << 10 // bytes
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := NewReader(src, size, "hour.wav")
	runtime.ReadMemStats(&after)
	if err != nil {
		t.Fatal(err)
	}
	if got := after.TotalAlloc - before.TotalAlloc; got < blockFrames*8 || got > most {
		t.Errorf("opening an hour allocates %d bytes, want at most %d", got, most)
	}
	if r.Frames() != hourFrames || len(r.Warnings) != 0 {
		t.Errorf("%d frames, want %d; warnings %q", r.Frames(), int64(hourFrames), r.Warnings)
	}
	dst := make([]float64, 10000)
	for _, from := range []int64{0, hourFrames - 1100001} {
		r.next = from
		allocs := testing.AllocsPerRun(100, func() {
			if n, err := r.Read(dst); n != len(dst) || err != nil {
				t.Fatalf("%d frames, %v", n, err)
			}
		})
		if allocs != 0 {
			t.Errorf("reading allocates %v times a call", allocs)
		}
	}
	rest, err := readAll(r, len(dst))
	if len(rest) != 90001 || err != nil {
		t.Errorf("the last %d frames, %v; want 90001", len(rest), err)
	}
}

func FuzzReader(f *testing.F) {
	pcm := chunk("fmt ", format(1, 1, 48000, 16))
	data := chunk("data", le([]int16{1, 2, 3, 4}))
	f.Add(riff(pcm, data))
	f.Add(patched(riff(pcm, data), 40, 0xFFFFFFFF))
	f.Add(riff(chunk("fmt ", extensible(3, 2, 96000, 32, 32)), chunk("LIST", []byte("abc")), chunk("data", make([]byte, 17))))
	f.Add(riff(chunk("fmt ", format(1, 1, 44100, 8)), chunk("data", []byte{1, 2, 3})))
	f.Add(riff(chunk("fmt ", format(3, 1, 192000, 64)), chunk("data", le([]float64{1, math.NaN()}))))
	fuzzRead(f, func(b []byte) []byte { return b })
}

func BenchmarkReadHour(b *testing.B) {
	src, size := newHour()
	b.ReportAllocs()
	b.SetBytes(size)
	dst := make([]float64, 4096)
	for b.Loop() {
		r, err := NewReader(src, size, "hour.wav")
		if err != nil {
			b.Fatal(err)
		}
		for {
			if _, err := r.Read(dst); err == io.EOF {
				break
			} else if err != nil {
				b.Fatal(err)
			}
		}
	}
}
