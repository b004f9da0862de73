package page

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestBring turns to a recording of the player's own: what sounds is that one, and undo has the
// former back. What is no recording, or is played by nothing, changes nothing.
func TestBring(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	was := w.State.Recording
	riff, err := os.ReadFile(filepath.Join("..", "..", "..", "samples", "recordings", "riff.wav"))
	if err != nil {
		t.Fatal(err)
	}
	send := func(name string, body []byte) int {
		t.Helper()
		r, err := http.NewRequest(http.MethodPost, p.address+"api/recording?name="+name, strings.NewReader(string(body)))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("X-Drywire", "1")
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		return answer.StatusCode
	}
	if code := send("mine.wav", riff); code != http.StatusOK {
		t.Fatalf("status %d", code)
	}
	for name, body := range map[string][]byte{"broken.wav": riff[:40], "chain.yaml": riff, "pluck.wav": riff} {
		if code := send(name, body); code < 400 {
			t.Errorf("%s: status %d", name, code)
		}
	}
	brought := func(file string, peak, input float64) map[string]any {
		return op("recording", "brought", map[string]any{"file": file, "peak": peak, "input": input, "cable": 3})
	}
	w.must("A", brought("mine.wav", 0.3, 1e6))
	if now := w.State.Recording; now.Frames == was.Frames || w.State.Region[1] > now.Frames {
		t.Errorf("%d frames, region %v; before %d", now.Frames, w.State.Region, was.Frames)
	}
	if !strings.Contains(w.text(), "recording: {file: mine.wav, peak: 300 mV, load: {resistance: 1 MΩ, cable: 3 m}}") {
		t.Errorf("the text is\n%s", w.text())
	}
	w.wants("the changes", w.State.Changes, []string{"the recording mine.wav"})
	w.must("A", op("undo"))
	w.wants("the former", w.State.Recording.Frames, was.Frames)
	for _, bad := range []map[string]any{brought("none.wav", 0.3, 1e6), brought("mine.wav", -1, 1e6), brought("mine.wav", 0.3, -5), brought("../mine.wav", 0.3, 1e6), brought("", 0.3, 1e6)} {
		if why := w.do("A", bad); !strings.HasPrefix(why, "4") {
			t.Errorf("%v: %q", bad, why)
		}
	}
	w.wants("the text", w.text(), quickFile)
}
