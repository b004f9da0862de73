package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// samplesOfDeck is at how many even times a transient's waveforms are written.
const samplesOfDeck = 100

// leastShare is the least of the whole noise that an element's is written for.
const leastShare = 1e-6

// decks runs every deck NAME.cir of a folder and writes beside it, as NAME.txt, what the simulator
// says: a line per vector and point. The decks themselves are written by the tests of the folder's
// package.
func decks(ctx context.Context, dir, version string, out io.Writer) error {
	files, err := filepath.Glob(filepath.Join(dir, "*.cir"))
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("no deck *.cir in %s", dir)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		raw, err := simulateRaw(ctx, string(text))
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		plots, err := readPlots(raw)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		var b strings.Builder
		fmt.Fprintf(&b, "# %s: ngspice -b -r out.raw %s\n", version, filepath.Base(file))
		num := func(x float64) string { return strconv.FormatFloat(x, 'g', 12, 64) }
		for _, p := range plots {
			switch {
			case p.Plot == "Operating Point":
				for k, name := range p.Names {
					fmt.Fprintln(&b, "op", name, num(p.Values[k][0]))
				}
			case p.Plot == "AC Analysis":
				for k, name := range p.Names {
					if k < 2 || strings.HasSuffix(name, ".imag") {
						continue
					}
					for j, f := range p.Values[0] {
						fmt.Fprintln(&b, "ac", name, num(f), num(p.Values[k][j]), num(p.Values[k+1][j]))
					}
				}
			case strings.HasPrefix(p.Plot, "Noise Spectral Density"):
				for j, f := range p.Values[0] {
					all := p.Vector("onoise_spectrum")[j]
					fmt.Fprintln(&b, "noise", "onoise", num(f), num(all))
					for k, name := range p.Names { // the elements, where the deck asks for them; each has several causes
						if v := p.Values[k][j]; v > all*leastShare && p.Vector(name+"_1overf") != nil {
							fmt.Fprintln(&b, "noise", name, num(f), num(v))
						}
					}
				}
			case p.Plot == "Transient Analysis":
				t := p.Values[0]
				step := 0.0
				if stop := t[len(t)-1]; stop > 0 {
					step = stop / samplesOfDeck
				}
				for k, name := range p.Names[1:] {
					for j, v := range resample(t, p.Values[k+1], step, samplesOfDeck+1) {
						fmt.Fprintln(&b, "tran", name, num(float64(j)*step), num(v))
					}
				}
			}
		}
		if err := os.WriteFile(strings.TrimSuffix(file, ".cir")+".txt", []byte(b.String()), 0o644); err != nil {
			return err
		}
		fmt.Fprintln(out, file, len(plots), "analyses")
	}
	return nil
}
