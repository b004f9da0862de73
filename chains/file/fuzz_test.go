package file

import (
	"drywire/chains/internal/yamltext"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzParse: whatever the bytes, Parse returns a file whose takes all resolve, or faults whose
// places are in the file and whose messages are text that leaves a terminal alone.
func FuzzParse(f *testing.F) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds (%v)", err)
	}
	for _, file := range files {
		src, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	f.Add([]byte(example))
	f.Fuzz(func(t *testing.T, src []byte) {
		file, err := parse("fuzz.yaml", src, testKinds, nil)
		if err == nil {
			for _, c := range file.Chains() {
				if c.Take == "" {
					t.Error("a take without a name")
				}
				if c.Guitar.VolumePot <= 0 || c.Guitar.TonePot <= 0 {
					t.Errorf("take %q: pots %v and %v", c.Take, c.Guitar.VolumePot, c.Guitar.TonePot)
				}
			}
			return
		}
		var faults yamltext.Faults
		if file != nil || !errors.As(err, &faults) || len(faults) == 0 || len(faults) > yamltext.MaxFaults {
			t.Fatalf("got file %v and %d faults (%T)", file, len(faults), err)
		}
		lines := strings.Split(strings.ReplaceAll(strings.ReplaceAll(strings.TrimPrefix(string(src), "\ufeff"), "\r\n", "\n"), "\r", "\n"), "\n")
		for i, fault := range faults {
			if fault.Line < 1 || fault.Line > len(lines) {
				t.Fatalf("line %d of %d: %s", fault.Line, len(lines), fault.Text)
			}
			if n := utf8.RuneCountInString(lines[fault.Line-1]); fault.Column < 1 || fault.Column > n+1 {
				t.Fatalf("column %d of %d: %s", fault.Column, n, fault.Text)
			}
			if i > 0 && fault.Line < faults[i-1].Line {
				t.Fatalf("line %d comes after line %d", fault.Line, faults[i-1].Line)
			}
			if !utf8.ValidString(fault.Text) || strings.ContainsFunc(fault.Text, func(c rune) bool { return c < ' ' || c >= 0x7f && c <= 0x9f }) {
				t.Fatalf("a message that is not one line of text: %q", fault.Text)
			}
			if len(fault.Text) > 4000 {
				t.Fatalf("a message of %d bytes", len(fault.Text))
			}
		}
	})
}
