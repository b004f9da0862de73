package produce

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/file"
	"drywire/dsp"
)

// withCabinets is a parsed file with the impulse responses that it names for its speakers. What may
// be one, package chains says.
func (l *Loader) withCabinets(text *edit.Text) (*board.File, error) {
	var faults file.Faults
	var read []*board.Cabinet
	for _, c := range text.File.Cabinets {
		stamp := l.Folder.Stamp(c.Path)
		key := c.Path + "\x00" + stamp
		if known, ok := l.cabinets.Get(key); ok && stamp != "" {
			read = append(read, known)
			continue
		}
		held, err := l.cabinet(c.Path)
		if err != nil {
			faults = append(faults, file.CabinetFault(text.Name, text.Source, c.Path, "impulse response "+err.Error()))
			continue
		}
		l.cabinets.Add(key, held)
		read = append(read, held)
	}
	if faults != nil {
		return nil, faults
	}
	return text.File.WithCabinets(read), nil
}

func (l *Loader) cabinet(path string) (*board.Cabinet, error) {
	r, done, err := l.Folder.Open(path)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%w; its path is relative to the chain file", err)
		}
		return nil, err
	}
	defer done()
	if r.Channels != 1 {
		return nil, fmt.Errorf("%s: has %d channels; a speaker has one: export the one that you want as a mono file", path, r.Channels)
	}
	x := make([]float64, min(r.Frames(), board.MostCabinetFrames))
	for at := 0; at < len(x); {
		n, err := r.Read(x[at:])
		if at += n; errors.Is(err, io.EOF) {
			x = x[:at]
		} else if err != nil {
			return nil, err
		}
	}
	c, err := board.NewCabinet(path, x, dsp.Hertz(r.Rate))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return c, nil
}
