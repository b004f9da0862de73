package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every key of the JSON that the measuring commands print is told in their help, and the help tells none that is not there.
func TestMeasuringJSONIsDocumented(t *testing.T) {
	dir := t.TempDir()
	chain := filepath.Join(dir, "chain.yaml")
	if err := os.WriteFile(chain, []byte("drywire: 1\nrecording: {sample: notes}\nblocks: {buffer: {kind: buffer}, eq: {kind: eq}}\norder: [buffer, eq]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		command string
		args    []string
	}{
		{"noise", nil},
		{"response", nil},
		{"measure", []string{"--quality", "draft", "--recording", "chugs"}},
		{"ladder", []string{"--quality", "draft", "--recording", "chugs"}},
	} {
		var object any
		if err := json.Unmarshal([]byte(mustRun(t, append([]string{c.command, chain, "--json"}, c.args...)...)), &object); err != nil {
			t.Fatal(err)
		}
		keys := map[string]bool{}
		var walk func(v any)
		walk = func(v any) {
			switch v := v.(type) {
			case map[string]any:
				for k, x := range v {
					keys[k] = true
					walk(x)
				}
			case []any:
				for _, x := range v {
					walk(x)
				}
			}
		}
		walk(object)
		_, help, found := strings.Cut(mustRun(t, c.command, "--help"), "--json prints one object")
		if !found {
			t.Fatalf("%s: the help tells nothing of --json", c.command)
		}
		help, _, _ = strings.Cut(help, "Usage:")
		told := map[string]bool{}
		for _, w := range regexp.MustCompile(`[a-z][a-z_]*`).FindAllString(help, -1) {
			told[w] = true
			if strings.Contains(w, "_") && !keys[w] && w != "not_measurable" {
				t.Errorf("%s: the help tells of %s, which is not there", c.command, w)
			}
		}
		for k := range keys {
			if !told[k] {
				t.Errorf("%s: the help does not tell of %s", c.command, k)
			}
		}
		if len(keys) < 5 {
			t.Errorf("%s: only %d keys", c.command, len(keys))
		}
	}
}
