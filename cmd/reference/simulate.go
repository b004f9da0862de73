package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Waveforms is what a circuit simulator computed: the values of every vector at every one of its
// own points.
type Waveforms struct {
	Plot   string   // what the simulator calls the analysis
	Names  []string // lower case; the first is time in a transient
	Values [][]float64
	Took   time.Duration // of the whole program
}

// Vector is the values of a name, or nil.
func (w *Waveforms) Vector(name string) []float64 {
	for k, n := range w.Names {
		if n == name {
			return w.Values[k]
		}
	}
	return nil
}

// command is how a deck is run, as printed beside every stored result.
const command = "ngspice -b -r out.raw deck.cir"

// Simulate runs a deck with one analysis. The simulator ends with status 0 where it gave up
// half-way, so the caller must look at the last time.
func Simulate(ctx context.Context, deck string) (*Waveforms, error) {
	start := time.Now()
	raw, err := simulateRaw(ctx, deck)
	took := time.Since(start)
	if err != nil {
		return nil, err
	}
	w, err := readRaw(raw)
	if err != nil {
		return nil, err
	}
	w.Took = took
	return w, nil
}

func simulateRaw(ctx context.Context, deck string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "reference")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	in, out := filepath.Join(dir, "deck.cir"), filepath.Join(dir, "out.raw")
	if err := os.WriteFile(in, []byte(deck), 0o644); err != nil {
		return nil, err
	}
	log, err := exec.CommandContext(ctx, "ngspice", "-b", "-r", out, in).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("ngspice: %w\n%s", err, tail(log, 600))
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		return nil, fmt.Errorf("ngspice wrote no data\n%s", tail(log, 600))
	}
	return raw, nil
}

// Version is what the simulator calls itself.
func Version(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "ngspice", "--version").Output()
	if err != nil {
		return "", fmt.Errorf("ngspice does not run (package ngspice of the distribution): %w", err)
	}
	m := regexp.MustCompile(`ngspice-\S+`).Find(out)
	if m == nil {
		return "", errors.New("ngspice does not tell its version")
	}
	return string(m), nil
}

func tail(b []byte, n int) []byte { return b[max(0, len(b)-n):] }

// readRaw reads the first plot of a binary raw file.
func readRaw(raw []byte) (*Waveforms, error) {
	plots, err := readPlots(raw)
	if err != nil {
		return nil, err
	}
	return plots[0], nil
}

// readPlots reads a binary raw file. A complex vector NAME becomes two, NAME and NAME.imag.
func readPlots(raw []byte) ([]*Waveforms, error) {
	r := bufio.NewReader(bytes.NewReader(raw))
	var plots []*Waveforms
	for {
		if _, err := r.Peek(1); err != nil {
			break
		}
		w, err := readPlot(r)
		if err != nil {
			return nil, err
		}
		plots = append(plots, w)
	}
	if len(plots) == 0 {
		return nil, errors.New("raw file is empty")
	}
	return plots, nil
}

func readPlot(r *bufio.Reader) (*Waveforms, error) {
	w := &Waveforms{}
	vectors, points, parts := 0, 0, 1
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return nil, fmt.Errorf("raw file ends in its header: %w", err)
		}
		key, value, _ := strings.Cut(strings.TrimSpace(line), ":")
		value = strings.TrimSpace(value)
		switch key {
		case "Plotname":
			w.Plot = value
		case "Flags":
			if value == "complex" {
				parts = 2
			}
		case "No. Variables":
			vectors, err = strconv.Atoi(value)
		case "No. Points":
			points, err = strconv.Atoi(value)
		case "Variables":
			for range vectors {
				line, err := r.ReadString('\n')
				if err != nil {
					return nil, err
				}
				f := strings.Fields(line)
				if len(f) < 3 {
					return nil, fmt.Errorf("raw file: odd variable %q", line)
				}
				for _, suffix := range []string{"", ".imag"}[:parts] {
					w.Names = append(w.Names, strings.ToLower(f[1])+suffix)
					w.Values = append(w.Values, make([]float64, points))
				}
			}
		case "Binary":
			buf := make([]byte, 8*len(w.Names))
			for p := range points {
				if _, err := io.ReadFull(r, buf); err != nil {
					return nil, fmt.Errorf("raw file is cut short at point %d of %d: %w", p, points, err)
				}
				for v := range w.Values {
					w.Values[v][p] = math.Float64frombits(binary.LittleEndian.Uint64(buf[8*v:]))
				}
			}
			return w, nil
		}
		if err != nil {
			return nil, fmt.Errorf("raw file: %s: %w", key, err)
		}
	}
}

// resample takes a vector at even times k·step, k from 0 to count-1, from the simulator's own
// points by the cubic through the four around.
func resample(t, v []float64, step float64, count int) []float64 {
	out := make([]float64, count)
	j := 1 // the stretch from t[j] to t[j+1]
	for k := range out {
		x := float64(k) * step
		for j < len(t)-3 && t[j+1] < x {
			j++
		}
		out[k] = cubic(t[j-1:j+3], v[j-1:j+3], x)
	}
	return out
}

// cubic is the polynomial through four points, at x, by Neville's scheme.
func cubic(t, v []float64, x float64) float64 {
	var p [4]float64
	copy(p[:], v)
	for d := 1; d < 4; d++ {
		for i := 0; i+d < 4; i++ {
			p[i] = ((x-t[i+d])*p[i] + (t[i]-x)*p[i+1]) / (t[i] - t[i+d])
		}
	}
	return p[0]
}
