// Package inputs holds the files that a run reads as they were when it began: each is opened once,
// read through one handle by whatever reads it, and looked at again at the end. It knows no format
// and no chain.
//
// Start reading at Files.
package inputs

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"drywire/cmd/internal/files"
)

// Files is the files that one run reads. It may be used by several goroutines.
type Files struct {
	// In is standard input, for whoever reads it first; nil where nothing is there to be read.
	In io.Reader

	ctx   context.Context
	disk  files.System
	mu    sync.Mutex
	files []*File
	temps []string // of standard input, to be removed
	after []func() error
}

// New begins a run that reads what is on a disk. Reads end with the context's error once it is
// over.
func New(ctx context.Context, disk files.System) *Files { return &Files{ctx: ctx, disk: disk} }

// ErrChanged is in the chain of every error about a file that is not any more what it was when the
// run began.
var ErrChanged = errors.New("run it again, and leave the file alone meanwhile")

// blockSize is how much is hashed at a time, in bytes.
const blockSize = 1 << 16

var blocks = sync.Pool{New: func() any { return new([blockSize]byte) }}

// File is an open file that stays what it was: every part of it that is read a second time is held
// against what was read at first. It is an io.ReaderAt for any number of goroutines.
type File struct {
	name string
	file Handle
	info fs.FileInfo                        // when it was opened
	stat func() (info fs.FileInfo, e error) // of what stands at the path now; nil for what has none
	ctx  context.Context
	seed maphash.Seed

	mu    sync.Mutex
	sums  map[int64]uint64 // of the blocks that were read
	fresh bool             // something was read since it was last looked at
}

// Handle is what is needed of an open file. Errors are those of package os.
type Handle interface {
	io.ReaderAt
	io.Closer
	Stat() (fs.FileInfo, error)
}

// Open opens a regular file as files.Open does, or gives the one that the run has opened at that
// path already. An error names the path.
func (f *Files) Open(path string) (*File, error) {
	path = filepath.Clean(path)
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, known := range f.files {
		if known.name == path {
			return known, nil
		}
	}
	file, _, err := files.Open(f.disk, path)
	if err != nil {
		return nil, err
	}
	return f.hold(path, file, func() (fs.FileInfo, error) { return f.disk.Stat(path) })
}

// Hold takes over an open regular file. stat gives what stands at its path later on; where it is
// nil, nobody can have replaced it. The error is that of the file's Stat, with the name in front;
// the file is then closed.
func (f *Files) Hold(name string, file Handle, stat func() (fs.FileInfo, error)) (*File, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.hold(name, file, stat)
}

func (f *Files) hold(name string, file Handle, stat func() (fs.FileInfo, error)) (*File, error) {
	info, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, files.Named(name, err)
	}
	held := &File{name: name, file: file, info: info, stat: stat, ctx: f.ctx, seed: maphash.MakeSeed(), sums: map[int64]uint64{}, fresh: true}
	f.files = append(f.files, held)
	return held, nil
}

// Text reads all of a small file: what begins it where there is more than most bytes. The error is
// Open's or that of reading.
func (f *Files) Text(path string, most int64) ([]byte, error) {
	held, err := f.Open(path)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.NewSectionReader(held, 0, min(most, held.Size())))
}

// Piped reads standard input to its end into a nameless file, so that it can be read more than
// once. known is shown how it begins and may refuse it; more than most bytes are refused as well.
// The error names what was read. A second call gives the same file.
func (f *Files) Piped(most int64, known func(head []byte) error) (*File, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, held := range f.files {
		if held.name == standardInput {
			return held, nil
		}
	}
	if f.In == nil {
		return nil, fmt.Errorf("%s: was read already, so no recording is in it", standardInput)
	}
	in := f.In
	f.In = nil
	temp, err := os.CreateTemp("", ".drywire-*.tmp")
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be kept: %w", standardInput, err)
	}
	if os.Remove(temp.Name()) != nil { // not every system can do that to an open file
		f.temps = append(f.temps, temp.Name())
	}
	read := make(chan error, 1)
	go func() { // which a signal does not wait for
		head := make([]byte, 16)
		n, err := io.ReadFull(in, head)
		if err != nil && err != io.ErrUnexpectedEOF && err != io.EOF {
			read <- err
			return
		}
		if err := known(head[:n]); err != nil {
			read <- err
			return
		}
		n2, err := io.Copy(temp, io.LimitReader(io.MultiReader(bytes.NewReader(head[:n]), in), most+1))
		if err == nil && n2 > most {
			err = fmt.Errorf("has more than %d GiB; save it to disk and name the file", most>>30)
		}
		read <- err
	}()
	select {
	case err = <-read:
	case <-f.ctx.Done():
		err = f.ctx.Err()
	}
	if err != nil {
		temp.Close()
		return nil, files.Named(standardInput, err)
	}
	return f.hold(standardInput, temp, nil)
}

const standardInput = "standard input"

// Unchanged looks at every file again: whether its path still leads to it, its size, its time, and
// all that was read of it. The error names the file and is an ErrChanged, or is the context's. A
// file of which nothing was read since the last time is not looked at: what came of it may have
// been published by then.
func (f *Files) Unchanged() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, held := range f.files {
		if err := held.unchanged(); err != nil {
			return err
		}
	}
	return f.ctx.Err()
}

// AtClose lets Close close something else as well, that reads one of the files.
func (f *Files) AtClose(do func() error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.after = append(f.after, do)
}

// Close closes all files. Nothing can be read any more.
func (f *Files) Close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, do := range f.after {
		do()
	}
	for _, held := range f.files {
		held.file.Close()
	}
	for _, name := range f.temps {
		os.Remove(name)
	}
	f.files, f.temps, f.after = nil, nil, nil
}

// Size is the file's size when it was opened, in bytes.
func (f *File) Size() int64 { return f.info.Size() }

// ReadAt implements io.ReaderAt, of the file as it was when it was opened: it ends at the size of
// then. What has changed since it was read before is an error.
func (f *File) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 {
		return 0, fmt.Errorf("%s: a place before the beginning: %d", f.name, off)
	}
	block := blocks.Get().(*[blockSize]byte)
	defer blocks.Put(block)
	done := 0
	for done < len(p) {
		at := off + int64(done)
		if at >= f.Size() {
			return done, io.EOF
		}
		from := at - at%blockSize
		b := block[:min(blockSize, f.Size()-from)]
		if err := f.check(b, from); err != nil {
			return done, err
		}
		done += copy(p[done:], b[at-from:])
	}
	return done, nil
}

// check reads the block at from and holds it against what it was when it was read before.
func (f *File) check(b []byte, from int64) error {
	if err := f.ctx.Err(); err != nil {
		return err
	}
	n, err := f.file.ReadAt(b, from)
	if err != nil && err != io.EOF {
		return files.Named(f.name, err)
	}
	if n < len(b) {
		return f.changed("became shorter")
	}
	sum := maphash.Bytes(f.seed, b)
	f.mu.Lock()
	defer f.mu.Unlock()
	if before, known := f.sums[from]; known && before != sum {
		return f.changed("was overwritten")
	}
	f.sums[from], f.fresh = sum, true
	return nil
}

func (f *File) changed(how string) error {
	return fmt.Errorf("%s: %s during this run: %w", f.name, how, ErrChanged)
}

func (f *File) unchanged() error {
	f.mu.Lock()
	fresh := f.fresh
	f.mu.Unlock()
	if !fresh {
		return nil
	}
	if f.stat != nil {
		now, err := f.stat()
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return f.changed("went away")
		case err != nil:
			return files.Named(f.name, err)
		case !os.SameFile(now, f.info):
			return f.changed("was replaced")
		}
	}
	now, err := f.file.Stat()
	if err != nil {
		return files.Named(f.name, err)
	}
	if now.Size() != f.info.Size() || !now.ModTime().Equal(f.info.ModTime()) {
		return f.changed("was overwritten")
	}
	f.mu.Lock()
	seen := make([]int64, 0, len(f.sums))
	for from := range f.sums {
		seen = append(seen, from)
	}
	f.mu.Unlock()
	block := blocks.Get().(*[blockSize]byte)
	defer blocks.Put(block)
	for _, from := range seen {
		if err := f.check(block[:min(blockSize, f.Size()-from)], from); err != nil {
			return err
		}
	}
	f.mu.Lock()
	f.fresh = false
	f.mu.Unlock()
	return nil
}
