package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drywire/chains/experiment"
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
	for _, c := range []struct {
		command string
		into    any
	}{
		{"swaps", new(experiment.SwapMap)},
		{"rank", new(experiment.Ranking)},
	} {
		text := mustRun(t, c.command, path, "--json", "--quality", "draft")
		golden(t, c.command+".json", text)
		dec := json.NewDecoder(strings.NewReader(text))
		dec.DisallowUnknownFields()
		if err := dec.Decode(c.into); err != nil {
			t.Fatalf("%s: %v", c.command, err)
		}
		if dec.More() {
			t.Errorf("%s: there is more than one JSON object", c.command)
		}
		help := mustRun(t, c.command, "--help")
		keys := regexp.MustCompile(`"(\w+)":`).FindAllStringSubmatch(text, -1)
		if len(keys) < 10 {
			t.Errorf("%s: %d fields", c.command, len(keys))
		}
		for _, key := range keys {
			if !strings.Contains(help, key[1]) {
				t.Errorf("%s: the field %q is not in the help", c.command, key[1])
			}
		}
	}
}
