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

// Waveforms is what a circuit simulator computed: the values of every vector at every one of its own points.
type Waveforms struct {
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

// Simulate runs a deck. The simulator ends with status 0 where it gave up half-way, so the caller must look at the last time.
func Simulate(ctx context.Context, deck string) (*Waveforms, error) {
	dir, err := os.MkdirTemp("", "reference")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	in, out := filepath.Join(dir, "deck.cir"), filepath.Join(dir, "out.raw")
	if err := os.WriteFile(in, []byte(deck), 0o644); err != nil {
		return nil, err
	}
	start := time.Now()
	log, err := exec.CommandContext(ctx, "ngspice", "-b", "-r", out, in).CombinedOutput()
	took := time.Since(start)
	if err != nil {
		return nil, fmt.Errorf("ngspice: %w\n%s", err, tail(log, 600))
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		return nil, fmt.Errorf("ngspice wrote no data\n%s", tail(log, 600))
	}
	w, err := readRaw(raw)
	if err != nil {
		return nil, err
	}
	w.Took = took
	return w, nil
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

// readRaw reads a binary raw file of real vectors.
func readRaw(raw []byte) (*Waveforms, error) {
	r := bufio.NewReader(bytes.NewReader(raw))
	w := &Waveforms{}
	vectors, points := 0, 0
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return nil, fmt.Errorf("raw file ends in its header: %w", err)
		}
		key, value, _ := strings.Cut(strings.TrimSpace(line), ":")
		value = strings.TrimSpace(value)
		switch key {
		case "Flags":
			if value != "real" {
				return nil, fmt.Errorf("raw file is %s, want real", value)
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
				w.Names = append(w.Names, strings.ToLower(f[1]))
				w.Values = append(w.Values, make([]float64, points))
			}
		case "Binary":
			buf := make([]byte, 8*vectors)
			for p := range points {
				if _, err := io.ReadFull(r, buf); err != nil {
					return nil, fmt.Errorf("raw file is cut short at point %d of %d: %w", p, points, err)
				}
				for v := range vectors {
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

// resample takes a vector at even times k·step, k from 0 to count-1, from the simulator's own points by the cubic through the four around.
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
