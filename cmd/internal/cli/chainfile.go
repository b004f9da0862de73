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
	"drywire/chains/edit"
	"drywire/chains/file"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
	"drywire/samples"
)

// chainFile is a chain file that was read, with what it names.
type chainFile struct {
	*produce.Project
	disk disk
}

// unchanged is an error where a file that the run has read is not what it was any more, or where
// the run was interrupted. It comes before anything gets its name.
func (f *chainFile) unchanged() error { return f.disk.read.Unchanged() }

// mostRead is how much of a file is read before it is known to be a chain file; Parse takes less.
const mostRead = 1 << 20

// readChainFile reads the chain file at path, or from standard input for "-", and the impulse
// responses that it names.
func readChainFile(s streams, path string) (*chainFile, error) {
	text, d, err := openChainFile(s, path)
	if err != nil {
		return nil, err
	}
	return projectOf(text, d)
}

// projectOf is a text with the impulse responses that it names.
func projectOf(text *edit.Text, d disk) (*chainFile, error) {
	p, err := produce.NewLoader(d).Open(text)
	if err != nil {
		return nil, err
	}
	return &chainFile{p, d}, nil
}

// withRecording is the file with its recording, or with the one given in its place.
func (f *chainFile) withRecording(ctx context.Context, another string) (*chainFile, error) {
	p, err := f.WithRecording(ctx, another)
	if err != nil {
		return nil, err
	}
	return &chainFile{p, f.disk}, nil
}

// material is what most commands begin with: a chain file, its recording or another one in its
// place, and a quality.
func material(ctx context.Context, s streams, file, another, name string) (f *chainFile, q section.Quality, err error) {
	if q, err = quality(name); err != nil {
		return nil, q, err
	}
	if f, err = readChainFile(s, file); err != nil {
		return nil, q, err
	}
	if err = s.afford(f, f.Chains()...); err != nil {
		return nil, q, err
	}
	f, err = f.withRecording(ctx, another)
	return f, q, err
}

// inputs is all that is read in a run and so not written over.
func (f *chainFile) inputs() []string {
	all := []string{f.Dry.Path, f.Text.Name}
	for _, g := range f.Guitars {
		if g.Recording != nil && g.Recording.File != "" {
			all = append(all, f.disk.Path(g.Recording.File))
		}
	}
	for _, c := range f.Cabinets {
		all = append(all, f.disk.Path(c.Path))
	}
	for _, path := range f.Decks {
		all = append(all, f.disk.Path(path))
	}
	return all
}

// describe says what some chains play.
func (f *chainFile) describe(s streams, chains ...*board.Chain) {
	said := map[string]bool{}
	for _, c := range chains {
		if said[c.RecordingOf] {
			continue
		}
		said[c.RecordingOf] = true
		r := f.DryOf(c)
		long := fmt.Sprintf("%.1f s", r.Seconds())
		if r.Seconds() < 0.95 {
			long = quantity(r.Seconds(), dsp.Seconds)
		}
		of := ""
		if c.RecordingOf != "" {
			of = c.RecordingOf + "'s own, "
		}
		s.printf("Recording  %s%s, %s, %s; full scale is %s peak; load %s\n", of, r.Name, rateText(float64(r.Rate)), long, volts(r.Volts), r.LoadText())
		for _, n := range r.Notes {
			paragraph(s.out, "           ", n, width)
		}
	}
}

// disk is a produce.Folder: that of the chain file, from which it may lead anywhere. Every file is
// opened once in a run.
type disk struct {
	folder string
	read   *inputs.Files
}

// Path implements produce.Folder.
func (d disk) Path(path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(d.folder, filepath.FromSlash(path))
}

// Open implements produce.Folder.
func (d disk) Open(path string) (*samples.Reader, func(), error) {
	if path == produce.Piped {
		return d.Named(path)
	}
	return d.Named(d.Path(path))
}

// mostPiped is how much of a recording is read from a pipe: a day of 24 bits at 48 kHz and some.
const mostPiped = 16 << 30

// Text implements produce.Folder.
func (d disk) Text(path string, most int64) ([]byte, error) {
	return d.read.Text(d.Path(path), most)
}

// Named implements produce.Folder.
func (d disk) Named(path string) (*samples.Reader, func(), error) {
	var held *inputs.File
	var err error
	if path == produce.Piped {
		path = "standard input"
		held, err = d.read.Piped(mostPiped, samples.Known)
	} else {
		if held, err = d.read.Open(path); files.Piped(err) {
			err = fmt.Errorf("%w; what it gives can be piped into standard input, as a recording of the name -", err)
		}
	}
	if err != nil {
		return nil, nil, err
	}
	r, err := samples.NewReader(held, held.Size(), path)
	if err != nil {
		return nil, nil, err
	}
	d.read.AtClose(r.Close) // of what is coded there is a decoded copy
	return r, func() {}, nil
}

// Stamp implements produce.Folder: a run reads every file once, so there is nothing to tell apart.
func (d disk) Stamp(string) string { return "" }

// Near implements produce.Folder.
func (d disk) Near(path string) string { return nearFile(d.Path(path)) }

// nearFile is the file in the folder of a missing one whose name that is probably a slip of; "" for
// none.
func nearFile(path string) string {
	list, err := files.Disk{}.ReadDir(filepath.Dir(path))
	if err != nil {
		return ""
	}
	return produce.Nearest(path, list)
}

// openChainFile reads the chain file alone.
func openChainFile(s streams, path string) (text *edit.Text, d disk, err error) {
	d = disk{".", s.read}
	if d.read == nil { // for completion
		d.read = inputs.New(context.Background(), files.Disk{})
	}
	if path == "-" {
		d.read.In = nil // so that nobody takes the rest of it for a recording
		src, err := io.ReadAll(io.LimitReader(s.in, mostRead))
		if err != nil {
			return nil, d, fmt.Errorf("standard input: %w", err)
		}
		text, err = parseChainFile("standard input", src, produce.Decks(d))
		return text, d, err
	}
	src, err := d.read.Text(path, mostRead)
	if err != nil {
		hint := ""
		if errors.Is(err, fs.ErrNotExist) {
			if plain := strings.TrimSuffix(path, ".yaml"); slices.Contains(chains.Shipped(), plain) {
				hint = fmt.Sprintf("; one of that name comes with the program: drywire new --from %s", plain)
			} else if near := nearFile(path); strings.HasSuffix(near, ".yaml") {
				hint = fmt.Sprintf("; did you mean %q?", filepath.Join(filepath.Dir(path), near))
			}
		}
		if files.Piped(err) {
			hint = "; - is standard input"
		}
		return nil, d, fmt.Errorf("%w%s", err, hint)
	}
	d.folder = filepath.Dir(path)
	text, err = parseChainFile(path, src, produce.Decks(d))
	return text, d, err
}

// parseChainFile parses a chain file; decks reads those of its own, nil where it can have none.
func parseChainFile(name string, src []byte, decks file.Decks) (*edit.Text, error) {
	if bytes.HasPrefix(src, []byte("RIFF")) {
		return nil, misusef("%s is a WAV file, not a chain file; a chain file names its recording, or give one with --recording", name)
	}
	return edit.ReadWith(name, src, decks)
}

// take is the take of that name, or the first; assumed says that it was not named and there are
// more.
func (f *chainFile) take(name string) (c *board.Chain, assumed bool, err error) {
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
