package inputs

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"drywire/cmd/internal/files"
)

func write(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func held(t *testing.T, b []byte) (*Files, *File, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x")
	write(t, path, b)
	f := New(t.Context(), files.Disk{})
	t.Cleanup(f.Close)
	file, err := f.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	return f, file, path
}

// Reads of any place and length, by several goroutines at once, give what the file holds, and end
// where it ends.
func TestReadAt(t *testing.T) {
	b := make([]byte, 3*blockSize+17)
	for k := range b {
		b[k] = byte(k * 7 / 5)
	}
	f, file, path := held(t, b)
	if again, err := f.Open(path); again != file || err != nil {
		t.Errorf("opened again: %p, %v; want the same, %p", again, err, file)
	}
	var all sync.WaitGroup
	for _, off := range []int{0, 1, blockSize - 1, blockSize, 2*blockSize + 5, 3 * blockSize, len(b) - 1, len(b), len(b) + 9} {
		for _, n := range []int{0, 1, 100, blockSize, 2*blockSize + 3, len(b)} {
			all.Go(func() {
				p := make([]byte, n)
				got, err := file.ReadAt(p, int64(off))
				want := b[min(off, len(b)):min(off+n, len(b))]
				if !bytes.Equal(p[:got], want) || (err == io.EOF) != (len(want) < n) || err != nil && err != io.EOF {
					t.Errorf("%d bytes at %d: %d, %v; want %d", n, off, got, err, len(want))
				}
			})
		}
	}
	all.Wait()
	if err := f.Unchanged(); err != nil {
		t.Error(err)
	}
}

// What was read before and differs now is an error at once; what becomes again as it was has been
// read as one file only.
func TestChangesAreFound(t *testing.T) {
	b := make([]byte, 2*blockSize)
	f, file, path := held(t, b)
	p := make([]byte, 10)
	read := func(off int64) error { _, err := file.ReadAt(p, off); return err }
	if err := read(0); err != nil {
		t.Fatal(err)
	}
	info, _ := os.Stat(path)
	b[blockSize-1] = 1
	write(t, path, b)
	if err := errors.Join(os.Chtimes(path, info.ModTime(), info.ModTime()), read(blockSize)); err != nil {
		t.Errorf("a part that was not read before: %v", err)
	}
	for _, err := range []error{read(0), f.Unchanged()} {
		if !errors.Is(err, ErrChanged) || !strings.HasPrefix(err.Error(), path+": was overwritten during this run") {
			t.Errorf("overwritten: %v", err)
		}
	}
	b[blockSize-1] = 0
	write(t, path, b)
	if err := errors.Join(os.Chtimes(path, info.ModTime(), info.ModTime()), read(0), f.Unchanged()); err != nil {
		t.Errorf("as before: %v", err)
	}
	if err := os.Truncate(path, 5); err != nil {
		t.Fatal(err)
	}
	if err := read(0); !errors.Is(err, ErrChanged) || !strings.Contains(err.Error(), "became shorter") {
		t.Errorf("cut off: %v", err)
	}
}

// What nothing was read of since the last look may change: what came of it is published.
func TestPublishedMayChange(t *testing.T) {
	f, file, path := held(t, []byte("abc"))
	if _, err := file.ReadAt(make([]byte, 3), 0); err != nil {
		t.Fatal(err)
	}
	if err := f.Unchanged(); err != nil {
		t.Fatal(err)
	}
	write(t, path, []byte("abcd"))
	if err := f.Unchanged(); err != nil {
		t.Error(err)
	}
	if _, err := file.ReadAt(make([]byte, 3), 0); err != nil {
		t.Error(err)
	}
	if err := f.Unchanged(); !errors.Is(err, ErrChanged) {
		t.Errorf("read again: %v", err)
	}
}

func TestReadsEndWithTheRun(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x")
	write(t, path, []byte("abc"))
	ctx, stop := context.WithCancel(context.Background())
	f := New(ctx, files.Disk{})
	defer f.Close()
	file, err := f.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	stop()
	if _, err := file.ReadAt(make([]byte, 1), 0); !errors.Is(err, context.Canceled) {
		t.Errorf("read: %v", err)
	}
	if err := f.Unchanged(); !errors.Is(err, context.Canceled) {
		t.Errorf("unchanged: %v", err)
	}
}

func TestRefused(t *testing.T) {
	dir := t.TempDir()
	f := New(t.Context(), files.Disk{})
	defer f.Close()
	for path, fault := range map[string]string{dir: "is a folder", filepath.Join(dir, "none"): "no such file", os.DevNull: "is no plain file"} {
		if _, err := f.Open(path); err == nil || !strings.HasPrefix(err.Error(), path+": ") || !strings.Contains(err.Error(), fault) {
			t.Errorf("%s: %v, want %q", path, err, fault)
		}
	}
}
