package cli

import (
	"bytes"
	"context"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/files/filestest"
)

// FuzzArguments runs command lines, a word a line, on a disk that fails from the first call on:
// whatever is asked for, a command ends with one of the three codes, does not panic, says why it
// failed, and makes nothing.
func FuzzArguments(f *testing.F) {
	for _, cmd := range command(streams{}, nil).Commands() {
		for _, line := range strings.Split(cmd.Example, "\n") {
			if words, ok := strings.CutPrefix(strings.TrimSpace(line), "drywire "); ok {
				f.Add(strings.ReplaceAll(words, " ", "\n"))
			}
		}
	}
	f.Add("rank\n--part\n0/0\n-")
	f.Add("__complete\nrender\nx\n--take\n")
	f.Add("--\n\x00\n--version=\n")
	folder := f.TempDir()
	f.Fuzz(func(t *testing.T, line string) {
		t.Chdir(folder) // not before: testdata is read from here, and what fails is written there
		ctx, stop := context.WithTimeout(t.Context(), 2*time.Second)
		defer stop()
		var errs bytes.Buffer
		d := &filestest.Faulty{Beneath: files.Disk{}, At: 1, Dies: true}
		code := run(ctx, strings.Split(line, "\n"), streams{in: strings.NewReader(""), out: io.Discard, err: &errs, disk: d})
		d.Bury()
		if code < done || code > misused || code != done && errs.Len() == 0 {
			t.Errorf("exit code %d, and %q", code, errs.String())
		}
		if list, err := os.ReadDir("."); err != nil || len(list) > 0 {
			t.Errorf("the folder holds %v (%v)", list, err)
		}
	})
}
