package files_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/files/filestest"
)

// plain is a system that cannot exchange names.
type plain struct{ files.System }

func (plain) Exchange(string, string) error { return errors.ErrUnsupported }

// editors change a file as editors do: over it by a rename, or in place; and then again, and a
// third time by a rename, faster than any person.
var editors = map[string]func(t *testing.T, path, text string){
	"rename": func(t *testing.T, path, text string) {
		beside := path + ".editor"
		if err := errors.Join(os.WriteFile(beside, []byte(text), 0o600), os.Rename(beside, path)); err != nil {
			t.Error(err)
		}
	},
	"in place": func(t *testing.T, path, text string) {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Error(err)
		}
	},
}

// holds is the texts in a folder by their names.
func holds(t *testing.T, folder string) map[string]string {
	texts := map[string]string{}
	list, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if text, err := os.ReadFile(filepath.Join(folder, e.Name())); err == nil {
			texts[e.Name()] = string(text)
		}
	}
	return texts
}

func kept(texts map[string]string, text string) bool {
	for _, have := range texts {
		if have == text {
			return true
		}
	}
	return false
}

// TestSaveLosesNoText lets an editor save before every call of a save, twice or once, and lets the
// save fail or die at every call: what was there, and what the editor wrote last, is there after
// it, under the file's name or beside it, and under its name is a whole text.
func TestSaveLosesNoText(t *testing.T) {
	faults, races, lost := 0, 0, 0
	for system, beneath := range map[string]files.System{"exchange": files.Disk{}, "no exchange": plain{files.Disk{}}} {
		run := func(what string, d *filestest.Faulty, edit func(path string)) (over bool) {
			folder := t.TempDir()
			path := filepath.Join(folder, "c.yaml")
			if err := os.WriteFile(path, []byte("old"), 0o640); err != nil {
				t.Fatal(err)
			}
			d.Beneath = beneath
			if edit != nil {
				d.Look = func() { edit(path) }
			}
			text := files.Text{Sys: d, Path: path, Most: 1000}
			_, err := text.Save([]byte("old"), []byte("mine"))
			d.Bury()
			texts := holds(t, folder)
			_ = err
			if strings.Contains(what, "edit") {
				races++
			} else {
				faults++
			}
			switch now := texts["c.yaml"]; {
			case !kept(texts, "old") && !strings.Contains(what, "edit"), strings.Contains(what, "edit") && !kept(texts, "theirs"):
				lost++
				t.Errorf("%s, %s: lost a text: %v (%v)", system, what, texts, err)
			case now != "mine" && now != "old" && now != "theirs" && !(now == "" && system == "no exchange" && d.Dies):
				if !(now == "" && system == "no exchange" && err != nil && strings.Contains(err.Error(), "is kept in")) {
					t.Errorf("%s, %s: the file holds %q (%v)", system, what, now, err)
				}
			case err == nil && now != "mine" && !strings.Contains(what, "edit"):
				t.Errorf("%s, %s: saved, and the file holds %q", system, what, now)
			case err != nil && now == "mine" && !d.Dies && !strings.Contains(err.Error(), "is saved") && !strings.Contains(err.Error(), "is kept in"):
				t.Errorf("%s, %s: not saved, and the file holds it (%v)", system, what, err)
			}
			if info, err := os.Stat(path); err == nil && info.Mode().Perm() != 0o640 && texts["c.yaml"] == "mine" {
				t.Errorf("%s, %s: mode %v", system, what, info.Mode())
			}
			return !d.Struck()
		}
		for _, dies := range []bool{false, true} {
			for at := 1; ; at++ {
				if run(fmt.Sprintf("call %d, dies %v", at, dies), &filestest.Faulty{At: at, Dies: dies, Half: true}, nil) {
					break
				}
			}
		}
		clean := &filestest.Faulty{}
		run("clean", clean, nil)
		for how, edit := range editors {
			for at := range clean.Calls() {
				n := 0
				run(fmt.Sprintf("edit by %s before call %d, %s", how, at+1, clean.Calls()[at]), &filestest.Faulty{}, func(path string) {
					if n++; n == at+1 {
						edit(t, path, "theirs")
					}
				})
				if at == len(clean.Calls())-1 {
					continue // there is no call for the last edit
				}
				m := 0 // one editor, which has "theirs" come last, hot on the heels of another version
				run(fmt.Sprintf("two edits by %s before call %d, %s", how, at+1, clean.Calls()[at]), &filestest.Faulty{}, func(path string) {
					switch m++; m {
					case at + 1:
						edit(t, path, "first")
					case at + 2, at + 3:
						editors["rename"](t, path, "theirs")
					}
				})
			}
		}
	}
	t.Logf("%d faults, %d races, %d texts lost", faults, races, lost)
	if faults < 60 || races < 100 {
		t.Errorf("only %d faults and %d races", faults, races)
	}
}

// TestSaveRacesWithEditors is the same by the clock: a thousand saves, during each of which an
// editor saves.
func TestSaveRacesWithEditors(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "c.yaml")
	text := files.Text{Sys: unsynced(), Path: path, Most: 1000}
	conflicts, lost := 0, 0
	random := rand.New(rand.NewPCG(1, 1))
	var took time.Duration
	for k := range 1000 {
		was, theirs, mine := fmt.Sprint("old ", k), fmt.Sprint("theirs ", k), fmt.Sprint("mine ", k)
		how := "rename"
		if k%3 == 0 {
			how = "in place"
		}
		if err := os.WriteFile(path, []byte(was), 0o600); err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		wait := time.Duration(random.Int64N(int64(took + 1)))
		begun := time.Now()
		go func() {
			defer close(done)
			for time.Since(begun) < wait {
			}
			editors[how](t, path, theirs)
		}()
		_, err := text.Save([]byte(was), []byte(mine))
		took = max(time.Since(begun), took/2)
		<-done
		if errors.As(err, new(files.Changed)) {
			conflicts++
		} else if err != nil {
			t.Errorf("%d: %v", k, err)
		}
		texts := holds(t, folder)
		if !kept(texts, theirs) {
			lost++
			t.Errorf("%d, %s: theirs is lost, of %v (%v)", k, how, texts, err)
		}
		if err == nil && !kept(texts, mine) && texts["c.yaml"] != theirs {
			lost++
			t.Errorf("%d, %s: mine is lost, of %v", k, how, texts)
		}
	}
	t.Logf("1000 races, %d of them seen by the save, %d texts lost", conflicts, lost)
	if conflicts < 20 {
		t.Errorf("only %d of the races were any", conflicts)
	}
}
