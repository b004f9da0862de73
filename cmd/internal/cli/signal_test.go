//go:build unix

package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
)

// heavyChain is solved as one circuit of 96 transistor junctions, for hours where it is rendered.
func heavyChain() string {
	var blocks, order strings.Builder
	for k := range 24 {
		fmt.Fprintf(&blocks, "  w%d: {kind: wah}\n", k)
		fmt.Fprintf(&order, "w%d, ", k)
	}
	return "drywire: 1\nrecording: {file: tone.wav, full_scale: 1 V, load: none}\nsupplies: {brick: {outputs: {1: {voltage: 9 V, current: 300 mA}}}}\nblocks:\n" + blocks.String() +
		"  board: {kind: switcher, loops: {1: [more]}}\n  more: {kind: boost, gain: 3 dB, power: auto}\norder: [" + order.String() + "board]\n" +
		"presets: {plain: {loops: []}, loud: {loops: [1]}}\nprefer: [quiet]\nvenue: {home: {level: 70 dB}, stage: {level: 100 dB}}\n"
}

// signalled is a command line of every command, on the heavy chain where it takes one. PIPE is a
// standard input that nobody writes to; brief is those that are over before a signal comes.
var signalled = map[string][]string{
	"blocks": {"blocks"}, "completion": {"completion bash"}, "help": {"help"}, "new": {"new OUT/new.yaml"},
	"demo":  {"demo -o OUT --quality fine"},
	"check": {"check HEAVY", "check - <PIPE", "check HEAVY --recording - <PIPE"},
	"power": {"power HEAVY --assign"}, "netlist": {"netlist HEAVY", "netlist - <PIPE"}, "sheet": {"sheet HEAVY -o OUT/sheet.html"},
	"render": {"render HEAVY -o OUT/x.wav", "render HEAVY -o OUT/x.wav --recording - <PIPE"}, "compare": {"compare HEAVY -o OUT/takes"},
	"report": {"report HEAVY -o OUT/page.html"}, "why": {"why HEAVY --complaint hiss"}, "sweep": {"sweep HEAVY --knob w3.position"},
	"hunt": {"hunt HEAVY --plan", "hunt HEAVY <PIPE"}, "measure": {"measure HEAVY"}, "ladder": {"ladder HEAVY --svg OUT/l.svg"},
	"noise": {"noise HEAVY"}, "response": {"response HEAVY"}, "swaps": {"swaps HEAVY"},
	"rank": {"rank HEAVY --journal OUT/r.journal"}, "rank merge": {"rank merge HEAVY OUT/r.journal"},
	"presets": {"presets HEAVY -o OUT"}, "venue": {"venue HEAVY"}, "listen": {"listen HEAVY --no-open"}, "start": {"start --folder OUT --no-open"},
	"lesson": {"lesson levels -o OUT/lesson.html", "lesson --from HEAVY -o OUT/lesson.html"}, "learn": {"learn levels --no-open"},
	"lesson list": {"lesson list"}, "lesson merge": {"lesson merge a.txt"},
}

// brief is the commands that solve nothing, so that they may be over before a signal comes.
var brief = []string{"blocks", "completion", "help", "new", "netlist", "power", "sheet", "rank merge", "lesson list", "lesson merge"}

func eachCommand(c *cobra.Command, prefix string, do func(name string)) {
	for _, sub := range c.Commands() {
		name := strings.TrimSpace(prefix + " " + sub.Name())
		do(name)
		if sub.Name() != "completion" { // its commands are shells
			eachCommand(sub, name, do)
		}
	}
}

// TestSignalsEndEveryCommand sends every command an interrupt or SIGTERM at some moments, as a
// process of its own: it has to end by itself, with 128 and the signal's number, and leave nothing
// unfinished behind. How long the slowest took is printed; the bound here only tells an end from
// none, since time depends on who else uses the machine.
func TestSignalsEndEveryCommand(t *testing.T) {
	t.Parallel()
	bin, err := exec.LookPath("drywire") // the test binary, by testscript.Main
	if err != nil {
		t.Fatal(err)
	}
	eachCommand(command(streams{}, nil), "", func(name string) {
		if signalled[name] == nil {
			t.Errorf("%s is not tried", name)
		}
	})
	dir := faultFolder(t)
	heavy := filepath.Join(dir, "heavy.yaml")
	if err := os.WriteFile(heavy, []byte(heavyChain()), 0o666); err != nil {
		t.Fatal(err)
	}
	moments := []time.Duration{700 * time.Millisecond}
	signals := []syscall.Signal{syscall.SIGINT, syscall.SIGTERM}
	switch depth() {
	case few:
		signals = signals[:1]
	case all:
		moments = []time.Duration{30 * time.Millisecond, 150 * time.Millisecond, 700 * time.Millisecond, 3 * time.Second, 10 * time.Second}
	}
	const never = 20 * time.Second
	worst, slowest, ended, number := time.Duration(0), "", 0, 0
	for name, lines := range signalled {
		if depth() == few {
			lines = lines[:1]
		}
		for _, text := range lines {
			for _, moment := range moments {
				for _, sig := range signals {
					number++
					out := t.TempDir()
					words := strings.Fields(strings.NewReplacer("HEAVY", heavy, "OUT", out).Replace(text))
					piped := words[len(words)-1] == "<PIPE"
					if piped {
						words = words[:len(words)-1]
					}
					cmd := exec.Command(bin, append(words, "--long")...)
					cmd.Dir, cmd.Stdout = dir, io.Discard
					var said bytes.Buffer
					cmd.Stderr = &said
					if piped {
						in, err := cmd.StdinPipe()
						if err != nil {
							t.Fatal(err)
						}
						defer in.Close()
					}
					if err := cmd.Start(); err != nil {
						t.Fatal(err)
					}
					over := make(chan error, 1)
					go func() { over <- cmd.Wait() }()
					what := fmt.Sprintf("%s, %v after %v", text, sig, moment)
					select {
					case err := <-over:
						if err != nil && !slices.Contains(brief, name) {
							t.Errorf("%s: failed before: %v: %s", what, err, said.String())
						}
						continue
					case <-time.After(moment):
					}
					begun := time.Now()
					cmd.Process.Signal(sig)
					var end error
					select {
					case end = <-over:
					case <-time.After(never):
						cmd.Process.Kill()
						<-over
						t.Errorf("%s: goes on", what)
						continue
					}
					ended++
					if took := time.Since(begun); took > worst {
						worst, slowest = took, what
					}
					var exit *exec.ExitError
					if errors.As(end, &exit) {
						status := exit.Sys().(syscall.WaitStatus)
						early := status.Signaled() && status.Signal() == sig // before the program listened
						if !early && status.ExitStatus() != 128+int(sig) && !slices.Contains(brief, name) {
							t.Errorf("%s: %v, want %d: %s", what, end, 128+int(sig), said.String())
						}
						if early {
							continue // as by kill -9: the next run mends it
						}
					} else if end != nil {
						t.Errorf("%s: %v", what, end)
					}
					if left := hidden(out); len(left) > 0 {
						t.Errorf("%s left %v", what, left)
					}
				}
			}
		}
	}
	t.Logf("%d runs, %d ended by a signal; the slowest in %.2f s: %s", number, ended, worst.Seconds(), slowest)
	if ended < number/3 {
		t.Errorf("only %d of %d were running when the signal came", ended, number)
	}
}
