package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"drywire/chains"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
)

// chainFile is a chain file that was read, with what it names.
type chainFile struct {
	*produce.Project
	folder produce.Disk // what paths in it are relative to
}

// mostRead is how much of a file is read before it is known to be a chain file; Parse takes less.
const mostRead = 1 << 20

// readChainFile reads the chain file at path, or from standard input for "-", and the impulse responses that it names.
func readChainFile(s streams, path string) (*chainFile, error) {
	text, folder, err := openChainFile(s, path)
	if err != nil {
		return nil, err
	}
	return projectOf(text, folder)
}

// projectOf is a text with the impulse responses that it names.
func projectOf(text *chains.Text, folder produce.Disk) (*chainFile, error) {
	p, err := produce.NewLoader(folder).Open(text)
	if err != nil {
		return nil, err
	}
	return &chainFile{p, folder}, nil
}

// withRecording is the file with its recording, or with the one given in its place.
func (f *chainFile) withRecording(ctx context.Context, override string) (*chainFile, error) {
	p, err := f.WithRecording(ctx, override)
	if err != nil {
		return nil, err
	}
	return &chainFile{p, f.folder}, nil
}

// material is what most commands begin with: a chain file, its recording or another one in its place, and a quality.
func material(ctx context.Context, s streams, file, override, name string) (f *chainFile, q section.Quality, err error) {
	if q, err = quality(name); err != nil {
		return nil, q, err
	}
	if f, err = readChainFile(s, file); err != nil {
		return nil, q, err
	}
	f, err = f.withRecording(ctx, override)
	return f, q, err
}

// inputs is all that is read in a run and so not written over.
func (f *chainFile) inputs() []string {
	all := []string{f.Dry.Path, f.Text.Name}
	for _, c := range f.Cabinets {
		all = append(all, f.folder.Path(c.Path))
	}
	return all
}

// describe says what is rendered.
func (f *chainFile) describe(s streams) {
	r := f.Dry
	long := fmt.Sprintf("%.1f s", r.Seconds())
	if r.Seconds() < 0.95 {
		long = quantity(r.Seconds(), dsp.Seconds)
	}
	s.printf("Recording  %s, %s, %s; full scale is %s peak; load %s\n", r.Name, rateText(float64(r.Rate)), long, volts(r.Volts), r.LoadText())
	for _, n := range r.Notes {
		paragraph(s.out, "           ", n, width)
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// openChainFile reads the chain file alone.
func openChainFile(s streams, path string) (*chains.Text, produce.Disk, error) {
	if path == "-" {
		src, err := io.ReadAll(io.LimitReader(s.in, mostRead))
		if err != nil {
			return nil, "", fmt.Errorf("standard input: %w", err)
		}
		text, err := parseChainFile("standard input", src)
		return text, ".", err
	}
	f, err := os.Open(path)
	if err != nil {
		hint := ""
		if errors.Is(err, fs.ErrNotExist) {
			if plain := strings.TrimSuffix(path, ".yaml"); slices.Contains(chains.Shipped(), plain) {
				hint = fmt.Sprintf("; one of that name comes with the program: drywire new --from %s", plain)
			}
		}
		return nil, "", fmt.Errorf("%w%s", plainPath(path, err), hint)
	}
	defer f.Close()
	src, err := io.ReadAll(io.LimitReader(f, mostRead))
	if err != nil {
		return nil, "", plainPath(path, err)
	}
	text, err := parseChainFile(path, src)
	return text, produce.Disk(filepath.Dir(path)), err
}

func parseChainFile(name string, src []byte) (*chains.Text, error) {
	if bytes.HasPrefix(src, []byte("RIFF")) {
		return nil, misusef("%s is a WAV file, not a chain file; a chain file names its recording, or give one with --recording", name)
	}
	return chains.ReadText(name, src)
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
func (f *chainFile) take(name string) (c *chains.Chain, assumed bool, err error) {
	if name == "" {
		all := f.Chains()
		return all[0], len(all) > 1, nil
	}
	c, err = f.Take(name)
	if err != nil {
		return nil, false, misuse{fmt.Errorf("%s: %w", f.Text.Name, err)}
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
