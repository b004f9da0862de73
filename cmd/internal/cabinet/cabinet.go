// Package cabinet reads the impulse responses that a chain file names for its speakers. What may be one, package chains says.
package cabinet

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/dsp"
	"drywire/samples"
)

// Open opens a path as it is written in the chain file; done closes it. Its errors say what it is that cannot be opened: an impulse response.
type Open func(path string) (r *samples.Reader, done func(), err error)

// Read reads every impulse response of a parsed file, which then holds them. name and source are what Parse got; The
// error is chains.Faults, each with its place in the chain file.
func Read(f *board.File, name string, source []byte, open Open) error {
	var faults file.Faults
	for _, c := range f.Cabinets {
		if err := read(c, open); err != nil {
			faults = append(faults, file.CabinetFault(name, source, c.Path, err.Error()))
		}
	}
	if faults != nil {
		return faults
	}
	return nil
}

func read(c *board.Cabinet, open Open) error {
	r, done, err := open(c.Path)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%w; its path is relative to the chain file", err)
		}
		return err
	}
	defer done()
	if r.Channels != 1 {
		return fmt.Errorf("impulse response %s: has %d channels; a speaker has one: export the one that you want as a mono file", c.Path, r.Channels)
	}
	x := make([]float64, min(r.Frames(), board.MostCabinetFrames))
	for at := 0; at < len(x); {
		n, err := r.Read(x[at:])
		if at += n; errors.Is(err, io.EOF) {
			x = x[:at]
		} else if err != nil {
			return err
		}
	}
	if err := c.Hold(x, dsp.Hertz(r.Rate)); err != nil {
		return fmt.Errorf("impulse response %s: %w", c.Path, err)
	}
	return nil
}
