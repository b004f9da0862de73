package cli

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// fullDisk is what is written to when the disk is full: the system's device for that where there is
// one.
func fullDisk(t *testing.T) io.Writer {
	f, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		return fullWriter{}
	}
	t.Cleanup(func() { f.Close() })
	return f
}

type fullWriter struct{}

func (fullWriter) Write([]byte) (int, error) {
	return 0, &os.PathError{Op: "write", Path: "full", Err: syscall.ENOSPC}
}

const boardChain = `drywire: 1
recording: {file: tone.wav, full_scale: 1 V, load: none}
supplies: {brick: {outputs: {1: {voltage: 9 V, current: 300 mA}}}}
blocks:
  board: {kind: switcher, loops: {1: [more]}}
  more: {kind: boost, gain: 3 dB, power: brick.1}
order: [board]
presets: {plain: {loops: []}, loud: {loops: [1]}}
`

// TestFullStandardOutput holds that no command succeeds whose words could not be written.
func TestFullStandardOutput(t *testing.T) {
	dir := folder(t)
	file := func(name string) string { return filepath.Join(dir, name) }
	chain := file("small.yaml")
	ranked := file("ranked.yaml")
	if err := os.WriteFile(ranked, []byte(strings.Split(smallChain, "takes:")[0]+"tray: [vol]\nprefer: [quiet]\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	board := file("board.yaml")
	if err := os.WriteFile(board, []byte(boardChain), 0o666); err != nil {
		t.Fatal(err)
	}
	mustRun(t, "rank", ranked, "--journal", file("whole.journal"))
	answers := file("answers.txt")
	if err := os.WriteFile(answers, []byte(fmt.Sprintf(faultAnswers, "one")), 0o666); err != nil {
		t.Fatal(err)
	}
	calls := map[string][][]string{ // of every command; one that knows --json is called with it too
		"blocks":     {{"blocks"}, {"blocks", "fuzz"}},
		"check":      {{"check", chain}},
		"compare":    {{"compare", chain, "-o", file("takes"), "--quality", "draft"}},
		"completion": {{"completion"}, {"completion", "bash"}, {"completion", "zsh"}, {"completion", "fish"}, {"completion", "powershell"}},
		"demo":       {{"demo", "-o", file("demo"), "--quality", "draft"}},
		"help":       {{"help"}, {"help", "check"}},
		"ladder":     {{"ladder", chain, "--quality", "draft"}},
		"lesson":     {{"lesson", "list"}, {"lesson", "levels"}, {"lesson", "merge", answers}, {"lesson", "merge", answers, "--json"}},
		"learn":      {{"learn", "--list"}, {"learn", "levels", "--no-open"}},
		"listen":     {{"listen", chain, "--no-open"}},
		"measure":    {{"measure", chain, "--quality", "draft"}},
		"netlist":    {{"netlist", chain}},
		"new":        {{"new", file("new.yaml")}, {"new", "-"}, {"new", "--list"}},
		"noise":      {{"noise", chain}},
		"presets":    {{"presets", board, "--quality", "draft", "--seconds", "0.2"}},
		"rank":       {{"rank", ranked, "--seconds", "0.2"}, {"rank", "merge", ranked, file("whole.journal")}},
		"power":      {{"power", board}},
		"render":     {{"render", chain, "-o", file("out.wav"), "--quality", "draft"}, {"render", chain, "-o", "-", "--quality", "draft"}},
		"sheet":      {{"sheet", chain}, {"sheet", chain, "-o", file("sheet.html")}},
		"why":        {{"why", chain, "--complaint", "hiss"}},
		"hunt":       {{"hunt", chain, "--plan"}, {"hunt", chain, "--answers", "hum,same"}},
		"sweep":      {{"sweep", chain, "--knob", "vol.volume", "--quality", "draft"}},
		"report":     {{"report", chain, "-o", file("out.html"), "--quality", "draft"}},
		"response":   {{"response", chain}},
		"swaps":      {{"swaps", chain, "--quality", "draft"}},
		"":           {{}, {"--help"}, {"--version"}},
	}
	root := command(streams{}, nil)
	for _, cmd := range root.Commands() {
		if calls[cmd.Name()] == nil {
			t.Errorf("%s is not called", cmd.Name())
		}
		if len(calls[cmd.Name()]) > 0 && cmd.Flags().Lookup("json") != nil {
			for _, args := range slices.Clone(calls[cmd.Name()]) {
				calls[cmd.Name()] = append(calls[cmd.Name()], append(slices.Clone(args), "--json"))
			}
		}
	}
	done := 0
	for name, list := range calls {
		if testing.Short() && (name == "demo" || name == "compare" || name == "report") {
			continue
		}
		for _, args := range list {
			var errs bytes.Buffer
			if code := Run(t.Context(), args, strings.NewReader(""), fullDisk(t), &errs); code != failed || !strings.HasSuffix(errs.String(), "standard output: "+syscall.ENOSPC.Error()+"\n") {
				t.Errorf("drywire %s: exit code %d, want %d: %s", strings.Join(args, " "), code, failed, errs.String())
			}
			done++
		}
	}
	t.Logf("%d command lines", done)
	if done < 35 && !testing.Short() {
		t.Errorf("only %d command lines", done)
	}
}
