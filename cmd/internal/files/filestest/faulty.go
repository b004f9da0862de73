// Package filestest is a files.System on which calls fail or the run dies, for tests that go
// through every call in turn. Start reading at Faulty.
package filestest

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"
	"syscall"

	"drywire/cmd/internal/files"
)

// Faulty does what the system beneath it does but for one call: the one with the number At, counted
// from 1. At 0 it counts. It syncs nothing, for no power cut is tried and thousands of syncs would
// take minutes. Bury has to be called at the end.
type Faulty struct {
	Beneath files.System
	At      int
	// at that call, so that it and all that come later do nothing; else that call alone fails
	Dies bool
	Half bool   // where that call is a write, half of it is done
	Look func() // called before every call: what another process could see now

	mu    sync.Mutex
	calls []string
	dead  bool
	open  []files.File
}

// ErrInjected is what fails; ErrDead is what a dead run's calls come to.
var (
	ErrInjected error = syscall.EIO
	ErrDead           = errors.New("the run is dead")
)

// Calls is what was called so far, up to and with the one that failed.
func (d *Faulty) Calls() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.calls)
}

// Bury closes what a dead run has left open, as its system does.
func (d *Faulty) Bury() {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, f := range d.open {
		f.Close()
	}
	d.open = nil
}

// Struck reports whether there was a call with the number At.
func (d *Faulty) Struck() bool { return d.At > 0 && len(d.Calls()) >= d.At }

func (d *Faulty) call(what string, paths ...string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.dead {
		return ErrDead
	}
	if d.Look != nil {
		d.mu.Unlock()
		d.Look()
		d.mu.Lock()
	}
	d.calls = append(d.calls, fmt.Sprint(what, paths))
	if len(d.calls) != d.At {
		return nil
	}
	if d.dead = d.Dies; d.dead {
		return ErrDead
	}
	return ErrInjected
}

func ask[T any](d *Faulty, what, path string, do func() (T, error)) (T, error) {
	if err := d.call(what, path); err != nil {
		var none T
		return none, &fs.PathError{Op: what, Path: path, Err: err}
	}
	return do()
}

func (d *Faulty) act(what, path string, do func() error) error {
	_, err := ask(d, what, path, func() (struct{}, error) { return struct{}{}, do() })
	return err
}

// OpenFile implements files.System.
func (d *Faulty) OpenFile(path string, flag int, mode fs.FileMode) (files.File, error) {
	return ask(d, "open", path, func() (files.File, error) {
		f, err := d.Beneath.OpenFile(path, flag, mode)
		if err != nil {
			return nil, err
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		d.open = append(d.open, f)
		return faultyFile{f, d}, nil
	})
}

// Stat implements files.System.
func (d *Faulty) Stat(path string) (fs.FileInfo, error) {
	return ask(d, "stat", path, func() (fs.FileInfo, error) { return d.Beneath.Stat(path) })
}

// Lstat implements files.System.
func (d *Faulty) Lstat(path string) (fs.FileInfo, error) {
	return ask(d, "lstat", path, func() (fs.FileInfo, error) { return d.Beneath.Lstat(path) })
}

// ReadDir implements files.System.
func (d *Faulty) ReadDir(path string) ([]fs.DirEntry, error) {
	return ask(d, "readdir", path, func() ([]fs.DirEntry, error) { return d.Beneath.ReadDir(path) })
}

// RealPath implements files.System.
func (d *Faulty) RealPath(path string) (string, error) {
	return ask(d, "realpath", path, func() (string, error) { return d.Beneath.RealPath(path) })
}

// Mkdir implements files.System.
func (d *Faulty) Mkdir(path string, mode fs.FileMode) error {
	return d.act("mkdir", path, func() error { return d.Beneath.Mkdir(path, mode) })
}

// Remove implements files.System.
func (d *Faulty) Remove(path string) error {
	return d.act("remove", path, func() error { return d.Beneath.Remove(path) })
}

// Rename implements files.System.
func (d *Faulty) Rename(from, to string) error {
	return d.act("rename", from, func() error { return d.Beneath.Rename(from, to) })
}

// Link implements files.System.
func (d *Faulty) Link(from, to string) error {
	return d.act("link", from, func() error { return d.Beneath.Link(from, to) })
}

// Exchange implements files.System.
func (d *Faulty) Exchange(one, two string) error {
	return d.act("exchange", one, func() error { return d.Beneath.Exchange(one, two) })
}

type faultyFile struct {
	files.File
	d *Faulty
}

func (f faultyFile) Write(b []byte) (int, error) {
	err := f.d.call("write", f.Name())
	if err == nil {
		return f.File.Write(b)
	}
	n := 0
	if f.d.Half && len(f.d.Calls()) == f.d.At {
		n, _ = f.File.Write(b[:len(b)/2])
	}
	return n, &fs.PathError{Op: "write", Path: f.Name(), Err: err}
}

func (f faultyFile) Read(b []byte) (int, error) {
	return ask(f.d, "read", f.Name(), func() (int, error) { return f.File.Read(b) })
}

func (f faultyFile) ReadAt(b []byte, at int64) (int, error) {
	return ask(f.d, "readat", f.Name(), func() (int, error) { return f.File.ReadAt(b, at) })
}

func (f faultyFile) Seek(at int64, whence int) (int64, error) {
	return ask(f.d, "seek", f.Name(), func() (int64, error) { return f.File.Seek(at, whence) })
}

func (f faultyFile) Stat() (fs.FileInfo, error) {
	return ask(f.d, "fstat", f.Name(), f.File.Stat)
}

func (f faultyFile) Chmod(mode fs.FileMode) error {
	return f.d.act("chmod", f.Name(), func() error { return f.File.Chmod(mode) })
}

func (f faultyFile) Sync() error { return f.d.call("sync", f.Name()) }

func (f faultyFile) Truncate(size int64) error {
	return f.d.act("truncate", f.Name(), func() error { return f.File.Truncate(size) })
}

func (f faultyFile) Lock() error { return f.d.act("lock", f.Name(), f.File.Lock) }

// Close closes the file whatever it says, as systems do.
func (f faultyFile) Close() error {
	err := f.d.call("close", f.Name())
	if errors.Is(err, ErrDead) {
		return err // Bury does
	}
	f.d.mu.Lock()
	f.d.open = slices.DeleteFunc(f.d.open, func(o files.File) bool { return o == f.File })
	f.d.mu.Unlock()
	return errors.Join(err, f.File.Close())
}
