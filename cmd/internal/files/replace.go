package files

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// beforeSave ends the name under which a save keeps what it took the place of.
const beforeSave = ".before-save"

// Text is a file of text that people change in editors while a program saves it too.
type Text struct {
	Sys  System
	Path string // without links
	Most int64  // bytes of it that are read

	kept []byte // what the last save took the place of
}

// Changed is a text that is not what it was when it was read. Nothing is lost: it is where it was.
type Changed struct {
	Theirs []byte
	Gone   bool
}

func (e Changed) Error() string {
	if e.Gone {
		return "the file is no longer there"
	}
	return "the file has changed on disk"
}

// Save puts a text in the place of what the file held when it was read; nil where there was none.
// Where it holds something else, that stays, and the error is a Changed.
//
// The two texts change places in one step. What came out is looked at, and put back where it is not
// what was read: somebody has saved in between. What was displaced is kept beside the file until
// the next save, for an editor that has the file open may yet write into it; kept is under which
// names. Where the system cannot exchange names, the file is moved to where it is kept and the text
// linked to its name, which fails where somebody has made a new one: for a moment there is none.
func (t *Text) Save(was, text []byte) (kept []string, err error) {
	sys, folder := t.Sys, filepath.Dir(t.Path)
	now, err := t.read(t.Path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	gone := errors.Is(err, fs.ErrNotExist)
	if gone != (was == nil) || !bytes.Equal(now, was) {
		return nil, Changed{now, gone}
	}
	o, err := Into(sys, folder)
	if err != nil {
		return nil, err
	}
	defer o.Abort()
	if err := o.Text(filepath.Base(t.Path), text); err != nil {
		return nil, err
	}
	if gone {
		o.Fresh(filepath.Base(t.Path))
		err := o.Publish()
		if errors.Is(err, fs.ErrExist) {
			return nil, t.changed()
		}
		return nil, err
	}
	d, err := holdSoon(sys, folder) // two programs that save here take turns
	if err != nil {
		return nil, Named(t.Path, err)
	}
	defer d.Close()
	outer := t.Sys
	sys, done, err := whole(outer)
	if err != nil {
		return nil, Named(t.Path, err)
	}
	t.Sys = sys
	defer func() { t.Sys = outer; done() }()
	staged, beside := filepath.Join(o.stage, newFiles, filepath.Base(t.Path)), t.Path+beforeSave
	if kept, err = t.clear(beside); err != nil {
		return kept, err
	}
	if err := t.replace(staged, beside, was, text); err != nil {
		return kept, err
	}
	t.kept = bytes.Clone(was)
	kept = append(kept, beside)
	if err := syncFolder(sys, folder); err != nil {
		return kept, fmt.Errorf("%s: is saved, but may not outlast a power cut: %w", t.Path, bare(err))
	}
	return kept, nil
}

func (t *Text) read(path string) ([]byte, error) {
	f, _, err := openRegular(t.Sys, path, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readAll(f, path, t.Most)
}

// changed is what the file holds now as an error.
func (t *Text) changed() error {
	now, err := t.read(t.Path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return Changed{now, err != nil}
}

// clear makes the name free under which the last save kept what it displaced. Where somebody has
// written into that since, it goes on being kept, under the name that is returned.
func (t *Text) clear(beside string) ([]string, error) {
	last, err := t.read(beside)
	if errors.Is(err, fs.ErrNotExist) || err == nil && (t.kept == nil || bytes.Equal(last, t.kept)) {
		return nil, nil // what takes its place removes it
	}
	to, err := free(t.Sys, beside)
	if err == nil {
		err = t.Sys.Rename(beside, to)
	}
	if err != nil {
		return nil, Named(beside, err)
	}
	return []string{to}, nil
}

// free is a name that is not taken: the given one or with a number.
func free(sys System, path string) (string, error) {
	for k := 1; ; k++ {
		name := path
		if k > 1 {
			name = fmt.Sprintf("%s-%d", path, k)
		}
		if _, err := sys.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name, nil
		} else if err != nil {
			return "", err
		}
	}
}

// replace puts the staged file in the text's place, and leaves beside what was there.
func (t *Text) replace(staged, beside string, was, text []byte) error {
	sys := t.Sys
	// so that the exchange leaves what it displaces under its name, should the run die there
	if err := sys.Rename(staged, beside); err != nil {
		return Named(t.Path, err)
	}
	err := sys.Exchange(beside, t.Path)
	if errors.Is(err, fs.ErrNotExist) {
		sys.Remove(beside)
		return Changed{Gone: true}
	}
	if errors.Is(err, errors.ErrUnsupported) {
		if err := sys.Rename(beside, staged); err != nil {
			return Named(t.Path, err)
		}
		return t.move(staged, beside, was)
	}
	if err != nil {
		sys.Remove(beside)
		return Named(t.Path, err)
	}
	out, fault := t.read(beside)
	if fault == nil && bytes.Equal(out, was) {
		return nil
	}
	// Put it back. What comes out now should be what was put in; if it is not, somebody has saved
	// once more, and that is put back.
	for in := text; ; {
		if err := sys.Exchange(beside, t.Path); err != nil {
			return fmt.Errorf("%s: was changed by somebody else while it was saved; theirs is kept in %s: %w", t.Path, beside, bare(err))
		}
		again, err := t.read(beside)
		if err == nil && bytes.Equal(again, in) {
			if bytes.Equal(in, text) {
				sys.Remove(beside)
			}
			if fault != nil && !errors.As(fault, new(NotRegular)) {
				return fault
			}
			return t.changed()
		}
		in, out = out, again
		if err != nil {
			return fmt.Errorf("%s: was changed by somebody else while it was saved; an earlier text is kept in %s: %w", t.Path, beside, err)
		}
	}
}

// move is replace where names cannot be exchanged.
func (t *Text) move(staged, beside string, was []byte) error {
	sys := t.Sys
	if err := sys.Rename(t.Path, beside); errors.Is(err, fs.ErrNotExist) {
		return Changed{Gone: true}
	} else if err != nil {
		return Named(t.Path, err)
	}
	out, err := t.read(beside)
	ours := err == nil && bytes.Equal(out, was)
	if ours {
		if err = placeNew(sys, staged, t.Path); err == nil {
			return nil
		}
	}
	// Put it back, unless there is a newer one.
	back := placeNew(sys, beside, t.Path)
	switch {
	case back == nil:
		sys.Remove(beside)
	case !errors.Is(back, fs.ErrExist):
		return fmt.Errorf("%s: could not be put back and is kept in %s: %w", t.Path, beside, bare(back))
	}
	if ours && !errors.Is(err, fs.ErrExist) {
		return Named(t.Path, err)
	}
	return t.changed()
}
