package page

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drywire/chains/experiment"
	"drywire/chains/file"
)

// lane is the names of the blocks that a side has, with what is in loops and paths.
func (w *window) lane(side string) []string {
	var names []string
	var walk func(entries []any)
	walk = func(entries []any) {
		for _, e := range entries {
			m := e.(map[string]any)
			if split, ok := m["split"].(map[string]any); ok {
				for _, path := range []string{"left", "right"} {
					names = append(names, path+":")
					walk(split[path].([]any))
				}
				continue
			}
			name := m["block"].(string)
			if m["off"].(bool) {
				name = "(" + name + ")"
			}
			names = append(names, name)
			loops, _ := m["loops"].([]any)
			for _, l := range loops {
				loop := l.(map[string]any)
				names = append(names, fmt.Sprintf("%v:%v", loop["number"], loop["on"]))
				walk(loop["blocks"].([]any))
			}
		}
	}
	walk(w.State.Sides[side].Lane)
	return names
}

func (w *window) tray(side string) []string {
	names := []string{}
	for _, s := range w.State.Sides[side].Tray {
		names = append(names, s.Block)
	}
	return names
}

func (w *window) text() string {
	w.t.Helper()
	r, err := w.client.Get(w.address + "api/export?what=text&side=A&session=" + w.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		w.t.Fatalf("%d %v", r.StatusCode, err)
	}
	return string(b)
}

func (w *window) wants(what string, got, want any) {
	w.t.Helper()
	if !reflect.DeepEqual(got, want) {
		w.t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func op(kind string, more ...any) map[string]any {
	m := map[string]any{"do": kind}
	for k := 0; k < len(more); k += 2 {
		m[more[k].(string)] = more[k+1]
	}
	return m
}

// TestEdits walks through every kind of change, and back again.
func TestEdits(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.wants("A", w.lane("A"), []string{"vol", "buffer", "echo"})
	w.wants("B", w.lane("B"), []string{"buffer", "echo", "vol"})

	w.must("A", op("order", "order", []any{"echo", "buffer"}))
	w.wants("the order", w.lane("A"), []string{"echo", "buffer"})
	w.wants("what waits", w.tray("A"), []string{"vol"})
	w.must("A", op("bypass", "block", "echo", "on", true))
	w.must("A", op("knob", "target", "echo.time", "value", "80 ms"))
	w.must("A", op("knob", "target", "guitar.volume", "value", "6.5"))
	w.wants("bypassed", w.lane("A"), []string{"(echo)", "buffer"})
	echo := w.State.Sides["A"].Lane[0].(map[string]any)
	at := slices.IndexFunc(echo["knobs"].([]any), func(k any) bool { return k.(map[string]any)["name"] == "time" })
	w.wants("a knob", echo["knobs"].([]any)[at].(map[string]any)["text"], "80 ms")
	w.wants("the guitar's volume", *w.State.Sides["A"].Station.Knobs[0].Value, 6.5)
	w.must("A", op("bypass", "block", "echo", "on", false))
	w.must("A", op("order", "order", []any{map[string]any{"split": map[string]any{"left": []any{"echo"}, "right": []any{"vol"}, "mix": "stereo"}}}))
	w.wants("a split", w.lane("A"), []string{"left:", "echo", "right:", "vol"})
	w.wants("what waits", w.tray("A"), []string{"buffer"})
	w.must("A", op("add", "kind", "boost", "name", "boost-2"))
	w.wants("what waits", w.tray("A"), []string{"buffer", "boost-2"})
	w.must("A", op("take", "name", "late"))
	w.must("A", op("bypass", "block", "vol", "on", true))
	w.wants("a take of its own", w.State.Sides["A"].Take, "late, changed")
	w.wants("the other side", w.lane("B"), []string{"buffer", "echo", "vol"})
	w.must("B", op("copy"))
	w.wants("a copy", w.lane("B"), []string{"buffer", "echo", "(vol)"})
	steps := w.State.Undo
	w.wants("steps", steps, 10)
	last := w.text()
	for range steps {
		w.must("A", op("undo"))
	}
	w.wants("all undone", w.text(), quickFile)
	w.wants("all undone", w.State.Dirty, false)
	w.wants("A", w.lane("A"), []string{"vol", "buffer", "echo"})
	if why := w.do("A", op("undo")); !strings.HasPrefix(why, "422") {
		t.Errorf("one undo too many: %q", why)
	}
	for range steps {
		w.must("A", op("redo"))
	}
	w.wants("all done again", w.text(), last)

	// Back to any of them at once, as the list of changes has them, and on again.
	w.wants("the changes", w.State.Changes[:4], []string{"A: another order", "A: echo out", "A: echo.time at 80 ms", "A: guitar.volume at 6.5"})
	changes := w.State.Changes
	w.must("A", op("back", "number", steps-1))
	w.wants("what is left", w.State.Changes, changes[:1])
	w.wants("the first change alone", w.lane("A"), []string{"echo", "buffer"})
	w.wants("to do again", w.State.Redo, steps-1)
	w.must("A", op("redo"))
	w.wants("the second again", w.State.Changes, changes[:2])
	for range steps - 2 {
		w.must("A", op("redo"))
	}
	w.wants("all done again", w.text(), last)
	w.wants("the changes again", w.State.Changes, changes)
	for _, number := range []int{0, -1, steps + 1} {
		if why := w.do("A", op("back", "number", number)); !strings.HasPrefix(why, "422") {
			t.Errorf("back by %d: %q", number, why)
		}
	}

	// What is refused leaves all as it was.
	for _, bad := range []map[string]any{
		op("order", "order", []any{"echo", "echo"}), op("order", "order", []any{"nothing"}), op("knob", "target", "echo.time", "value", "80 years"), op("knob", "target", "echo.colour", "value", "1"),
		op("bypass", "block", "nothing", "on", true), op("loop", "number", 1), op("preset", "name", "x"), op("guitar", "name", "x"), op("take", "name", "x"), op("add", "kind", "boost", "name", "echo"),
		op("order", "order", []any{map[string]any{"split": map[string]any{"left": []any{}, "right": []any{}, "mix": "stereo"}}, "vol"}),
	} {
		if why := w.do("A", bad); !strings.HasPrefix(why, "422") {
			t.Errorf("%v: %q", bad, why)
		}
	}
	w.wants("after what was refused", w.text(), last)
}

// TestKnobTurn holds that one turn of a knob is one step.
func TestKnobTurn(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	for _, v := range []string{"9", "8", "7"} {
		w.must("A", op("knob", "target", "vol.volume", "value", v, "more", true))
	}
	w.must("A", op("knob", "target", "vol.volume", "value", "6"))
	w.wants("steps", w.State.Undo, 1)
	w.must("A", op("knob", "target", "vol.volume", "value", "5"))
	w.wants("steps", w.State.Undo, 2)
	w.must("A", op("undo"))
	w.must("A", op("undo"))
	w.wants("undone", w.text(), quickFile)
}

// boardFile has a switcher with blocks in its loops.
const boardFile = `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
guitars:
  slide: {pickup: single-coil}
blocks:
  boost:  {kind: boost}
  drive:  {kind: overdrive}
  echo:   {kind: delay, time: 60 ms}
  buffer: {kind: buffer}
  board:  {kind: switcher, loops: {1: [boost], 2: [drive, echo], 3: []}}
order: [board, buffer]
presets:
  clean: {loops: [1]}
  loud:  {loops: [1, 2]}
takes:
  - {name: clean, preset: clean}
  - {name: loud, preset: loud, guitar: slide}
`

// TestLoops moves blocks between loops, the order and the tray.
func TestLoops(t *testing.T) {
	p := openPage(t, boardFile)
	w := p.window()
	w.wants("A", w.lane("A"), []string{"board", "1:true", "boost", "2:false", "drive", "echo", "3:false", "buffer"})
	w.wants("B", w.lane("B"), []string{"board", "1:true", "boost", "2:true", "drive", "echo", "3:false", "buffer"})
	if in := w.State.Sides["A"].Lane[0].(map[string]any)["loops"].([]any)[1].(map[string]any)["blocks"].([]any)[0].(map[string]any)["in"]; in != nil {
		t.Errorf("a block in a loop that is out has an input impedance of %v", in)
	}
	w.must("A", op("loop", "number", 3))
	w.must("A", op("loop", "number", 1))
	w.wants("toggled", w.lane("A"), []string{"board", "1:false", "boost", "2:false", "drive", "echo", "3:true", "buffer"})
	loops := func(one, two, three []string) map[string]any {
		return map[string]any{"loops": "board", "in": map[string][]string{"1": one, "2": two, "3": three}}
	}
	w.must("A", op("order", "order", []any{loops([]string{"boost"}, []string{"echo"}, []string{}), "drive", "buffer"}))
	w.wants("out of a loop", w.lane("A"), []string{"board", "1:false", "boost", "2:false", "echo", "3:true", "drive", "buffer"})
	w.must("A", op("order", "order", []any{"drive", loops([]string{}, []string{"boost", "echo"}, []string{}), "buffer"}))
	w.wants("from loop to loop", w.lane("A"), []string{"drive", "board", "1:false", "2:false", "boost", "echo", "3:true", "buffer"})
	w.must("A", op("order", "order", []any{loops([]string{"drive"}, []string{"echo"}, []string{}), "buffer"}))
	w.wants("into a loop, and to the tray", w.lane("A"), []string{"board", "1:false", "drive", "2:false", "echo", "3:true", "buffer"})
	w.wants("what waits", w.tray("A"), []string{"boost"})
	w.must("A", op("preset", "name", "loud"))
	w.must("A", op("guitar", "name", "slide"))
	w.wants("the guitar", w.State.Sides["A"].Guitar, "slide")
	if _, err := file.Parse("x", []byte(w.text())); err != nil {
		t.Error(err)
	}
	for w.State.Undo > 0 {
		w.must("A", op("undo"))
	}
	w.wants("all undone", w.text(), boardFile)
}

// TestIntoALoopOfOneTake holds that what is plugged into a loop on one side is there in that take
// alone: the file, the other side and all other takes have what they had.
func TestIntoALoopOfOneTake(t *testing.T) {
	file := strings.NewReplacer("order: [board, buffer]", "order: [board, buffer]   # on the floor",
		"guitar: slide}", "guitar: slide, order: [buffer, board], set: {buffer.supply: 12 V}}\n  - {name: third, preset: loud, off: [buffer]}").Replace(boardFile)
	p := openPage(t, file)
	w := p.window()
	loops := func(one, two, three []string) map[string]any {
		return map[string]any{"loops": "board", "in": map[string][]string{"1": one, "2": two, "3": three}}
	}
	own := func(side string) (list []bool) {
		for _, e := range w.State.Sides[side].Lane {
			inside, _ := e.(map[string]any)["loops"].([]any)
			for _, l := range inside {
				list = append(list, l.(map[string]any)["own"].(bool))
			}
		}
		return list
	}
	other := w.lane("B")
	w.must("A", op("order", "order", []any{loops([]string{"boost"}, []string{"drive", "buffer"}, []string{}), "echo"}))
	w.wants("A", w.lane("A"), []string{"board", "1:true", "boost", "2:false", "drive", "buffer", "3:false", "echo"})
	w.wants("A's own", own("A"), []bool{false, true, false})
	w.wants("B", w.lane("B"), other)
	w.wants("B's own", own("B"), []bool{false, false, false})
	want := strings.Replace(file, "{name: clean, preset: clean}", "{name: clean, preset: clean, order: [board, echo], loops: {2: [drive, buffer]}}", 1)
	w.wants("one line of the text", w.text(), want)
	// An order inside the loop, and the echo off the board: in its own loops, and not in the
	// switcher's.
	w.must("A", op("order", "order", []any{loops([]string{"boost"}, []string{"buffer", "drive"}, []string{})}))
	w.wants("again", w.text(), strings.Replace(want, "order: [board, echo], loops: {2: [drive, buffer]}", "order: [board], loops: {2: [buffer, drive]}", 1))
	w.wants("off this board", w.tray("A"), []string{"echo"})
	w.must("A", op("loop", "number", 2))
	w.must("A", op("bypass", "block", "buffer", "on", true))
	w.wants("off, in a loop of its own", w.lane("A"), []string{"board", "1:true", "boost", "2:true", "(buffer)", "drive", "3:false"})
	// Back as the switcher has it, it says nothing of loops.
	w.must("A", op("loop", "number", 2))
	w.must("A", op("order", "order", []any{loops([]string{"boost"}, []string{"drive", "echo"}, []string{}), "buffer"}))
	if text := w.text(); strings.Contains(text, "loops: {2: [b") || !strings.Contains(text, "{name: clean, preset: clean, order: [board, buffer]}") {
		t.Errorf("back again it is %s", text)
	}
	for w.State.Undo > 0 {
		w.must("A", op("undo"))
	}
	w.wants("undone", w.text(), file)
}

// TestOneTake holds that a file with one take gets a second side, which is no change to be saved.
func TestOneTake(t *testing.T) {
	p := openPage(t, strings.Replace(quickFile, "  - {name: late, order: [buffer, echo, vol]}\n", "", 1))
	w := p.window()
	if a, b := w.State.Sides["A"].Take, w.State.Sides["B"].Take; a != "plain" || b == a || w.State.Dirty {
		t.Errorf("A shows %q, B %q, dirty %v", a, b, w.State.Dirty)
	}
	w.wants("B", w.lane("B"), w.lane("A"))
}

// TestSentences holds that a change of the loading is told.
func TestSentences(t *testing.T) {
	p := openPage(t, fuzzFile)
	w := p.window()
	w.must("A", op("order", "order", []any{"buffer", "fuzz", "echo"}))
	all := strings.Join(w.State.Sides["A"].Sentences, " ")
	if !strings.Contains(all, "fuzz is now driven by buffer (") || !strings.Contains(all, "no longer by the guitar") {
		t.Errorf("told: %s", all)
	}
	if n := len(w.State.Sides["A"].Cables); n == 0 {
		t.Error("no cable is to be moved")
	}
	w.must("A", op("undo"))
	w.must("A", op("knob", "target", "echo.time", "value", "100 ms"))
	if s := w.State.Sides["A"].Sentences; len(s) != 0 {
		t.Errorf("a knob that loads nothing is told: %q", s)
	}
}

// TestSpeakerLoadsItsAmplifier holds that what a loudspeaker takes from its power amplifier is no
// complaint, and what a fuzz takes from a guitar is one.
func TestSpeakerLoadsItsAmplifier(t *testing.T) {
	w := openPage(t, `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
blocks: {fuzz: {kind: fuzz}, amp: {kind: poweramp}, box: {kind: speaker}}
order: [fuzz, amp, box]
`).window()
	for k, weak := range []bool{true, false, false} {
		s := w.State.Sides["A"].Lane[k].(map[string]any)
		if s["weak"] != weak || (s["loading"] == "") == weak {
			t.Errorf("%v: weak %v, want %v: %q", s["block"], s["weak"], weak, s["loading"])
		}
		if k == 2 && s["loss_db"].(float64) > -3 {
			t.Errorf("the loudspeaker takes only %v dB: this is no check", s["loss_db"])
		}
	}
}

func (p *opened) file() string { return filepath.Join(p.folder, "chain.yaml") }

func (p *opened) disk() string {
	p.t.Helper()
	b, err := os.ReadFile(p.file())
	if err != nil {
		p.t.Fatal(err)
	}
	return string(b)
}

func (p *opened) overwrite(text string) {
	p.t.Helper()
	if err := os.WriteFile(p.file(), []byte(text), 0o600); err != nil {
		p.t.Fatal(err)
	}
}

// save saves and decodes the answer.
func (w *window) save(question map[string]any) (status int, answer struct {
	Saved                         bool
	State                         State
	Conflict, Theirs, Mine, Error string
}) {
	w.t.Helper()
	question["session"] = w.ID
	status, body := w.post("api/save", question, nil)
	if err := json.Unmarshal(body, &answer); err != nil {
		w.t.Fatalf("%d: %s", status, body)
	}
	if status == http.StatusOK {
		w.State = answer.State
	}
	return status, answer
}

// TestSave saves in all ways: what is not meant keeps its bytes, and its mode.
func TestSave(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.must("A", op("order", "order", []any{"buffer", "vol", "echo"}))
	if status, a := w.save(map[string]any{"side": "A", "how": "take", "name": "new one"}); status != http.StatusOK || !a.Saved {
		t.Fatalf("%d %+v", status, a)
	}
	got := p.disk()
	if !strings.HasPrefix(got, quickFile) || !strings.Contains(got[len(quickFile):], "new one") || strings.Count(got, "\n") != strings.Count(quickFile, "\n")+strings.Count(got[len(quickFile):], "\n") {
		t.Errorf("a new take, the rest as it was:\n%s", got)
	}
	w.wants("the side shows it", w.State.Sides["A"].Take, "new one")
	w.wants("nothing more to save", w.State.Dirty, false)

	w.must("A", op("order", "order", []any{"echo", "buffer", "vol"}))
	if status, a := w.save(map[string]any{"side": "A", "how": "order"}); status != http.StatusOK {
		t.Fatalf("%d %+v", status, a)
	}
	want := strings.Replace(got, "order: [vol, buffer, echo]", "order: [echo, buffer, vol]", 1)
	w.wants("the file's order", p.disk(), want)
	w.must("B", op("knob", "target", "echo.time", "value", "90 ms"))
	if status, a := w.save(map[string]any{"side": "B", "how": "all"}); status != http.StatusOK {
		t.Fatalf("%d %+v", status, a)
	}
	w.wants("all of it", p.disk(), w.text())
	w.wants("nothing more to save", w.State.Dirty, false)
	for _, comment := range []string{"# A comment at the top.", "# of our own", "# short", "# the first"} {
		if !strings.Contains(p.disk(), comment) {
			t.Errorf("the comment %q is lost:\n%s", comment, p.disk())
		}
	}
	if info, err := os.Stat(p.file()); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file has the mode %v (%v)", info.Mode(), err)
	}
	p.drafted("chain.yaml.draft", "")
	if names, _ := os.ReadDir(p.folder); len(names) != 3 || names[1].Name() != "chain.yaml.before-save" {
		t.Errorf("the folder holds %v", names)
	}
	if status, a := w.save(map[string]any{"side": "A", "how": "take", "name": "plain"}); status != http.StatusUnprocessableEntity {
		t.Errorf("a name that is taken: %d %+v", status, a)
	}
}

// TestSaveAsAnotherFile holds that a copy is a new file of what the window shows, and that neither
// the file that is open nor any other changes.
func TestSaveAsAnotherFile(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.must("A", op("bypass", "block", "echo", "on", true))
	copied := func(name string) int {
		t.Helper()
		status, _ := w.post("api/save", map[string]any{"session": w.ID, "side": "A", "how": "copy", "name": name}, nil)
		return status
	}
	if status := copied("for tonight"); status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	other, err := os.ReadFile(filepath.Join(p.folder, "for tonight.yaml"))
	w.wants("the copy", string(other), w.text())
	w.wants("the file", p.disk(), quickFile)
	if err != nil || !w.State.Dirty {
		t.Errorf("%v, unsaved: %v", err, w.State.Dirty)
	}
	for _, bad := range []string{"for tonight", "for tonight.yaml", "chain", "", "  ", "../x", "a/b", `a\b`, ".hidden", "x\x00y", strings.Repeat("x", 200)} {
		if status := copied(bad); status != http.StatusUnprocessableEntity {
			t.Errorf("%q: status %d", bad, status)
		}
	}
	w.wants("the file", p.disk(), quickFile)
}

// TestConflict holds that nothing is written over a file that has changed meanwhile, but for who
// insists.
func TestConflict(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.must("A", op("bypass", "block", "echo", "on", true))
	theirs := strings.Replace(quickFile, "Quick", "Theirs", 1)
	p.overwrite(theirs)
	status, a := w.save(map[string]any{"side": "A", "how": "all"})
	if status != http.StatusConflict || a.Conflict == "" || a.Theirs != theirs || a.Mine != w.text() {
		t.Errorf("%d %+v", status, a)
	}
	w.wants("on disk", p.disk(), theirs)
	if status, a := w.save(map[string]any{"side": "A", "how": "all", "force": true}); status != http.StatusOK {
		t.Errorf("by force: %d %+v", status, a)
	}
	w.wants("by force", p.disk(), w.text())

	w.must("A", op("bypass", "block", "echo", "on", false))
	p.overwrite(theirs)
	var again struct{ State State }
	if status, body := w.post("api/reload", map[string]any{"session": w.ID}, &again); status != http.StatusOK {
		t.Fatalf("%d: %s", status, body)
	}
	w.wants("theirs is taken", again.State.Title, "Theirs")
	w.wants("theirs is taken", w.text(), theirs)
	if err := os.Remove(p.file()); err != nil {
		t.Fatal(err)
	}
	if status, a := w.save(map[string]any{"side": "A", "how": "all"}); status != http.StatusConflict {
		t.Errorf("a file that is gone: %d %+v", status, a)
	}
}

// told is the next events of a window.
func (w *window) told() <-chan event {
	w.t.Helper()
	r, err := w.client.Get(w.address + "api/events?session=" + w.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	events := make(chan event, 16)
	go func() {
		defer close(events)
		lines := bufio.NewScanner(r.Body)
		lines.Buffer(nil, 1<<20)
		var e event
		for lines.Scan() {
			if name, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				e.name = name
			}
			if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				e.data = json.RawMessage(data)
				events <- e
			}
		}
	}()
	w.t.Cleanup(func() { r.Body.Close() })
	return events
}

func expect(t *testing.T, events <-chan event, name string, v any) {
	t.Helper()
	select {
	case e := <-events:
		if e.name != name {
			t.Fatalf("event %s %s; want %s", e.name, e.data, name)
		}
		if err := json.Unmarshal(e.data, v); err != nil {
			t.Fatal(err)
		}
	case <-time.After(20 * time.Second):
		t.Fatalf("no event %s", name)
	}
}

// TestLive changes the file on disk under two windows, of which one has changes of its own.
func TestLive(t *testing.T) {
	p := openPage(t, quickFile)
	clean, dirty := p.window(), p.window()
	dirty.must("A", op("bypass", "block", "echo", "on", true))
	mine := dirty.text()
	one, two := clean.told(), dirty.told()
	for { // until both are listening
		p.server.mu.Lock()
		n := 0
		for _, s := range p.server.sessions {
			s.mu.Lock()
			n += len(s.windows)
			s.mu.Unlock()
		}
		p.server.mu.Unlock()
		if n == 2 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	var state State
	var disk struct{ Disk, Faults string }
	p.overwrite(strings.Replace(quickFile, "title: Quick", "title: Live", 1))
	expect(t, one, "state", &state)
	clean.wants("the new title", state.Title, "Live")
	expect(t, one, "disk", &disk)
	clean.wants("the disk", disk.Disk, "same")
	expect(t, two, "disk", &disk)
	clean.wants("the disk", disk.Disk, "changed")
	clean.wants("mine", dirty.text(), mine)

	p.overwrite(strings.Replace(quickFile, "kind: delay", "kind: dealy", 1))
	expect(t, one, "disk", &disk)
	if disk.Disk != "changed" || !strings.Contains(disk.Faults, `did you mean "delay"?`) {
		t.Errorf("a mistake on disk: %+v", disk)
	}
	expect(t, two, "disk", &disk)
	os.Remove(p.file())
	expect(t, one, "disk", &disk)
	clean.wants("the disk", disk.Disk, "gone")
	expect(t, two, "disk", &disk)
	p.overwrite(quickFile)
	expect(t, one, "state", &state)
	clean.wants("the old title", state.Title, "Quick")
	expect(t, two, "disk", &disk)
	clean.wants("the disk", disk.Disk, "same") // it is what that window began with
}

// TestBlind walks through a listening test: what X is comes from the seed, the result is kept in a
// file beside the chain file, and nothing is written over.
func TestBlind(t *testing.T) {
	p := openPage(t, quickFile, func(_ string, o *Options) {
		o.now = func() time.Time { return time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC) }
	})
	w := p.window()
	region := [2]int64{0, 48000}
	for _, name := range []string{"chain.listening-20310203-040506.json", "chain.listening-20310203-040506-2.json"} {
		var q struct {
			Test  string
			Seed  uint64
			Trial int
			X     experiment.Stimulus
			Stop  string
		}
		if status, body := w.post("api/test/start", map[string]any{"session": w.ID, "seed": 7, "region": region}, &q); status != http.StatusOK {
			t.Fatalf("%d: %s", status, body)
		}
		same := experiment.NewListeningTest(7)
		for trial := 1; trial <= 16; trial++ {
			if q.Trial != trial || q.X != same.X() {
				t.Fatalf("trial %d has X = %s; want %d, %s", q.Trial, q.X, trial, same.X())
			}
			answer := q.X
			if trial%8 == 0 {
				answer = map[experiment.Stimulus]experiment.Stimulus{"A": "B", "B": "A"}[q.X]
			}
			if err := same.Answer(answer); err != nil {
				t.Fatal(err)
			}
			if status, body := w.post("api/test/answer", map[string]any{"session": w.ID, "test": q.Test, "trial": trial, "answer": answer}, &q); status != http.StatusOK {
				t.Fatalf("%d: %s", status, body)
			}
			if status, _ := w.post("api/test/answer", map[string]any{"session": w.ID, "test": q.Test, "trial": trial, "answer": answer}, nil); status != http.StatusConflict {
				t.Fatalf("the same answer again: %d", status)
			}
		}
		var end struct {
			Trials, Correct int
			P, D_prime      *float64
			Sentence, File  string
		}
		if status, body := w.post("api/test/finish", map[string]any{"session": w.ID, "test": q.Test}, &end); status != http.StatusOK {
			t.Fatalf("%d: %s", status, body)
		}
		want := same.Result()
		if end.Trials != 16 || end.Correct != 14 || *end.P != *want.PValue || *end.D_prime != *want.DPrime || end.Sentence != want.Advice || end.File != name {
			t.Errorf("%+v, want %+v in %s", end, want, name)
		}
		b, err := os.ReadFile(filepath.Join(p.folder, name))
		if err != nil {
			t.Fatal(err)
		}
		var k kept
		if err := json.Unmarshal(b, &k); err != nil || k.A.Take != "plain" || k.B.Take != "late" || !reflect.DeepEqual(k.Result, want) {
			t.Errorf("%v: %s", err, b)
		}
	}
	// A test ends where what is compared changes, and there is none between equals.
	var q struct{ Test string }
	w.post("api/test/start", map[string]any{"session": w.ID, "seed": 7, "region": region}, &q)
	w.must("B", op("knob", "target", "echo.time", "value", "70 ms"))
	if status, _ := w.post("api/test/answer", map[string]any{"session": w.ID, "test": q.Test, "trial": 1, "answer": "A"}, nil); status != http.StatusConflict {
		t.Errorf("an answer after a change: %d", status)
	}
	w.must("B", op("copy"))
	if status, body := w.post("api/test/start", map[string]any{"session": w.ID, "seed": 7, "region": region}, nil); status != http.StatusUnprocessableEntity {
		t.Errorf("a test between equals: %d %s", status, body)
	}
}
