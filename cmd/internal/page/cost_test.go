package page

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// calls is how often functions that allocate one object of their own a call have been called while
// work ran, by the runtime's profile of every allocation. So all calls count, whoever makes them,
// and no counter stands in the code. A name that is nowhere in the code fails the test.
func calls(t *testing.T, work func(), functions ...string) map[string]int64 {
	t.Helper()
	rate := runtime.MemProfileRate
	runtime.MemProfileRate = 1
	defer func() { runtime.MemProfileRate = rate }()
	snapshot := func() map[string]int64 {
		runtime.GC() // the profile is as of the last collection but one
		runtime.GC()
		n, _ := runtime.MemProfile(nil, true)
		records := make([]runtime.MemProfileRecord, n+4096)
		n, ok := runtime.MemProfile(records, true)
		if !ok {
			t.Fatal("the profile grows faster than it can be read")
		}
		counts := map[string]int64{}
		for _, r := range records[:n] {
			frames := runtime.CallersFrames(r.Stack())
			for {
				f, more := frames.Next()
				if !strings.HasPrefix(f.Function, "runtime.") {
					// the innermost function that is the program's own
					counts[f.Function] += r.AllocObjects
					break
				}
				if !more {
					break
				}
			}
		}
		return counts
	}
	before := snapshot()
	work()
	after := snapshot()
	got := map[string]int64{}
	for _, f := range functions {
		if after[f] == 0 {
			t.Fatalf("%s has allocated nothing since the test began: it is called otherwise now", f)
		}
		got[f] = after[f] - before[f]
	}
	return got
}

// TestAnEditCostsOneParseAndOneWiring counts, on the reference board, for every kind of change and
// for the sound that is asked for after it: what it will ask for is estimated on the wiring that
// the sound is then made with.
func TestAnEditCostsOneParseAndOneWiring(t *testing.T) {
	if testing.Short() {
		t.Skip("counts every allocation of a render")
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "reference-board.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const parse, wire = "drywire/chains/file.newFile", "drywire/chains/wiring.Of"
	p := openPage(t, string(text))
	w := p.window()
	region := [2]int64{0, 4800}
	w.render("B", 0, region)
	// of the changes; the sound of others is asked for in the same way, and takes its time where
	// every allocation is counted
	const heard = 2
	for k, o := range []map[string]any{
		op("order", "order", []any{"still", "board", "curve", map[string]any{"split": map[string]any{
			"left": []any{"clean", "clean-power", "clean-box"}, "right": []any{"dark", "dark-power", "dark-box"}, "mix": "stereo"}}}),
		op("knob", "target", "curve.high", "value", "-3 dB"), op("bypass", "block", "squash", "on", true), op("loop", "number", 6), op("preset", "name", "drown"),
	} {
		cost := calls(t, func() {
			w.must("A", o)
			if k < heard {
				w.render("A", 0, region)
			}
		}, parse, wire)
		t.Logf("%v: %d parses, %d wirings", o["do"], cost[parse], cost[wire])
		if cost[parse] != 1 || cost[wire] != 1 {
			t.Errorf("%v: %d parses and %d wirings, want 1 and 1", o, cost[parse], cost[wire])
		}
	}
}
