package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/file"
)

// Every question can be asked of every board: of one that splits into two amplifiers, in stereo and
// mixed to mono, and of those whose blocks hang in loops. BOARDS=all asks the
// large ones too.
func TestEveryQuestionOfEveryBoard(t *testing.T) {
	if testing.Short() {
		t.Skip("renders three boards")
	}
	all := os.Getenv("BOARDS") == "all" // which takes minutes
	t.Parallel()
	for _, b := range []struct{ file, take string }{
		{"two-amplifiers", "both the same way"},
		{"two-amplifiers", "one upside down, in mono"},
		{"presets-on-a-loop-switcher", "lead"},
		{"loops-in-another-order", "plate before the echo"},
		{"reference-board", "verse"},
		{"big-board", ""},
	} {
		if !all && (strings.HasSuffix(b.file, "-board") || strings.HasPrefix(b.file, "presets")) {
			continue
		}
		src, err := chains.ReadShipped(b.file)
		if err != nil {
			t.Fatal(err)
		}
		f, err := file.Parse(b.file, src)
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		path := filepath.Join(dir, b.file+".yaml")
		if err := os.WriteFile(path, src, 0o600); err != nil {
			t.Fatal(err)
		}
		take := []string{}
		if b.take != "" {
			take = []string{"--take", b.take}
		}
		for _, args := range [][]string{
			{"swaps", path, "--seconds", "0.2", "--quality", "draft"},
			{"rank", path, "--seconds", "0.2", "--most", "2"},
			{"noise", path},
			{"response", path},
			{"measure", path, "--quality", "draft"},
			{"ladder", path},
			{"presets", path, "--seconds", "0.5", "--quality", "draft"},
			{"check", path},
			{"power", path},
			{"sheet", path, "-o", filepath.Join(dir, "sheet.html")},
			{"hunt", path, "--plan"},
			{"netlist", path},
			{"render", path, "--quality", "draft", "-o", filepath.Join(dir, "take.wav")},
		} {
			switch command := args[0]; {
			case command == "power" && !bytes.Contains(src, []byte("\nsupplies:")):
				continue
			case command == "presets" && !bytes.Contains(src, []byte("\npresets:")):
				continue
			case command != "presets" && command != "ladder" && command != "check" && command != "power":
				args = append(args, take...)
			}
			var out, said bytes.Buffer
			if code := Run(t.Context(), args, strings.NewReader(""), &out, &said); code != 0 || out.Len() == 0 {
				t.Errorf("%s %s: exit %d\n%s", strings.Join(args, " "), b.take, code, said.String())
			}
			if args[0] == "netlist" { // a circuit, part by part
				continue
			}
			if parts := partsNamed(f, strings.ReplaceAll(out.String()+said.String(), dir, "")); parts != nil {
				t.Errorf("%s %s names parts: %q", strings.Join(args, " "), b.take, parts)
			}
		}
	}
}
