package cli

import (
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
	"drywire/samples"
)

// outputs is the files that a run writes into a folder: all of them or none. See files.Outputs.
type outputs struct {
	*files.Outputs
	folder string
	wavs   []*samples.Writer
}

// openFolder prepares a folder for output, and makes it where there is none.
func openFolder(disk files.System, path string) (*outputs, error) {
	o, err := files.Into(disk, path)
	if err != nil {
		return nil, err
	}
	return &outputs{Outputs: o, folder: path}, nil
}

// openFor is openFolder for one file. It returns the file's name in there.
func openFor(disk files.System, path string) (*outputs, string, error) {
	o, name, err := files.IntoFor(disk, path)
	if err != nil {
		return nil, "", err
	}
	return &outputs{Outputs: o, folder: filepath.Dir(path)}, name, nil
}

// wav begins a WAV file of that name in the folder. It refuses to write over a file to keep.
func (o *outputs) wav(name string, f samples.Format, frames int64, keep ...string) (*samples.Writer, error) {
	file, err := o.Create(name, keep...)
	if err != nil {
		return nil, used(err)
	}
	w, err := samples.NewWriter(file, filepath.Join(o.folder, name), f, frames)
	if err != nil {
		file.Close()
		return nil, err
	}
	o.wavs = append(o.wavs, w)
	return w, nil
}

// text writes a text file of that name into the folder. It refuses to write over a file to keep.
func (o *outputs) text(name string, content []byte, keep ...string) error {
	return used(o.Text(name, content, keep...))
}

// writeFiles writes texts by their paths: those of one folder together, none before all are on the
// disk, none over what the run has read, and none where that has changed since.
func writeFiles(disk files.System, texts map[string][]byte, read *inputs.Files, keep ...string) error {
	folders := map[string]*outputs{}
	for _, path := range slices.Sorted(maps.Keys(texts)) {
		content := texts[path]
		if real, err := disk.RealPath(path); err == nil { // a link is followed
			path = real
		}
		out := folders[filepath.Dir(path)]
		if out == nil {
			var err error
			if out, err = openFolder(disk, filepath.Dir(path)); err != nil {
				return err
			}
			defer out.abort()
			folders[out.folder] = out
		}
		if err := out.text(filepath.Base(path), content, keep...); err != nil {
			return err
		}
	}
	if err := read.Unchanged(); err != nil {
		return err
	}
	for _, folder := range slices.Sorted(maps.Keys(folders)) {
		if err := folders[folder].publish(); err != nil {
			return err
		}
	}
	return nil
}

// used makes a misuse of a file that is read and to be written.
func used(err error) error {
	if errors.As(err, new(files.InUse)) {
		return misuse{err}
	}
	return err
}

// publish gives all files their names.
func (o *outputs) publish() error {
	for _, w := range o.wavs {
		if err := w.Close(); err != nil {
			return err
		}
	}
	return o.Publish()
}

// abort gives up what is not published. After publish it does nothing, so it can be deferred.
func (o *outputs) abort() {
	for _, w := range o.wavs {
		w.Abort()
	}
	o.Abort()
}

// fileName makes a name for a file of a take's name: letters and digits of any script, lower-case,
// joined by dashes.
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
