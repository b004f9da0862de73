package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

	"drywire/chains/file"
	"drywire/cmd/internal/local"
)

// What a window knows of the file on disk.
const (
	diskSame    = "same"
	diskChanged = "changed"
	diskGone    = "gone"
)

// diskState is the file as it was seen last.
type diskState struct {
	text []byte
	gone bool
}

// mostRead is how much of a file is read before it is known to be a chain file; Parse takes less.
const mostRead = 1 << 20

// readFile reads the chain file.
func (s *server) readFile() ([]byte, error) {
	info, err := s.root.Stat(s.name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name, local.Plain(err))
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is not a regular file", s.name)
	}
	f, err := s.root.Open(s.name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name, local.Plain(err))
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostRead))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name, local.Plain(err))
	}
	return b, nil
}

// begin reads the file for the first time.
func (s *server) begin(ctx context.Context) error {
	text, err := s.readFile()
	if err != nil {
		return err
	}
	if _, err := s.parsed(ctx, text, [2]string{}); err != nil {
		return err
	}
	s.disk = diskState{text: text}
	return nil
}

// watch looks at the file again and again: it is at most 64 KiB.
func (s *server) watch(ctx context.Context) {
	for tick := time.NewTicker(pollEvery); ; {
		select {
		case <-ctx.Done():
			tick.Stop()
			return
		case <-tick.C:
			s.look(ctx)
		}
	}
}

// look reads the file, and where it has changed, notifies every window: one without changes of
// its own takes the new text up.
func (s *server) look(ctx context.Context) {
	s.saving.Lock() // not in the midst of a save
	text, err := s.readFile()
	now := diskState{text, errors.Is(err, fs.ErrNotExist)}
	if err != nil && !now.gone {
		s.saving.Unlock()
		return // the next look will tell
	}
	s.mu.Lock()
	same := now.gone == s.disk.gone && bytes.Equal(now.text, s.disk.text)
	s.disk = now
	s.mu.Unlock()
	s.saving.Unlock()
	if same {
		return
	}
	for _, n := range s.all() {
		n.noticed(ctx, now)
	}
}

// noticed is a file that has changed, or gone, or come back.
func (n *session) noticed(ctx context.Context, now diskState) {
	n.mu.Lock()
	defer n.mu.Unlock()
	said := map[string]string{"disk": diskSame, "faults": ""}
	switch {
	case now.gone:
		n.disk = diskGone
	case bytes.Equal(now.text, n.base.Source):
		n.disk = diskSame
	case n.dirty():
		n.disk = diskChanged
	default:
		if err := n.adopt(ctx, now.text); err != nil {
			n.disk = diskChanged
			said["faults"] = err.Error()
			break
		}
		if state, err := n.state(); err == nil {
			n.tell("state", state)
		}
	}
	if n.disk == diskChanged && said["faults"] == "" {
		if _, err := file.ParseWith(n.server.name, now.text, n.server.decks); err != nil {
			said["faults"] = err.Error()
		}
	}
	said["disk"] = n.disk
	n.tell("disk", said)
}

// adopt takes up the file's text. The sides go on showing takes of the same names, where there are
// such. It cannot be undone.
func (n *session) adopt(ctx context.Context, text []byte) error {
	d, base, err := n.server.first(ctx, text)
	if err != nil {
		return err
	}
	for k, name := range n.doc.takes {
		if _, err := d.Take(name); err == nil {
			d.takes[k] = name
		}
	}
	before := n.doc
	n.doc, n.base, n.opened, n.disk = d, base, d.Text.Source, diskSame
	n.undo, n.redo, n.last = nil, nil, ""
	n.changed(before)
	return nil
}
