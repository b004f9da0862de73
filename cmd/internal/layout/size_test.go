package layout

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// The most lines that a room may have, without its tests, so that it can be read in one go; where
// that holds; and the rooms that are let off.
const mostLines = 2600

var (
	bounded = []string{"chains", "dsp/circuit"}
	letOff  = []string{"chains/experiment"}
)

// tooLong is the rooms of a module that are over a bound of lines, and how many it counted.
func tooLong(module fs.FS, most int) (list []string, counted int) {
	lines := map[string]int{}
	for _, top := range bounded {
		_ = fs.WalkDir(module, top, func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
				return nil
			}
			src, err := fs.ReadFile(module, file)
			if err != nil {
				list = append(list, err.Error())
			}
			lines[path.Dir(file)] += bytes.Count(src, []byte("\n"))
			return nil
		})
	}
	for room, n := range lines {
		if n > most && !slices.Contains(letOff, room) {
			list = append(list, fmt.Sprintf("%s: %d lines without its tests; %d at most", room, n, most))
		}
	}
	slices.Sort(list)
	return list, len(lines)
}

func TestRoomsAreNotTooLong(t *testing.T) {
	list, counted := tooLong(os.DirFS(root), mostLines)
	if counted < 15 {
		t.Fatalf("only %d rooms seen: the walk goes wrong", counted)
	}
	for _, f := range list {
		t.Error(f)
	}
}

func TestRoomsAreNotTooLongSeesFaults(t *testing.T) {
	file := func(lines int) *fstest.MapFile { return &fstest.MapFile{Data: bytes.Repeat([]byte("\n"), lines)} }
	got, _ := tooLong(fstest.MapFS{
		"chains/file/a.go": file(2), "chains/file/b.go": file(2), "chains/file/c_test.go": file(9),
		"chains/edit/a.go": file(3), "chains/edit/a_test.go": file(1),
		"chains/experiment/a.go": file(9), "dsp/reverb/a.go": file(9),
		"dsp/circuit/a.go": file(3), "dsp/circuit/linear/a.go": file(4),
	}, 3)
	want := []string{"chains/file: 4 lines without its tests; 3 at most", "dsp/circuit/linear: 4 lines without its tests; 3 at most"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
