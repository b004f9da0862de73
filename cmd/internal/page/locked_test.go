package page

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"drywire/cmd/internal/local"
)

// TestStrangersDoNotLockThePageOut holds as many connections as there may be, each kept alive after
// a request that was refused, and then asks as the page does.
func TestStrangersDoNotLockThePageOut(t *testing.T) {
	p := openPage(t, quickFile)
	for k := range local.Connections {
		c, err := net.Dial("tcp", p.server.gate.Host)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		host, path := "stranger.example", "/"+p.server.gate.Token+"/"
		if k%2 == 1 {
			host, path = p.server.gate.Host, "/guessed/"
		}
		fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: %s\r\n\r\n", path, host)
		c.SetDeadline(time.Now().Add(10 * time.Second))
		r, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err != nil || r.StatusCode != http.StatusForbidden && r.StatusCode != http.StatusNotFound {
			t.Fatalf("stranger %d: %v, %v", k, r, err)
		}
		if _, err := io.Copy(io.Discard, r.Body); err != nil {
			t.Fatal(err)
		}
	}
	r, err := (&http.Client{Timeout: 5 * time.Second}).Get(p.address)
	if err != nil {
		t.Fatalf("with %d strangers connected, the page is locked out: %v", local.Connections, err)
	}
	r.Body.Close()
}

// TestDeepQuestionsAreRefusedBeforeTheyAreRead holds how deep a request's JSON may be: what the
// decoder does with nested orders grows with the square of it.
func TestDeepQuestionsAreRefusedBeforeTheyAreRead(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	nested := func(n int) string {
		order := strings.Repeat(`[{"split":{"left":`, n) + `["vol"]` + strings.Repeat(`,"right":[],"mix":"mono"}}]`, n)
		return fmt.Sprintf(`{"session":%q,"side":"A","op":{"do":"order","order":%s}}`, w.ID, order)
	}
	status, body := raw(t, p.server.gate.Host, "POST", "/"+p.server.gate.Token+"/api/do", map[string]string{"Host": p.server.gate.Host, "Content-Type": "application/json", "X-Drywire": "1"}, nested(1400))
	if status != http.StatusBadRequest || !strings.Contains(body, "deep") {
		t.Errorf("splits in splits: %d, %.200s", status, body)
	}
	// What a board can have is no deeper than this: a switcher's loop in a path of a split. It is
	// understood, and refused for what it says.
	deepest := fmt.Sprintf(`{"session":%q,"side":"A","op":{"do":"order","order":[{"split":{"left":[{"loops":"vol","in":{"1":["echo"]}}],"right":[],"mix":"mono"}}]}}`, w.ID)
	if status, body := raw(t, p.server.gate.Host, "POST", "/"+p.server.gate.Token+"/api/do", map[string]string{"Host": p.server.gate.Host, "Content-Type": "application/json", "X-Drywire": "1"}, deepest); status != http.StatusUnprocessableEntity {
		t.Errorf("a loop in a path: %d, %.200s", status, body)
	}
	// Brackets in a text are no depth.
	if why := w.do("A", op("knob", "target", "echo.time", "value", strings.Repeat("[{", 50)+`\"]`)); !strings.HasPrefix(why, "422") {
		t.Errorf("brackets in a text: %s", why)
	}
}

// TestAFileMaySendABrowserHere holds that a browser which comes from a file of the user's own, and
// so from another site, gets the page and nothing else.
func TestAFileMaySendABrowserHere(t *testing.T) {
	p := openPage(t, quickFile)
	for _, c := range []struct {
		method, path, mode, dest string
		want                     int
	}{
		{"GET", p.server.gate.Token + "/", "navigate", "document", http.StatusOK},
		{"GET", p.server.gate.Token + "/", "navigate", "iframe", http.StatusForbidden},
		{"GET", p.server.gate.Token + "/", "no-cors", "image", http.StatusForbidden},
		{"GET", "guessed/", "navigate", "document", http.StatusForbidden},
		{"GET", p.server.gate.Token + "/page.js", "navigate", "document", http.StatusForbidden},
		{"GET", p.server.gate.Token + "/api/export", "navigate", "document", http.StatusForbidden},
		{"POST", p.server.gate.Token + "/", "navigate", "document", http.StatusForbidden},
	} {
		header := map[string]string{"Host": p.server.gate.Host, "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": c.mode, "Sec-Fetch-Dest": c.dest}
		if status, _ := raw(t, p.server.gate.Host, c.method, "/"+c.path, header, ""); status != c.want {
			t.Errorf("%+v: %d", c, status)
		}
	}
}
