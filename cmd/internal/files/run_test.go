package files_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"drywire/cmd/internal/files"
)

// TestRunEnds: what a run has not published is gone when it is ended from outside, with the folders
// that it made, and what goes on with it can change nothing.
func TestRunEnds(t *testing.T) {
	top := t.TempDir()
	run := files.NewRun(files.Disk{})
	folder := filepath.Join(top, "new", "deep")
	o, err := files.Into(run, folder)
	if err != nil {
		t.Fatal(err)
	}
	f, err := o.Create("a.txt")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write([]byte("half")); err != nil {
		t.Fatal(err)
	}
	if wrote, ok := run.End(time.Second); wrote || !ok {
		t.Errorf("ended with wrote %v, ok %v", wrote, ok)
	}
	if list, _ := os.ReadDir(top); len(list) > 0 {
		t.Errorf("%v is left", list)
	}
	if _, err := f.Write([]byte("more")); !errors.Is(err, files.ErrEnded) {
		t.Errorf("a write comes to %v", err)
	}
	if err := o.Publish(); err == nil {
		t.Error("published after its end")
	}
	o.Abort()
	if _, err := files.Into(run, folder); !errors.Is(err, files.ErrEnded) {
		t.Errorf("a new output comes to %v", err)
	}
	if list, _ := os.ReadDir(top); len(list) > 0 {
		t.Errorf("%v is left", list)
	}
}

// TestRunKeepsWhatIsPublished: it is there to stay, and told.
func TestRunKeepsWhatIsPublished(t *testing.T) {
	top := t.TempDir()
	run := files.NewRun(files.Disk{})
	folder := filepath.Join(top, "new")
	o, err := files.Into(run, folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(o.Text("a.txt", []byte("a")), o.Text("b.txt", []byte("b")), o.Publish()); err != nil {
		t.Fatal(err)
	}
	if wrote, ok := run.End(time.Second); !wrote || !ok {
		t.Errorf("ended with wrote %v, ok %v", wrote, ok)
	}
	if list, _ := os.ReadDir(folder); len(list) != 2 {
		t.Errorf("%v is there", list)
	}
}
