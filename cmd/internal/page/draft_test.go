package page

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"drywire/cmd/internal/files"
)

// drafted waits for a draft to hold what a text does; "" is for no draft.
func (p *opened) drafted(name, source string) {
	p.t.Helper()
	var have []byte
	for begun := time.Now(); time.Since(begun) < 10*time.Second; time.Sleep(5 * time.Millisecond) {
		text, err := os.ReadFile(filepath.Join(p.folder, name))
		if have, _, _ = draftOf(text); err == nil == (source != "") && string(have) == source {
			return
		}
	}
	p.t.Fatalf("%s holds %q, want %q", name, have, source)
}

// offered is a new window, and the drafts that it is offered.
func (p *opened) offered() (*window, []Draft) {
	p.t.Helper()
	w := &window{opened: p}
	var a struct {
		Session string
		State   State
		Drafts  []Draft
	}
	if status, body := p.post("api/open", struct{}{}, &a); status != http.StatusOK {
		p.t.Fatalf("%d: %s", status, body)
	}
	w.ID, w.State = a.Session, a.State
	return w, a.Drafts
}

func (w *window) takeDraft(name string, drop bool) (int, string) {
	var a struct{ State State }
	status, body := w.post("api/draft", map[string]any{"session": w.ID, "name": name, "drop": drop}, &a)
	if status == http.StatusOK {
		w.State = a.State
	}
	return status, string(body)
}

// again is another server of the same file, as after a kill -9: the first never came to its end.
func (p *opened) again() *opened {
	p.t.Helper()
	o := openPage(p.t, quickFile, func(_ string, o *Options) { o.File = p.file() })
	o.folder = p.folder
	return o
}

// What was changed and not saved lies beside the file at once, is offered by the next server, gone on
// with as it was, and gone when it is saved.
func TestDraftOutlivesTheServer(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	p.drafted("chain.yaml.draft", "")
	w.must("A", op("order", "order", []any{"buffer", "vol", "echo"}))
	w.must("B", op("take", "name", "plain"))
	p.drafted("chain.yaml.draft", w.text())
	if info, err := os.Stat(filepath.Join(p.folder, "chain.yaml.draft")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the draft has the mode %v (%v); the file has 0600", info.Mode(), err)
	}

	q := p.again()
	n, drafts := q.offered()
	if len(drafts) != 1 || drafts[0].Name != "chain.yaml.draft" || drafts[0].Changed || time.Since(time.UnixMilli(drafts[0].When)) > time.Minute {
		t.Fatalf("offered: %+v", drafts)
	}
	n.wants("before", n.State.Dirty, false)
	if status, said := n.takeDraft("chain.yaml.draft", false); status != http.StatusOK {
		t.Fatal(status, said)
	}
	n.wants("gone on with", n.text(), w.text())
	n.wants("side A", n.lane("A"), w.lane("A"))
	n.wants("side B", n.State.Sides["B"].Take, "plain")
	n.wants("not saved", n.State.Dirty, true)
	n.must("A", op("undo"))
	n.wants("undone", n.text(), quickFile)
	n.must("A", op("redo"))
	if _, drafts := q.offered(); len(drafts) > 0 {
		t.Errorf("another window has it, and it is offered: %+v", drafts)
	}
	if status, a := n.save(map[string]any{"side": "A", "how": "all"}); status != http.StatusOK {
		t.Fatalf("%d %+v", status, a)
	}
	q.drafted("chain.yaml.draft", "")
}

// Two windows have two drafts; what is thrown away is gone, and the other one stays.
func TestDraftOfEachWindow(t *testing.T) {
	p := openPage(t, quickFile)
	v, w := p.window(), p.window()
	v.must("A", op("order", "order", []any{"buffer", "vol", "echo"}))
	p.drafted("chain.yaml.draft", v.text())
	w.must("A", op("order", "order", []any{"echo", "vol", "buffer"}))
	p.drafted("chain.yaml.draft-2", w.text())
	w.must("A", op("undo"))
	p.drafted("chain.yaml.draft-2", "")
	w.must("A", op("redo"))
	p.drafted("chain.yaml.draft-2", w.text())

	q := p.again()
	n, drafts := q.offered()
	if len(drafts) != 2 {
		t.Fatalf("offered: %+v", drafts)
	}
	for _, name := range []string{"chain.yaml", "pluck.wav", "chain.yaml.draft-3", "../chain.yaml.draft"} {
		if status, said := n.takeDraft(name, true); status != http.StatusConflict {
			t.Errorf("%s: %d %s", name, status, said)
		}
	}
	if status, said := n.takeDraft("chain.yaml.draft", true); status != http.StatusOK {
		t.Error(status, said)
	}
	q.drafted("chain.yaml.draft", "")
	q.drafted("chain.yaml.draft-2", w.text())
	n.must("A", op("bypass", "block", "echo", "on", true))
	if status, said := n.takeDraft("chain.yaml.draft-2", false); status != http.StatusConflict || !strings.Contains(said, "changes of its own") {
		t.Errorf("over changes of its own: %d %s", status, said)
	}
}

// A draft of what the file no longer is does not go over the file unseen.
func TestDraftOfAnOlderFile(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.must("A", op("order", "order", []any{"buffer", "vol", "echo"}))
	p.drafted("chain.yaml.draft", w.text())
	theirs := strings.Replace(quickFile, "Quick", "Theirs", 1)
	p.overwrite(theirs)
	n, drafts := p.again().offered()
	if len(drafts) != 1 || !drafts[0].Changed {
		t.Fatalf("offered: %+v", drafts)
	}
	if status, said := n.takeDraft("chain.yaml.draft", false); status != http.StatusOK {
		t.Fatal(status, said)
	}
	if status, a := n.save(map[string]any{"side": "A", "how": "all"}); status != http.StatusConflict || a.Theirs != theirs || a.Mine != w.text() {
		t.Errorf("saved: %d %+v", status, a)
	}
	n.wants("on disk", p.disk(), theirs)
}

// full is a disk that has no room while it is told so.
type full struct {
	files.Disk
	yes *atomic.Bool
}

func (d full) Mkdir(path string, mode os.FileMode) error {
	if d.yes.Load() {
		return &os.PathError{Op: "mkdir", Path: path, Err: syscall.ENOSPC}
	}
	return d.Disk.Mkdir(path, mode)
}

// A full disk is told, takes nothing from the draft that is there, and is told to be over.
func TestDraftOnAFullDisk(t *testing.T) {
	var yes atomic.Bool
	p := openPage(t, quickFile, func(_ string, o *Options) { o.Disk = full{yes: &yes} })
	w := p.window()
	w.must("A", op("order", "order", []any{"buffer", "vol", "echo"}))
	before := w.text()
	p.drafted("chain.yaml.draft", before)
	events := w.told()
	time.Sleep(50 * time.Millisecond) // the stream is there
	yes.Store(true)
	w.must("A", op("bypass", "block", "echo", "on", true))
	var said struct{ Fault string }
	expect(t, events, "draft", &said)
	if !strings.Contains(said.Fault, "no space left") {
		t.Errorf("told: %q", said.Fault)
	}
	p.drafted("chain.yaml.draft", before)
	yes.Store(false)
	w.must("A", op("bypass", "block", "vol", "on", true))
	expect(t, events, "draft", &said)
	w.wants("over", said.Fault, "")
	p.drafted("chain.yaml.draft", w.text())
}
