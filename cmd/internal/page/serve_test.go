package page

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"mime"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/local"
	"drywire/samples"
)

// quickFile is a chain that renders fast: stages and a linear circuit, with a tail.
const quickFile = `# A comment at the top.
drywire: 1
title: Quick
recording: {file: pluck.wav, peak: 300 mV}   # of our own
guitar: {pickup: single-coil}
blocks:
  buffer: {kind: buffer}
  echo:   {kind: delay, time: 60 ms, repeats: 3, mix: 40 %}   # short
  vol:    {kind: volume}
order: [vol, buffer, echo]
takes:
  - name: plain      # the first
  - {name: late, order: [buffer, echo, vol]}
`

// opened is a served page and a client of it.
type opened struct {
	t       testing.TB
	server  *server
	folder  string
	address string // with the token
	stop    context.CancelFunc
	ended   chan error
	client  *http.Client
}

// openPage serves a chain file in a folder of its own, with a recording of a second beside it.
func openPage(t testing.TB, text string, change ...func(folder string, o *Options)) *opened {
	t.Helper()
	folder := t.TempDir()
	o := Options{File: filepath.Join(folder, "chain.yaml")}
	if err := os.WriteFile(o.File, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	writePluck(t, filepath.Join(folder, "pluck.wav"), 48000)
	for _, c := range change {
		c(folder, &o)
	}
	ready := make(chan string, 1)
	o.Ready = func(address string) { ready <- address }
	ctx, stop := context.WithCancel(context.Background())
	s, err := newServer(ctx, o)
	if err != nil {
		stop()
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &opened{t: t, server: s, folder: folder, stop: stop, ended: make(chan error, 1), client: &http.Client{Transport: &http.Transport{}}}
	go func() { p.ended <- s.serve(ctx, listener); s.root.Close() }()
	p.address = <-ready
	t.Cleanup(p.close)
	return p
}

func (p *opened) close() {
	p.client.CloseIdleConnections()
	p.stop()
	if p.ended == nil {
		return
	}
	select {
	case err := <-p.ended:
		if err != nil {
			p.t.Errorf("serving ended with %v", err)
		}
	case <-time.After(10 * time.Second):
		p.t.Error("serving does not end")
	}
	p.ended = nil
}

// writePluck writes a decaying chord with a little noise: a signal that bends and repeats nowhere.
func writePluck(t testing.TB, path string, frames int) {
	t.Helper()
	w, err := samples.Create(path, samples.Format{Rate: 48000, Channels: 1, Bits: 24})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(pluck(frames)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

func pluck(frames int) []float64 {
	x := make([]float64, frames)
	for k := range x {
		s := float64(k) / 48000
		for _, note := range []struct{ begin, hz float64 }{{0, 196}, {0.21, 247.3}, {0.52, 329.1}} {
			if s >= note.begin {
				x[k] += 0.25 * math.Exp(-2.5*(s-note.begin)) * math.Sin(2*math.Pi*note.hz*(s-note.begin))
			}
		}
	}
	return x
}

// post asks, and decodes the answer into v unless that is nil.
func (p *opened) post(path string, question, v any) (status int, body []byte) {
	p.t.Helper()
	r := p.send(context.Background(), path, question)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	if v != nil && r.StatusCode == http.StatusOK {
		if err := json.Unmarshal(body, v); err != nil {
			p.t.Fatalf("%s: %v: %s", path, err, body)
		}
	}
	return r.StatusCode, body
}

func (p *opened) send(ctx context.Context, path string, question any) *http.Response {
	p.t.Helper()
	b, err := json.Marshal(question)
	if err != nil {
		p.t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, p.address+path, bytes.NewReader(b))
	if err != nil {
		p.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("X-Drywire", "1")
	answer, err := p.client.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	return answer
}

// window is a session as a page has it.
type window struct {
	*opened
	ID    string `json:"session"`
	State State  `json:"state"`
}

func (p *opened) window() *window {
	p.t.Helper()
	w := &window{opened: p}
	if status, body := p.post("api/open", struct{}{}, w); status != http.StatusOK {
		p.t.Fatalf("open: %d: %s", status, body)
	}
	return w
}

// do makes a change and returns why it was refused, or "".
func (w *window) do(side string, op map[string]any) string {
	w.t.Helper()
	w.State = State{}
	status, body := w.post("api/do", map[string]any{"session": w.ID, "side": side, "op": op}, &w.State)
	if status == http.StatusOK {
		return ""
	}
	var why struct{ Error string }
	if err := json.Unmarshal(body, &why); err != nil || why.Error == "" {
		w.t.Fatalf("%d: %s", status, body)
	}
	return fmt.Sprintf("%d: %s", status, why.Error)
}

// must is do for a change that has to go.
func (w *window) must(side string, op map[string]any) {
	w.t.Helper()
	if why := w.do(side, op); why != "" {
		w.t.Fatalf("%v: %s", op, why)
	}
}

// heard is what came over a stream of sound.
type heard struct {
	metas    []engine.Meta
	preview  map[int64][]float32 // by frame
	exact    map[int64][]float32
	first    int64 // frame of the first audio
	kind     uint32
	order    []uint32 // kinds of messages
	progress int
}

func (w *window) render(side string, from int64, region [2]int64) *heard {
	w.t.Helper()
	return w.hear(side, from, region, nil)
}

// hear is render with more in the request.
func (w *window) hear(side string, from int64, region [2]int64, more map[string]any) *heard {
	w.t.Helper()
	q := map[string]any{"session": w.ID, "side": side, "from": from, "region": region}
	maps.Copy(q, more)
	r := w.send(context.Background(), "api/render", q)
	defer r.Body.Close()
	if r.StatusCode != http.StatusOK {
		b, _ := io.ReadAll(r.Body)
		w.t.Fatalf("render: %d: %s", r.StatusCode, b)
	}
	return listen(w.t, r.Body)
}

// listen reads a stream of sound to its end.
func listen(t testing.TB, from io.Reader) *heard {
	t.Helper()
	h := &heard{preview: map[int64][]float32{}, exact: map[int64][]float32{}, first: -1}
	for {
		kind, body, err := message(from)
		if err == io.EOF {
			return h
		}
		if err != nil {
			t.Fatalf("after %d messages: %v", len(h.order), err)
		}
		h.order = append(h.order, kind)
		switch kind {
		case metaMessage:
			var m engine.Meta
			if err := json.Unmarshal(body, &m); err != nil {
				t.Fatal(err)
			}
			h.metas = append(h.metas, m)
		case progressMessage:
			h.progress++
		case previewMessage, exactMessage:
			at := int64(binary.LittleEndian.Uint32(body))
			if h.first < 0 {
				h.first, h.kind = at, kind
			}
			to := h.preview
			if kind == exactMessage {
				to = h.exact
			}
			channels := h.metas[len(h.metas)-1].Channels
			for k := 4; k < len(body); k += 4 * channels {
				var frame []float32
				for c := range channels {
					frame = append(frame, math.Float32frombits(binary.LittleEndian.Uint32(body[k+4*c:])))
				}
				if _, again := to[at]; again {
					t.Fatalf("frame %d comes twice in kind %d", at, kind)
				}
				to[at] = frame
				at++
			}
		default:
			t.Fatalf("a message of kind %d", kind)
		}
	}
}

func message(from io.Reader) (kind uint32, body []byte, err error) {
	var head [8]byte
	if _, err := io.ReadFull(from, head[:]); err != nil {
		return 0, nil, err
	}
	n := binary.LittleEndian.Uint32(head[4:])
	if n > 1<<20 {
		return 0, nil, fmt.Errorf("a message of %d bytes", n)
	}
	body = make([]byte, n)
	if _, err := io.ReadFull(from, body); err != nil {
		return 0, nil, fmt.Errorf("a message broke off: %w", err)
	}
	return binary.LittleEndian.Uint32(head[:]), body, nil
}

// channel is one channel of frames from a to b; it fails where one is missing.
func channel(t testing.TB, frames map[int64][]float32, c int, a, b int64) []float32 {
	t.Helper()
	x := make([]float32, 0, b-a)
	for k := a; k < b; k++ {
		f, ok := frames[k]
		if !ok {
			t.Fatalf("frame %d is missing", k)
		}
		x = append(x, f[c])
	}
	return x
}

// noLeak fails where goroutines are left of a test; it waits a little for those that are about to
// end.
func noLeak(t *testing.T) func() {
	before := runtime.NumGoroutine()
	return func() {
		t.Helper()
		for range 100 {
			if runtime.NumGoroutine() <= before {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		stacks := make([]byte, 1<<16)
		t.Errorf("%d goroutines, and %d before:\n%s", runtime.NumGoroutine(), before, stacks[:runtime.Stack(stacks, true)])
	}
}

// TestHostile asks a hundred times for what nobody may have, and then once for what everybody with
// the address may.
func TestHostile(t *testing.T) {
	leak := noLeak(t)
	defer leak()
	p := openPage(t, quickFile)
	defer p.close()
	secret := "a secret of the machine"
	outside := filepath.Join(filepath.Dir(p.folder), "outside.txt")
	if err := os.WriteFile(outside, []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(p.folder, "beside.txt"), []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	w := p.window()
	host, token := p.server.gate.Host, p.server.gate.Token
	type request struct {
		method, path, body string
		header             map[string]string
	}
	ours := func(more ...string) map[string]string {
		h := map[string]string{"Host": host, "Content-Type": "application/json", "X-Drywire": "1"}
		for k := 0; k < len(more); k += 2 {
			if h[more[k]] = more[k+1]; more[k+1] == "-" {
				delete(h, more[k])
			}
		}
		return h
	}
	session := fmt.Sprintf(`"session":%q`, w.ID)
	do := `{` + session + `,"side":"A","op":{"do":"bypass","block":"buffer","on":true}}`
	var all []request
	post := func(path, body string, header map[string]string) {
		all = append(all, request{"POST", "/" + token + "/" + path, body, header})
	}
	get := func(path string, header map[string]string) { all = append(all, request{"GET", path, "", header}) }
	for _, h := range []string{"example.com", "localhost:1", "127.0.0.1", "0.0.0.0:80", "[::1]:80", host + ".example.com", "evil@" + host, strings.Replace(host, "127.0.0.1", "127.0.0.2", 1), strings.Replace(host, "127.0.0.1", "localhost", 1)} {
		get("/"+token+"/", ours("Host", h))
		post("api/do", do, ours("Host", h))
	}
	for _, o := range []string{"http://example.com", "null", "https://" + host, "http://localhost", "http://" + host + ".example.com", "file://", "http://127.0.0.1", " "} {
		get("/"+token+"/api/events?session="+w.ID, ours("Origin", o))
		post("api/do", do, ours("Origin", o))
	}
	for _, site := range []string{"cross-site", "same-site"} {
		post("api/do", do, ours("Sec-Fetch-Site", site))
	}
	for _, tok := range []string{"", "x", token[1:], token + "x", strings.ToUpper(token), "..", "%2e%2e", "static", "api", strings.Repeat("A", len(token))} {
		get("/"+tok+"/", ours())
		get("/"+tok+"/index.html", ours())
		all = append(all, request{"POST", "/" + tok + "/api/do", do, ours()})
	}
	for _, path := range []string{"../outside.txt", "..%2foutside.txt", "%2e%2e/outside.txt", "%2e%2e%2foutside.txt", "..\\outside.txt", "beside.txt", "./beside.txt", "chain.yaml", "pluck.wav", "static/../chain.yaml",
		"static/page.js", "//etc/passwd", "/etc/passwd", "%00", "index.html%00.js", "font/../chain.yaml", "font", ".", "..", "api", "api/", "api/do/", "API/do", "api/../api/do"} {
		get("/"+token+"/"+path, ours())
	}
	for _, method := range []string{"GET", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECTED"} {
		all = append(all, request{method, "/" + token + "/api/do", do, ours()})
	}
	all = append(all, request{"POST", "/" + token + "/index.html", "", ours()}, request{"POST", "/" + token + "/api/events", "", ours()})
	post("api/do", do, ours("X-Drywire", "-"))
	post("api/do", do, ours("X-Drywire", "2"))
	for _, kind := range []string{"-", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json, text/plain", "application/jsonx"} {
		post("api/do", do, ours("Content-Type", kind))
	}
	huge := `{"session":"` + strings.Repeat("x", 200<<10) + `"}`
	deep := `{` + session + `,"side":"A","op":{"do":"order","order":` + strings.Repeat("[", 20000) + strings.Repeat("]", 20000) + `}}`
	for _, body := range []string{"", "{", "null x", "[]", "1", huge, deep, do + do, `{"session":1}`, `{` + session + `}`, `{` + session + `,"side":"C","op":{"do":"undo"}}`, `{` + session + `,"side":"A","op":{"do":"rm"}}`,
		`{` + session + `,"side":"A","unknown":1}`, `{"session":"none","side":"A","op":{"do":"undo"}}`, `{` + session + `,"side":"A","revision":99,"op":{"do":"bypass","block":"echo","on":true}}`, `{` + session + `,"side":"A","op":{"do":"undo"}}`,
		`{` + session + `,"side":"A","op":{"do":"order","order":["nothing"]}}`, `{` + session + `,"side":"A","op":{"do":"order","order":[{"split":null}]}}`, `{` + session + `,"side":"A","op":{"do":"order","order":[{"loops":"vol","in":{}}]}}`,
		`{` + session + `,"side":"A","op":{"do":"knob","target":"vol.volume","value":"1\ntakes: []"}}`, `{` + session + `,"side":"A","op":{"do":"knob","target":"guitar.volume","value":"11"}}`,
		`{` + session + `,"side":"A","op":{"do":"add","kind":"fuzz","name":"a: {b"}}`, `{` + session + `,"side":"A","op":{"do":"add","kind":"../x","name":"y"}}`, `{` + session + `,"side":"A","op":{"do":"take","name":"zz"}}`} {
		post("api/do", body, ours())
	}
	for _, region := range []string{"[0,0]", "[-1,48000]", "[0,48001]", "[10,5]", "[0,9223372036854775807]", "[0,100]"} {
		post("api/render", `{`+session+`,"side":"A","from":0,"region":`+region+`}`, ours())
		post("api/figures", `{`+session+`,"side":"A","region":`+region+`}`, ours())
		post("api/test/start", `{`+session+`,"seed":1,"region":`+region+`}`, ours())
	}
	post("api/save", `{`+session+`,"side":"A","how":"take","name":"../../x: [","force":true}`, ours("X-Drywire", "-"))
	post("api/save", `{`+session+`,"side":"A","how":"copy"}`, ours())
	post("api/test/answer", `{`+session+`,"test":"x","trial":1,"answer":"A"}`, ours())
	get("/"+token+"/api/export?session="+w.ID+"&side=A&what=../chain.yaml", ours())
	get("/"+token+"/api/export?session=x&side=A&what=text", ours())
	get("/"+token+"/api/events?session=x", ours())
	if len(all) < 100 {
		t.Fatalf("%d requests are not a hundred", len(all))
	}
	before, err := os.ReadFile(filepath.Join(p.folder, "chain.yaml"))
	if err != nil {
		t.Fatal(err)
	}

	// Connections that say half a request and no more, while all the others come.
	for _, half := range []string{"", "GET", "GET / HTTP/1.1\r\nHost: " + host + "\r\nX: ", "POST /" + token + "/api/do HTTP/1.1\r\nHost: " + host + "\r\nX-Drywire: 1\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{"} {
		c, err := net.Dial("tcp", host)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, half)
	}
	for _, q := range all {
		what := fmt.Sprintf("%s %s %v %.80s", q.method, q.path, q.header, q.body)
		status, body := raw(t, host, q.method, q.path, q.header, q.body)
		if status < 400 || status > 499 {
			t.Errorf("%s: %d: %.200s", what, status, body)
		}
		if strings.Contains(body, secret) || strings.Contains(body, "drywire: 1") || strings.Contains(body, "root:") {
			t.Errorf("%s lets something out: %.200s", what, body)
		}
	}
	after, err := os.ReadFile(filepath.Join(p.folder, "chain.yaml"))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the chain file has changed (%v): %s", err, after)
	}
	names, err := os.ReadDir(p.folder)
	if err != nil || len(names) != 3 {
		t.Errorf("the folder has %v, and had three files (%v)", names, err)
	}
	w.must("A", map[string]any{"do": "bypass", "block": "buffer", "on": true})
	if w.State.Revision != 1 || !w.State.Dirty {
		t.Errorf("after all that the window is at revision %d, dirty %v; want 1, true", w.State.Revision, w.State.Dirty)
	}
}

// raw sends a request as it is, with paths and hosts that a client would mend.
func raw(t *testing.T, host, method, path string, header map[string]string, body string) (int, string) {
	t.Helper()
	c, err := net.Dial("tcp", host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(10 * time.Second))
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s HTTP/1.1\r\nConnection: close\r\n", method, path)
	for k, v := range header {
		fmt.Fprintf(&b, "%s: %s\r\n", k, v)
	}
	if body != "" {
		fmt.Fprintf(&b, "Content-Length: %d\r\n", len(body))
	}
	b.WriteString("\r\n" + body)
	go io.WriteString(c, b.String()) // the server may answer before it has read all
	answer, _ := io.ReadAll(io.LimitReader(c, 1<<20))
	status := 0
	fmt.Sscanf(string(answer), "HTTP/1.1 %d", &status)
	return status, string(answer)
}

// TestHalfOpen holds that a connection which does not end its request is closed by the server.
func TestHalfOpen(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for five seconds")
	}
	t.Parallel()
	p := openPage(t, quickFile)
	c, err := net.Dial("tcp", p.server.gate.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	io.WriteString(c, "GET / HTTP/1.1\r\nHost: ")
	c.SetDeadline(time.Now().Add(20 * time.Second))
	if b, err := io.ReadAll(c); err != nil {
		t.Errorf("the connection is open after 20 s (%v); it got %q", err, b)
	}
}

// TestHeaders holds what every answer says, to whomever.
func TestHeaders(t *testing.T) {
	p := openPage(t, quickFile)
	for _, path := range []string{p.address, p.address + "nothing", "http://" + p.server.gate.Host + "/"} {
		r, err := p.client.Get(path)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		for name, want := range map[string]string{"Content-Security-Policy": local.Policy, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store"} {
			if got := r.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
	}
	for name, kind := range map[string]string{"": "text/html; charset=utf-8", "page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8", "worklet.js": "text/javascript; charset=utf-8", "font/regular.ttf": "font/ttf"} {
		r, err := p.client.Get(p.address + name)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if got := r.Header.Get("Content-Type"); r.StatusCode != http.StatusOK || got != kind {
			t.Errorf("%q: %d, %q, want %q", name, r.StatusCode, got, kind)
		}
	}
}

// TestOutside holds that a recording outside the folder is not read, however it is named.
func TestOutside(t *testing.T) {
	folder := t.TempDir()
	inner := filepath.Join(folder, "opened")
	if err := os.MkdirAll(filepath.Join(inner, "below"), 0o700); err != nil {
		t.Fatal(err)
	}
	writePluck(t, filepath.Join(folder, "outside.wav"), 4800)
	writePluck(t, filepath.Join(inner, "below", "inside.wav"), 4800)
	for link, to := range map[string]string{"link.wav": filepath.Join("..", "outside.wav"), "far.wav": filepath.Join(folder, "outside.wav"), "up": "..", "near.wav": filepath.Join("below", "inside.wav")} {
		if err := os.Symlink(to, filepath.Join(inner, link)); err != nil {
			t.Skip("no symbolic links here")
		}
	}
	open := func(path string) error {
		file := filepath.Join(inner, "chain.yaml")
		if err := os.WriteFile(file, []byte(strings.Replace(quickFile, "pluck.wav", path, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := newServer(context.Background(), Options{File: file})
		if err == nil {
			s.root.Close()
		}
		return err
	}
	for _, path := range []string{"../outside.wav", "below/../../outside.wav", filepath.Join(folder, "outside.wav"), "link.wav", "far.wav", "up/outside.wav", "./../outside.wav"} {
		if err := open(path); err == nil {
			t.Errorf("recording %s was read", path)
		} else if !strings.Contains(err.Error(), "chain.yaml:4:") {
			t.Errorf("recording %s: the error has no place: %v", path, err)
		}
	}
	for _, path := range []string{"below/inside.wav", "near.wav", "./below/inside.wav"} {
		if err := open(path); err != nil {
			t.Errorf("recording %s: %v", path, err)
		}
	}
}

// TestEnds holds that the end of the context, which is a Ctrl-C, ends streams, events and the
// server, and that is no error.
func TestEnds(t *testing.T) {
	leak := noLeak(t)
	defer leak()
	p := openPage(t, quickFile)
	w := p.window()
	events, err := p.client.Get(p.address + "api/events?session=" + w.ID)
	if err != nil {
		t.Fatal(err)
	}
	defer events.Body.Close()
	sound := w.send(context.Background(), "api/render", map[string]any{"session": w.ID, "side": "A", "from": 0, "region": [2]int64{0, 48000}})
	defer sound.Body.Close()
	if _, _, err := message(sound.Body); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	p.stop()
	if err := <-p.ended; err != nil {
		t.Errorf("an interrupt ends with %v", err)
	}
	p.ended = nil
	// it waits two seconds at most for answers that are under way
	if took := time.Since(begin); took > 5*time.Second {
		t.Errorf("the end took %v", took)
	}
	if b, err := io.ReadAll(events.Body); err != nil || !bytes.HasPrefix(b, []byte(":")) {
		t.Errorf("events ended with %q, %v; want an end of their own", b, err)
	}
	if _, err := net.DialTimeout("tcp", p.server.gate.Host, time.Second); err == nil {
		t.Error("something still listens")
	}
}

// TestSessions holds that there are no more than so many windows, and that an abandoned one is
// dropped and others are not.
func TestSessions(t *testing.T) {
	var mu sync.Mutex
	now := time.Now()
	p := openPage(t, quickFile, func(_ string, o *Options) {
		o.now = func() time.Time { mu.Lock(); defer mu.Unlock(); return now }
	})
	first := p.window()
	for range mostSessions - 1 {
		p.window()
	}
	if status, body := p.post("api/open", struct{}{}, nil); status != http.StatusTooManyRequests {
		t.Errorf("one window too many: %d: %s", status, body)
	}
	events, err := p.client.Get(p.address + "api/events?session=" + first.ID)
	if err != nil {
		t.Fatal(err)
	}
	defer events.Body.Close()
	mu.Lock()
	now = now.Add(abandoned + time.Second)
	mu.Unlock()
	p.server.dropAbandoned()
	if all := p.server.all(); len(all) != 1 || all[0].id != first.ID {
		t.Errorf("%d sessions are left; want the one that is looked at", len(all))
	}
	p.window()
}

// A recording that stood at full scale is a caution on the page, as it is in the terminal; one that
// did not is none.
func TestClippedRecordingIsTold(t *testing.T) {
	clipped := func(p *opened) []string {
		var told []string
		for _, c := range p.window().State.Cautions {
			if strings.Contains(c, "clipped on its way in") {
				told = append(told, c)
			}
		}
		return told
	}
	if told := clipped(openPage(t, quickFile)); len(told) > 0 {
		t.Errorf("a clean recording: %q", told)
	}
	hot := openPage(t, quickFile, func(folder string, _ *Options) {
		x := pluck(48000)
		for k := range x {
			x[k] = max(-1, min(1, 6*x[k]))
		}
		w, err := samples.Create(filepath.Join(folder, "pluck.wav"), samples.Format{Rate: 48000, Channels: 1, Bits: 24})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write(x); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	})
	if told := clipped(hot); len(told) != 1 || !strings.HasPrefix(told[0], "pluck.wav stands at full scale") {
		t.Errorf("a clipped recording: %q", told)
	}
}

// What is exported has a name without what steers a terminal or turns the direction of reading.
func TestNamesOfExports(t *testing.T) {
	w := httptest.NewRecorder()
	attach(w, "a/\u202egnp.\u2066b\u061c\u200f\x1b\u009b take.wav", "audio/wav", 1)
	_, of, err := mime.ParseMediaType(w.Header().Get("Content-Disposition"))
	if want := "a__gnp._b____ take.wav"; err != nil || of["filename"] != want {
		t.Errorf("%q (%v), want %q", of["filename"], err, want)
	}
}
