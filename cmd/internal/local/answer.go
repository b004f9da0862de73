package local

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"time"
)

// Body is how large a request's JSON is at most, in bytes.
const Body = 64 << 10

// Handler answers one method and path; an error is answered as JSON: {"error": text}.
type Handler struct {
	Method, Path string
	// Raw is for a request that is no JSON: a file, whose size and content Serve bounds and checks.
	Raw   bool
	Serve func(http.ResponseWriter, *http.Request) error
}

// Route answers a request that has passed the gate by the handler of its path, and reports whether
// it was answered: that is so too where a path is none of theirs and the method asks for no file.
func Route(handlers []Handler, path string, w http.ResponseWriter, r *http.Request) bool {
	for _, h := range handlers {
		if h.Path != path {
			continue
		}
		if r.Method != h.Method {
			w.Header().Set("Allow", h.Method)
			http.Error(w, "this takes a "+h.Method, http.StatusMethodNotAllowed)
			return true
		}
		if r.Method == http.MethodPost && !ours(w, r, h.Raw) {
			return true
		}
		// the request is read; an answer may take longer than it may
		http.NewResponseController(w).SetReadDeadline(time.Time{})
		if err := h.Serve(w, r); err != nil {
			answerError(w, err)
		}
		return true
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		http.Error(w, "this takes a GET", http.StatusMethodNotAllowed)
		return true
	}
	return false
}

// ours checks that a POST is from the page: a header that no foreign form can send, and, but for a
// raw one, JSON and no more than Body of it.
func ours(w http.ResponseWriter, r *http.Request, raw bool) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch {
	case r.Header.Get("X-Drywire") != "1":
		http.Error(w, "forbidden", http.StatusForbidden)
	case raw:
		return true
	case err != nil || kind != "application/json":
		http.Error(w, "this takes application/json", http.StatusUnsupportedMediaType)
	case r.ContentLength > Body:
		http.Error(w, "too large", http.StatusRequestEntityTooLarge)
	default:
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, Body))
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

// Refusal is an error with an HTTP status of its own and a text for people.
type Refusal struct {
	Status int
	Text   string
}

func (e Refusal) Error() string { return e.Text }

// Refuse is a Refusal, formatted as by fmt.Sprintf.
func Refuse(status int, format string, args ...any) error {
	return Refusal{status, fmt.Sprintf(format, args...)}
}

// answerError says what is wrong as JSON. Where the answer has begun, it does nothing.
func answerError(w http.ResponseWriter, err error) {
	var r Refusal
	switch {
	case errors.As(err, &r):
	case errors.Is(err, context.Canceled):
		return // nobody listens
	default:
		r = Refusal{http.StatusUnprocessableEntity, err.Error()}
	}
	Answer(w, r.Status, map[string]string{"error": r.Text})
}

// Answer writes JSON, and does not wait long for a reader.
func Answer(w http.ResponseWriter, status int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		status, body = http.StatusInternalServerError, []byte(`{"error":"a mistake in the program: the answer cannot be written down"}`)
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(WriteWait))
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	w.Write(body)
}

// Deep is how many brackets within brackets a request has at most: a switcher's loop in a path
// of a split is the deepest that a page asks for, with eight.
const Deep = 16

// deep reports whether a text of JSON has more than Deep brackets within brackets. It is asked
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
			if depth++; depth > Deep {
				return true
			}
		case c == ']' || c == '}':
			depth--
		}
	}
	return false
}

// Question reads a request's JSON: one object, no deeper than Deep, nothing unknown, nothing behind
// it. The error is a Refusal where it is anything else, and that of the body where it cannot be
// read.
func Question(r *http.Request, v any) error {
	body, err := io.ReadAll(r.Body) // which ours has bounded
	if err != nil {
		return err
	}
	if deep(body) {
		return Refuse(http.StatusBadRequest, "the request is too deep: it has more than %d brackets within brackets", Deep)
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return Refuse(http.StatusBadRequest, "the request is not understood: %v", err)
	}
	if d.More() {
		return Refuse(http.StatusBadRequest, "the request goes on after its end")
	}
	return nil
}
