// Package chaintest holds what the tests of several rooms need: chains from a few words, shipped
// files, signals and how they differ. Only tests import it.
package chaintest

import (
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/cables"
	"drywire/chains/file"
	"drywire/dsp"
)

// Board parses a file with these lines behind a recording that is the pickup's open-circuit
// voltage.
func Board(t testing.TB, lines string) *board.File {
	t.Helper()
	return MustParse(t, "drywire: 1\ntitle: test\nrecording: {file: a.wav, full_scale: 1 V, load: none}\n"+lines)
}

// TakeOf is a take of a file; the test ends where it has none of that name.
func TakeOf(t testing.TB, f *board.File, name string) *board.Chain {
	t.Helper()
	c, err := f.Take(name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Rms is the root mean square of a signal, in its unit.
func Rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// Residual is the level of the difference of two signals, in dB re the second.
func Residual(a, b []float64) float64 {
	d := make([]float64, len(a))
	for k := range d {
		d[k] = a[k] - b[k]
	}
	return dsp.ToDB(Rms(d) / Rms(b))
}

// ShippedFile is a shipped chain file by its name.
func ShippedFile(t testing.TB, name string) *board.File {
	t.Helper()
	src, err := chains.ReadShipped(name)
	if err != nil {
		t.Fatal(err)
	}
	return MustParse(t, string(src))
}

// Chord is a plucked chord of five strings at the pickup, as loud as hard playing is (some 0.2 V
// peak: common practice, no source): twelve partials of each, which die away the faster the higher
// they are.
func Chord(n int, rate float64) []float64 {
	x := make([]float64, n)
	chance := rand.New(rand.NewPCG(7, 7))
	// E major, equal temperament on 440 Hz
	for _, hz := range []float64{82.41, 123.47, 164.81, 207.65, 246.94} {
		for p := 1.0; p <= 12; p++ {
			phase, step := 2*math.Pi*chance.Float64(), 2*math.Pi*hz*p/rate
			for k := range x {
				x[k] += 0.02 / p * math.Exp(-float64(k)/rate*(1+p/2)) * math.Sin(step*float64(k)+phase)
			}
		}
	}
	return x
}

// Fewest is the least number of cables to touch, and of plugs then, over every way there is to make
// of each cable another one, or none.
func Fewest(was, want []cables.Cable) (fewest, plugs int) {
	n := max(len(was), len(want))
	// with no cable for those that come and go
	a, b := make([]cables.Cable, n), make([]cables.Cable, n)
	copy(a, was)
	copy(b, want)
	fewest, plugs = n+1, 2*n+1
	var try func(k, moved, ends int)
	try = func(k, moved, ends int) {
		if moved > fewest || moved == fewest && ends >= plugs {
			return
		}
		if k == n {
			fewest, plugs = moved, ends
			return
		}
		for j := k; j < n; j++ {
			b[k], b[j] = b[j], b[k]
			m, e := 0, 0
			if a[k] != b[k] {
				m, e = 1, 2
				if a[k] != (cables.Cable{}) && b[k] != (cables.Cable{}) && (a[k].In == b[k].In || a[k].Out == b[k].Out) {
					e = 1
				}
			}
			try(k+1, moved+m, ends+e)
			b[k], b[j] = b[j], b[k]
		}
	}
	try(0, 0, 0)
	return fewest, plugs
}

// Carried does what the moves say, one after the other, and checks that each cable is where the
// move says, and that no plug goes into a jack that is taken unless the move says that it has to
// wait.
func Carried(t *testing.T, was []cables.Cable, moves []cables.Move) []cables.Cable {
	t.Helper()
	now := slices.Clone(was)
	for k, m := range moves {
		if m.Block != "" {
			continue
		}
		if m.From != (cables.Cable{}) {
			at := slices.Index(now, m.From)
			if at < 0 {
				t.Fatalf("move %d: there is no cable %v", k, m.From)
			}
			now = slices.Delete(now, at, at+1)
		}
		if m.To != (cables.Cable{}) {
			if taken := slices.ContainsFunc(now, func(c cables.Cable) bool { return c.In == m.To.In }); taken && !strings.HasSuffix(m.Text, m.To.In+" once that is free.") && !strings.HasSuffix(m.Text, " once "+m.To.In+" is free.") {
				t.Errorf("move %d: %s is taken, and %q does not say so", k, m.To.In, m.Text)
			}
			now = append(now, m.To)
		}
	}
	return now
}

// SortedCables is cables as text, in the order of the alphabet.
func SortedCables(c []cables.Cable) []string {
	var all []string
	for _, k := range c {
		all = append(all, k.String())
	}
	slices.Sort(all)
	return all
}

// Dressed is a chain file in other layouts and spellings of the same meaning.
func Dressed(src string) map[string]string {
	return map[string]string{
		"as shipped": src,
		"CRLF":       strings.ReplaceAll(src, "\n", "\r\n"),
		"BOM":        "\ufeff" + src,
		"no end":     strings.TrimRight(src, "\n"),
	}
}

// What players know. Each is common practice, no source, unless it says otherwise; the bounds are
// this project's reading of it.

// V peak at the pickup: a soft single note by a published measurement (10, 20, 30 mV soft to hard)
const SoftNote = 20e-3

// HandoverChain is a chain file whose hand-overs are known in closed form.
const HandoverChain = `drywire: 1
title: hand-overs
recording: {file: a.wav, full_scale: 1 V, load: none}
guitar: {pickup: {resistance: 8 kΩ, inductance: 4 H, capacitance: 100 pF}, volume: 10, tone: 10, cable: 5 m}
load: {resistance: 1 MΩ, cable: 3 m}
blocks:
  buffer: {kind: buffer}
  vol: {kind: volume, volume: 10, track: 250 kΩ}
  echo: {kind: delay}
order: [buffer, vol]
takes:
  - {name: a}
  - {name: b, order: [echo, vol]}
`

// MustParse is a chain file that parses; the test ends where it does not.
func MustParse(t testing.TB, text string) *board.File {
	t.Helper()
	f, err := file.Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Chain is a take of a file whose recording is the pickup's own voltage, one volt at full scale.
func Chain(t testing.TB, blocks, order string, set ...string) *board.Chain {
	t.Helper()
	text := "drywire: 1\ntitle: test\nrecording: {file: a.wav, full_scale: 1 V, load: none}\n"
	var all []string
	if blocks != "" {
		text += "blocks:\n"
		for _, b := range strings.Split(blocks, ";") {
			b = strings.TrimSpace(b)
			text += "  " + b + "\n"
			name, _, _ := strings.Cut(b, ":")
			all = append(all, name)
		}
	}
	text += "order: [" + strings.Join(all, ", ") + "]\ntakes:\n  - name: take\n    order: [" + order + "]\n"
	if len(set) > 0 {
		text += "    set: {" + strings.Join(set, ", ") + "}\n"
	}
	c, err := MustParse(t, text).Take("take")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Tone is n samples of a sine; rate and frequency in Hz, peak in V.
func Tone(n int, rate, frequency, peak float64) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = peak * math.Sin(2*math.Pi*frequency*float64(k)/rate)
	}
	return x
}

// Ragged hands out its samples in pieces of all sizes.
type Ragged struct {
	Rest  []float64
	Sizes []int
	at    int
}

// Read implements render.Source.
func (r *Ragged) Read(dst []float64) (int, error) {
	if len(r.Rest) == 0 {
		return 0, io.EOF
	}
	n := min(len(dst), r.Sizes[r.at%len(r.Sizes)], len(r.Rest))
	r.at++
	copy(dst, r.Rest[:n])
	r.Rest = r.Rest[n:]
	return n, nil
}
