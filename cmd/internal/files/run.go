package files

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Run is a System that can be closed while others still work with it: from then on nothing changes
// on it, and what was not published is gone. It is how a run is ended that does not come back by
// itself in time. Make one with NewRun.
type Run struct {
	beneath System

	mu    sync.RWMutex // held for reading by what changes something, for writing to end that
	ended bool

	making sync.Mutex
	made   []string // folders, in the order in which they were made

	wrote atomic.Bool
}

// NewRun is a run on a system.
func NewRun(beneath System) *Run { return &Run{beneath: beneath} }

// ErrEnded is what changes to the files of a run that has ended come to.
var ErrEnded = errors.New("the run has ended")

// End lets nothing change any more, and removes what the run has not published: its staging folders
// and the folders that it made for them. What belongs together (giving outputs their names, a save)
// is finished first. ok is false where that took longer than the patience: then nothing was
// removed, and the next run that reads or writes there goes on. wrote says that something lasts:
// outputs have their names, or a journal has lines.
func (r *Run) End(patience time.Duration) (wrote, ok bool) {
	for begun := time.Now(); !r.mu.TryLock(); time.Sleep(time.Millisecond) {
		if time.Since(begun) > patience {
			return r.wrote.Load(), false
		}
	}
	r.ended = true
	r.mu.Unlock()
	r.making.Lock()
	defer r.making.Unlock()
	for k := len(r.made) - 1; k >= 0; k-- {
		path := r.made[k]
		if name := filepath.Base(path); strings.HasPrefix(name, prefix) && strings.HasSuffix(name, unready) {
			clear(r.beneath, path)
		} else {
			r.beneath.Remove(path) // where it is empty
		}
	}
	r.made = nil
	return r.wrote.Load(), true
}

// change does what changes something, where the run has not ended.
func (r *Run) change(do func() error) error {
	r.mu.RLock()
	defer r.mu.RUnlock()
	if r.ended {
		return ErrEnded
	}
	return do()
}

// whole is the system for changes that belong together: a run does not end between them. done has
// to be called after the last.
func whole(sys System) (same System, done func(), err error) {
	r, ok := sys.(*Run)
	if !ok {
		return sys, func() {}, nil
	}
	r.mu.RLock()
	if r.ended {
		r.mu.RUnlock()
		return nil, nil, ErrEnded
	}
	r.wrote.Store(true)
	return r.beneath, r.mu.RUnlock, nil
}

// OpenFile implements System.
func (r *Run) OpenFile(path string, flag int, mode fs.FileMode) (f File, err error) {
	if flag&(os.O_CREATE|os.O_WRONLY|os.O_RDWR|os.O_TRUNC) == 0 {
		return r.beneath.OpenFile(path, flag, mode)
	}
	err = r.change(func() (err error) {
		f, err = r.beneath.OpenFile(path, flag, mode)
		return err
	})
	if err != nil {
		return nil, err
	}
	// what is made anew waits in a staging folder; anything else is a journal, which is there to
	// last
	return runFile{f, r, flag&os.O_EXCL == 0}, nil
}

// runFile is a file that a run writes.
type runFile struct {
	File
	run   *Run
	lasts bool
}

func (f runFile) Write(b []byte) (n int, err error) {
	err = f.run.change(func() (err error) {
		n, err = f.File.Write(b)
		if f.lasts {
			f.run.wrote.Store(true)
		}
		return err
	})
	return n, err
}

func (f runFile) Truncate(size int64) error {
	return f.run.change(func() error { return f.File.Truncate(size) })
}

// Stat implements System.
func (r *Run) Stat(path string) (fs.FileInfo, error) { return r.beneath.Stat(path) }

// Lstat implements System.
func (r *Run) Lstat(path string) (fs.FileInfo, error) { return r.beneath.Lstat(path) }

// ReadDir implements System.
func (r *Run) ReadDir(path string) ([]fs.DirEntry, error) { return r.beneath.ReadDir(path) }

// RealPath implements System.
func (r *Run) RealPath(path string) (string, error) { return r.beneath.RealPath(path) }

// Mkdir implements System.
func (r *Run) Mkdir(path string, mode fs.FileMode) error {
	return r.change(func() error {
		err := r.beneath.Mkdir(path, mode)
		if err == nil {
			r.making.Lock()
			r.made = append(r.made, path)
			r.making.Unlock()
		}
		return err
	})
}

// Remove implements System.
func (r *Run) Remove(path string) error {
	return r.change(func() error { return r.beneath.Remove(path) })
}

// Rename implements System.
func (r *Run) Rename(from, to string) error {
	return r.change(func() error { return r.beneath.Rename(from, to) })
}

// Link implements System.
func (r *Run) Link(from, to string) error {
	return r.change(func() error { return r.beneath.Link(from, to) })
}

// Exchange implements System.
func (r *Run) Exchange(one, two string) error {
	return r.change(func() error { return r.beneath.Exchange(one, two) })
}
