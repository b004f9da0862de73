package page

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/produce"
)

// A recording that is replaced beside the open page goes on sounding as it was, and one that is
// overwritten is an error: no sound is of two recordings.
func TestRecordingIsOneSnapshot(t *testing.T) {
	t.Parallel()
	const text = "drywire: 1\nrecording: {file: riff.wav, full_scale: 1 V}\nblocks: {buffer: {kind: buffer}}\norder: [buffer]\n"
	dir := t.TempDir()
	path := filepath.Join(dir, "riff.wav")
	riff, err := os.ReadFile("../../../samples/recordings/riff.wav")
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	if err := errors.Join(os.WriteFile(filepath.Join(dir, "board.yaml"), []byte(text), 0o644), os.WriteFile(path, riff, 0o644)); err != nil {
		t.Fatal(err)
	}
	s, err := newServer(ctx, Options{File: filepath.Join(dir, "board.yaml")})
	if err != nil {
		t.Fatal(err)
	}
	begin := func() (*produce.Recording, []float64) {
		t.Helper()
		if err := os.WriteFile(path, riff, 0o644); err != nil {
			t.Fatal(err)
		}
		s.loader = produce.NewLoader(folder{s.root})
		d, err := s.parsed(ctx, []byte(text), [2]string{})
		if err != nil {
			t.Fatal(err)
		}
		r := d.Dry
		x, err := r.Voltages(ctx, 0, 20000)
		if err != nil {
			t.Fatal(err)
		}
		return r, x
	}
	other := append([]byte{}, riff...)
	for k := 5000; k < len(other); k++ {
		other[k] ^= 1
	}

	r, x := begin()
	if err := errors.Join(os.WriteFile(path+".new", other, 0o644), os.Rename(path+".new", path)); err != nil {
		t.Fatal(err)
	}
	y, err := r.Voltages(ctx, 0, 20000)
	if err != nil {
		t.Fatal(err)
	}
	for k := range x {
		if x[k] != y[k] {
			t.Fatalf("replaced: sample %d is %v and was %v", k, y[k], x[k])
		}
	}

	r, _ = begin()
	if err := os.WriteFile(path, other, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Voltages(ctx, 0, 20000); !errors.Is(err, inputs.ErrChanged) || !strings.Contains(err.Error(), "riff") {
		t.Errorf("overwritten: %v", err)
	}
}
