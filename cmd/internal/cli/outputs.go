package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"drywire/samples"
)

// outputs is the files that a run writes. They get their names all together, when the run has succeeded; a run that fails, is interrupted or meets
// a full disk leaves none of them, and no folder that it made.
type outputs struct {
	made    string // the first folder that had to be made; "" for none
	folder  string
	pending []pending
	fresh   []string // names that were not taken before
}

// pending is a file under a temporary name. *samples.Writer is one.
type pending interface {
	Close() error // gives it its name
	Abort()
}

// openFolder prepares a folder for output, and makes it where there is none.
func openFolder(path string) (*outputs, error) {
	o := &outputs{folder: path}
	for at := filepath.Clean(path); ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err == nil && !info.IsDir() {
			return nil, fmt.Errorf("%s: is a file, so no folder can be here", at)
		}
		if err == nil || at == filepath.Dir(at) {
			break
		}
		o.made = at
	}
	if err := os.MkdirAll(path, 0o755); err != nil {
		o.abort()
		return nil, fmt.Errorf("output folder %w", plainPath(path, err))
	}
	sweep(path)
	return o, nil
}

// sweep removes what runs that were killed a day ago or longer have left behind.
func sweep(folder string) {
	left, _ := filepath.Glob(filepath.Join(folder, temporary)) // the pattern is a constant; an odd folder's name only finds nothing
	for _, f := range left {
		if info, err := os.Stat(f); err == nil && time.Since(info.ModTime()) > 24*time.Hour {
			os.Remove(f)
		}
	}
}

// temporary is what unfinished files are called, here and in samples.
const temporary = ".drywire-*.tmp"

// wav begins a WAV file of that name in the folder.
func (o *outputs) wav(name string, f samples.Format, frames int64, keep ...string) (*samples.Writer, error) {
	path, err := o.place(name, keep)
	if err != nil {
		return nil, err
	}
	w, err := samples.CreateFor(path, f, frames)
	if err != nil {
		return nil, err
	}
	o.add(path, w)
	return w, nil
}

// text writes a text file of that name into the folder.
func (o *outputs) text(name string, content []byte, keep ...string) error {
	path, err := o.place(name, keep)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(o.folder, temporary)
	if err != nil {
		return plainPath(path, err)
	}
	t := &textFile{temp: f.Name(), path: path}
	o.add(path, t)
	_, err = f.Write(content)
	err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close())
	if err != nil {
		return plainPath(path, err)
	}
	return nil
}

// place is the path of a file to be written. It refuses to write over a file to keep (what the run reads) and over what is not a plain file, and
// follows a link to what it stands for.
func (o *outputs) place(name string, keep []string) (string, error) {
	path := filepath.Join(o.folder, name)
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return path, nil
	}
	if err != nil {
		return "", plainPath(path, err)
	}
	if info.IsDir() {
		return "", fmt.Errorf("%s: is a folder", path)
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s: is no plain file, so nothing is written over it", path)
	}
	for _, k := range keep {
		if other, err := os.Stat(k); err == nil && os.SameFile(info, other) {
			return "", misusef("%s: is read in this run, so it is not written over", path)
		}
	}
	return path, nil
}

func (o *outputs) add(path string, p pending) {
	if !exists(path) {
		o.fresh = append(o.fresh, path)
	}
	o.pending = append(o.pending, p)
}

// publish gives all files their names.
func (o *outputs) publish() error {
	for k, p := range o.pending {
		if err := p.Close(); err != nil {
			o.pending = o.pending[k:]
			for _, f := range o.fresh {
				os.Remove(f)
			}
			return err
		}
	}
	o.pending, o.made = nil, ""
	return nil
}

// abort gives up what is not published. After publish it does nothing, so it can be deferred.
func (o *outputs) abort() {
	for _, p := range o.pending {
		p.Abort()
	}
	o.pending = nil
	if o.made == "" {
		return
	}
	for at := filepath.Clean(o.folder); os.Remove(at) == nil && at != o.made; {
		at = filepath.Dir(at)
	}
	o.made = ""
}

// textFile is a text under a temporary name.
type textFile struct{ temp, path string }

func (t *textFile) Close() error {
	if err := os.Rename(t.temp, t.path); err != nil {
		t.Abort()
		return fmt.Errorf("%s: cannot take its place: %w", t.path, errors.Unwrap(err))
	}
	return nil
}

func (t *textFile) Abort() { os.Remove(t.temp) }

// fileName makes a name for a file of a take's name: letters and digits of any script, lower-case, joined by dashes.
func fileName(number, count int, take string) string {
	words := strings.FieldsFunc(strings.ToLower(take), func(c rune) bool { return !letterOrDigit(c) })
	name := strings.Join(words, "-")
	for len(name) > 80 { // bytes; file systems end at 255
		r := []rune(name)
		name = strings.TrimRight(string(r[:len(r)-1]), "-")
	}
	digits := 2
	if count > 99 {
		digits = 3
	}
	if name == "" {
		return fmt.Sprintf("%0*d.wav", digits, number)
	}
	return fmt.Sprintf("%0*d-%s.wav", digits, number, name)
}
