package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"drywire/samples"
)

// meanwhile is a context that does something when it is asked for the nth time whether it is over,
// which is in the middle of the first reading of the recording.
type meanwhile struct {
	context.Context
	asked atomic.Int32
	nth   int32
	do    func()
}

func (m *meanwhile) Err() error {
	if m.asked.Add(1) == m.nth {
		m.do()
	}
	return nil
}

func toneFile(t *testing.T, path string, seconds, hz float64) {
	t.Helper()
	w, err := samples.Create(path, samples.Format{Rate: 48000, Channels: 1, Bits: 24})
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, int(seconds*48000))
	for k := range x {
		x[k] = 0.5 * math.Sin(2*math.Pi*hz*float64(k)/48000)
	}
	if err := errors.Join(w.Write(x), w.Close()); err != nil {
		t.Fatal(err)
	}
}

const snapshotBoard = `drywire: 1
recording: {file: riff.wav, peak: 420 mV}
blocks:
  buffer: {kind: circuit, file: buffer.cir}
  power: {kind: poweramp}
  cab: {kind: speaker, file: cab.wav}
order: [buffer, power, cab]
takes:
  - {name: one}
  - {name: two, order: [power, cab]}
`

const (
	snapshotDeck  = ".subckt buffer in out\nRin in 0 1meg\nB1 a 0 V={min(3,max(-3,1*v(in)))}\nRout a out 100\n.ends\n"
	snapshotOther = ".subckt buffer in out\nRin in 0 1meg\nB1 a 0 V={min(3,max(-3,1*v(in)))}\nRout a out 900\n.ends\n"
)

// What a run reads may not change while it runs: whatever is done to the recording, an impulse
// response, a deck or the chain file after the recording was first read ends in an error that names the
// file, and in no new file.
func TestInputsChangeDuringRun(t *testing.T) {
	t.Parallel()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	other := func(dir string) []byte {
		toneFile(t, filepath.Join(dir, "other.wav"), 1, 660)
		b, err := os.ReadFile(filepath.Join(dir, "other.wav"))
		must(err)
		return b
	}
	replace := func(path string, with []byte) {
		must(os.WriteFile(path+".new", with, 0o644))
		must(os.Rename(path+".new", path))
	}
	// As long as before and of the same time, so that only what it holds tells.
	unseen := func(path string, with []byte) {
		info, err := os.Stat(path)
		must(err)
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		must(err)
		_, err = f.WriteAt(with[:info.Size()], 0)
		must(errors.Join(err, f.Close(), os.Chtimes(path, info.ModTime(), info.ModTime())))
	}
	for name, c := range map[string]struct {
		file string
		do   func(dir string)
	}{
		"recording replaced":           {"riff.wav", func(dir string) { replace(filepath.Join(dir, "riff.wav"), other(dir)) }},
		"recording overwritten":        {"riff.wav", func(dir string) { must(os.WriteFile(filepath.Join(dir, "riff.wav"), other(dir), 0o644)) }},
		"recording with its time kept": {"riff.wav", func(dir string) { unseen(filepath.Join(dir, "riff.wav"), other(dir)) }},
		"recording cut off":            {"riff.wav", func(dir string) { must(os.Truncate(filepath.Join(dir, "riff.wav"), 5000)) }},
		"recording gone":               {"riff.wav", func(dir string) { must(os.Remove(filepath.Join(dir, "riff.wav"))) }},
		"impulse response":             {"cab.wav", func(dir string) { unseen(filepath.Join(dir, "cab.wav"), other(dir)) }},
		"impulse response replaced":    {"cab.wav", func(dir string) { replace(filepath.Join(dir, "cab.wav"), other(dir)) }},
		"deck":                         {"buffer.cir", func(dir string) { unseen(filepath.Join(dir, "buffer.cir"), []byte(snapshotOther)) }},
		"chain file": {"board.yaml", func(dir string) {
			must(os.WriteFile(filepath.Join(dir, "board.yaml"), []byte(strings.Replace(snapshotBoard, "420", "421", 1)), 0o644))
		}},
		"chain file with its time kept": {"board.yaml", func(dir string) {
			unseen(filepath.Join(dir, "board.yaml"), []byte(strings.Replace(snapshotBoard, "420", "421", 1)))
		}},
	} {
		for command, args := range map[string][]string{
			"render":  {"render", "board.yaml", "--quality", "draft", "-o", "out/new.wav"},
			"compare": {"compare", "board.yaml", "--quality", "draft", "-o", "out"},
			"measure": {"measure", "board.yaml", "--quality", "draft", "--no-tones"},
		} {
			if command != "render" && name != "recording replaced" && name != "recording with its time kept" {
				continue // one command is enough for the others
			}
			t.Run(name+", "+command, func(t *testing.T) {
				dir := t.TempDir()
				toneFile(t, filepath.Join(dir, "riff.wav"), 1, 330)
				toneFile(t, filepath.Join(dir, "cab.wav"), 0.02, 400)
				must(os.WriteFile(filepath.Join(dir, "buffer.cir"), []byte(snapshotDeck), 0o644))
				must(os.WriteFile(filepath.Join(dir, "board.yaml"), []byte(snapshotBoard), 0o644))
				args := slices.Clone(args)
				for k, a := range args {
					if strings.HasPrefix(a, "out") || strings.HasSuffix(a, ".yaml") {
						args[k] = filepath.Join(dir, a)
					}
				}
				var errs bytes.Buffer
				ctx := &meanwhile{Context: context.Background(), nth: 24, do: func() { c.do(dir) }}
				code := Run(ctx, args, strings.NewReader(""), io.Discard, &errs)
				if ctx.asked.Load() < ctx.nth {
					t.Fatal("nothing was changed")
				}
				if code != failed || !strings.Contains(errs.String(), c.file) || !strings.Contains(errs.String(), "during this run") {
					t.Errorf("exit code %d, want %d and an error that names %s:\n%s", code, failed, c.file, errs.String())
				}
				if _, err := os.Stat(filepath.Join(dir, "out")); !errors.Is(err, fs.ErrNotExist) {
					list, _ := os.ReadDir(filepath.Join(dir, "out"))
					t.Errorf("out was made: %v", list)
				}
			})
		}
	}
}
