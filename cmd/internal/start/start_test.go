package start

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"drywire/chains/file"
	"drywire/cmd/internal/files"
)

// opened is a start page, with what it was opened on.
type opened struct {
	*testing.T
	folder, state, address string
}

func open(t *testing.T) *opened {
	t.Helper()
	o := &opened{T: t, folder: filepath.Join(t.TempDir(), "boards"), state: filepath.Join(t.TempDir(), "state")}
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- Serve(ctx, Options{Folder: o.folder, State: o.state, Disk: files.Disk{}, Ready: func(a string) { ready <- a }})
	}()
	o.address = <-ready
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return o
}

// post sends a request as the page does, and reads its answer.
func (o *opened) post(path string, body any) (int, map[string]any) {
	o.Helper()
	kind, text := "application/json", []byte(nil)
	if raw, ok := body.([]byte); ok {
		kind, text = "application/octet-stream", raw
	} else {
		text, _ = json.Marshal(body)
	}
	r, err := http.NewRequest(http.MethodPost, o.address+path, bytes.NewReader(text))
	if err != nil {
		o.Fatal(err)
	}
	r.Header.Set("Content-Type", kind)
	r.Header.Set("X-Drywire", "1")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		o.Fatal(err)
	}
	defer answer.Body.Close()
	got := map[string]any{}
	all, _ := io.ReadAll(answer.Body)
	if err := json.Unmarshal(all, &got); err != nil {
		o.Fatalf("%s: %d %s", path, answer.StatusCode, all)
	}
	return answer.StatusCode, got
}

func (o *opened) page(address string) int {
	o.Helper()
	answer, err := http.Get(address)
	if err != nil {
		o.Fatal(err)
	}
	answer.Body.Close()
	return answer.StatusCode
}

type object = map[string]any

// A question that comes with the program becomes a file in the folder once, opens on a page of its
// own, and is a board of the player's from then on.
func TestQuestion(t *testing.T) {
	o := open(t)
	if code := o.page(o.address); code != http.StatusOK {
		t.Fatalf("the page answers %d", code)
	}
	code, first := o.post("api/question", object{"name": "fuzz-or-buffer-first"})
	if code != http.StatusOK || o.page(first["address"].(string)) != http.StatusOK {
		t.Fatalf("%d %v", code, first)
	}
	path := filepath.Join(o.folder, "fuzz-or-buffer-first.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	mine := strings.Replace(string(text), "title: ", "title: Mine, ", 1)
	if err := os.WriteFile(path, []byte(mine), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, again := o.post("api/question", object{"name": "fuzz-or-buffer-first"}); again["address"] != first["address"] {
		t.Errorf("opened a second time as %v, want %v", again, first)
	}
	if now, _ := os.ReadFile(path); string(now) != mine {
		t.Error("what was changed in it is written over")
	}
	_, choices := o.post("api/choices", object{})
	boards := choices["boards"].([]any)
	if len(boards) != 1 || boards[0].(object)["path"] != path || !strings.HasPrefix(boards[0].(object)["title"].(string), "Mine, ") {
		t.Errorf("the boards are %v", boards)
	}
	if code, _ := o.post("api/board", object{"path": path}); code != http.StatusOK {
		t.Errorf("the board answers %d", code)
	}
	if n := len(choices["questions"].([]any)); n < 15 {
		t.Errorf("%d questions", n)
	}
	if code, said := o.post("api/question", object{"name": "../x"}); code != http.StatusNotFound {
		t.Errorf("%d %v", code, said)
	}
	outside := filepath.Join(t.TempDir(), "other.yaml")
	if err := os.WriteFile(outside, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if code, said := o.post("api/board", object{"path": outside}); code != http.StatusNotFound {
		t.Errorf("a file that is in no list: %d %v", code, said)
	}
}

// A board is written of answers, opens, and never takes the place of another file.
func TestBuild(t *testing.T) {
	o := open(t)
	ask := object{"name": "My Board!", "pickup": "humbucker", "cable": 5, "pedals": []string{"compressor", "fuzz", "delay"}, "amplifier": true, "supply": "isolated"}
	code, said := o.post("api/build", ask)
	if code != http.StatusOK || o.page(said["address"].(string)) != http.StatusOK {
		t.Fatalf("%d %v", code, said)
	}
	text, err := os.ReadFile(filepath.Join(o.folder, "my-board.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	f, err := file.Parse("my-board.yaml", text)
	if err != nil || !slices.Equal(f.Order, []string{"compressor", "fuzz", "delay", "amp", "amp-power", "amp-box"}) {
		t.Errorf("%v\n%s", err, text)
	}
	for want, change := range map[string]object{
		"there already":   {},
		"name of letters": {"name": " … "},
		"no pedal":        {"pedals": []string{"preamp"}},
		"choose a pedal":  {"pedals": []string{}, "amplifier": false},
		"no pickup":       {"pickup": "x"},
		"a cable of":      {"cable": -1},
		"is not in":       {"recording": "../x.wav", "peak": 0.3},
		"no supply":       {"supply": "mains"},
		"not understood":  {"pedals": "fuzz"},
		"24 at most":      {"pedals": slices.Repeat([]string{"boost"}, 25)},
	} {
		changed := object{"name": "other"}
		for k, v := range ask {
			changed[k] = v
		}
		if want != "there already" {
			changed["name"] = "other"
		}
		for k, v := range change {
			changed[k] = v
		}
		if code, said := o.post("api/build", changed); code == http.StatusOK || !strings.Contains(said["error"].(string), want) {
			t.Errorf("%v: %d %v, want %q", change, code, said, want)
		}
	}
	if list, _ := os.ReadDir(o.folder); len(list) != 1 {
		t.Errorf("the folder holds %v", list)
	}
}

// A recording that is dropped onto the page is kept once it has been read as one, and can then be
// chosen; what is none leaves nothing behind.
func TestRecording(t *testing.T) {
	o := open(t)
	sound := wav(48000, 4800)
	if code, said := o.post("api/recording?name=my%20riff.wav", sound); code != http.StatusOK || said["name"] != "my riff.wav" || said["seconds"] != 0.1 {
		t.Fatalf("%d %v", code, said)
	}
	if code, said := o.post("api/recording?name=my%20riff.wav", sound); code != http.StatusOK {
		t.Errorf("the same again: %d %v", code, said)
	}
	other := bytes.Clone(sound)
	other[len(other)-1] = 1
	if code, said := o.post("api/recording?name=my%20riff.wav", other); code != http.StatusConflict {
		t.Errorf("another of the same length: %d %v", code, said)
	}
	if now, err := os.ReadFile(filepath.Join(o.folder, "my riff.wav")); err != nil || !bytes.Equal(now, sound) {
		t.Errorf("it is not kept as it came (%v)", err)
	}
	for name, body := range map[string][]byte{"my%20riff.wav": wav(48000, 10), "x.wav": []byte("RIFF"), "x.txt": sound, "..%2F..%2Fx.yaml": sound, ".hidden.wav": sound, "slow.wav": wav(22050, 800), "": sound} {
		if code, said := o.post("api/recording?name="+name, body); code == http.StatusOK {
			t.Errorf("%q is taken: %v", name, said)
		}
	}
	if code, said := o.post("api/recording?name=..%2F..%2Fdown.wav", sound); code != http.StatusOK || said["name"] != "down.wav" {
		t.Errorf("%d %v", code, said)
	}
	var names []string
	list, _ := os.ReadDir(o.folder)
	for _, e := range list {
		names = append(names, e.Name())
	}
	if !slices.Equal(names, []string{"down.wav", "my riff.wav"}) {
		t.Errorf("the folder holds %v", names)
	}
	if code, said := o.post("api/build", object{"name": "b", "pickup": "humbucker", "cable": 5, "pedals": []string{"fuzz"}, "recording": "my riff.wav", "peak": 0.3}); code != http.StatusOK {
		t.Errorf("%d %v", code, said)
	}
}

// Nobody else gets in: no token, no header, another host or origin.
func TestStrangersAreRefused(t *testing.T) {
	o := open(t)
	root := o.address[:strings.LastIndex(strings.TrimSuffix(o.address, "/"), "/")+1]
	for what, change := range map[string]func(*http.Request){
		"no header": func(r *http.Request) { r.Header.Del("X-Drywire") },
		"origin":    func(r *http.Request) { r.Header.Set("Origin", "http://example.com") },
		"host":      func(r *http.Request) { r.Host = "example.com" },
		"token":     func(r *http.Request) { r.URL.Path = strings.TrimPrefix(root, "http://"+r.URL.Host) + "no/api/question" },
		"site":      func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
	} {
		r, err := http.NewRequest(http.MethodPost, o.address+"api/question", strings.NewReader(`{"name":"fuzz-or-buffer-first"}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("X-Drywire", "1")
		change(r)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode < 400 {
			t.Errorf("%s: %d", what, answer.StatusCode)
		}
	}
	if _, err := os.Stat(o.folder); err == nil {
		t.Error("a stranger has made a folder")
	}
}

// wav is a mono WAV file of so many frames of silence with one sample in it.
func wav(rate, frames int) []byte {
	var b bytes.Buffer
	u32 := func(v int) { b.Write([]byte{byte(v), byte(v >> 8), byte(v >> 16), byte(v >> 24)}) }
	b.WriteString("RIFF")
	u32(36 + 2*frames)
	b.WriteString("WAVEfmt ")
	u32(16)
	b.Write([]byte{1, 0, 1, 0})
	u32(rate)
	u32(2 * rate)
	b.Write([]byte{2, 0, 16, 0})
	b.WriteString("data")
	u32(2 * frames)
	x := make([]byte, 2*frames)
	x[1] = 0x40
	b.Write(x)
	return b.Bytes()
}

// A board with a circuit of its own is listed, and opens, where its deck is in its folder.
func TestBoardsWithDecks(t *testing.T) {
	o := open(t)
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(o.folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(o.folder, 0o700); err != nil {
		t.Fatal(err)
	}
	const board = "drywire: 1\ntitle: Dark\nrecording: {sample: riff}\nblocks: {dark: {kind: circuit, file: dark.cir, amount: 7}}\norder: [dark]\n"
	write("dark.cir", ".subckt dark in out gnd params: amount=0.5\nR1 in out {1k+9k*amount}\nC1 out gnd 10n\n.ends\n")
	write("dark.yaml", board)
	write("lost.yaml", strings.Replace(board, "file: dark.cir", "file: ../boards/dark.cir", 1))
	_, choices := o.post("api/choices", object{})
	boards := choices["boards"].([]any)
	if len(boards) != 1 || boards[0].(object)["title"] != "Dark" {
		t.Fatalf("the boards are %v", boards)
	}
	if code, said := o.post("api/board", object{"path": boards[0].(object)["path"]}); code != http.StatusOK || o.page(said["address"].(string)) != http.StatusOK {
		t.Errorf("the board answers %d, %v", code, said)
	}
}
