package page

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"

	"drywire/chains/edit"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
)

// A draft is what a window has changed and not saved, beside the chain file, written anew after each
// change: what a closed window, a Ctrl-C or a crash leaves. It is a chain file itself, with four
// lines of comment before it. The first is called NAME.draft, those of further windows
// NAME.draft-2 and so on.
const (
	draftEnding = ".draft"
	mostDrafts  = 4 * mostSessions
)

// drafts is the windows whose draft is no longer what they show.
type drafts struct {
	mu   sync.Mutex
	due  map[*session]bool
	wake chan struct{} // holds one

	taking sync.Mutex // before that of any window
}

func newDrafts() *drafts { return &drafts{due: map[*session]bool{}, wake: make(chan struct{}, 1)} }

// want has a window's draft written soon. It waits for no disk.
func (d *drafts) want(n *session) {
	d.mu.Lock()
	d.due[n] = true
	d.mu.Unlock()
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// taken is the windows that are due, which are no longer.
func (d *drafts) taken() map[*session]bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	due := d.due
	d.due = map[*session]bool{}
	return due
}

// keepDrafts writes drafts until the context ends, and then those that are still due. Beside a
// lesson none is kept: its board is the lesson's.
func (s *server) keepDrafts(ctx context.Context) {
	for ended := false; !ended; {
		select {
		case <-s.drafts.wake:
		case <-ctx.Done():
			ended = true
		}
		for n := range s.drafts.taken() {
			if s.options.Lesson == nil {
				n.keepDraft()
			}
		}
	}
}

// keepDraft makes a window's draft what the window shows, or removes it where that is saved.
func (n *session) keepDraft() {
	s := n.server
	n.mu.Lock()
	dirty, doc, base := n.dirty(), n.doc, n.base.Source
	name, err := n.draft, error(nil)
	n.mu.Unlock()
	if name == "" && dirty {
		name, err = s.freeDraft()
		n.mu.Lock()
		n.draft = name
		n.mu.Unlock()
	}
	switch {
	case err != nil:
	case dirty:
		err = s.writeDraft(name, draftText(s.name, doc, base))
	case name != "":
		err = local.Plain(s.options.Disk.Remove(filepath.Join(s.root.Name(), name)))
	default:
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if err == nil && !dirty && n.draft == name {
		n.draft = ""
	}
	said := ""
	if err != nil && dirty {
		said = err.Error()
	}
	if said != n.draftFault {
		n.draftFault = said
		n.tell("draft", map[string]string{"fault": said})
	}
}

// writeDraft writes a draft, all or none, for the eyes that may read the chain file.
func (s *server) writeDraft(name string, text []byte) error {
	mode := fs.FileMode(0o600) // where the file is gone
	if info, err := s.root.Stat(s.name); err == nil {
		mode = info.Mode().Perm()
	}
	o, err := files.Into(s.options.Disk, s.root.Name())
	if err != nil {
		return err
	}
	defer o.Abort()
	f, err := o.Create(name)
	if err != nil {
		return err
	}
	err = f.Chmod(mode)
	if err == nil {
		_, err = f.Write(text)
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("%s: %w", name, local.Plain(err))
	}
	return o.Publish()
}

// draftText is a draft's text: which takes the sides show and of which text of the file it is, then
// the chain file as the window has it.
func draftText(file string, d document, base []byte) []byte {
	sum := sha256.Sum256(base)
	head := fmt.Sprintf("# What a window of drywire listen changed in %q and has not saved.\n# A: %q\n# B: %[3]q\n# of: %s\n", file, d.takes[0], d.takes[1], hex.EncodeToString(sum[:]))
	return append([]byte(head), d.Text.Source...)
}

// draftOf takes a draft's text apart. One that somebody has written over has no takes and is of
// nothing; its text is all of it.
func draftOf(text []byte) (source []byte, takes [2]string, of string) {
	lines := bytes.SplitAfterN(text, []byte("\n"), 5)
	if len(lines) < 5 {
		return text, takes, ""
	}
	for k, letter := range letters {
		quoted, found := strings.CutPrefix(strings.TrimSpace(string(lines[1+k])), "# "+letter+": ")
		name, err := strconv.Unquote(quoted)
		if !found || err != nil {
			return text, [2]string{}, ""
		}
		takes[k] = name
	}
	of, found := strings.CutPrefix(strings.TrimSpace(string(lines[3])), "# of: ")
	if !found {
		return text, [2]string{}, ""
	}
	return lines[4], takes, of
}

// draftName is what the kth draft of the file is called, from 1.
func (s *server) draftName(k int) string {
	if k == 1 {
		return s.name + draftEnding
	}
	return fmt.Sprintf("%s%s-%d", s.name, draftEnding, k)
}

// freeDraft is the first name for a draft that nothing has. Only one is looked for at a time, by
// keepDrafts.
func (s *server) freeDraft() (string, error) {
	for k := 1; k <= mostDrafts; k++ {
		name := s.draftName(k)
		if _, err := s.root.Lstat(name); errors.Is(err, fs.ErrNotExist) && !s.owned(name) {
			return name, nil
		}
	}
	return "", fmt.Errorf("%s: there are %d drafts beside it already", s.name, mostDrafts)
}

// Draft is a draft that no window has, for a page to offer.
type Draft struct {
	Name    string `json:"name"`
	When    int64  `json:"when"`    // of its last change, in ms since 1970
	Changed bool   `json:"changed"` // the file is no longer what the draft was made of
}

// left is the drafts that no window of this server has, the newest first. What holds nothing but
// what the file holds is left out.
func (s *server) left(now []byte) []Draft {
	list := []Draft{}
	if s.options.Lesson != nil {
		return list
	}
	for k := 1; k <= mostDrafts; k++ {
		name := s.draftName(k)
		info, err := s.root.Lstat(name)
		if err != nil || !info.Mode().IsRegular() || s.owned(name) {
			continue
		}
		text, err := s.readDraft(name)
		if err != nil {
			continue
		}
		source, _, of := draftOf(text)
		if bytes.Equal(source, now) {
			continue
		}
		sum := sha256.Sum256(now)
		list = append(list, Draft{name, info.ModTime().UnixMilli(), of != hex.EncodeToString(sum[:])})
	}
	slices.SortStableFunc(list, func(a, b Draft) int { return int(b.When - a.When) })
	return list
}

func (s *server) readDraft(name string) ([]byte, error) {
	text, err := files.Read(s.options.Disk, filepath.Join(s.root.Name(), name), mostRead)
	if err != nil {
		return nil, local.Refuse(http.StatusConflict, "%v", err)
	}
	return text, nil
}

// owned says whether a window has a draft.
func (s *server) owned(name string) bool {
	return slices.ContainsFunc(s.all(), func(n *session) bool {
		n.mu.Lock()
		defer n.mu.Unlock()
		return n.draft == name
	})
}

// takeDraft goes on with a draft that was left, as a step that can be undone, or throws it away.
func (s *server) takeDraft(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string `json:"session"`
		Name    string `json:"name"`
		Drop    bool   `json:"drop"`
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	s.drafts.taking.Lock() // one window takes it
	defer s.drafts.taking.Unlock()
	now, _ := s.readFile() // nil where it is gone
	if !slices.ContainsFunc(s.left(now), func(d Draft) bool { return d.Name == q.Name }) {
		return local.Refuse(http.StatusConflict, "this draft is no longer there: another window has it, or it was thrown away")
	}
	if q.Drop {
		if err := local.Plain(s.options.Disk.Remove(filepath.Join(s.root.Name(), q.Name))); err != nil {
			return fmt.Errorf("%s: %w", q.Name, err)
		}
	} else if err := n.goOnWith(r.Context(), q.Name, now); err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	state, err := n.state()
	if err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, map[string]any{"state": state})
	return nil
}

// goOnWith makes a window show a draft. Where the file has changed since, a save tells so, as it
// does of a file that changes while a window is open.
func (n *session) goOnWith(ctx context.Context, name string, now []byte) error {
	text, err := n.server.readDraft(name)
	if err != nil {
		return err
	}
	source, takes, of := draftOf(text)
	with, err := edit.ReadWith(n.server.name, source, n.server.decks)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.dirty() {
		return local.Refuse(http.StatusConflict, "this window has changes of its own: save or undo them first, or open the page once more")
	}
	d, err := n.doc.with(ctx, with, n.doc.takes)
	if err != nil {
		return err
	}
	for k := range takes {
		if _, err := d.Take(takes[k]); err != nil {
			takes[k] = d.Takes[min(k, len(d.Takes)-1)].Name
		}
	}
	d.takes = takes
	if err := n.server.afford(d); err != nil {
		return err
	}
	before := n.doc
	n.undo, n.redo, n.last = append(n.undo, before.step("what was not saved before")), nil, ""
	if n.draft != "" { // of what was saved, and about to be removed
		n.server.options.Disk.Remove(filepath.Join(n.server.root.Name(), n.draft))
	}
	n.doc, n.draft = d, name
	if sum := sha256.Sum256(now); of != hex.EncodeToString(sum[:]) {
		n.base, n.disk = with, diskChanged
	}
	n.changed(before)
	return nil
}

// unsaved is the drafts of the windows that are open.
func (s *server) unsaved() []string {
	var names []string
	for _, n := range s.all() {
		n.mu.Lock()
		if n.draft != "" && n.draftFault == "" {
			names = append(names, n.draft)
		}
		n.mu.Unlock()
	}
	slices.Sort(names)
	return names
}
