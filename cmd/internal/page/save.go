package page

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
)

// save writes a window's changes into the chain file, if that is still what the window began with.
func (s *server) save(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string `json:"session"`
		Side    string `json:"side"`
		How     string `json:"how"`
		Name    string `json:"name"`
		Force   bool   `json:"force"`
	}
	n, side, err := s.askedOf(r, &q, &q.Session, &q.Side)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	s.saving.Lock()
	defer s.saving.Unlock()
	if q.How == "copy" {
		name, err := s.copy(q.Name, n.doc.Text.Source)
		if err != nil {
			return err
		}
		local.Answer(w, http.StatusOK, map[string]string{"copied": name})
		return nil
	}
	// What is written is made from the text that the window began with: a save with force puts it
	// over what is there now.
	mine, doc, err := n.saved(r, side, q.How, q.Name)
	if err != nil {
		return err
	}
	was := n.base.Source
	if q.Force {
		if was, err = s.readFile(); errors.Is(err, fs.ErrNotExist) {
			was = nil
		} else if err != nil {
			return err
		}
	}
	kept, err := s.write(was, mine.Source)
	var changed files.Changed
	if errors.As(err, &changed) {
		text := "The file has changed on disk since this window read it."
		if changed.Gone {
			text = "The file is no longer there."
		}
		local.Answer(w, http.StatusConflict, map[string]string{"conflict": text, "theirs": string(changed.Theirs), "mine": string(mine.Source)})
		return nil
	}
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.disk = diskState{text: mine.Source}
	s.mu.Unlock()
	before := n.doc
	n.doc, n.base, n.opened, n.disk = doc, mine, mine.Source, diskSame
	n.changed(before)
	state, err := n.state()
	if err != nil {
		return err
	}
	for _, o := range s.all() {
		if o != n {
			// which waits for its own lock
			s.engine.Go(func() { o.noticed(s.ctx, diskState{text: mine.Source}) })
		}
	}
	local.Answer(w, http.StatusOK, map[string]any{"saved": true, "kept": kept, "state": state})
	return nil
}

// copy writes a text as a new file of the folder, by a name that a person typed, and returns the
// file's. A file that is there stays.
func (s *server) copy(typed string, text []byte) (name string, err error) {
	name = strings.TrimSuffix(strings.TrimSpace(typed), ".yaml") + ".yaml"
	if name == ".yaml" || strings.HasPrefix(name, ".") || len(name) > 120 || strings.ContainsFunc(name, func(c rune) bool { return c < ' ' || c == 0x7f || strings.ContainsRune(`/\:*?"<>|`, c) }) {
		return "", local.Refuse(http.StatusUnprocessableEntity, "give the file a name without a slash or other signs that files may not have")
	}
	out, err := files.Into(s.options.Disk, s.root.Name())
	if err != nil {
		return "", err
	}
	defer out.Abort()
	if err := out.Text(name, text); err != nil {
		return "", err
	}
	out.Fresh(name)
	if err := out.Publish(); errors.Is(err, fs.ErrExist) {
		return "", local.Refuse(http.StatusUnprocessableEntity, "%s is there already: give the file another name", name)
	} else if err != nil {
		return "", err
	}
	return name, nil
}

// saved is the text that is to be written, and the document that the window has then. The lock is
// held.
func (n *session) saved(r *http.Request, side int, how, name string) (*edit.Text, document, error) {
	ctx, t, d := r.Context(), n.doc.take(side), n.doc
	if t.Order == nil {
		t.Order, t.Split = n.doc.Order, n.doc.Split
	}
	switch how {
	case "all":
		return d.Text, d, nil
	case "order":
		loops := d.LoopsOf(t)
		set := func(text *edit.Text) (*edit.Text, error) {
			if t.Loops == nil {
				return text.SetOrder(t.Order, t.Split)
			}
			at := slices.IndexFunc(d.Blocks, func(b board.Block) bool { return b.Loops != nil })
			return text.SetBoard(t.Order, t.Split, d.Blocks[at].Name, loops)
		}
		mine, err := set(n.base)
		if err != nil {
			return nil, d, fmt.Errorf("%w (to save every change of this window, save all)", err)
		}
		text, err := set(d.Text)
		if err != nil {
			return nil, d, err
		}
		d, err = d.with(ctx, text, d.takes)
		return mine, d, err
	case "take":
		if name == "" {
			return nil, d, local.Refuse(http.StatusUnprocessableEntity, "the new take needs a name")
		}
		if _, err := d.Take(name); err == nil {
			return nil, d, local.Refuse(http.StatusUnprocessableEntity, "there is a take %q already", name)
		}
		old := t.Name
		t.Name = name
		mine, err := n.base.AddTake("", t)
		if err != nil {
			return nil, d, fmt.Errorf("%w (to save every change of this window, save all)", err)
		}
		text, err := d.Text.AddTake("", t)
		if err != nil {
			return nil, d, err
		}
		// The take that was changed becomes again what it is in the file, or goes where the file
		// has none of that name.
		takes := d.takes
		takes[side] = name
		if takes[1-side] != old {
			back := func() (*edit.Text, error) { return text.RemoveTake(old) }
			for _, was := range n.base.File.Takes {
				if was.Name == old {
					back = func() (*edit.Text, error) { return text.SetTake(old, was) }
				}
			}
			if again, err := back(); err == nil {
				text = again
			}
		}
		d, err = d.with(ctx, text, takes)
		return mine, d, err
	}
	return nil, d, local.Refuse(http.StatusBadRequest, "no way to save %q; there are take, order, all and copy", how)
}

// write puts a text in the place of what the file held, which is kept beside it under the names
// that it returns. A link to another file of the folder is followed.
func (s *server) write(was, text []byte) (kept []string, err error) {
	path := filepath.Join(s.root.Name(), s.name)
	if real, err := s.options.Disk.RealPath(path); err == nil {
		path = real
	}
	if folder, err := s.options.Disk.RealPath(s.root.Name()); err != nil || filepath.Dir(path) != folder {
		return nil, fmt.Errorf("%s: is a link out of the folder that was opened", s.name)
	}
	if s.text.Path != path {
		s.text = files.Text{Sys: s.options.Disk, Path: path, Most: mostRead}
	}
	kept, err = s.text.Save(was, text)
	for k := range kept {
		kept[k] = filepath.Base(kept[k])
	}
	return kept, err
}

// reload takes the file as it is on disk, and gives up what the window has changed.
func (s *server) reload(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string `json:"session"`
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	text, err := s.readFile()
	if err != nil {
		return err
	}
	if err := n.adopt(r.Context(), text); err != nil {
		return err
	}
	state, err := n.state()
	if err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, map[string]any{"state": state})
	return nil
}
