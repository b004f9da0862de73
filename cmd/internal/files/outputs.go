package files

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
)

// Outputs is the files that a run writes into one folder: a generation. They get their names all
// together when the run has succeeded; a run that fails, is interrupted or meets a full disk leaves
// none of them, and no folder that it made.
//
// They wait in a folder of their own. To publish them, that is given another name (from here on the
// generation will come), the files of those names that are there are moved away, and when none is
// left the new ones are moved in: at no time is there a file of either beside one of the other. A
// run that dies in between leaves the folder, by which the next one that writes or reads here goes
// on. One file alone takes its place by one rename.
type Outputs struct {
	sys    System
	made   string // the first folder that had to be made; "" for none
	folder string
	stage  string
	locked io.Closer
	names  []string
	fresh  map[string]bool // those that may not be there

	scratches atomic.Int64
}

// Into prepares a folder for outputs, and makes it where there is none. It sweeps what dead runs
// have left there. An error names the folder.
func Into(sys System, path string) (*Outputs, error) {
	o := &Outputs{sys: sys, folder: path, fresh: map[string]bool{}}
	var missing []string
	for at := filepath.Clean(path); ; at = filepath.Dir(at) {
		info, err := sys.Stat(at)
		if err == nil && !info.IsDir() {
			return nil, fmt.Errorf("%s: is a file, so no folder can be here", at)
		}
		if err == nil || at == filepath.Dir(at) {
			break
		}
		missing = append(missing, at)
	}
	for k := len(missing) - 1; k >= 0; k-- {
		err := sys.Mkdir(missing[k], 0o777)
		if err != nil && !errors.Is(err, fs.ErrExist) { // another run's
			o.Abort()
			return nil, fmt.Errorf("output folder %w", Named(path, err))
		}
		if err == nil && o.made == "" {
			o.made = missing[k]
		}
	}
	sweep(sys, path)
	err := Settle(sys, path)
	if err == nil {
		if o.stage, o.locked, err = staging(sys, path); err != nil {
			err = fmt.Errorf("output folder %w", Named(path, err))
		}
	}
	if err != nil {
		o.Abort()
		return nil, err
	}
	return o, nil
}

// IntoFor is Into for one file: a link is followed to the folder of what it stands for. It returns
// the file's name there. The error is Into's.
func IntoFor(sys System, path string) (*Outputs, string, error) {
	if real, err := sys.RealPath(path); err == nil {
		path = real
	}
	o, err := Into(sys, filepath.Dir(path))
	return o, filepath.Base(path), err
}

// Create begins a file of that name, with the mode of the one that is there or that of new files.
// It refuses to write over a file to keep (what the run reads) and over what is no regular file. A
// link within the folder is followed. The caller syncs and closes it.
func (o *Outputs) Create(name string, keep ...string) (File, error) {
	name, mode, err := o.place(name, keep)
	if err != nil {
		return nil, err
	}
	path := filepath.Join(o.folder, name)
	f, err := o.sys.OpenFile(filepath.Join(o.stage, newFiles, name), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, Named(path, err)
	}
	if mode != nil {
		if err := keepMode(f, *mode); err != nil {
			f.Close()
			return nil, Named(path, err)
		}
	}
	o.names = append(o.names, name)
	return f, nil
}

// keepMode gives a file the permissions of another.
func keepMode(f File, mode fs.FileMode) error {
	info, err := f.Stat()
	if err == nil && info.Mode().Perm() != mode.Perm() {
		err = f.Chmod(mode.Perm())
	}
	return err
}

// Fresh says that a file may not be there: one that is makes Publish fail.
func (o *Outputs) Fresh(name string) { o.fresh[name] = true }

// Text writes a whole file of that name. See Create. The error is Create's or the file system's,
// and names the file.
func (o *Outputs) Text(name string, content []byte, keep ...string) error {
	f, err := o.Create(name, keep...)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	return Named(filepath.Join(o.folder, name), errors.Join(err, f.Close()))
}

// Scratch is a file without a name. The caller closes it, and removes it by its name where the
// system had to leave it one. The error is the file system's, and names the folder.
func (o *Outputs) Scratch() (File, error) {
	f, err := o.sys.OpenFile(filepath.Join(o.stage, fmt.Sprintf("scratch-%d", o.scratches.Add(1))), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, fmt.Errorf("output folder %w", Named(o.folder, err))
	}
	o.sys.Remove(f.Name()) // a system that cannot remove an open file leaves it to Publish or Abort
	return f, nil
}

// InUse is an output that is read in the same run, so that it cannot be written over.
type InUse struct{ Path string }

func (e InUse) Error() string {
	return e.Path + ": is read in this run, so it is not written over"
}

// place is under which name a file is written, and the mode of the one that is there.
func (o *Outputs) place(name string, keep []string) (string, *fs.FileMode, error) {
	path := filepath.Join(o.folder, name)
	info, err := o.sys.Lstat(path)
	if err == nil && info.Mode()&fs.ModeSymlink != 0 {
		real, err := o.sys.RealPath(path)
		if err != nil {
			return "", nil, fmt.Errorf("%w (a link to what is not there)", Named(path, err))
		}
		folder, err := o.sys.RealPath(o.folder)
		if err != nil {
			return "", nil, Named(o.folder, err)
		}
		if filepath.Dir(real) != folder {
			return "", nil, fmt.Errorf("%s: is a link into another folder; what belongs together is written into one", path)
		}
		name, path = filepath.Base(real), real
	}
	info, err = o.sys.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return name, nil, nil
	}
	if err != nil {
		return "", nil, Named(path, err)
	}
	if info.IsDir() {
		return "", nil, fmt.Errorf("%s: is a folder", path)
	}
	if !info.Mode().IsRegular() {
		return "", nil, fmt.Errorf("%s: is no plain file, so nothing is written over it", path)
	}
	for _, k := range keep {
		if other, err := o.sys.Stat(k); err == nil && os.SameFile(info, other) {
			return "", nil, InUse{path}
		}
	}
	mode := info.Mode()
	return name, &mode, nil
}

// Publish gives all files their names. An error names the file; then all is as it was before,
// unless the error says otherwise.
func (o *Outputs) Publish() error {
	if len(o.names) == 0 {
		o.made = ""
		o.Abort()
		return nil
	}
	if err := syncFolder(o.sys, filepath.Join(o.stage, newFiles)); err != nil {
		return Named(o.folder, err)
	}
	d, err := holdSoon(o.sys, o.folder)
	if err != nil {
		return Named(o.folder, err)
	}
	defer d.Close()
	outer := o.sys
	sys, done, err := whole(outer)
	if err != nil {
		return Named(o.folder, err)
	}
	o.sys = sys
	defer func() { o.sys = outer; done() }()
	if err := settle(o.sys, o.folder); err != nil {
		return err
	}
	if len(o.names) == 1 {
		err = o.publishOne(o.names[0])
	} else {
		err = o.publishAll()
	}
	if err != nil {
		return err
	}
	o.made = ""
	o.Abort() // what is left is the empty folder
	return nil
}

func (o *Outputs) publishOne(name string) error {
	from, to := filepath.Join(o.stage, newFiles, name), filepath.Join(o.folder, name)
	put := o.sys.Rename
	if o.fresh[name] {
		put = func(from, to string) error { return placeNew(o.sys, from, to) }
	}
	if err := put(from, to); err != nil {
		return fmt.Errorf("%s: cannot take its place: %w", to, bare(err))
	}
	if err := syncFolder(o.sys, o.folder); err != nil {
		o.made = ""
		return fmt.Errorf("%s: is written, but may not outlast a power cut: %w", to, bare(err))
	}
	return nil
}

// placeNew gives a file a name that may not be taken.
func placeNew(sys System, from, to string) error {
	err := sys.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	// a file system without links: this leaves a moment between look and rename
	if _, err := sys.Lstat(to); err == nil {
		return fs.ErrExist
	}
	return sys.Rename(from, to)
}

// bare is an error without path and call.
func bare(err error) error {
	if inner := errors.Unwrap(err); inner != nil {
		return inner
	}
	return err
}

func (o *Outputs) publishAll() error {
	coming := strings.TrimSuffix(o.stage, unready) + ready
	if err := o.sys.Mkdir(filepath.Join(o.stage, oldFiles), 0o700); err != nil {
		return Named(o.folder, err)
	}
	if err := o.sys.Rename(o.stage, coming); err != nil {
		return Named(o.folder, err)
	}
	o.stage = coming
	g := generation{o.sys, o.folder, coming}
	err := syncFolder(o.sys, o.folder)
	if err == nil {
		err = g.moveIn()
	}
	if err == nil {
		o.made = ""
		if err = clear(o.sys, coming); err != nil {
			return fmt.Errorf("%s: all is written, but %s could not be removed: %w", o.folder, filepath.Base(coming), bare(err))
		}
		return nil
	}
	again := g.moveOut(o.names)
	if again == nil {
		back := strings.TrimSuffix(coming, ready) + unready
		if again = o.sys.Rename(coming, back); again == nil {
			o.stage = back
			return fmt.Errorf("%s: cannot take their place: %w", o.folder, bare(err))
		}
	}
	o.made = "" // what is there is needed
	return fmt.Errorf("%s: cannot take their place: %w; nor can the old ones (%v): the next run that reads or writes there will finish it", o.folder, bare(err), bare(again))
}

// generation is outputs on their way to their names.
type generation struct {
	sys           System
	folder, stage string
}

// moveIn moves the old files away and, when none is left, the new ones in. It goes on where another
// run has stopped.
func (g generation) moveIn() error {
	list, err := g.sys.ReadDir(filepath.Join(g.stage, newFiles))
	if err != nil && !errors.Is(err, fs.ErrNotExist) { // where it is gone, all is moved
		return err
	}
	for _, e := range list {
		name := filepath.Join(g.folder, e.Name())
		if _, err := g.sys.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			continue
		} else if err != nil {
			return err
		}
		to := filepath.Join(g.stage, oldFiles, e.Name())
		// somebody has put a file here since the other run stopped
		if _, err := g.sys.Lstat(to); err == nil {
			if to, err = free(g.sys, name+beforeSave); err != nil {
				return err
			}
		}
		if err := g.sys.Rename(name, to); err != nil {
			return err
		}
	}
	if err := syncFolder(g.sys, g.folder); err != nil {
		return err
	}
	for _, e := range list {
		if err := g.sys.Rename(filepath.Join(g.stage, newFiles, e.Name()), filepath.Join(g.folder, e.Name())); err != nil {
			return err
		}
	}
	return syncFolder(g.sys, g.folder)
}

// moveOut undoes moveIn as far as it came: the new files go, and then the old ones come.
func (g generation) moveOut(names []string) error {
	for _, name := range names {
		waiting, at := filepath.Join(g.stage, newFiles, name), filepath.Join(g.folder, name)
		if _, err := g.sys.Lstat(waiting); err == nil {
			continue // was not moved in
		}
		if err := g.sys.Rename(at, waiting); err != nil {
			return err
		}
	}
	old, err := g.sys.ReadDir(filepath.Join(g.stage, oldFiles))
	for _, e := range old {
		if err := g.sys.Rename(filepath.Join(g.stage, oldFiles, e.Name()), filepath.Join(g.folder, e.Name())); err != nil {
			return err
		}
	}
	return err
}

// Settle completes what a run that died has left on its way to its names in a folder, and waits for
// one that lives. An error names the folder.
func Settle(sys System, folder string) error {
	coming, err := onTheWay(sys, folder)
	if err != nil || coming == nil {
		return nil // a folder that cannot be listed may yet be read from
	}
	d, err := holdSoon(sys, folder)
	if err != nil {
		return Named(folder, err)
	}
	defer d.Close()
	sys, done, err := whole(sys)
	if err != nil {
		return Named(folder, err)
	}
	defer done()
	return settle(sys, folder)
}

// settle is Settle where the folder is held.
func settle(sys System, folder string) error {
	coming, err := onTheWay(sys, folder)
	if err != nil {
		return Named(folder, err)
	}
	for _, stage := range coming {
		if err = (generation{sys, folder, stage}).moveIn(); err == nil {
			err = clear(sys, stage)
		}
		if err != nil {
			return fmt.Errorf("%s: a run was stopped while it gave its files their names, and that cannot be finished: %w", folder, bare(err))
		}
	}
	return nil
}

// onTheWay is the staging folders of generations that were to get their names.
func onTheWay(sys System, folder string) (paths []string, err error) {
	list, err := sys.ReadDir(folder)
	for _, e := range list {
		if e.IsDir() && strings.HasPrefix(e.Name(), prefix) && strings.HasSuffix(e.Name(), ready) {
			paths = append(paths, filepath.Join(folder, e.Name()))
		}
	}
	return paths, err
}

// Abort gives up what is not published. After Publish it does nothing, so it can be deferred.
func (o *Outputs) Abort() {
	if o.stage != "" {
		if strings.HasSuffix(o.stage, unready) {
			clear(o.sys, o.stage)
		}
		o.locked.Close()
		o.stage = ""
	}
	if o.made == "" {
		return
	}
	for at := filepath.Clean(o.folder); o.sys.Remove(at) == nil && at != o.made; {
		at = filepath.Dir(at)
	}
	o.made = ""
}
