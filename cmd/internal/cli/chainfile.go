package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/cmd/internal/cabinet"
	"drywire/cmd/internal/inputs"
	"drywire/dsp/section"
	"drywire/samples"
)

// chainFile is a chain file that was read and parsed.
type chainFile struct {
	*board.File
	name   string // what messages call it
	source []byte
	folder string // what the recording's path is relative to
	read   *inputs.Files
}

// unchanged is an error where a file that the run has read is not what it was any more, or where the run was interrupted. It comes before anything gets its name.
func (f *chainFile) unchanged() error { return f.read.Unchanged() }

// mostRead is how much of a file is read before it is known to be a chain file; Parse takes less.
const mostRead = 1 << 20

// readChainFile reads the chain file at path, or from standard input for "-", and the impulse responses that it names.
func readChainFile(s streams, path string) (*chainFile, error) {
	f, err := openChainFile(s, path)
	if err != nil {
		return nil, err
	}
	err = cabinet.Read(f.File, f.name, f.source, func(path string) (*samples.Reader, func(), error) {
		r, err := f.open(f.beside(path))
		if err != nil {
			return nil, nil, fmt.Errorf("impulse response %w", err)
		}
		return r, func() {}, nil
	})
	if err != nil {
		return nil, err
	}
	return f, nil
}

// open opens a sound file, once in a run.
func (f *chainFile) open(path string) (*samples.Reader, error) {
	held, err := f.read.Open(path)
	if err != nil {
		return nil, err
	}
	return samples.NewReader(held, held.Size(), path)
}

// mostPiped is how much of a recording is read from a pipe: a day of 24 bits at 48 kHz and some.
const mostPiped = 16 << 30

// piped opens standard input.
func (f *chainFile) piped() (*samples.Reader, error) {
	held, err := f.read.Piped(mostPiped, samples.Known)
	if err != nil {
		return nil, err
	}
	return samples.NewReader(held, held.Size(), "standard input")
}

// beside is a path that the chain file names, as the system has it.
func (f *chainFile) beside(path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(f.folder, filepath.FromSlash(path))
}

// inputs is all that is read in a run and so not written over.
func (f *chainFile) inputs(r *recording) []string {
	all := []string{r.path, f.name}
	for _, c := range f.Cabinets {
		all = append(all, f.beside(c.Path))
	}
	return all
}

// openChainFile reads the chain file alone.
func openChainFile(s streams, path string) (f *chainFile, err error) {
	read := s.read
	if read == nil { // for completion
		read = inputs.New(context.Background())
	}
	defer func() {
		if f != nil {
			f.read = read
		}
	}()
	if path == "-" {
		read.In = nil // so that nobody takes the rest of it for a recording
		src, err := io.ReadAll(io.LimitReader(s.in, mostRead))
		if err != nil {
			return nil, fmt.Errorf("standard input: %w", err)
		}
		return parseChainFile("standard input", src, ".")
	}
	src, err := read.Text(path, mostRead)
	if err != nil {
		hint := ""
		if errors.Is(err, fs.ErrNotExist) {
			if plain := strings.TrimSuffix(path, ".yaml"); slices.Contains(chains.Shipped(), plain) {
				hint = fmt.Sprintf("; one of that name comes with the program: drywire new --from %s", plain)
			} else if near := nearFile(path); strings.HasSuffix(near, ".yaml") {
				hint = fmt.Sprintf("; did you mean %q?", filepath.Join(filepath.Dir(path), near))
			}
		}
		return nil, fmt.Errorf("%w%s", err, hint)
	}
	return parseChainFile(path, src, filepath.Dir(path))
}

func parseChainFile(name string, src []byte, folder string) (*chainFile, error) {
	if bytes.HasPrefix(src, []byte("RIFF")) {
		return nil, misusef("%s is a WAV file, not a chain file; a chain file names its recording, or give one with --recording", name)
	}
	f, err := file.Parse(name, src)
	if err != nil {
		return nil, err
	}
	return &chainFile{File: f, name: name, source: src, folder: folder, read: inputs.New(context.Background())}, nil
}

// plainPath puts the path first and drops the name of the system call.
func plainPath(path string, err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// take is the take of that name, or the first; assumed says that it was not named and there are more.
func (f *chainFile) take(name string) (c *board.Chain, assumed bool, err error) {
	if name == "" {
		all := f.Chains()
		return all[0], len(all) > 1, nil
	}
	c, err = f.Take(name)
	if err != nil {
		return nil, false, misuse{fmt.Errorf("%s: %w", f.name, err)}
	}
	return c, false, nil
}

// quality is the quality of that name.
func quality(name string) (section.Quality, error) {
	for _, q := range section.Qualities() {
		if q.Name == name {
			return q, nil
		}
	}
	names := qualityNames()
	return section.Quality{}, misuse{unknown("quality", name, names, "there are "+strings.Join(names, ", "))}
}

func qualityNames() []string {
	var names []string
	for _, q := range section.Qualities() {
		names = append(names, q.Name)
	}
	return names
}
