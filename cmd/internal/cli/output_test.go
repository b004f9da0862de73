package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// every is all that steers a terminal: controls of both sets, line separators, and the controls of
// bidirectional text. The numbers are Unicode's, written down apart from the code that knows them.
func every() (list []rune) {
	for _, r := range [][2]rune{{1, 8}, {0xb, 0x1f}, {0x7f, 0x9f}, {0x2028, 0x2029}, {0x61c, 0x61c}, {0x200e, 0x200f}, {0x202a, 0x202e}, {0x2066, 0x2069}} {
		for c := r[0]; c <= r[1]; c++ {
			list = append(list, c)
		}
	}
	return list
}

// Whatever texts a chain file holds, nothing that a command prints steers a terminal, no name of a
// file does, and JSON still says what the file says.
func TestNothingSteersTheTerminal(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	// what else steers a terminal is refused where the file is read
	const turned = `\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069`
	text := strings.NewReplacer("TURNED", turned).Replace(`drywire: 1
title: "title TURNED"
notes: "notes TURNED"
recording: {sample: riff}
blocks: {buffer: {kind: buffer}, vol: {kind: volume}}
order: [buffer, vol]
takes: [{name: "one TURNED x"}, {name: "two TURNED x", order: [vol, buffer]}]
`)
	path := filepath.Join(folder, "chain.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := filepath.Join(folder, "broken.yaml")
	if err := os.WriteFile(broken, []byte(strings.Replace(text, "order: [buffer, vol]", `order: ["TURNED", vol]`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	odd := filepath.Join(folder, "\u202egpj.yaml")
	for _, args := range [][]string{
		{"check", path}, {"measure", path, "--json"}, {"netlist", path}, {"response", path}, {"noise", path}, {"sheet", path, "-o", filepath.Join(folder, "sheet.html")},
		{"compare", path, "-o", filepath.Join(folder, "takes"), "--noiseless"}, {"check", broken}, {"check", odd}, {"render", path, "--take", "x" + string(every()) + "y"}, {"render", path, "--take", "nine"},
	} {
		var out, errs bytes.Buffer
		Run(context.Background(), args, strings.NewReader(""), &out, &errs)
		printed := out.String() + errs.String()
		if printed == "" {
			t.Errorf("%v prints nothing", args[:1])
		}
		for _, c := range every() {
			if strings.ContainsRune(printed, c) {
				t.Errorf("%v prints %U", args[:1], c)
			}
		}
		if args[len(args)-1] == "--json" {
			if !strings.Contains(printed, `\u202e`) {
				t.Errorf("JSON lacks what the file says: %.300s", printed)
			}
			if !json.Valid(out.Bytes()) {
				t.Errorf("no JSON: %.300s", printed)
			}
		}
	}
	takes, err := os.ReadDir(filepath.Join(folder, "takes"))
	if err != nil || len(takes) < 3 {
		t.Fatalf("%d files (%v)", len(takes), err)
	}
	for _, f := range takes {
		for _, c := range every() {
			if strings.ContainsRune(f.Name(), c) {
				t.Errorf("a file is named %q", f.Name())
			}
		}
	}
}

// Characters that come in two calls are told from bytes that are none.
func TestOutputInPieces(t *testing.T) {
	const text = "a\u202eb é \xff — \x1b[31m\tend\n"
	for cut := range len(text) {
		var b bytes.Buffer
		o := &output{to: &b}
		o.Write([]byte(text[:cut]))
		o.Write([]byte(text[cut:]))
		if got, want := b.String(), "a\\u202eb é \ufffd — \\u001b[31m\tend\n"; got != want {
			t.Errorf("cut at %d: %q, want %q", cut, got, want)
		}
	}
}
