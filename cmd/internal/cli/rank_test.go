package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The JSON of swaps and rank: one object, whose every field is in the help, held against a text.
func TestSwapsAndRankJSON(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	chain := `drywire: 1
title: A small one
recording: {file: tone.wav, full_scale: 100 mV, load: none}
blocks: {fuzz: {kind: fuzz}, buffer: {kind: buffer}, eq: {kind: eq, high: 3 dB}}
order: [fuzz, buffer, eq]
keep: {last: [eq]}
prefer: [quiet, headroom, clear repeats]
`
	path := filepath.Join(dir, "three.yaml")
	if err := os.WriteFile(path, []byte(chain), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, command := range []string{"swaps", "rank"} {
		text := mustRun(t, command, path, "--json", "--quality", "draft")
		golden(t, command+".json", text)
		if !json.Valid([]byte(text)) {
			t.Errorf("%s: it is not one JSON object", command)
		}
		help := mustRun(t, command, "--help")
		keys := regexp.MustCompile(`"(\w+)":`).FindAllStringSubmatch(text, -1)
		if len(keys) < 10 {
			t.Errorf("%s: %d fields", command, len(keys))
		}
		for _, key := range keys {
			if !strings.Contains(help, key[1]) {
				t.Errorf("%s: the field %q is not in the help", command, key[1])
			}
		}
	}
}
