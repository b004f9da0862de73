package page

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"drywire/chains/file"
)

// FuzzRequest sends requests of the page itself, with the token and the right host: one is answered
// with a status, does not panic, and leaves in the file a text that can be read.
func FuzzRequest(f *testing.F) {
	f.Add("POST", "api/do", `{"session":"SESSION","side":"A","op":"order","order":["buffer","vol","echo"]}`)
	f.Add("POST", "api/save", `{"session":"SESSION","side":"B","how":"take","name":"x: [","force":true}`)
	f.Add("POST", "api/render", `{"session":"SESSION","side":"A","from":-1,"region":[0,9223372036854775807]}`)
	f.Add("GET", "api/export?session=SESSION&side=A&what=text", "")
	f.Add("GET", "../%2e%2e/etc/passwd", "")
	p := openPage(f, quickFile)
	for _, h := range p.server.routes {
		f.Add(h.Method, h.Path, `{"session":"SESSION","side":"A"}`)
	}
	w := p.window()
	prefix := "/" + p.server.gate.Token + "/"
	f.Fuzz(func(t *testing.T, method, path, body string) {
		ctx, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
		defer stop()
		r, err := http.NewRequestWithContext(ctx, method, "http://"+p.server.gate.Host+prefix+strings.ReplaceAll(path, "SESSION", w.ID),
			strings.NewReader(strings.ReplaceAll(body, "SESSION", w.ID)))
		if err != nil {
			return
		}
		r.Header.Set("X-Drywire", "1")
		r.Header.Set("Content-Type", "application/json")
		answer := httptest.NewRecorder()
		p.server.ServeHTTP(answer, r)
		if code := answer.Code; code < 200 || code > 599 || code == http.StatusInternalServerError {
			t.Errorf("status %d: %s", code, answer.Body.String())
		}
		text, err := os.ReadFile(p.file())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := file.Parse("chain.yaml", text); err != nil {
			t.Errorf("%v in\n%s", err, text)
		}
	})
}
