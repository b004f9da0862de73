package page

import (
	"context"
	"fmt"
	"net"
	"runtime"
	"sync"
	"testing"
	"time"
)

// TestCrowd has twenty listen at once, each at another place, and one who never reads, in the midst
// of others who leave. All of them get all of the same sound; it is rendered once; memory stays
// bounded.
func TestCrowd(t *testing.T) {
	leak := noLeak(t)
	defer leak()
	p := openPage(t, fuzzFile)
	defer p.close()
	const listeners = 20
	region := [2]int64{0, 48000}
	windows := make([]*window, listeners)
	for k := range windows {
		windows[k] = p.window()
	}
	deaf := p.window()
	c, err := net.Dial("tcp", p.server.gate.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.(*net.TCPConn).SetReadBuffer(4096)
	body := fmt.Sprintf(`{"session":%q,"side":"B","from":0,"region":[0,48000]}`, deaf.ID)
	fmt.Fprintf(c, "POST /%s/api/render HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nX-Drywire: 1\r\nContent-Length: %d\r\n\r\n%s", p.server.gate.Token, p.server.gate.Host, len(body), body)

	var memory runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&memory)
	before := memory.HeapAlloc
	var wait sync.WaitGroup
	sounds := make([][]float32, listeners)
	for k, w := range windows {
		wait.Go(func() {
			if k%4 == 3 { // leaves at once, and comes back
				ctx, leave := context.WithCancel(context.Background())
				r := w.send(ctx, "api/render", map[string]any{"session": w.ID, "side": "A", "from": 0, "region": region})
				message(r.Body)
				leave()
				r.Body.Close()
			}
			sounds[k] = channel(t, w.render("A", int64(k)*2000, region).exact, 0, 0, 48000)
		})
	}
	wait.Wait()
	for k := range sounds {
		for j, v := range sounds[k] {
			if v != sounds[0][j] {
				t.Fatalf("listener %d has %v in frame %d, the first %v", k, v, j, sounds[0][j])
			}
		}
	}
	counts := p.server.engine.Counts()
	// A and B, and once more where all had left
	if begun, most := counts.Begun, 2*(1+listeners/4); begun > most {
		t.Errorf("%d exact sounds were begun; want %d at most", begun, most)
	}
	computed := counts.Computed
	// A and B have three sections and two stages each: whoever leaves may cost one of them once
	// more.
	if most := int64(2 * (3 + 2 + 2 + listeners/4)); computed > most {
		t.Errorf("%d sections and stages were computed for all of them; want %d at most", computed, most)
	}
	runtime.GC()
	runtime.ReadMemStats(&memory)
	// a loop of a second: all of it is some 10 MB
	if grown := int64(memory.HeapAlloc) - int64(before); grown > 64<<20 {
		t.Errorf("the heap has grown by %d MB", grown>>20)
	}
	if !t.Failed() {
		// the window of the one who never reads is still served
		deaf.do("A", map[string]any{"do": "undo"})
	}
}

// TestDeaf holds that a listener who does not read is left once it has not read for a while.
func TestDeaf(t *testing.T) {
	// 7.7 MB in two channels, and as much of a preview: more than sockets buffer
	const frames = 48000 * 20
	p := openPage(t, `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
blocks: {soft: {kind: volume, volume: 3}}
order: [{split: {left: [soft], right: [], mix: stereo}}]
`, func(folder string, o *Options) {
		writePluck(t, folder+"/pluck.wav", frames)
		o.wait = 300 * time.Millisecond
	})
	w := p.window()
	c, err := net.Dial("tcp", p.server.gate.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.(*net.TCPConn).SetReadBuffer(4096)
	body := fmt.Sprintf(`{"session":%q,"side":"A","from":0,"region":[0,%d]}`, w.ID, frames)
	fmt.Fprintf(c, "POST /%s/api/render HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nX-Drywire: 1\r\nContent-Length: %d\r\n\r\n%s", p.server.gate.Token, p.server.gate.Host, len(body), body)
	n, err := p.server.session(w.ID)
	if err != nil {
		t.Fatal(err)
	}
	streams := func() int { n.mu.Lock(); defer n.mu.Unlock(); return n.streams }
	wait := func(want int, most time.Duration) {
		t.Helper()
		for begin := time.Now(); streams() != want; time.Sleep(10 * time.Millisecond) {
			if time.Since(begin) > most {
				t.Fatalf("%d streams after %v, want %d", streams(), most, want)
			}
		}
	}
	wait(1, 10*time.Second)
	wait(0, 30*time.Second)
}
