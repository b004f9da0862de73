package page

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"drywire/chains/file"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
)

// server is everything that one address serves.
type server struct {
	options Options
	ctx     context.Context // ends with the server
	gate    local.Gate
	routes  []local.Handler
	root    *os.Root
	name    string // of the chain file in the root
	loader  *produce.Loader
	decks   file.Decks
	engine  *engine.Engine
	static  map[string][]byte
	now     func() time.Time

	saving    sync.Mutex // one writer of the file at a time
	text      files.Text // the file, for who saves
	exporting sync.Mutex // one export at a time
	drafts    *drafts

	mu       sync.Mutex
	sessions map[string]*session
	disk     diskState
}

// Serve opens the page and serves it until the context ends; that is no error. Others are of the
// chain file, its folder, the port or the listener.
func Serve(ctx context.Context, o Options) error {
	s, err := newServer(ctx, o)
	if err != nil {
		return err
	}
	defer s.root.Close()
	listener, err := local.Listen(o.Port)
	if err != nil {
		return err
	}
	return s.serve(ctx, listener)
}

// newServer opens the folder of the chain file and reads the file, so that a fault in it is told
// before a browser opens.
func newServer(ctx context.Context, o Options) (*server, error) {
	path, err := filepath.EvalSymlinks(o.File) // the folder is that in which the file really lies
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, local.Plain(err))
	}
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Dir(path), local.Plain(err))
	}
	s := &server{
		options: o, ctx: ctx, root: root, name: filepath.Base(path), gate: local.Gate{Token: local.Token(), Windows: []string{"", "lesson"}}, loader: produce.NewLoader(folder{root}), decks: produce.Decks(folder{root}),
		engine: engine.New(ctx, cmp.Or(o.budget, engine.Budget)), static: Static(), now: o.now, sessions: map[string]*session{}, drafts: newDrafts(),
	}
	s.routes = s.handlers()
	if s.now == nil {
		s.now = time.Now
	}
	if s.options.Disk == nil {
		s.options.Disk = files.Disk{}
	}
	if err := s.begin(ctx); err != nil {
		root.Close()
		return nil, err
	}
	return s, nil
}

func (s *server) serve(ctx context.Context, listener net.Listener) error {
	s.gate.Host = listener.Addr().String()
	inner, stop := context.WithCancel(ctx)
	defer stop()
	var others sync.WaitGroup
	others.Go(func() { s.watch(inner) })
	others.Go(func() { s.sweep(inner) })
	others.Go(func() { s.keepDrafts(inner) })
	if s.options.Ready != nil {
		s.options.Ready(s.gate.Address())
	}
	err := local.Serve(inner, listener, s)
	stop() // streams end
	others.Wait()
	s.engine.Wait()
	if names := s.unsaved(); len(names) > 0 && s.options.Unsaved != nil {
		s.options.Unsaved(names)
	}
	return err
}

// ServeHTTP answers what the gate lets in.
func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	path, ok := s.gate.Pass(w, r)
	if !ok {
		return
	}
	if !local.Route(s.routes, path, w, r) {
		local.ServeStatic(s.static, w, r, path)
	}
}

func (s *server) handlers() []local.Handler {
	get, post := http.MethodGet, http.MethodPost
	list := []local.Handler{
		{Method: post, Path: "api/open", Serve: s.open},
		{Method: get, Path: "api/events", Serve: s.events},
		{Method: post, Path: "api/do", Serve: s.do},
		{Method: post, Path: "api/render", Serve: s.render},
		{Method: post, Path: "api/figures", Serve: s.figures},
		{Method: post, Path: "api/verdict", Serve: s.verdict},
		{Method: post, Path: "api/because", Serve: s.because},
		{Method: post, Path: "api/why", Serve: s.why},
		{Method: post, Path: "api/goal", Serve: s.goal},
		{Method: post, Path: "api/sweep", Serve: s.sweepKnob},
		{Method: post, Path: "api/hunt", Serve: s.hunt},
		{Method: post, Path: "api/save", Serve: s.save},
		{Method: post, Path: "api/reload", Serve: s.reload},
		{Method: post, Path: "api/draft", Serve: s.takeDraft},
		{Method: post, Path: "api/recording", Serve: s.recording, Raw: true},
		{Method: get, Path: "api/export", Serve: s.export},
		{Method: post, Path: "api/test/start", Serve: s.testStart},
		{Method: post, Path: "api/test/answer", Serve: s.testAnswer},
		{Method: post, Path: "api/test/finish", Serve: s.testFinish},
		{Method: get, Path: "lesson", Serve: s.lesson},
		{Method: post, Path: "kept", Serve: s.lessonKept},
		{Method: post, Path: "judge", Serve: s.lessonJudge},
	}
	for k, h := range list {
		list[k].Serve = func(w http.ResponseWriter, r *http.Request) error {
			err := h.Serve(w, r)
			if errors.Is(err, engine.ErrBusy) {
				return local.Refuse(http.StatusTooManyRequests, "%v", err)
			}
			return err
		}
	}
	return list
}
