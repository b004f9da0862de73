package page

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
)

// floor is the chain as it is wired on the floor: the take as the file has it that the side's take
// was made of, or the file's first.
func (n *session) floor(side int) *board.Chain {
	f, name := n.base.File, n.doc.takes[side]
	for _, name := range []string{name, strings.TrimSuffix(name, ", changed")} {
		if c, err := f.Take(name); err == nil {
			return c
		}
	}
	return f.Chains()[0]
}

// cables is what to move on the floor for a chain.
func (n *session) cables(side int, c *board.Chain) []CableOf {
	list := []CableOf{}
	for _, m := range board.Cables(n.floor(side), c) {
		list = append(list, CableOf{m.Text, m.From.String(), m.To.String()})
	}
	return list
}

// export answers with a file to keep.
func (s *server) export(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	n, err := s.session(q.Get("session"))
	if err != nil {
		return err
	}
	side, err := sideOf(q.Get("side"))
	if err != nil {
		return err
	}
	n.mu.Lock()
	doc := n.doc
	floor := n.floor(side)
	n.mu.Unlock()
	stem := strings.TrimSuffix(s.name, filepath.Ext(s.name))
	take := doc.take(side).Name
	switch what := q.Get("what"); what {
	case "text":
		attach(w, s.name, "application/yaml", int64(len(doc.Text.Source)))
		return send(w, bytes.NewReader(doc.Text.Source))
	case "cables":
		var b strings.Builder
		fmt.Fprintf(&b, "Cables to move from %q as %s has it to %q on screen, fewest first\n\n", floor.Take, s.name, take)
		moves := board.Cables(floor, doc.chain(side).Chain)
		for k, m := range moves {
			fmt.Fprintf(&b, "%2d. %s\n", k+1, m.Text)
		}
		if len(moves) == 0 {
			fmt.Fprintln(&b, "None: the order on the floor is the one on screen.")
		}
		attach(w, stem+" cables.txt", "text/plain; charset=utf-8", int64(b.Len()))
		return send(w, strings.NewReader(b.String()))
	case "wav", "report":
		return s.exportRendered(r.Context(), w, n, doc, take, what, stem)
	default:
		return local.Refuse(http.StatusBadRequest, "no export %q; there are wav, report, cables and text", what)
	}
}

// exportRendered makes a take's file for listening, or the report, as the commands make it, and
// sends it. It tells the window how far it is, and ends where the window goes or asks no more.
func (s *server) exportRendered(ctx context.Context, w http.ResponseWriter, n *session, doc document, take, what, stem string) error {
	if !s.exporting.TryLock() {
		return engine.ErrBusy
	}
	defer s.exporting.Unlock()
	done, err := s.engine.Turn(ctx)
	if err != nil {
		return err
	}
	total := int64(0)
	for _, c := range doc.Chains() {
		if what == "report" || c.Take == take {
			total += doc.DryOf(c).Frames
		}
	}
	progress := n.exported(what, total)
	if what == "report" {
		var page bytes.Buffer
		err := produce.WriteReport(ctx, s.options.Disk, doc.Project, &page, produce.Words{Version: s.options.Version}, progress)
		done()
		if err != nil {
			return err
		}
		attach(w, stem+".html", "text/html; charset=utf-8", int64(page.Len()))
		return send(w, &page)
	}
	folder, remove, err := files.Temporary(s.options.Disk)
	if err != nil {
		done()
		return err
	}
	defer remove()
	path := filepath.Join(folder, "take.wav")
	err = produce.WriteTake(ctx, s.options.Disk, doc.Project, take, path, progress)
	done()
	if err != nil {
		return err
	}
	f, size, err := files.Open(s.options.Disk, path)
	if err != nil {
		return err
	}
	defer f.Close()
	attach(w, stem+" "+take+".wav", "audio/wav", size)
	return send(w, f)
}

// exported tells a window how far an export is, in samples of the recording that were rendered, some
// times a second.
func (n *session) exported(what string, total int64) func(samples int) {
	const every = 100 * time.Millisecond
	var mu sync.Mutex
	done, last := int64(0), time.Time{}
	return func(samples int) { // by several takes at once
		mu.Lock()
		defer mu.Unlock()
		done += int64(samples)
		if time.Since(last) < every && done < total {
			return
		}
		last = time.Now()
		n.mu.Lock()
		defer n.mu.Unlock()
		n.tell("export", map[string]any{"what": what, "done": min(done, total), "total": total})
	}
}

// attach says that what follows is a file to keep and not a page to show.
func attach(w http.ResponseWriter, name, kind string, size int64) {
	name = strings.Map(func(c rune) rune {
		if file.Steers(c) || strings.ContainsRune(`/\:*?"<>|`, c) {
			return '_'
		}
		return c
	}, name)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Length", strconv.FormatInt(size, 10))
}

// send copies a file to a listener, who has local.WriteWait for each piece of it.
func send(w http.ResponseWriter, from io.Reader) error {
	rc := http.NewResponseController(w)
	piece := make([]byte, 64<<10)
	for {
		n, err := from.Read(piece)
		if n > 0 {
			rc.SetWriteDeadline(time.Now().Add(local.WriteWait))
			if _, err := w.Write(piece[:n]); err != nil {
				return context.Canceled // nobody reads
			}
		}
		if err != nil {
			return nil
		}
	}
}
