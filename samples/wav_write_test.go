package samples

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// write writes a file in calls of n frames and returns its path.
func write(t *testing.T, f Format, n int, set func(*Writer), channels ...[]float64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "out.wav")
	w, err := Create(path, f)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Abort()
	if set != nil {
		set(w)
	}
	for at := 0; at < len(channels[0]); at += n {
		var part [][]float64
		for _, c := range channels {
			part = append(part, c[at:min(at+n, len(c))])
		}
		if err := w.Write(part...); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func undithered(w *Writer) { w.Dither = false }

// What is written undithered from values that the width can hold comes back bit for bit, in mono
// and stereo, for odd and even lengths, and the file's sizes are true to the byte.
func TestRoundTrip(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 7))
	for _, c := range []struct {
		bits  int
		float bool
		draw  func() float64
	}{
		{16, false, func() float64 { return float64(rnd.IntN(1<<16)-1<<15) / (1 << 15) }},
		{24, false, func() float64 { return float64(rnd.IntN(1<<24)-1<<23) / (1 << 23) }},
		{32, true, func() float64 { return float64(float32(rnd.NormFloat64() * 9)) }},
	} {
		for _, rate := range []int{44100, 48000, 192000} {
			for _, frames := range []int{1, 4801, 9600} {
				for channels := 1; channels <= 2; channels++ {
					f := Format{Rate: rate, Channels: channels, Bits: c.bits, Float: c.float}
					in := make([][]float64, channels)
					for k := range in {
						in[k] = make([]float64, frames)
						for i := range in[k] {
							in[k][i] = c.draw()
						}
					}
					path := write(t, f, 1000, undithered, in...)
					r, err := Open(path)
					if err != nil {
						t.Fatal(err)
					}
					if r.Format != f || len(r.Warnings) != 0 {
						t.Errorf("read as %v, want %v; warnings %q", r.Format, f, r.Warnings)
					}
					for k, side := range []Side{Left, Right}[:channels] {
						r.SetSide(side)
						r.Rewind()
						got, err := readAll(r, 777)
						if err != nil {
							t.Fatal(err)
						}
						equal(t, got, in[k])
					}
					r.Close()

					b, err := os.ReadFile(path)
					if err != nil {
						t.Fatal(err)
					}
					data := frames * channels * c.bits / 8
					if got := int(binary.LittleEndian.Uint32(b[4:])); got != len(b)-8 || len(b) != 44+data+data%2 {
						t.Errorf("%v, %d frames: RIFF size %d in a file of %d bytes, data %d", f, frames, got, len(b), data)
					}
					if got := int(binary.LittleEndian.Uint32(b[40:])); got != data {
						t.Errorf("%v, %d frames: data size %d, want %d", f, frames, got, data)
					}
				}
			}
		}
	}
}

// The bytes of a small file, by hand from the RIFF definition.
func TestBytes(t *testing.T) {
	got, err := os.ReadFile(write(t, Format{48000, 1, 24, false}, 10, undithered, []float64{-1, 0, 0.5}))
	if err != nil {
		t.Fatal(err)
	}
	want := riff(chunk("fmt ", format(1, 1, 48000, 24)), chunk("data", []byte{0, 0, 0x80, 0, 0, 0, 0, 0, 0x40}))
	if string(got) != string(want) {
		t.Errorf("got  % x\nwant % x", got, want)
	}
}

// Beyond the range an integer is limited and counted; it never wraps.
func TestClipping(t *testing.T) {
	for _, bits := range []int{16, 24} {
		var clipped int64
		in := []float64{1, 1.5, -1.5, 1e300, -1e300, -1, 0.25}
		path := filepath.Join(t.TempDir(), "loud.wav")
		w, err := Create(path, Format{48000, 1, bits, false})
		if err != nil {
			t.Fatal(err)
		}
		w.Dither = false
		if err := w.Write(in); err != nil {
			t.Fatal(err)
		}
		clipped = w.Clipped()
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if clipped != 5 {
			t.Errorf("%d clipped samples, want 5: +1 and the four beyond ±1", clipped)
		}
		r, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(r, 100)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		top := 1 - math.Ldexp(1, 1-bits)
		equal(t, got, []float64{top, top, -1, top, -1, -1, 0.25})
	}
}

// Triangular dither of ±1 step (variance 1/6) and rounding (1/12) together leave an error of
// variance 1/4 step² with no mean, whatever the signal (JAES 40(5), 355-375, 1992; from memory);
// without dither a signal of a third of a step vanishes.
func TestDither(t *testing.T) {
	const n = 200000
	in := make([]float64, n)
	for i := range in {
		in[i] = 1. / 3 / (1 << 15)
	}
	steps := func(set func(*Writer)) []float64 {
		r, err := Open(write(t, Format{48000, 1, 16, false}, 4096, set, in))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		x, err := readAll(r, n)
		if err != nil {
			t.Fatal(err)
		}
		for i := range x {
			x[i] *= 1 << 15
		}
		return x
	}
	plain, dithered := steps(undithered), steps(nil)
	var mean, square float64
	for i := range dithered {
		if plain[i] != 0 {
			t.Fatalf("undithered sample %d is %v steps", i, plain[i])
		}
		e := dithered[i] - 1./3
		mean += e / n
		square += e * e / n
	}
	// Five standard errors: the mean's is sqrt(0.25/n), the square's about 0.4/sqrt(n) (from the
	// fourth moment).
	if math.Abs(mean) > 5*math.Sqrt(0.25/n) {
		t.Errorf("the error's mean is %v steps", mean)
	}
	if math.Abs(square-0.25) > 5*0.4/math.Sqrt(n) {
		t.Errorf("the error's variance is %v step², want 0.25", square)
	}
	equal(t, steps(nil), dithered) // the same seed, the same noise
	other := steps(func(w *Writer) { w.Seed = 2 })
	same := 0
	for i := range other {
		if other[i] == dithered[i] {
			same++
		}
	}
	if same == n {
		t.Error("another seed gives the same noise")
	}
}

// The length of the calls changes nothing.
func TestWriteCutAnyway(t *testing.T) {
	in := make([]float64, 10001)
	for i := range in {
		in[i] = math.Sin(float64(i) / 10)
	}
	var want []byte
	for _, n := range []int{10001, 1, 479, 4800} {
		got, err := os.ReadFile(write(t, Format{48000, 2, 24, false}, n, nil, in, in))
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		}
		if string(got) != string(want) {
			t.Errorf("calls of %d frames make another file", n)
		}
	}
}

// left lists what is in a folder.
func left(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// Nothing appears under the name before Close; nothing is left after Abort or an error.
func TestAtomic(t *testing.T) {
	mono := Format{48000, 1, 24, false}
	dir := t.TempDir()
	path := filepath.Join(dir, "out.wav")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	begin := func() *Writer {
		t.Helper()
		w, err := Create(path, mono)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	check := func(when string, old bool) {
		t.Helper()
		b, err := os.ReadFile(path)
		if err != nil || (string(b) == "old") != old {
			t.Errorf("%s: file of %d bytes, %v", when, len(b), err)
		}
		if names := left(t, dir); len(names) != 1 {
			t.Errorf("%s: %q", when, names)
		}
	}

	w := begin()
	if err := w.Write([]float64{0.5}); err != nil {
		t.Fatal(err)
	}
	names := left(t, dir)
	if len(names) != 2 || !strings.HasPrefix(names[0], ".drywire-") || !strings.HasSuffix(names[0], ".tmp") {
		t.Errorf("while writing: %q", names)
	}
	w.Abort()
	w.Abort()
	check("aborted", true)
	if err := w.Write([]float64{1}); err == nil {
		t.Error("written to after Abort")
	}

	w = begin()
	if err := w.Write([]float64{0.5, math.NaN()}); err == nil || !strings.Contains(err.Error(), path+": frame 1: NaN") {
		t.Errorf("NaN: %v", err)
	}
	check("NaN", true)
	if err := w.Close(); err == nil {
		t.Error("closed without an error after NaN")
	}

	w = begin()
	if err := w.Close(); err == nil || !strings.Contains(err.Error(), "no samples") {
		t.Errorf("no samples: %v", err)
	}
	check("no samples", true)

	w = begin()
	if err := w.Write([]float64{0.5}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	w.Abort()
	if err := w.Close(); err != nil {
		t.Errorf("closed again: %v", err)
	}
	check("closed", false)
}

// fullDisk is a file on a disk that has room for some bytes.
type fullDisk struct {
	*os.File
	room int
}

func (d *fullDisk) Write(b []byte) (int, error) {
	if d.room -= len(b); d.room < 0 {
		return 0, &os.PathError{Op: "write", Path: d.Name(), Err: syscall.ENOSPC}
	}
	return d.File.Write(b)
}

// Wherever the disk fills up, in the header, the samples, the pad byte or the sizes, it is an error
// that names the file and leaves nothing behind.
func TestFullDisk(t *testing.T) {
	const frames = 9601
	whole := 44 + frames*3 + 1 + 4 + 4 // and the two sizes written at the end
	for _, room := range []int{0, 10, 43, 44, 20000, 44 + frames*3, 44 + frames*3 + 1, whole - 1, whole} {
		dir := t.TempDir()
		path := filepath.Join(dir, "out.wav")
		temp, err := os.CreateTemp(dir, ".drywire-*.tmp")
		if err != nil {
			t.Fatal(err)
		}
		w := newWriter(path, Format{48000, 1, 24, false}, wavFile, &fullDisk{temp, room})
		w.remove = func() { os.Remove(temp.Name()) }
		err = w.Write(make([]float64, frames))
		if err == nil {
			err = w.Close()
		}
		if room == whole {
			if err != nil {
				t.Errorf("room for %d bytes: %v", room, err)
			}
			continue
		}
		if !errors.Is(err, syscall.ENOSPC) || !strings.HasPrefix(err.Error(), path+": ") {
			t.Errorf("room for %d bytes: %v", room, err)
		}
		if names := left(t, dir); len(names) != 0 {
			t.Errorf("room for %d bytes: %q is left", room, names)
		}
	}
}

func TestWriteRefused(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		path   string
		f      Format
		frames int64
		fault  string
	}{
		{"a.wav", Format{48000, 3, 24, false}, 0, "cannot write 3 channels"},
		{"a.wav", Format{48000, 0, 24, false}, 0, "cannot write 0 channels"},
		{"a.wav", Format{8000, 1, 24, false}, 0, "sample rate of 8000 Hz"},
		{"a.wav", Format{48000, 1, 8, false}, 0, "8-bit integer"},
		{"a.wav", Format{48000, 1, 32, false}, 0, "32-bit integer"},
		{"a.wav", Format{48000, 1, 64, true}, 0, "64-bit float"},
		{"no/such/folder/a.wav", Format{48000, 1, 24, false}, 0, "no such file or directory"},
		{".", Format{48000, 1, 24, false}, 0, "is a folder"},
	} {
		path := filepath.Join(dir, c.path)
		_, err := CreateFor(path, c.f, c.frames)
		if err == nil || !strings.HasPrefix(err.Error(), path+": ") || !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%s %v: %v, want %q", c.path, c.f, err, c.fault)
		}
	}
	if names := left(t, dir); len(names) != 0 {
		t.Errorf("%q is left", names)
	}
	w, err := CreateFor(filepath.Join(dir, "long.wav"), Format{192000, 2, 32, true}, 536870900)
	if err != nil {
		t.Fatalf("a file of just under 4 GiB: %v", err)
	}
	w.frames = 536870900 // as if they had been written
	if err := w.Write(make([]float64, 7), make([]float64, 7)); err == nil || !strings.Contains(err.Error(), "4 GiB") {
		t.Errorf("written past 4 GiB: %v", err)
	}
	if names := left(t, dir); len(names) != 0 {
		t.Errorf("%q is left", names)
	}
}

func BenchmarkWriteMinute(b *testing.B) {
	x := make([]float64, 48000)
	for i := range x {
		x[i] = math.Sin(float64(i) / 20)
	}
	path := filepath.Join(b.TempDir(), "out.wav")
	b.ReportAllocs()
	for b.Loop() {
		w, err := Create(path, Format{48000, 1, 24, false})
		if err != nil {
			b.Fatal(err)
		}
		for range 60 {
			if err := w.Write(x); err != nil {
				b.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
