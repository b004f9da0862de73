package page

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestSaveRaces has an editor save, by a rename, 0 to 12 ms after the window has asked for the
// same: the editor's text is there after it, in the file or beside it. No run may make a race of
// every save, so some must be.
func TestSaveRaces(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	random := rand.New(rand.NewPCG(1, 1))
	saved, lost, many := 0, 0, 150
	if testing.Short() {
		many = 30
	}
	for k := range many {
		w.must("A", op("bypass", "block", "echo", "on", k%2 == 0))
		theirs := strings.Replace(quickFile, "Quick", fmt.Sprint("Theirs ", k), 1)
		done := make(chan error)
		go func() {
			time.Sleep(time.Duration(random.IntN(12_000)) * time.Microsecond)
			beside := p.file() + ".editor"
			if err := os.WriteFile(beside, []byte(theirs), 0o600); err != nil {
				done <- err
				return
			}
			done <- os.Rename(beside, p.file())
		}()
		status, a := w.save(map[string]any{"side": "A", "how": "all"})
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if status == http.StatusOK && a.Saved {
			saved++
		} else if status != http.StatusConflict {
			t.Fatalf("%d %+v", status, a)
		}
		found := false
		names, _ := filepath.Glob(p.file() + "*")
		for _, name := range names {
			text, err := os.ReadFile(name)
			found = found || err == nil && string(text) == theirs
		}
		if !found {
			lost++
		}
		var again struct{ State State }
		if status, body := w.post("api/reload", map[string]any{"session": w.ID}, &again); status != http.StatusOK {
			t.Fatalf("%d: %s", status, body)
		}
		w.State = again.State
	}
	t.Logf("%d races, in %d of which the save was first; %d texts lost", many, saved, lost)
	if lost > 0 || saved == 0 || saved == many {
		t.Errorf("%d of %d texts are lost; saved %d", lost, many, saved)
	}
}

// TestSaveThroughALink holds that a file that has become a link to another of the folder stays one,
// and that one that leads out of it is not written through.
func TestSaveThroughALink(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	real := filepath.Join(p.folder, "real.yaml")
	if err := os.Rename(p.file(), real); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real.yaml", p.file()); err != nil {
		t.Skip(err)
	}
	w.must("A", op("bypass", "block", "echo", "on", true))
	if status, a := w.save(map[string]any{"side": "A", "how": "all"}); status != http.StatusOK {
		t.Fatalf("%d %+v", status, a)
	}
	text, err := os.ReadFile(real)
	if info, e := os.Lstat(p.file()); err != nil || e != nil || info.Mode()&os.ModeSymlink == 0 || string(text) != w.text() {
		t.Errorf("%v %v %v", err, e, info)
	}
	out := filepath.Join(t.TempDir(), "out.yaml")
	if err := os.Rename(real, out); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(p.file()); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(out, p.file()); err != nil {
		t.Fatal(err)
	}
	w.must("A", op("bypass", "block", "echo", "on", false))
	if status, a := w.save(map[string]any{"side": "A", "how": "all"}); status == http.StatusOK {
		t.Errorf("%d %+v", status, a)
	}
	if now, err := os.ReadFile(out); err != nil || string(now) != string(text) {
		t.Errorf("a file outside has changed (%v)", err)
	}
}
