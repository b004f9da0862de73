package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
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
		questions := [][]string{
			{"swaps", path, "--seconds", "0.2", "--quality", "draft"},
			{"rank", path, "--seconds", "0.2", "--most", "2"},
			{"noise", path},
			{"response", path},
			{"measure", path, "--quality", "draft"},
			{"ladder", path, "--quality", "draft"},
			{"presets", path, "--seconds", "0.5", "--quality", "draft"},
			{"check", path},
			{"power", path},
			{"sheet", path, "-o", filepath.Join(dir, "sheet.html")},
			{"hunt", path, "--plan"},
			{"netlist", path},
			{"render", path, "--quality", "draft", "-o", filepath.Join(dir, "take.wav")},
		}
		if b.file == "big-board" {
			questions = append(questions, longer(t, dir, path, src)...)
		}
		for _, args := range questions {
			switch command := args[0]; {
			case command == "power" && !bytes.Contains(src, []byte("\nsupplies:")):
				continue
			case command == "presets" && !bytes.Contains(src, []byte("\npresets:")):
				continue
			case !slices.Contains([]string{"presets", "ladder", "check", "power", "compare", "report"}, command):
				args = append(args, take...)
			}
			var out, said bytes.Buffer
			if code := Run(t.Context(), args, strings.NewReader(""), &out, &said); code != 0 || out.Len() == 0 {
				t.Errorf("%s %s: exit %d\n%s", strings.Join(args, " "), b.take, code, said.String())
			}
			if lines := bytes.Count(out.Bytes(), []byte("\n")); lines > screenLines && (args[0] == "measure" || args[0] == "ladder") {
				t.Errorf("%s %s: %d lines are more than a screen", strings.Join(args, " "), b.take, lines)
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

// longer is the questions that take longest, of half a second of sound: the report and the
// comparison of the first two takes. A sweep and a lesson from the board are asked by hand, since
// they take a minute: see DEVELOPERS.md.
func longer(t *testing.T, dir, path string, src []byte) [][]string {
	tone := filepath.Join(dir, "tone.wav")
	toneFile(t, tone, 0.5, 196)
	third := bytes.Index(src, []byte("  - {name: harbour, preset"))
	two := filepath.Join(dir, "two.yaml")
	if third < 0 {
		t.Fatal("the third take has another name")
	}
	if err := os.WriteFile(two, src[:third], 0o600); err != nil {
		t.Fatal(err)
	}
	short := func(args ...string) []string { return append(args, "--quality", "draft", "--recording", tone) }
	return [][]string{
		{"why", path, "--complaint", "thin", "--recording", tone},
		short("compare", path, "--take", "monologue", "--take", "market", "-o", filepath.Join(dir, "takes")),
		short("report", two, "-o", filepath.Join(dir, "report.html")),
	}
}
