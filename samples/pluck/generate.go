//go:build ignore

// Command generate writes the recordings that ship into the folder it is given: 24-bit WAV, in
// which the full scale stands for 1 V.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"drywire/samples"
	"drywire/samples/pluck"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run generate.go FOLDER")
		os.Exit(2)
	}
	for _, p := range pluck.Pieces() {
		if err := write(filepath.Join(os.Args[1], p.Name+".wav"), p); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

func write(path string, p pluck.Piece) error {
	w, err := samples.Create(path, samples.Format{Rate: pluck.Rate, Channels: 1, Bits: 24})
	if err != nil {
		return err
	}
	defer w.Abort()
	w.Seed = p.Seed
	if err := w.Write(p.Render()); err != nil {
		return err
	}
	if n := w.Clipped(); n > 0 {
		return fmt.Errorf("%s: %d samples clipped", path, n)
	}
	return w.Close()
}
