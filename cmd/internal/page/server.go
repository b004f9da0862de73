package page

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"mime"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"drywire/chains/file"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/produce"
)

// server is everything that one address serves.
type server struct {
	options Options
	ctx     context.Context // ends with the server
	token   string
	host    string // 127.0.0.1:PORT
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

// Serve opens the page and serves it until the context ends; that is no error.
func Serve(ctx context.Context, o Options) error {
	s, err := newServer(ctx, o)
	if err != nil {
		return err
	}
	defer s.root.Close()
	listener, err := net.Listen("tcp4", fmt.Sprintf("127.0.0.1:%d", o.Port))
	if err != nil {
		return fmt.Errorf("cannot listen on port %d of this machine: %w", o.Port, plain(err))
	}
	return s.serve(ctx, listener)
}

// plain takes the name of a system call off an error.
func plain(err error) error {
	var op *net.OpError
	var sys *os.SyscallError
	var path *os.PathError
	switch {
	case errors.As(err, &sys):
		return sys.Err
	case errors.As(err, &op):
		return op.Err
	case errors.As(err, &path):
		return path.Err
	}
	return err
}

// newServer opens the folder of the chain file and reads the file, so that a fault in it is told
// before a browser opens.
func newServer(ctx context.Context, o Options) (*server, error) {
	path, err := filepath.EvalSymlinks(o.File) // the folder is that in which the file really lies
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, plain(err))
	}
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Dir(path), plain(err))
	}
	var bits [16]byte
	rand.Read(bits[:]) // never fails
	s := &server{
		options: o, ctx: ctx, root: root, name: filepath.Base(path), token: base64.RawURLEncoding.EncodeToString(bits[:]), loader: produce.NewLoader(folder{root}), decks: produce.Decks(folder{root}),
		engine: engine.New(ctx, cmp.Or(o.budget, engine.Budget)), static: staticFiles(), now: o.now, sessions: map[string]*session{}, drafts: newDrafts(),
	}
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
	s.host = listener.Addr().String()
	inner, stop := context.WithCancel(ctx)
	defer stop()
	h := &http.Server{
		Handler:           s,
		ReadHeaderTimeout: 5 * time.Second,
		// of a whole request; a stream's answer has deadlines of its own
		ReadTimeout:    15 * time.Second,
		WriteTimeout:   30 * time.Second, // likewise
		IdleTimeout:    60 * time.Second,
		MaxHeaderBytes: 16 << 10,
		BaseContext:    func(net.Listener) context.Context { return inner },
		ErrorLog:       log.New(quiet{}, "", 0), // what a hostile client does is no news
	}
	var others sync.WaitGroup
	others.Go(func() { s.watch(inner) })
	others.Go(func() { s.sweep(inner) })
	others.Go(func() { s.keepDrafts(inner) })
	failed := make(chan error, 1)
	others.Go(func() {
		failed <- h.Serve(&fewConnections{Listener: listener, free: make(chan struct{}, mostConnections)})
	})
	if s.options.Ready != nil {
		s.options.Ready("http://" + s.host + "/" + s.token + "/")
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	stop() // streams end
	patience, done := context.WithTimeout(context.WithoutCancel(ctx), 200*time.Millisecond)
	defer done()
	if h.Shutdown(patience) != nil {
		h.Close()
	}
	others.Wait()
	s.engine.Wait()
	if names := s.unsaved(); len(names) > 0 && s.options.Unsaved != nil {
		s.options.Unsaved(names)
	}
	return err
}

type quiet struct{}

func (quiet) Write(b []byte) (int, error) { return len(b), nil }

// mostConnections is how many connections are open at a time; a browser opens six per window.
const mostConnections = 256

// fewConnections is a listener that bounds how many connections are open. One too many is closed at
// once, rather than left waiting: those that wait would lock out the user.
type fewConnections struct {
	net.Listener
	free chan struct{}
}

func (l *fewConnections) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case l.free <- struct{}{}:
			return &counted{Conn: c, free: l.free}, nil
		default:
			c.Close()
		}
	}
}

type counted struct {
	net.Conn
	free chan struct{}
	once sync.Once
}

func (c *counted) Close() error {
	c.once.Do(func() { <-c.free })
	return c.Conn.Close()
}

// policy is the content security policy: nothing is loaded from elsewhere, nothing is framed,
// nothing inline runs.
const policy = "default-src 'none'; script-src 'self'; worker-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"media-src 'self' blob:; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// ServeHTTP lets in what comes from this machine's own page: the right host name (so that no
// foreign name that points here gets in), no foreign origin, the token. Without these the answer is
// empty.
func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer") // the address holds the token
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if origin, sent := r.Header["Origin"]; r.Host != s.host || sent && (len(origin) != 1 || origin[0] != "http://"+s.host) {
		shut(w, http.StatusForbidden)
		return
	}
	// escaped: nothing that hides in %2e or %2f is a path here
	token, path, slash := strings.Cut(strings.TrimPrefix(r.URL.EscapedPath(), "/"), "/")
	known := slash && subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) == 1
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" && !(known && opensPage(r, path)) {
		shut(w, http.StatusForbidden)
		return
	}
	if !known {
		shut(w, http.StatusNotFound)
		return
	}
	for _, route := range routes {
		if route.path != path {
			continue
		}
		if r.Method != route.method {
			h.Set("Allow", route.method)
			http.Error(w, "this takes a "+route.method, http.StatusMethodNotAllowed)
			return
		}
		if route.method == http.MethodPost && !s.ours(w, r) {
			return
		}
		// the request is read; an answer may take longer than it may
		http.NewResponseController(w).SetReadDeadline(time.Time{})
		if err := route.serve(s, w, r); err != nil {
			answerError(w, err)
		}
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		http.Error(w, "this takes a GET", http.StatusMethodNotAllowed)
		return
	}
	serveStatic(s.static, w, r, path)
}

// shut refuses a request and closes the connection: kept alive, mostConnections of them would lock
// out the user.
func shut(w http.ResponseWriter, status int) {
	w.Header().Set("Connection", "close")
	http.Error(w, strings.ToLower(http.StatusText(status)), status)
}

// opensPage reports whether a browser asks for the page itself, to show it in a window of its own.
// From the file that sends it here (see Options.Ready) that is a request from another site, which
// knows the token.
func opensPage(r *http.Request, path string) bool {
	return (path == "" || path == "lesson") && r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

type route struct {
	method, path string
	serve        func(*server, http.ResponseWriter, *http.Request) error
}

var routes []route

func init() { // which breaks the circle from a handler to the list
	get, post := http.MethodGet, http.MethodPost
	routes = []route{
		{post, "api/open", (*server).open},
		{get, "api/events", (*server).events},
		{post, "api/do", (*server).do},
		{post, "api/render", (*server).render},
		{post, "api/figures", (*server).figures},
		{post, "api/verdict", (*server).verdict},
		{post, "api/because", (*server).because},
		{post, "api/why", (*server).why},
		{post, "api/sweep", (*server).sweepKnob},
		{post, "api/hunt", (*server).hunt},
		{post, "api/save", (*server).save},
		{post, "api/reload", (*server).reload},
		{post, "api/draft", (*server).takeDraft},
		{get, "api/export", (*server).export},
		{post, "api/test/start", (*server).testStart},
		{post, "api/test/answer", (*server).testAnswer},
		{post, "api/test/finish", (*server).testFinish},
		{get, "lesson", (*server).lesson},
		{post, "kept", (*server).lessonKept},
		{post, "judge", (*server).lessonJudge},
	}
}

// ours checks that a POST is from the page: a header that no foreign form can send, JSON, and no
// more than mostBody of it.
func (s *server) ours(w http.ResponseWriter, r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch {
	case r.Header.Get("X-Drywire") != "1":
		http.Error(w, "forbidden", http.StatusForbidden)
	case err != nil || kind != "application/json":
		http.Error(w, "this takes application/json", http.StatusUnsupportedMediaType)
	case r.ContentLength > mostBody:
		http.Error(w, "too large", http.StatusRequestEntityTooLarge)
	default:
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, mostBody))
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			http.Error(w, "too large", http.StatusRequestEntityTooLarge)
			return false
		}
		if err != nil {
			http.Error(w, "the request broke off", http.StatusBadRequest)
			return false
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		return true
	}
	return false
}

// refusal is an error with a status of its own and a text for people.
type refusal struct {
	status int
	text   string
}

func (e refusal) Error() string { return e.text }

func refuse(status int, format string, args ...any) error {
	return refusal{status, fmt.Sprintf(format, args...)}
}

// answerError says what is wrong as JSON. Where the answer has begun, it does nothing.
func answerError(w http.ResponseWriter, err error) {
	var r refusal
	switch {
	case errors.As(err, &r):
	case errors.Is(err, context.Canceled):
		return // nobody listens
	case errors.Is(err, engine.ErrBusy):
		r = refusal{http.StatusTooManyRequests, err.Error()}
	default:
		r = refusal{http.StatusUnprocessableEntity, err.Error()}
	}
	answer(w, r.status, map[string]string{"error": r.text})
}

// answer writes JSON, and does not wait long for a reader.
func answer(w http.ResponseWriter, status int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		status, body = http.StatusInternalServerError, []byte(`{"error":"a mistake in the program: the answer cannot be written down"}`)
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(writeWait))
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	w.Write(body)
}

// mostDeep is how many brackets within brackets a request has at most: a switcher's loop in a path
// of a split is the deepest that a page asks for, with eight.
const mostDeep = 16

// deep reports whether a text of JSON has more than mostDeep brackets within brackets. It is asked
// before the decoder is, whose work grows with the square of the depth where a type reads its own
// JSON, as orders do.
func deep(text []byte) bool {
	depth, quoted := 0, false
	for k := 0; k < len(text); k++ {
		switch c := text[k]; {
		case c == '"':
			quoted = !quoted
		case quoted && c == '\\':
			k++
		case quoted:
		case c == '[' || c == '{':
			if depth++; depth > mostDeep {
				return true
			}
		case c == ']' || c == '}':
			depth--
		}
	}
	return false
}

// question reads a request's JSON: one object, no deeper than mostDeep, nothing unknown, nothing
// behind it.
func question(r *http.Request, v any) error {
	body, err := io.ReadAll(r.Body) // which ours has bounded
	if err != nil {
		return err
	}
	if deep(body) {
		return refuse(http.StatusBadRequest, "the request is too deep: it has more than %d brackets within brackets", mostDeep)
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return refuse(http.StatusBadRequest, "the request is not understood: %v", err)
	}
	if d.More() {
		return refuse(http.StatusBadRequest, "the request goes on after its end")
	}
	return nil
}
