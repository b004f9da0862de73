package files_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/files/filestest"
)

// unsynced is the disk, where a test need not wait for it.
func unsynced() files.System { return &filestest.Faulty{Beneath: files.Disk{}} }

var names = []string{"01.wav", "02.wav", "report.html"}

// write is a run that writes a generation of the files.
func write(sys files.System, folder, generation string, names ...string) (err error) {
	o, err := files.Into(sys, folder)
	if err != nil {
		return err
	}
	defer o.Abort()
	for _, name := range names {
		if err := o.Text(name, []byte(generation+" "+name)); err != nil {
			return err
		}
	}
	return o.Publish()
}

// seen is which generations there are in a folder, and how many files of them; a file that is not
// whole is an error.
func seen(folder string) (generations map[string]int, hidden []string, err error) {
	generations = map[string]int{}
	list, _ := os.ReadDir(folder)
	for _, e := range list {
		if strings.HasPrefix(e.Name(), ".") {
			hidden = append(hidden, e.Name())
			continue
		}
		text, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		generation, name, _ := strings.Cut(string(text), " ")
		if err != nil || name != e.Name() {
			return nil, nil, fmt.Errorf("%s holds %q (%v)", e.Name(), text, err)
		}
		generations[generation]++
	}
	return generations, hidden, nil
}

// TestOutputsAreOneGeneration lets a run that writes over another's files fail, and die, at every
// call; and the run that comes after it too. At no call does another process see files of two
// generations, or of one half a file; a run that fails leaves the old ones, all of them; and the
// run that is let live leaves its own, all of them, and nothing else.
func TestOutputsAreOneGeneration(t *testing.T) {
	faults, mixtures, looks := 0, 0, 0
	for _, there := range []bool{true, false} { // files of an older generation
		for _, many := range [][]string{names, names[:1]} {
			run := func(at int, dies bool, second int, secondDies bool) (struck bool) {
				folder := filepath.Join(t.TempDir(), "deep", "out")
				if there {
					if err := write(unsynced(), folder, "old", many...); err != nil {
						t.Fatal(err)
					}
				}
				look := func(what string) (map[string]int, []string) {
					looks++
					g, hidden, err := seen(folder)
					if len(g) > 1 || err != nil {
						mixtures++
						t.Errorf("%s: %v %v", what, g, err)
					}
					return g, hidden
				}
				d := &filestest.Faulty{Beneath: files.Disk{}, At: at, Dies: dies, Half: true}
				d.Look = func() { look(fmt.Sprintf("there %v, call %d of %q dies %v", there, at, "new", dies)) }
				err := write(d, folder, "new", many...)
				d.Bury()
				what := fmt.Sprintf("there %v, %d files, dies %v at %d", there, len(many), dies, at)
				if d.Struck() {
					faults++
					what += " " + d.Calls()[at-1]
				}
				g, hidden := look(what)
				if !dies {
					switch {
					case err == nil && g["new"] != len(many), err == nil && len(hidden) > 0 && !strings.Contains(what, "remove") && !strings.Contains(what, "readdir"):
						t.Errorf("%s: succeeded, and there are %v, %v", what, g, hidden)
					case err != nil && there && g["old"] != len(many) && g["new"] != len(many):
						t.Errorf("%s: failed, and there are %v: %v", what, g, err)
					case err != nil && !there && len(g) > 0 && g["new"] != len(many):
						t.Errorf("%s: failed, and there are %v: %v", what, g, err)
					case err != nil && g["new"] > 0 && !strings.Contains(err.Error(), "written") && !strings.Contains(err.Error(), "will finish it"):
						t.Errorf("%s: failed, and there are %v, which it does not say: %v", what, g, err)
					}
				}
				if second > 0 {
					d := &filestest.Faulty{Beneath: files.Disk{}, At: second, Dies: secondDies, Half: true}
					d.Look = func() { look(what + ", then a second one") }
					write(d, folder, "next", many...)
					d.Bury()
					struck = d.Struck()
					if struck {
						faults++
					}
					look(what + ", then a second one dead")
				} else {
					struck = d.Struck()
				}
				if err := write(unsynced(), folder, "last", many...); err != nil {
					t.Errorf("%s, and the next run: %v", what, err)
				}
				if g, hidden := look(what); g["last"] != len(many) || len(hidden) > 0 {
					t.Errorf("%s, and the next run: %v %v", what, g, hidden)
				}
				return struck
			}
			for _, dies := range []bool{false, true} {
				for at := 1; run(at, dies, 0, false); at++ {
					if !dies || testing.Short() {
						continue
					}
					step := 7 // every second call of every first is 25 000 faults in minutes: FAULTS=all
					if os.Getenv("FAULTS") == "all" {
						step = 1
					}
					for second := 1 + at%step; run(at, true, second, second/step%2 == 0); second += step {
					}
				}
			}
		}
	}
	t.Logf("%d faults injected, %d looks, %d mixtures", faults, looks, mixtures)
	if faults < 100 {
		t.Errorf("only %d faults", faults)
	}
}

// TestTwoRunsIntoOneFolder holds that a run does not sweep what another one is about to publish,
// and that either is there whole.
func TestTwoRunsIntoOneFolder(t *testing.T) {
	folder := t.TempDir()
	one, err := files.Into(files.Disk{}, folder)
	if err != nil {
		t.Fatal(err)
	}
	defer one.Abort()
	for _, name := range names {
		if err := one.Text(name, []byte("one "+name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := write(files.Disk{}, folder, "two", names...); err != nil {
		t.Fatal(err)
	}
	if err := one.Publish(); err != nil {
		t.Fatal(err)
	}
	if g, hidden, err := seen(folder); g["one"] != len(names) || len(g) != 1 || len(hidden) > 0 || err != nil {
		t.Errorf("%v %v %v", g, hidden, err)
	}
	done := make(chan error)
	for _, name := range []string{"a", "b", "c"} {
		go func() {
			var err error
			for range 30 {
				err = errors.Join(err, write(files.Disk{}, folder, name, names...))
			}
			done <- err
		}()
	}
	for running := 3; running > 0; {
		select {
		case err := <-done:
			running--
			if err != nil {
				t.Error(err)
			}
		default:
			// The names are read one after the other, so that what is seen may come of two; each is
			// whole.
			if _, _, err := seen(folder); err != nil {
				t.Error(err)
			}
		}
	}
	if g, hidden, err := seen(folder); len(g) != 1 || len(hidden) > 0 || err != nil {
		t.Errorf("%v %v %v", g, hidden, err)
	}
}

// TestLinks holds that a link within the folder stays one, and that none out of it is followed when
// there are several files.
func TestLinks(t *testing.T) {
	folder, elsewhere := t.TempDir(), t.TempDir()
	for link, to := range map[string]string{"01.wav": "real.wav", "02.wav": filepath.Join(elsewhere, "other.wav"), "dangling": "nowhere"} {
		if err := os.Symlink(to, filepath.Join(folder, link)); err != nil {
			t.Skip(err)
		}
	}
	for _, path := range []string{filepath.Join(folder, "real.wav"), filepath.Join(elsewhere, "other.wav")} {
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := write(files.Disk{}, folder, "new", "01.wav", "report.html"); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(folder, "real.wav"))
	if info, e := os.Lstat(filepath.Join(folder, "01.wav")); err != nil || e != nil || info.Mode()&os.ModeSymlink == 0 || string(text) != "new 01.wav" {
		t.Errorf("%v %v %v %q", err, e, info, text)
	}
	for name, want := range map[string]string{"02.wav": "is a link into another folder", "dangling": "a link to what is not there"} {
		if err := write(files.Disk{}, folder, "new", name, "report.html"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
