// Package start is the page that the program opens when nobody says what to do: the questions that
// come with it, the boards that were opened last, and a form from which a board's chain file is
// written. What is chosen there opens on a listening page of its own (package page), beside this
// one.
//
// Start reading at Serve, then handlers.
package start

import (
	"context"
	"embed"
	"fmt"
	"maps"
	"net/http"
	"path/filepath"
	"sync"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/page"
)

// Options is what the page is opened with.
type Options struct {
	Folder string // where chain files are written and looked for; it is made where it is not there
	State  string // the folder that remembers which boards were opened last
	Port   int    // 0: any that is free
	Disk   files.System
	Long   bool // see page.Options
	// of this program, for reports
	Version string

	// Ready is told the address once the page can be opened; see page.Options.
	Ready func(address string)
	// Unsaved is called at the end for each board that has left drafts beside its chain file, with
	// their names.
	Unsaved func(file string, drafts []string)
}

// mostOpen is how many boards are open at a time.
const mostOpen = 8

//go:embed static
var static embed.FS

// server is the page and the boards that were opened from it.
type server struct {
	options  Options
	ctx      context.Context // ends with the server
	gate     local.Gate
	handlers []local.Handler
	static   map[string][]byte

	mu     sync.Mutex
	open   map[string]string // address of the board's page, by the chain file's path
	boards sync.WaitGroup
}

// Serve opens the page, and serves it and the boards that are opened from it until the context
// ends; that is no error. Others are of the folder, the port or the listener.
func Serve(ctx context.Context, o Options) error {
	folder, err := filepath.Abs(o.Folder)
	if err != nil {
		return err
	}
	o.Folder = folder
	listener, err := local.Listen(o.Port)
	if err != nil {
		return err
	}
	inner, stop := context.WithCancel(ctx)
	defer stop()
	s := newServer(inner, o, listener.Addr().String())
	if o.Ready != nil {
		o.Ready(s.gate.Address())
	}
	err = local.Serve(inner, listener, s)
	stop()
	s.boards.Wait()
	return err
}

func newServer(ctx context.Context, o Options, host string) *server {
	s := &server{options: o, ctx: ctx, gate: local.Gate{Host: host, Token: local.Token(), Windows: []string{""}}, open: map[string]string{}}
	s.static = maps.Clone(page.Static())
	for _, name := range []string{"index.html", "start.js", "start.css"} {
		text, err := static.ReadFile("static/" + name)
		if err != nil {
			panic(err) // it is embedded
		}
		s.static[name] = text
	}
	post := http.MethodPost
	s.handlers = []local.Handler{
		{Method: post, Path: "api/choices", Serve: s.choices},
		{Method: post, Path: "api/question", Serve: s.question},
		{Method: post, Path: "api/board", Serve: s.board},
		{Method: post, Path: "api/build", Serve: s.build},
		{Method: post, Path: "api/recording", Serve: s.recording, Raw: true},
	}
	return s
}

// ServeHTTP answers what the gate lets in.
func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	path, ok := s.gate.Pass(w, r)
	if ok && !local.Route(s.handlers, path, w, r) {
		local.ServeStatic(s.static, w, r, path)
	}
}

// show opens the page of a chain file, or finds the one that is open, and answers its address.
func (s *server) show(w http.ResponseWriter, path string) error {
	address, err := s.address(path)
	if err != nil {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	if err := remember(s.options.Disk, s.options.State, path); err != nil {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	local.Answer(w, http.StatusOK, map[string]string{"address": address})
	return nil
}

func (s *server) address(path string) (string, error) {
	real, err := s.options.Disk.RealPath(path)
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, local.Plain(err))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if a, ok := s.open[real]; ok {
		return a, nil
	}
	if len(s.open) >= mostOpen {
		return "", fmt.Errorf("%d boards are open, and there are to be no more: end the program, and start it again", mostOpen)
	}
	ready, failed := make(chan string, 1), make(chan error, 1)
	s.boards.Go(func() {
		err := page.Serve(s.ctx, page.Options{
			File: real, Version: s.options.Version, Disk: s.options.Disk, Long: s.options.Long, Start: s.gate.Address(),
			Ready: func(address string) { ready <- address },
			Unsaved: func(names []string) {
				if s.options.Unsaved != nil {
					s.options.Unsaved(real, names)
				}
			},
		})
		failed <- err
		s.mu.Lock()
		delete(s.open, real)
		s.mu.Unlock()
	})
	select {
	case a := <-ready:
		s.open[real] = a
		return a, nil
	case err := <-failed:
		if err == nil {
			err = context.Canceled
		}
		return "", err
	}
}
