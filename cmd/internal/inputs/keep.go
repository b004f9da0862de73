package inputs

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"drywire/cmd/internal/files"
	"drywire/samples"
)

// SoundEnds are the ends of the names of recordings that can be read.
var SoundEnds = []string{".wav", ".rf64", ".bw64", ".w64", ".flac", ".aif", ".aiff", ".aifc", ".ogg", ".mp3"}

// Sound is a recording that was kept.
type Sound struct {
	Name     string   `json:"name"` // of the file
	Seconds  float64  `json:"seconds"`
	Rate     int      `json:"rate"` // Hz
	Channels int      `json:"channels"`
	Warnings []string `json:"warnings"` // what is odd in it although it could be read
}

// Keep writes a sound that comes in as a stream into a folder, under the last part of a name that
// was proposed for it. It is read through before it has that name: what is no recording that could
// be played leaves nothing behind. A file that is there already stays, and is fs.ErrExist.
func Keep(disk files.System, folder, name string, from io.Reader) (*Sound, error) {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	if !slices.Contains(SoundEnds, strings.ToLower(filepath.Ext(name))) || strings.HasPrefix(name, ".") || strings.ContainsFunc(name, func(c rune) bool { return c < ' ' || c == 0x7f }) || len(name) > 200 {
		return nil, fmt.Errorf("%q is not the name of a recording: it ends in %s", name, strings.Join(SoundEnds, ", "))
	}
	out, err := files.Into(disk, folder)
	if err != nil {
		return nil, err
	}
	defer out.Abort()
	f, err := out.Create(name)
	if err != nil {
		return nil, err
	}
	size, err := io.Copy(f, from)
	var sound *Sound
	if err == nil {
		sound, err = heard(f, size, name)
	}
	if err == nil {
		err = f.Sync()
	}
	known := err == nil && same(disk, filepath.Join(folder, name), f, size)
	if err := errors.Join(err, f.Close()); err != nil || known {
		return sound, err
	}
	out.Fresh(name)
	return sound, out.Publish()
}

// same reports whether a file is there that holds the same bytes.
func same(disk files.System, path string, as io.ReaderAt, size int64) bool {
	f, length, err := files.Open(disk, path)
	if err != nil {
		return false
	}
	defer f.Close()
	if length != size {
		return false
	}
	one, two := make([]byte, 1<<16), make([]byte, 1<<16)
	for at := int64(0); at < size; {
		n := int(min(int64(len(one)), size-at))
		if _, err := f.ReadAt(one[:n], at); err != nil && err != io.EOF {
			return false
		}
		if _, err := as.ReadAt(two[:n], at); err != nil && err != io.EOF || !bytes.Equal(one[:n], two[:n]) {
			return false
		}
		at += int64(n)
	}
	return true
}

// heard reads a sound to its end.
func heard(from io.ReaderAt, size int64, name string) (*Sound, error) {
	r, err := samples.NewReader(from, size, name)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if err := r.RecordingRate(); err != nil {
		return nil, err
	}
	block := make([]float64, 1<<14)
	for {
		if _, err := r.Read(block); err == io.EOF {
			break
		} else if err != nil {
			return nil, err
		}
	}
	return &Sound{Name: name, Seconds: float64(r.Frames()) / float64(r.Rate), Rate: r.Rate, Channels: r.Channels, Warnings: r.Warnings}, nil
}
