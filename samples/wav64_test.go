package samples

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Every kind of file gives back what was written, for lengths that need pad bytes and that do not,
// and is as long as its header says.
func TestKindsRoundTrip(t *testing.T) {
	for _, ext := range []string{"wav", "w64", "bw64"} {
		for _, frames := range []int{1, 2, 3, 5, 8, 4801} {
			for _, f := range []Format{{48000, 1, 24, false}, {96000, 2, 32, true}, {44100, 2, 16, false}} {
				x := [][]float64{make([]float64, frames), make([]float64, frames)}[:f.Channels]
				for c := range x {
					for k := range x[c] {
						x[c][k] = float64(k%250-125+c) / 128
					}
				}
				path := filepath.Join(t.TempDir(), "out."+ext)
				w, err := Create(path, f)
				if err != nil {
					t.Fatal(err)
				}
				w.Dither = false
				if err := errors.Join(w.Write(x...), w.Close()); err != nil {
					t.Fatal(err)
				}
				r, err := Open(path)
				if err != nil {
					t.Fatalf("%s, %d frames: %v", ext, frames, err)
				}
				if r.Format != f || len(r.Warnings) > 0 || r.Frames() != int64(frames) {
					t.Errorf("%s, %d frames: %v, %d frames, warnings %q", ext, frames, r.Format, r.Frames(), r.Warnings)
				}
				for k, side := range []Side{Left, Right}[:f.Channels] {
					r.SetSide(side)
					r.Rewind()
					got, err := readAll(r, 100)
					if err != nil {
						t.Fatal(err)
					}
					equal(t, got, x[k])
				}
				r.Close()
				// To a pipe goes what a file of the kind WAV holds.
				if ext == "wav" {
					want, err := os.ReadFile(path)
					if err != nil {
						t.Fatal(err)
					}
					var got bytes.Buffer
					w, err := NewPipe(&got, "standard output", f, int64(frames))
					if err != nil {
						t.Fatal(err)
					}
					w.Dither = false
					if err := errors.Join(w.Write(x...), w.Close()); err != nil {
						t.Fatal(err)
					}
					if !bytes.Equal(got.Bytes(), want) {
						t.Errorf("%d frames, %v: the pipe got\n% x, the file holds\n% x", frames, f, got.Bytes()[:44], want[:44])
					}
				}
			}
		}
	}
}

// long writes a file of 5 GiB through a Writer, of which nearly all is a hole: a block at the
// beginning and one at the end, both of the same ramp.
func long(t *testing.T, name string) (path string, f Format, frames int64, ramp []float64) {
	t.Helper()
	f = Format{192000, 2, 24, false}
	frames = 5 << 30 / 6 / 4 * 4 // so that no bytes are filled up, which FFmpeg counts in W64
	path = filepath.Join(t.TempDir(), name)
	w, err := CreateFor(path, f, frames)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Abort()
	w.Dither = false
	ramp = make([]float64, 1000)
	for k := range ramp {
		ramp[k] = float64(k) / 1024
	}
	if err := w.Write(ramp, ramp); err != nil {
		t.Fatal(err)
	}
	hole := frames - 2000
	if _, err := w.temp.File.Seek(6*hole, io.SeekCurrent); err != nil {
		t.Fatal(err)
	}
	w.frames += hole // as if they had been written
	if err := errors.Join(w.Write(ramp, ramp), w.Close()); err != nil {
		t.Fatal(err)
	}
	return path, f, frames, ramp
}

// Beyond 4 GiB a WAV file becomes an RF64 file, and the other kinds go on. All are read to their
// end.
func TestBeyond4GiB(t *testing.T) {
	for name, magic := range map[string]string{"a.wav": "RF64\xff\xff\xff\xffWAVEds64", "a.bw64": "BW64\xff\xff\xff\xffWAVEds64", "a.w64": w64RIFF} {
		path, f, frames, ramp := long(t, name)
		r, err := Open(path)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		defer r.Close()
		head := make([]byte, len(magic))
		if _, err := r.src.ReadAt(head, 0); err != nil || string(head) != magic {
			t.Errorf("%s begins with %q, %v", name, head, err)
		}
		if r.Format != f || r.Frames() != frames || len(r.Warnings) > 0 {
			t.Errorf("%s: %v, %d frames, want %d; warnings %q", name, r.Format, r.Frames(), frames, r.Warnings)
		}
		r.next = frames - 1001
		got, err := readAll(r, 300)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, got, append([]float64{0}, ramp...))
	}
}

// A ds64 chunk may lie: what it claims is held against what is there, without a sum that overflows.
func TestLongLengthsLie(t *testing.T) {
	pcm := chunk("fmt ", format(1, 1, 48000, 16))
	rf64 := func(riff, data uint64, more ...[]byte) []byte {
		body := [][]byte{le("RF64", uint32(math.MaxUint32), "WAVE", "ds64", uint32(28), riff, data, uint64(4), uint32(0)), pcm}
		return bytes.Join(append(body, more...), nil)
	}
	all := le("data", uint32(math.MaxUint32), []int16{8192, 16384, -16384, -8192})
	w64 := func(length uint64) []byte {
		return le(w64RIFF, uint64(0), "wave"+w64Tail, "fmt "+w64Tail, uint64(40), format(1, 1, 48000, 16), "data"+w64Tail, length, []int16{8192, 16384, -16384, -8192})
	}
	for _, c := range []struct {
		name string
		file []byte
		want int64 // frames; 0 for an error
		told string
	}{
		{"true", rf64(88, 8, all), 4, ""},
		{"too long", rf64(88, 1<<40, all), 4, "claims 1099511627776 bytes, holds 8"},
		{"below zero", rf64(88, 1<<63, all), 4, "holds 8"},
		{"pipe, all ones", rf64(math.MaxUint64, math.MaxUint64, all), 4, ""},
		{"pipe, zeros", rf64(0, 0, all), 4, ""},
		{"short", rf64(88, 4, all), 2, ""},
		{"32 bits are enough", rf64(88, 0, chunk("data", le([]int16{1, 2}))), 2, ""},
		{"no ds64", le("RF64", uint32(math.MaxUint32), "WAVE", pcm, all), 0, "no ds64 chunk"},
		{"half a ds64", le("RF64", uint32(math.MaxUint32), "WAVE", chunk("ds64", make([]byte, 27)), pcm, all), 0, "ds64 chunk of 27 bytes"},
		{"a table that is not there", bytes.Replace(rf64(88, 8, all), le(uint64(4), uint32(0)), le(uint64(4), uint32(math.MaxUint32)), 1), 4, ""},
		{"W64", w64(32), 4, ""},
		{"W64, too long", w64(1 << 50), 4, "holds 8"},
		{"W64, below zero", w64(1<<63 + 5), 4, "holds 8"},
		{"W64, pipe", w64(math.MaxInt64), 4, ""},
		{"W64, less than its head", w64(23), 0, "its head alone takes 24"},
		{"W64, cut off", w64(32)[:50], 0, "before any fmt chunk"},
		{"W64 that is none", append([]byte(w64RIFF), make([]byte, 40)...), 0, "holds no sound"},
	} {
		r, err := NewReader(bytes.NewReader(c.file), int64(len(c.file)), "x.wav")
		text := fmt.Sprint(err)
		frames := int64(0)
		if err == nil {
			text, frames = strings.Join(r.Warnings, "\n"), r.Frames()
		}
		if frames != c.want || !strings.Contains(text, c.told) || c.told == "" && text != "" {
			t.Errorf("%s: %d frames, %q; want %d, %q", c.name, frames, text, c.want, c.told)
		}
	}
}

// A pipe gets exactly what its header promises, or an error; and what cannot be written is one.
func TestPipe(t *testing.T) {
	f := Format{48000, 1, 24, false}
	begin := func(to io.Writer, frames int64) *Writer {
		t.Helper()
		w, err := NewPipe(to, "standard output", f, frames)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	if w := begin(io.Discard, 5); w.Write(make([]float64, 4)) != nil || !said(w.Close(), "4 frames were written, and its header promises 5") {
		t.Error("too few frames are no error")
	}
	if w := begin(io.Discard, 5); !said(w.Write(make([]float64, 6)), "more than the 5 frames") {
		t.Error("too many frames are no error")
	}
	if _, err := NewPipe(io.Discard, "standard output", f, 0); !said(err, "no samples") {
		t.Errorf("no frames: %v", err)
	}
	for _, room := range []int{0, 20, 44, 60} {
		w := begin(&narrow{room}, 100)
		if err := errors.Join(w.Write(make([]float64, 100)), w.Close()); !errors.Is(err, syscall.EPIPE) || !strings.HasPrefix(err.Error(), "standard output: ") {
			t.Errorf("a pipe that is closed after %d bytes: %v", room, err)
		}
	}
	var head bytes.Buffer
	w := begin(&head, 1<<33) // 24 GiB: RF64 with its true lengths
	if err := w.Write(make([]float64, 1)); err != nil {
		t.Fatal(err)
	}
	r := open(t, head.Bytes())
	if !strings.HasPrefix(head.String(), "RF64") || len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "claims 25769803776 bytes, holds 3") {
		t.Errorf("%q, warnings %q", head.String()[:4], r.Warnings)
	}
}

func said(err error, text string) bool {
	return err != nil && strings.HasPrefix(err.Error(), "standard output: ") && strings.Contains(err.Error(), text)
}

// narrow is a pipe whose reader goes away.
type narrow struct{ room int }

func (n *narrow) Write(b []byte) (int, error) {
	if n.room -= len(b); n.room < 0 {
		return 0, syscall.EPIPE
	}
	return len(b), nil
}

// The disk may fill up at any byte of a 64-bit kind as well.
func TestFullDiskOf64BitKinds(t *testing.T) {
	for _, kind := range []container{rf64File, bw64File, w64File} {
		f := Format{48000, 1, 24, false}
		// the header is written again at the end
		whole := len(kind.header(f, 101))*2 + 303 + int(kind.pad(f, 101))
		for room := whole - 1; room >= 0; room -= 7 {
			temp, err := os.CreateTemp(t.TempDir(), ".drywire-*.tmp")
			if err != nil {
				t.Fatal(err)
			}
			w := newWriter(filepath.Join(filepath.Dir(temp.Name()), "out"), f, kind, &fullDisk{temp, room})
			w.remove = func() { os.Remove(temp.Name()) }
			err = w.Write(make([]float64, 101))
			if err == nil {
				err = w.Close()
			}
			if !errors.Is(err, syscall.ENOSPC) {
				t.Errorf("kind %d, room for %d of %d bytes: %v", kind, room, whole, err)
			}
			if names := left(t, filepath.Dir(temp.Name())); len(names) != 0 {
				t.Errorf("%q is left", names)
			}
		}
	}
}
