package page

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"sync"
	"testing"
	"time"
)

// heap is how many bytes are live: what the collector has marked, the least of three collections.
// What is allocated while one is at work is marked, live or not, so a single one has that too:
// beside six busy processes up to 12 MB of 43 in TestManyRegions. What has been allocated since is
// none of it: on a machine where fifteen wait for two processors that was 200 MB of 600.
func heap() int64 {
	least := int64(math.MaxInt64)
	sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	for range 3 {
		runtime.GC()
		metrics.Read(sample)
		least = min(least, int64(sample[0].Value.Uint64()))
	}
	return least
}

// TestSoak draws regions anew, edits and closes windows, and holds that what is kept for all
// windows stays in its budget, and goes with them. Before there was one, thirty regions of the demo
// chain kept 2365 MB, for nobody too.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("renders for half a minute")
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "fuzz-or-buffer-first.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const budget, beside = 72 << 20, 48 << 20 // what windows and the server take beside it
	p := openPage(t, string(text), func(_ string, o *Options) { o.budget = budget })
	clock := time.Now()
	p.server.now = func() time.Time { return clock }
	close := func() {
		clock = clock.Add(2 * abandoned)
		p.server.dropAbandoned()
	}
	before := heap()
	const regions = 8 // some 60 MB each
	most, kept := int64(0), 0
	for k := range regions {
		w := p.window()
		region := [2]int64{int64(k) * 4800, int64(k)*4800 + 48000}
		w.render("A", region[0], region)
		w.must("A", op("knob", "target", "echo.repeats", "value", fmt.Sprintf("%.1f", 2+0.2*float64(k))))
		w.render("A", region[0]+1000, region)
		if k%4 == 3 { // its window is closed, and those before it
			close()
		}
		most = max(most, heap()-before)
		kept = max(kept, p.server.engine.Counts().Kept)
	}
	t.Logf("at most %d MB live over %d regions, %d MB of it counted", most>>20, regions, kept>>20)
	if most > budget+beside {
		t.Errorf("%d MB are live, want %d at most", most>>20, (budget+beside)>>20)
	}
	if kept > budget || kept < budget/2 {
		t.Errorf("%d MB are counted of a budget of %d", kept>>20, budget>>20)
	}
	close()
	if left := heap() - before; left > 24<<20 {
		t.Errorf("%d MB are live for nobody", left>>20)
	}
	if kept := p.server.engine.Counts().Kept; kept != 0 {
		t.Errorf("%d bytes are kept for nobody", kept)
	}
}

// TestManyRegions has four windows listen at once, each to a region of its own: what is being
// computed counts against the budget too, and each gets its sound.
func TestManyRegions(t *testing.T) {
	if testing.Short() {
		t.Skip("renders for half a minute")
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "fuzz-or-buffer-first.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const budget, beside = 48 << 20, 10 << 20
	p := openPage(t, string(text), func(_ string, o *Options) { o.budget = budget })
	before := heap()
	watch := newHeapWatch(before, p.server.engine, 200*time.Millisecond)
	var all sync.WaitGroup
	for k := range 4 {
		w := p.window()
		all.Go(func() {
			region := [2]int64{int64(k) * 4800, int64(k)*4800 + 48000}
			r := w.send(t.Context(), "api/render", map[string]any{"session": w.ID, "side": "A", "from": region[0], "region": region})
			defer r.Body.Close()
			exact := 0
			for {
				kind, body, err := message(r.Body)
				if err != nil {
					break
				}
				if kind == exactMessage {
					exact += len(body)/4 - 1
				}
			}
			if exact != 48000 {
				t.Errorf("window %d gets %d frames of exact sound, want 48000", k, exact)
			}
		})
	}
	all.Wait()
	most, counted := int64(0), 0
	for _, s := range watch.end() {
		most, counted = max(most, s.live), max(counted, s.counted)
	}
	t.Logf("at most %d MB live, %d MB of it counted, of %d", most>>20, counted>>20, budget>>20)
	if most > budget+beside || counted > budget {
		t.Errorf("%d MB are live and %d counted, want %d at most", most>>20, counted>>20, budget>>20)
	}
}
