package page

import (
	"net/http"
	"strings"
	"testing"
)

// loopsOfBoard is an entry of an order: the switcher of boardFile with what is in its loops.
func loopsOfBoard(one, two, three []string) map[string]any {
	return map[string]any{"loops": "board", "in": map[string][]string{"1": one, "2": two, "3": three}}
}

// TestSaveAnOrderWithItsLoops holds that an order is saved with what its loops hold, the file's
// takes and all else as they were; and that a save which another take does not allow is refused,
// with the reason.
func TestSaveAnOrderWithItsLoops(t *testing.T) {
	p := openPage(t, boardFile)
	w := p.window()
	w.must("A", op("order", "order", []any{loopsOfBoard([]string{"boost"}, []string{"buffer", "drive"}, []string{}), "echo"}))
	if status, a := w.save(map[string]any{"side": "A", "how": "order"}); status != http.StatusOK || !a.Saved {
		t.Fatalf("%d %q", status, a.Error)
	}
	want := strings.NewReplacer("2: [drive, echo]", "2: [buffer, drive]", "order: [board, buffer]", "order: [board, echo]").Replace(boardFile)
	w.wants("the file", p.disk(), want)
	w.wants("B now has it too", w.lane("B"), []string{"board", "1:true", "boost", "2:true", "buffer", "drive", "3:false", "echo"})
	for _, l := range w.State.Sides["A"].Lane[0].(map[string]any)["loops"].([]any) {
		if l.(map[string]any)["own"].(bool) {
			t.Error("a loop is shown as the take's own, and is the switcher's")
		}
	}

	p = openPage(t, strings.Replace(boardFile, "guitar: slide}", "guitar: slide, set: {echo.mix: 10 %}}", 1))
	w = p.window()
	before := p.disk()
	w.must("A", op("order", "order", []any{loopsOfBoard([]string{"boost"}, []string{"drive"}, []string{}), "buffer"}))
	if status, a := w.save(map[string]any{"side": "A", "how": "order"}); status != http.StatusUnprocessableEntity || !strings.Contains(a.Error, `no block "echo"`) {
		t.Errorf("%d %q", status, a.Error)
	}
	w.wants("the file", p.disk(), before)
}

// TestLoopsThatATakeNames holds that loops which a take of the file names are edited, those that do
// not change stay named, and what is again as the switcher has it is not said.
func TestLoopsThatATakeNames(t *testing.T) {
	file := strings.Replace(boardFile, "{name: clean, preset: clean}", "{name: clean, preset: clean, loops: {1: [boost], 2: [echo, drive]}}   # mine", 1)
	p := openPage(t, file)
	w := p.window()
	w.wants("A", w.lane("A"), []string{"board", "1:true", "boost", "2:false", "echo", "drive", "3:false", "buffer"})
	w.wants("B", w.lane("B"), []string{"board", "1:true", "boost", "2:true", "drive", "echo", "3:false", "buffer"})
	w.must("A", op("order", "order", []any{loopsOfBoard([]string{"boost"}, []string{"echo"}, []string{"drive"}), "buffer"}))
	w.wants("edited", w.text(), strings.Replace(file, "2: [echo, drive]}", "2: [echo], 3: [drive]}", 1))
	w.must("A", op("order", "order", []any{loopsOfBoard([]string{"boost"}, []string{"drive", "echo"}, []string{}), "buffer"}))
	w.wants("as the switcher", w.text(), strings.Replace(file, ", 2: [echo, drive]}", "}", 1))
	w.must("A", op("bypass", "block", "boost", "on", true))
	w.must("A", op("order", "order", []any{"board", "buffer"}))
	w.wants("loops that are not told stay", w.text(), strings.Replace(file, ", 2: [echo, drive]}", "}, off: [boost]", 1))
}

// TestWithoutTheSwitcher holds that pedals of its loops may stand in an order that it is not in,
// and that it comes back without those that stand there.
func TestWithoutTheSwitcher(t *testing.T) {
	file := strings.NewReplacer("name: loud, preset: loud, guitar: slide", "name: loud, guitar: slide", "name: clean, preset: clean", "name: clean").Replace(boardFile)
	p := openPage(t, file)
	w := p.window()
	w.must("A", op("order", "order", []any{"drive", "buffer"}))
	w.wants("A", w.lane("A"), []string{"drive", "buffer"})
	w.wants("off the board", w.tray("A"), []string{"boost", "echo", "board"})
	w.must("A", op("order", "order", []any{"board", "drive", "buffer"}))
	w.wants("back", w.lane("A"), []string{"board", "1:false", "boost", "2:false", "echo", "3:false", "drive", "buffer"})
	w.wants("the text", w.text(), strings.Replace(file, "{name: clean}", "{name: clean, order: [board, drive, buffer], loops: {2: [echo]}}", 1))
}
