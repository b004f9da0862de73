package cli

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/files/filestest"
	"drywire/samples"
)

// faultChain has one setting, by which two generations of outputs differ.
const faultChain = `drywire: 1
title: volume %d
recording: {file: tone.wav, full_scale: 1 V, load: none}
guitars: {old: {pickup: single-coil}}
blocks:
  board: {kind: switcher, loops: {1: [more]}}
  more: {kind: boost, gain: 3 dB}
  vol: {kind: volume, volume: %d}
order: [board, vol]
presets: {plain: {loops: []}, loud: {loops: [1]}}
venue: {home: {level: 70 dB}}
takes:
  - {name: one, preset: plain}
  - {name: two, preset: loud}
`

const faultRank = `drywire: 1
recording: {file: tone.wav, full_scale: 1 V, load: none}
supplies: {brick: {outputs: {1: {voltage: 9 V, current: 300 mA}}}}
blocks: {buffer: {kind: buffer, power: brick.1}, vol: {kind: volume}, more: {kind: boost}}
order: [buffer, vol, more]
prefer: [quiet]
`

const faultAnswers = "drywire answers 1\nlesson: levels\nright: one\nbefore: %s\nafter: one\n"

// depth is how many of the faults are tried, by the variable FAULTS: a few of each sort by default,
// "some" of every command as CI does, "all".
func depth() int {
	switch os.Getenv("FAULTS") {
	case "all":
		return all
	case "some":
		return some
	}
	return few
}

const (
	few = iota
	some
	all
)

// faultFolder is a folder with the inputs of the commands.
func faultFolder(t *testing.T) string {
	dir := folder(t)
	w, err := samples.Create(filepath.Join(dir, "tone.wav"), samples.Format{Rate: 48000, Channels: 1, Bits: 24})
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 4800)
	for k := range x {
		x[k] = 0.1 * math.Sin(2*math.Pi*330*float64(k)/48000)
	}
	if err := errors.Join(w.Write(x), w.Close()); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"a.yaml": fmt.Sprintf(faultChain, 5, 5), "b.yaml": fmt.Sprintf(faultChain, 7, 7), "rank.yaml": faultRank,
		"a.txt": fmt.Sprintf(faultAnswers, "one"), "b.txt": fmt.Sprintf(faultAnswers, "another")} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// line is the words of a call, for the first generation or the second: CHAIN, RANK and JOURNAL are
// files of faultFolder, NAME a shipped chain file, OUT a folder for outputs.
func line(text, dir, out string, second bool) []string {
	chain, name, answers := "a.yaml", "fuzz-or-buffer-first", "a.txt"
	if second {
		chain, name, answers = "b.yaml", "moving-knobs", "b.txt"
	}
	return strings.Fields(strings.NewReplacer("CHAIN", filepath.Join(dir, chain), "NAME", name, "ANSWERS", filepath.Join(dir, answers), "RANK", filepath.Join(dir, "rank.yaml"),
		"JOURNAL", filepath.Join(dir, "whole.journal"), "OUT", out).Replace(text))
}

// visible is the files of a folder that are not hidden, by name and content.
func visible(folder string) map[string][32]byte {
	found := map[string][32]byte{}
	list, _ := os.ReadDir(folder)
	for _, e := range list {
		if text, err := os.ReadFile(filepath.Join(folder, e.Name())); err == nil && !strings.HasPrefix(e.Name(), ".") {
			// a run that goes on finds the same in another order
			if strings.HasSuffix(e.Name(), ".journal") {
				lines := bytes.SplitAfter(text, []byte("\n"))
				slices.SortFunc(lines, bytes.Compare)
				text = bytes.Join(lines, nil)
			}
			found[e.Name()] = sha256.Sum256(text)
		}
	}
	return found
}

func hidden(folder string) (names []string) {
	list, _ := os.ReadDir(folder)
	for _, e := range list {
		if strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	return names
}

// mixed says of which generations there are files: of both, or of neither, is wrong. A part of one
// may be there for a moment.
func mixed(now, one, two map[string][32]byte) error {
	ofOne, ofTwo := 0, 0
	for name, sum := range now {
		switch sum {
		case one[name]:
			ofOne++
			if sum == two[name] {
				ofTwo++
			}
		case two[name]:
			ofTwo++
		default:
			return fmt.Errorf("%s is of no generation", name)
		}
	}
	if ofOne < len(now) && ofTwo < len(now) {
		return fmt.Errorf("%d files of one generation, %d of the other", ofOne, ofTwo)
	}
	return nil
}

func same(a, b map[string][32]byte) bool {
	for name, sum := range a {
		if b[name] != sum {
			return false
		}
	}
	return len(a) == len(b)
}

func faultRun(args []string, disk files.System) (code int, said string) {
	var errs bytes.Buffer
	code = run(context.Background(), args, streams{in: strings.NewReader(""), out: io.Discard, err: &errs, disk: disk})
	return code, errs.String()
}

// generations is what a writer's command line writes the first time and the second, and a folder
// that holds the first.
func generations(t *testing.T, text, dir string) (refs [2]map[string][32]byte, former string) {
	for _, k := range []int{1, 0} {
		former = t.TempDir()
		mustRun(t, line(text, dir, former, k == 1)...)
		refs[k] = visible(former)
	}
	return refs, former
}

// TestEveryFileOperationFails lets every file operation of every command fail, and be the run's
// last, in turn: no reader ever finds two generations, a run that succeeds has written all of its
// own, one that fails has left all of what was there, and the next run mends what a dead one left.
func TestEveryFileOperationFails(t *testing.T) {
	t.Parallel()
	dir := faultFolder(t)
	mustRun(t, line("rank RANK --journal JOURNAL --seconds 0.1", dir, "", false)...)
	list := calls(t)
	faults, mixtures := 0, 0
	for name, text := range of(list, "reads") {
		if depth() == few && name != "check" && name != "netlist" && name != "lesson merge" {
			continue
		}
		for at := 1; ; at++ {
			d := &filestest.Faulty{Beneath: files.Disk{}, At: at}
			code, said := faultRun(line(text, dir, "", false), d)
			if !d.Struck() {
				break
			}
			faults++
			call := d.Calls()[at-1]
			// of a file that was read; of a folder that may be unreadable
			harmless := strings.HasPrefix(call, "close") || strings.HasPrefix(call, "readdir")
			if (code == done) != harmless || code != done && !strings.Contains(said, "input/output error") {
				t.Errorf("%s, %s failed: exit code %d: %s", name, call, code, said)
			}
		}
	}
	for name, text := range of(list, "writes") {
		if depth() == few && name != "new" && name != "rank" && name != "ladder" {
			continue
		}
		refs, former := generations(t, text, dir)
		step := map[bool]int{true: 1, false: 37}[depth() == all || name == "new" || name == "rank"]
		try := func(at int, dies bool) (more bool) {
			out := t.TempDir()
			if err := os.CopyFS(out, os.DirFS(former)); err != nil {
				t.Fatal(err)
			}
			d := &filestest.Faulty{Beneath: files.Disk{}, At: at, Dies: dies, Half: true}
			look := func(what string) {
				if err := mixed(visible(out), refs[0], refs[1]); err != nil && name != "rank" {
					mixtures++
					t.Errorf("%s: %s: %v", name, what, err)
				}
			}
			d.Look = func() { look("while it runs") }
			code, said := faultRun(line(text, dir, out, true), d)
			d.Bury()
			if !d.Struck() {
				return false
			}
			faults++
			what := fmt.Sprintf("%s at %d, dies %v", d.Calls()[at-1], at, dies)
			look(what)
			switch now := visible(out); {
			case name == "rank": // whose journal is the same
			case code == done && !same(now, refs[1]):
				t.Errorf("%s, %s: done, and not all is there", name, what)
			case code != done && !dies && !same(now, refs[0]) && !strings.Contains(said, "is written") && !strings.Contains(said, "all is written") && !strings.Contains(said, "will finish it"):
				t.Errorf("%s, %s: failed, and not all is as it was: %s", name, what, said)
			}
			if !dies && len(hidden(out)) == 0 {
				return true
			}
			if code, said := faultRun(line(text, dir, out, true), files.Disk{}); code != done || !same(visible(out), refs[1]) || len(hidden(out)) > 0 {
				t.Errorf("%s, %s, and the next run: exit code %d, %v left: %s", name, what, code, hidden(out), said)
			}
			return true
		}
		for _, dies := range []bool{false, true} {
			for at := 1; try(at, dies); at += step {
			}
		}
	}
	t.Logf("%d faults injected, %d mixtures", faults, mixtures)
}

// TestKilledAtEveryRename lets the system kill a real process at every rename of compare, report
// and a journal's run, and fail its renames and syncs, by strace where that is there.
func TestKilledAtEveryRename(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil || depth() == few {
		t.Skip("no strace, or FAULTS is not set")
	}
	bin, err := exec.LookPath("drywire") // the test binary, by testscript.Main
	if err != nil {
		t.Fatal(err)
	}
	dir := faultFolder(t)
	const renames = "rename,renameat,renameat2,link,linkat"
	traced := regexp.MustCompile(`(?m)^.*(rename|link|fsync|write|ftruncate)\w*\(.*$`)
	writers := of(calls(t), "writes")
	faults, mixtures := 0, 0
	for name, classes := range map[string][]string{
		"compare": {renames + ":signal=SIGKILL", renames + ":error=EIO", "fsync:error=EIO", "fsync:signal=SIGKILL"},
		"ladder":  {renames + ":signal=SIGKILL", "fsync:error=EIO"},
		"report":  {renames + ":signal=SIGKILL", renames + ":error=EIO"},
		"rank":    {"fsync:signal=SIGKILL", "ftruncate:error=EIO", "fsync:error=EIO", "flock:error=EIO"},
	} {
		refs, former := generations(t, writers[name], dir)
		if depth() != all {
			classes = classes[:min(len(classes), 2)]
		}
		for _, class := range classes {
			for when := 1; ; when++ {
				out, trace := t.TempDir(), filepath.Join(t.TempDir(), "trace")
				if name != "rank" {
					if err := os.CopyFS(out, os.DirFS(former)); err != nil {
						t.Fatal(err)
					}
				}
				what := class[:strings.Index(class, ":")]
				args := append([]string{"-f", "--seccomp-bpf", "-qq", "-o", trace, "-e", "trace=" + what, "-e", "inject=" + class + ":when=" + strconv.Itoa(when), bin}, line(writers[name], dir, out, true)...)
				said, err := exec.Command(strace, args...).CombinedOutput()
				seen, _ := os.ReadFile(trace)
				if strings.Contains(string(said), "ptrace") {
					t.Skipf("strace cannot work here: %s", said)
				}
				if len(traced.FindAll(seen, -1)) == 0 && !bytes.Contains(seen, []byte("flock(")) {
					t.Fatalf("nothing was traced: %s %v", said, err)
				}
				if !bytes.Contains(seen, []byte("(INJECTED)")) && !bytes.Contains(seen, []byte("SIGKILL")) {
					break
				}
				faults++
				if err := mixed(visible(out), refs[0], refs[1]); err != nil && name != "rank" {
					mixtures++
					t.Errorf("%s, %s at %d: %v (%s)", name, class, when, err, said)
				}
				var exit *exec.ExitError
				if !errors.As(err, &exit) && !(err == nil && same(visible(out), refs[1])) {
					t.Errorf("%s, %s at %d: succeeded, and not all is there (%v)", name, class, when, err)
				}
				if code, said := faultRun(line(writers[name], dir, out, true), files.Disk{}); code != done || !same(visible(out), refs[1]) || len(hidden(out)) > 0 {
					t.Errorf("%s, %s at %d, and the next run: exit code %d, %v left: %s", name, class, when, code, hidden(out), said)
				}
			}
		}
	}
	t.Logf("%d faults injected, %d mixtures", faults, mixtures)
	if faults < 10 {
		t.Errorf("only %d faults", faults)
	}
}
