// Package local serves pages to the user of this machine and to nobody else: on the loopback
// address, behind a token that is new every time, to requests that the page itself makes. Package
// page and package start are served by it.
//
// Start reading at Gate, then Serve.
package local

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"log"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"time"
)

// WriteWait is how long an answer waits for a reader that does not read.
const WriteWait = 10 * time.Second

// Gate is what a server lets in. A request of others is answered with nothing.
type Gate struct {
	Host  string // 127.0.0.1:PORT
	Token string // the first part of every path
	// Windows are the paths that a browser may open in a window of its own, from a file that sends
	// it here.
	Windows []string
}

// Token is a new one, 128 bits as text for a path.
func Token() string {
	var bits [16]byte
	rand.Read(bits[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(bits[:])
}

// Address is where the page is. It holds the token, so it is not for a command line, which others
// on this machine can read.
func (g Gate) Address() string { return "http://" + g.Host + "/" + g.Token + "/" }

// Policy is the content security policy: nothing is loaded from elsewhere, nothing is framed,
// nothing inline runs.
const Policy = "default-src 'none'; script-src 'self'; worker-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"media-src 'self' blob:; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// Pass lets in what comes from this machine's own page: the right host name (so that no foreign name
// that points here gets in), no foreign origin, the token. path is what stands behind the token. Of
// what does not pass, the answer is written and empty.
func (g Gate) Pass(w http.ResponseWriter, r *http.Request) (path string, ok bool) {
	h := w.Header()
	h.Set("Content-Security-Policy", Policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer") // the address holds the token
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if origin, sent := r.Header["Origin"]; r.Host != g.Host || sent && (len(origin) != 1 || origin[0] != "http://"+g.Host) {
		shut(w, http.StatusForbidden)
		return "", false
	}
	// escaped: nothing that hides in %2e or %2f is a path here
	token, path, slash := strings.Cut(strings.TrimPrefix(r.URL.EscapedPath(), "/"), "/")
	known := slash && subtle.ConstantTimeCompare([]byte(token), []byte(g.Token)) == 1
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" && !(known && g.opens(r, path)) {
		shut(w, http.StatusForbidden)
		return "", false
	}
	if !known {
		shut(w, http.StatusNotFound)
		return "", false
	}
	return path, true
}

// shut refuses a request and closes the connection: kept alive, Connections of them would lock
// out the user.
func shut(w http.ResponseWriter, status int) {
	w.Header().Set("Connection", "close")
	http.Error(w, strings.ToLower(http.StatusText(status)), status)
}

// opens reports whether a browser asks for a page to show it in a window of its own. From the file
// that sends it here that is a request from another site, which knows the token.
func (g Gate) opens(r *http.Request, path string) bool {
	return slices.Contains(g.Windows, path) && r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

// Listen listens on a port of this machine, 0 for any that is free. The error names the port.
func Listen(port int) (net.Listener, error) {
	l, err := net.Listen("tcp4", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return nil, fmt.Errorf("cannot listen on port %d of this machine: %w", port, Plain(err))
	}
	return l, nil
}

// Serve serves until the context ends, which is no error and ends the contexts of the requests. The
// error is the listener's.
func Serve(ctx context.Context, l net.Listener, handler http.Handler) error {
	h := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: 5 * time.Second,
		// of a whole request; a stream's answer has deadlines of its own
		ReadTimeout:    15 * time.Second,
		WriteTimeout:   30 * time.Second, // likewise
		IdleTimeout:    60 * time.Second,
		MaxHeaderBytes: 16 << 10,
		BaseContext:    func(net.Listener) context.Context { return ctx },
		ErrorLog:       log.New(quiet{}, "", 0), // what a hostile client does is no news
	}
	failed := make(chan error, 1)
	go func() { failed <- h.Serve(&fewConnections{Listener: l, free: make(chan struct{}, Connections)}) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	patience, done := context.WithTimeout(context.WithoutCancel(ctx), 200*time.Millisecond)
	defer done()
	if h.Shutdown(patience) != nil {
		h.Close()
	}
	<-failed
	return nil
}

type quiet struct{}

func (quiet) Write(b []byte) (int, error) { return len(b), nil }

// Connections is how many connections are open at a time; a browser opens six per window.
const Connections = 256

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

// Plain takes the name of a system call off an error.
func Plain(err error) error {
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
