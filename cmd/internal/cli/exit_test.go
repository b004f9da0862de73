package cli

import (
	"bytes"
	"io"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// fullDisk is what is written to when the disk is full: the system's device for that where there is
// one.
func fullDisk(t *testing.T) io.Writer {
	f, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		return fullWriter{}
	}
	t.Cleanup(func() { f.Close() })
	return f
}

type fullWriter struct{}

func (fullWriter) Write([]byte) (int, error) {
	return 0, &os.PathError{Op: "write", Path: "full", Err: syscall.ENOSPC}
}

// TestFullStandardOutput holds that no command succeeds whose words could not be written, in JSON
// too where it knows that.
func TestFullStandardOutput(t *testing.T) {
	t.Parallel()
	dir, out := faultFolder(t), t.TempDir()
	mustRun(t, line("rank RANK --journal JOURNAL --seconds 0.1", dir, "", false)...)
	done := 0
	try := func(args ...string) {
		var errs bytes.Buffer
		if code := Run(t.Context(), args, strings.NewReader(""), fullDisk(t), &errs); code != failed || !strings.HasSuffix(errs.String(), "standard output: "+syscall.ENOSPC.Error()+"\n") {
			t.Errorf("drywire %s: exit code %d, want %d: %s", strings.Join(args, " "), code, failed, errs.String())
		}
		done++
	}
	for _, c := range calls(t) {
		if depth() == few && slices.Contains([]string{"demo", "compare", "report", "why", "swaps", "presets", "lesson"}, c.name) {
			continue
		}
		args := line(c.text, dir, out, false)
		try(args...)
		if cmd, _, err := command(streams{}, nil).Find(args); err == nil && cmd.Flags().Lookup("json") != nil {
			try(append(args, "--json")...)
		}
	}
	t.Logf("%d command lines", done)
	if done < 45 && depth() != few {
		t.Errorf("only %d command lines", done)
	}
}
