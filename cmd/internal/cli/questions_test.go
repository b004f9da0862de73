package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"drywire/chains"
	"drywire/chains/file"
)

// A screen, of a terminal that is made a little larger.
const (
	screenLines   = 56
	screenColumns = 100
)

// The twelve questions of a player who owns a board, each answered by one command on one screen.
// Those marked slow are asked where BOARDS=all.
func TestTwelveQuestions(t *testing.T) {
	if testing.Short() {
		t.Skip("renders boards")
	}
	t.Parallel()
	dir := t.TempDir()
	for _, name := range chains.Shipped() {
		src, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), src, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, q := range []struct {
		asks string
		args []string // the chain file second
		says string   // in its answer, a regular expression over lines
		slow bool
	}{
		{"Which order shall I choose?", []string{"rank", "presets-on-a-loop-switcher", "--take", "wall", "--seconds", "0.5"}, `order: \[`, true},
		{"Why is the fuzz another one behind a buffer?", []string{"why", "fuzz-or-buffer-first", "--take", "buffered, volume rolled back", "--complaint", "no-clean-up"}, `buffer`, true},
		{"Who hisses?", []string{"noise", "big-board", "--take", "harbour"}, `What you hear when you stop playing is`, true},
		{"Mids before the gain, or behind it?", []string{"compare", "mid-cut-before-gain", "--quality", "draft", "-o", "mids"}, `against`, true},
		{"Which of two boosts: before the drive, or behind it?", []string{"compare", "boost-before-or-after-drive", "--quality", "draft", "-o", "boosts"}, `against`, true},
		{"Into the front end, or into the loop?", []string{"compare", "four-cables", "--take", "solo", "--take", "boost behind the gain", "--quality", "draft", "-o", "cables"}, `against`, true},
		{"Do my two amplifiers get along?", []string{"check", "two-amplifiers"}, `WARNING: the two paths cancel`, false},
		{"How do my three guitars differ?", []string{"presets", "big-board", "--quality", "draft", "--seconds", "3", "--all"}, `On every guitar`, true},
		{"Do my presets jump?", []string{"presets", "big-board", "--quality", "draft", "--seconds", "3"}, `The worst change is from`, true},
		{"What does one more switch do on top of a preset?", []string{"compare", "big-board", "--take", "quarrel", "--take", "quarrel with the boost", "--quality", "draft", "-o", "switch"}, `against`, true},
		{"Does my supply carry it all?", []string{"power", "big-board"}, `^No output is overloaded`, false},
		{"Which cables go where?", []string{"check", "four-cables"}, `^Four cables about the amplifier: guitar → board.in,`, false},
	} {
		if q.slow && os.Getenv("BOARDS") != "all" {
			continue
		}
		args := append([]string{q.args[0], filepath.Join(dir, q.args[1]+".yaml")}, q.args[2:]...)
		for k, a := range args {
			if a == "-o" {
				args[k+1] = filepath.Join(dir, args[k+1])
			}
		}
		var out, said bytes.Buffer
		if code := Run(t.Context(), args, strings.NewReader(""), &out, &said); code != 0 {
			t.Errorf("%s\n%s: exit %d\n%s", q.asks, strings.Join(args, " "), code, said.String())
			continue
		}
		text := strings.ReplaceAll(out.String(), dir, "")
		src, _ := chains.ReadShipped(q.args[1])
		f, err := file.Parse(q.args[1], src)
		if err != nil {
			t.Fatal(err)
		}
		if parts := partsNamed(f, text); parts != nil {
			t.Errorf("%s\n%s names parts: %q", q.asks, strings.Join(args, " "), parts)
		}
		if !regexp.MustCompile("(?m)" + q.says).MatchString(text) {
			t.Errorf("%s\n%s: no %q in\n%s", q.asks, strings.Join(args, " "), q.says, text)
		}
		lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
		if q.args[len(q.args)-1] != "--all" && len(lines) > screenLines {
			t.Errorf("%s\n%s: %d lines\n%s", q.asks, strings.Join(args, " "), len(lines), text)
		}
		for _, l := range lines {
			if utf8.RuneCountInString(l) > screenColumns {
				t.Errorf("%s: %d columns: %s", q.asks, utf8.RuneCountInString(l), l)
			}
		}
	}
}
