package template

import (
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/file"
)

// Whatever the title, the text parses, says something for every line, and has every knob at its
// default.
func TestText(t *testing.T) {
	for _, b := range shown {
		if blocks.Find(b[1]) == nil {
			t.Errorf("the template uses kind %q, which there is not", b[1])
		}
	}
	for _, title := range []string{"Is my wah too late?", "it's: #1 {of} \"2\"", "", "two\nlines\x1b", strings.Repeat("long ", 100)} {
		src := Text(title)
		f, err := file.Parse("template.yaml", src)
		if err != nil {
			t.Fatalf("%v\n%s", err, src)
		}
		if title == "it's: #1 {of} \"2\"" && f.Title != title {
			t.Errorf("title %q, want %q", f.Title, title)
		}
		if len(f.Takes) != 4 || len(f.Blocks) != 3 {
			t.Errorf("%d takes and %d blocks", len(f.Takes), len(f.Blocks))
		}
		for i, line := range strings.Split(strings.TrimSpace(string(src)), "\n") {
			if line != "" && !strings.Contains(line, "# ") {
				t.Errorf("line %d says nothing for itself: %s", i+1, line)
			}
		}
		for _, b := range f.Blocks {
			for _, k := range b.Kind.Knobs {
				if k.Words != nil && b.Settings.Word(k.Name) != k.Word || k.Words == nil && b.Settings.Number(k.Name) != k.Default {
					t.Errorf("%s.%s is not at its default", b.Name, k.Name)
				}
			}
		}
	}
}
