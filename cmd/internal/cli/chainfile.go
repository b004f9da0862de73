package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"drywire/chains"
	"drywire/cmd/internal/cabinet"
	"drywire/cmd/internal/files"
	"drywire/dsp/section"
	"drywire/samples"
)

// chainFile is a chain file that was read and parsed.
type chainFile struct {
	*chains.File
	name   string // what messages call it
	source []byte
	folder string // what the recording's path is relative to
}

// mostRead is how much of a file is read before it is known to be a chain file; Parse takes less.
const mostRead = 1 << 20

// readChainFile reads the chain file at path, or from standard input for "-", and the impulse responses that it names.
func readChainFile(s streams, path string) (*chainFile, error) {
	f, err := openChainFile(s, path)
	if err != nil {
		return nil, err
	}
	err = cabinet.Read(f.File, f.name, f.source, func(path string) (*samples.Reader, func(), error) {
		r, err := samples.Open(f.beside(path))
		if err != nil {
			return nil, nil, fmt.Errorf("impulse response %w", err)
		}
		return r, func() { r.Close() }, nil
	})
	if err != nil {
		return nil, err
	}
	return f, nil
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
func openChainFile(s streams, path string) (*chainFile, error) {
	if path == "-" {
		src, err := io.ReadAll(io.LimitReader(s.in, mostRead))
		if err != nil {
			return nil, fmt.Errorf("standard input: %w", err)
		}
		return parseChainFile("standard input", src, ".")
	}
	src, err := files.Begin(s.disk, path, mostRead)
	if err != nil {
		hint := ""
		if errors.Is(err, fs.ErrNotExist) {
			if plain := strings.TrimSuffix(path, ".yaml"); slices.Contains(chains.Shipped(), plain) {
				hint = fmt.Sprintf("; one of that name comes with the program: drywire new --from %s", plain)
			}
		}
		if errors.As(err, new(files.NotRegular)) {
			hint = "; - is standard input"
		}
		return nil, fmt.Errorf("%w%s", err, hint)
	}
	return parseChainFile(path, src, filepath.Dir(path))
}

func parseChainFile(name string, src []byte, folder string) (*chainFile, error) {
	if bytes.HasPrefix(src, []byte("RIFF")) {
		return nil, misusef("%s is a WAV file, not a chain file; a chain file names its recording, or give one with --recording", name)
	}
	f, err := chains.Parse(name, src)
	if err != nil {
		return nil, err
	}
	return &chainFile{File: f, name: name, source: src, folder: folder}, nil
}

// take is the take of that name, or the first; assumed says that it was not named and there are more.
func (f *chainFile) take(name string) (c *chains.Chain, assumed bool, err error) {
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
