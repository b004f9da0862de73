// Package files is how every command writes files and reads those that people write: atomic sets of
// outputs, a save that loses no concurrent edit, journals that one run at a time appends to, and
// bounded reads. It goes through a System, so that a test can make any call fail, or let a run die
// at it. Start reading at Outputs, then Text.Save.
//
// What unfinished work is called:
//
//	.drywire-HEX.tmp    a folder with what a run has not published; locked while the run lives
//	.drywire-HEX.done   a whole generation of outputs on its way to its names
//	NAME.before-save    what the last save of NAME took the place of
package files

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// System is the calls that are made of an operating system. Paths and errors are those of package
// os.
type System interface {
	OpenFile(path string, flag int, mode fs.FileMode) (File, error)
	Stat(path string) (fs.FileInfo, error)
	Lstat(path string) (fs.FileInfo, error)
	ReadDir(path string) ([]fs.DirEntry, error)
	RealPath(path string) (string, error) // without links
	Mkdir(path string, mode fs.FileMode) error
	Remove(path string) error
	Rename(from, to string) error
	Link(from, to string) error // fails where to is there
	// both names, at once; errors.ErrUnsupported where the system cannot
	Exchange(one, two string) error
}

// File is an open file or folder of a System. Errors are those of package os.
type File interface {
	io.ReadWriteSeeker
	io.ReaderAt
	io.Closer
	Chmod(mode fs.FileMode) error
	Name() string
	Stat() (fs.FileInfo, error)
	Sync() error
	Truncate(size int64) error
	// Lock locks the file for this process until it is closed: errLocked where another has it,
	// errors.ErrUnsupported where the system, or the file's, knows no locks.
	Lock() error
}

// Disk is the operating system.
type Disk struct{}

type diskFile struct{ *os.File }

// OpenFile implements System.
func (Disk) OpenFile(path string, flag int, mode fs.FileMode) (File, error) {
	f, err := os.OpenFile(path, flag, mode)
	if err != nil {
		return nil, err
	}
	return diskFile{f}, nil
}

// Stat implements System.
func (Disk) Stat(path string) (fs.FileInfo, error) { return os.Stat(path) }

// Lstat implements System.
func (Disk) Lstat(path string) (fs.FileInfo, error) { return os.Lstat(path) }

// ReadDir implements System.
func (Disk) ReadDir(path string) ([]fs.DirEntry, error) { return os.ReadDir(path) }

// RealPath implements System.
func (Disk) RealPath(path string) (string, error) { return filepath.EvalSymlinks(path) }

// Mkdir implements System.
func (Disk) Mkdir(path string, mode fs.FileMode) error { return os.Mkdir(path, mode) }

// Remove implements System.
func (Disk) Remove(path string) error { return os.Remove(path) }

// Rename implements System.
func (Disk) Rename(from, to string) error { return os.Rename(from, to) }

// Link implements System.
func (Disk) Link(from, to string) error { return os.Link(from, to) }

// Exchange implements System.
func (Disk) Exchange(one, two string) error { return exchange(one, two) }

func (f diskFile) Lock() error { return lock(f.File) }

var errLocked = errors.New("is in use by another run")

// Open opens a file for reading. What is no regular file is refused: a pipe would be waited for, a
// device may never end. A generation of outputs that a run has left on its way to that folder is
// completed first. An error names the file.
func Open(sys System, path string) (File, int64, error) {
	if err := Settle(sys, filepath.Dir(path)); err != nil {
		return nil, 0, err
	}
	return openRegular(sys, path, os.O_RDONLY)
}

func openRegular(sys System, path string, flag int) (File, int64, error) {
	info, err := sys.Stat(path) // before opening: opening a device may do something
	if err == nil {
		err = regular(info)
	}
	if err != nil && !(errors.Is(err, fs.ErrNotExist) && flag&os.O_CREATE != 0) {
		return nil, 0, Named(path, err)
	}
	f, err := sys.OpenFile(path, flag|nonblock, 0o666) // should it have become a pipe since
	if err != nil {
		return nil, 0, Named(path, err)
	}
	if info, err = f.Stat(); err == nil {
		err = regular(info)
	}
	if err != nil {
		f.Close()
		return nil, 0, Named(path, err)
	}
	return f, info.Size(), nil
}

// NotRegular is what is neither read nor written over.
type NotRegular string

func (e NotRegular) Error() string { return string(e) }

const (
	aFolder NotRegular = "is a folder"
	aDevice NotRegular = "is no plain file: pipes and devices are neither read nor written"
)

// Piped reports whether an error is of what gives a stream, which can be piped into a run instead.
func Piped(err error) bool {
	var odd NotRegular
	return errors.As(err, &odd) && odd == aDevice
}

func regular(info fs.FileInfo) error {
	switch {
	case info.IsDir():
		return aFolder
	case !info.Mode().IsRegular():
		return aDevice
	}
	return nil
}

// Begin reads a file from its beginning, at most that many bytes. The errors are those of Open, and
// of reading; they name the file.
func Begin(sys System, path string, most int64) ([]byte, error) {
	f, _, err := Open(sys, path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most))
	return text, Named(path, err)
}

// Read reads a whole file of at most that many bytes. A longer one is an error. See Open.
func Read(sys System, path string, most int64) ([]byte, error) {
	f, _, err := Open(sys, path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readAll(f, path, most)
}

func readAll(f File, path string, most int64) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, Named(path, err)
	}
	if int64(len(text)) > most {
		return nil, fmt.Errorf("%s: is longer than %d bytes", path, most)
	}
	return text, nil
}

// Named puts the path before an error in place of the name of the system call.
func Named(path string, err error) error {
	var pe *fs.PathError
	var le *os.LinkError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &pe):
		err = pe.Err
	case errors.As(err, &le):
		err = le.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// syncFolder makes what was done to a folder's names last through a power cut, where the system
// can.
func syncFolder(sys System, path string) error {
	d, err := sys.OpenFile(path, os.O_RDONLY, 0)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !cannotSync(err) {
		return err
	}
	return nil
}

// hold locks a folder until it is closed. Where there are no locks, it only looks like it.
func hold(sys System, path string) (io.Closer, error) {
	d, err := sys.OpenFile(path, os.O_RDONLY, 0)
	if err != nil {
		return nil, err
	}
	switch err := d.Lock(); {
	case err == nil:
		return d, nil
	case errors.Is(err, errors.ErrUnsupported):
		d.Close() // an open folder cannot be renamed everywhere
		return io.NopCloser(nil), nil
	default:
		d.Close()
		return nil, err
	}
}

// patience is how long one run waits while another gives its outputs their names in the same
// folder.
const patience = 10 * time.Second

// holdSoon is hold that waits a while for another run.
func holdSoon(sys System, path string) (io.Closer, error) {
	for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
		d, err := hold(sys, path)
		if !errors.Is(err, errLocked) || time.Since(begun) > patience {
			return d, err
		}
	}
}

const (
	prefix   = ".drywire-"
	unready  = ".tmp"
	ready    = ".done"
	newFiles = "new"
	oldFiles = "old"
	aDay     = 24 * time.Hour // after which what was never locked is taken for dead
)

// staging makes a folder for what is not published, locked by this run.
func staging(sys System, folder string) (path string, locked io.Closer, err error) {
	for range 100 {
		var bits [6]byte
		rand.Read(bits[:]) // never fails
		path = filepath.Join(folder, prefix+hex.EncodeToString(bits[:])+unready)
		if err = sys.Mkdir(path, 0o700); err != nil {
			return "", nil, err
		}
		if locked, err = hold(sys, path); err != nil {
			if errors.Is(err, errLocked) || errors.Is(err, fs.ErrNotExist) {
				continue // another run has taken it for dead before it was locked
			}
			sys.Remove(path)
			return "", nil, err
		}
		if err = sys.Mkdir(filepath.Join(path, newFiles), 0o700); err == nil {
			return path, locked, nil
		}
		locked.Close()
		if !errors.Is(err, fs.ErrNotExist) { // likewise
			sys.Remove(path)
			return "", nil, err
		}
	}
	return "", nil, err
}

// clear removes a staging folder and what is in it, what was to come first.
func clear(sys System, path string) error {
	list, err := sys.ReadDir(path)
	if err != nil {
		return err
	}
	var errs []error
	for _, e := range list { // "new" comes before "old"
		remove := sys.Remove
		if e.IsDir() {
			remove = func(path string) error { return clear(sys, path) }
		}
		errs = append(errs, remove(filepath.Join(path, e.Name())))
	}
	return errors.Join(append(errs, sys.Remove(path))...)
}

// sweep removes what dead runs have left in a folder. What a live run holds is locked. Where there
// are no locks, and of files that older versions made, a day is waited.
func sweep(sys System, folder string) {
	list, _ := sys.ReadDir(folder) // an unreadable folder fails at what comes next
	for _, e := range list {
		if !strings.HasPrefix(e.Name(), ".") || !strings.HasSuffix(e.Name(), unready) {
			continue
		}
		path := filepath.Join(folder, e.Name())
		ours := strings.HasPrefix(e.Name(), prefix)
		info, err := e.Info()
		if err != nil || !ours && !formerName(e.Name()) {
			continue
		}
		old := time.Since(info.ModTime()) > aDay
		if !e.IsDir() {
			if old {
				sys.Remove(path)
			}
			continue
		}
		if !ours {
			continue
		}
		d, err := sys.OpenFile(path, os.O_RDONLY, 0)
		if err != nil {
			continue
		}
		if err := d.Lock(); err == nil || errors.Is(err, errors.ErrUnsupported) && old {
			clear(sys, path)
		}
		d.Close()
	}
}

// formerName reports whether a file is called what a save in progress was called once:
// .NAME.12HEX.tmp
func formerName(name string) bool {
	rest, ok := strings.CutSuffix(name, unready)
	dot := strings.LastIndexByte(rest, '.')
	if !ok || dot < 1 {
		return false
	}
	bits, err := hex.DecodeString(rest[dot+1:])
	return err == nil && len(bits) == 6
}

// Temporary makes a folder that is this run's own, among the system's temporary ones, and sweeps
// those of dead runs there. remove removes it with the files in it. The error is the file system's,
// and names the folder for temporary ones.
func Temporary(sys System) (path string, remove func(), err error) {
	folder := os.TempDir()
	sweep(sys, folder)
	path, locked, err := staging(sys, folder)
	if err != nil {
		return "", nil, Named(folder, err)
	}
	return filepath.Join(path, newFiles), func() {
		clear(sys, path)
		locked.Close()
	}, nil
}
