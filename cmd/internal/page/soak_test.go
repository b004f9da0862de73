package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"runtime/pprof"
	"sync"
	"testing"
	"time"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"drywire/cmd/internal/engine"
)

// TestHourOfEdits edits the reference board in three windows at once, each on regions of its own,
// while it plays, and holds that all that is live stays under 512 MiB, and what is counted within
// the budget. SOAK=1h is the long form, with 200 regions; HEAP=FILE.png draws the heap over time, and
// FILE.png.pprof is its profile where it was largest.
func TestHourOfEdits(t *testing.T) {
	if testing.Short() {
		t.Skip("renders for half a minute")
	}
	long, regions := 20*time.Second, 9
	if d, err := time.ParseDuration(os.Getenv("SOAK")); err == nil {
		long, regions = d, 200
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "reference-board.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const windows, mostLive = 3, 512 << 20 // bytes
	p := openPage(t, string(text))
	before := heap()
	begin := time.Now()
	p.server.now = func() time.Time { return begin } // windows stay, however long they think
	watch := newHeapWatch(before, p.server.engine, time.Second)
	watch.tell = func(s heapSample) {
		t.Logf("after %v %d MB are live, %d MB counted", s.at.Round(time.Second), s.live>>20, s.counted>>20)
	}
	var all sync.WaitGroup
	for k := range windows {
		all.Go(func() {
			w := p.window()
			random := rand.New(rand.NewPCG(1, uint64(k)))
			mine := (regions + windows - 1 - k) / windows
			frames := w.State.Recording.Frames
			for r := range mine {
				editRegion(w, frames, random, begin.Add(long*time.Duration(r+1)/time.Duration(mine)))
			}
		})
	}
	all.Wait()
	samples := watch.end()
	if path := os.Getenv("HEAP"); path != "" {
		if err := drawHeap(path, samples, mostLive); err != nil {
			t.Error(err)
		}
	}
	var most heapSample
	counted := 0
	for _, s := range samples {
		if s.live > most.live {
			most = s
		}
		counted = max(counted, s.counted)
	}
	t.Logf("%v, %d regions: at most %d MB live after %.0f s, %d MB counted of %d; %d exact sounds",
		long, regions, most.live>>20, most.at.Seconds(), counted>>20, engine.Budget>>20, p.server.engine.Counts().Begun)
	if most.live > mostLive {
		t.Errorf("%d MB are live, want %d at most", most.live>>20, (mostLive)>>20)
	}
	if counted > engine.Budget || counted < engine.Budget/8 {
		t.Errorf("%d MB are counted of a budget of %d", counted>>20, engine.Budget>>20)
	}
}

// editRegion changes the board again and again while a region of it plays, until that time, and at
// least twice. Some sounds are heard to their end, most are left when the next change comes.
func editRegion(w *window, frames int64, random *rand.Rand, until time.Time) {
	n := 24000 + random.Int64N(frames/2)
	from := random.Int64N(frames - n)
	region := [2]int64{from, from + n}
	presets := []string{"whisper", "verse", "chorus", "riff", "wall", "drown"}
	for k := 0; k < 2 || time.Now().Before(until); k++ {
		change := op("knob", "target", []string{"curve.high_mid", "plate.mix", "clean.gain", "echo.mix"}[k%4],
			"value", fmt.Sprintf([]string{"%.1f dB", "%.0f %%", "%.1f", "%.0f %%"}[k%4], 1+8*random.Float64()))
		switch k % 6 {
		case 2:
			change = op("preset", "name", presets[random.IntN(len(presets))])
		case 5:
			change = op("loop", "number", 1+random.IntN(11))
		}
		w.do([]string{"A", "B"}[k%2], change) // what harms is refused
		ctx, leave := context.WithTimeout(context.Background(), time.Duration(1+random.IntN(8))*time.Second)
		w.overhear(ctx, map[string]any{"session": w.ID, "side": []string{"A", "B"}[k%2], "from": from, "region": region})
		leave()
		if k%7 == 6 {
			w.post("api/figures", map[string]any{"session": w.ID, "side": "A", "region": region}, nil)
		}
	}
}

// overhear asks for sound and reads it until it ends or the context does, whichever is first.
func (p *opened) overhear(ctx context.Context, question any) {
	body, err := json.Marshal(question)
	if err != nil {
		p.t.Error(err)
		return
	}
	r, err := http.NewRequestWithContext(ctx, "POST", p.address+"api/render", bytes.NewReader(body))
	if err != nil {
		p.t.Error(err)
		return
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("X-Drywire", "1")
	answer, err := p.client.Do(r)
	if err != nil {
		if ctx.Err() == nil {
			p.t.Error(err)
		}
		return
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		said, _ := io.ReadAll(answer.Body)
		p.t.Errorf("render: %d: %.200s", answer.StatusCode, said)
		return
	}
	// Nothing of it is kept: what a page holds is not the server's heap.
	if _, err := io.Copy(io.Discard, answer.Body); err != nil && ctx.Err() == nil {
		p.t.Error(err)
	}
}

// heapSample is what was live at a time since the beginning.
type heapSample struct {
	at      time.Duration
	live    int64 // bytes
	counted int   // bytes that the engine keeps and has set aside
}

// heapWatch takes samples of the heap, one in so long, until its end.
type heapWatch struct {
	stop, stopped chan struct{}
	samples       []heapSample
	most          int64
	tell          func(heapSample) // unless nil, told of a sample in a hundred
}

func newHeapWatch(before int64, e *engine.Engine, every time.Duration) *heapWatch {
	w := &heapWatch{stop: make(chan struct{}), stopped: make(chan struct{})}
	begin := time.Now()
	go func() {
		defer close(w.stopped)
		for tick := time.NewTicker(every); ; {
			select {
			case <-w.stop:
				tick.Stop()
				return
			case <-tick.C:
				c := e.Counts()
				w.samples = append(w.samples, heapSample{time.Since(begin), heap() - before, c.Kept + c.Aside})
				w.profile()
				if w.tell != nil && len(w.samples)%100 == 0 {
					w.tell(w.samples[len(w.samples)-1])
				}
			}
		}
	}()
	return w
}

// profile writes who holds what is live to HEAP.pprof, where the last sample is the largest so far.
func (w *heapWatch) profile() {
	last := w.samples[len(w.samples)-1]
	path := os.Getenv("HEAP")
	if path == "" || last.live <= w.most {
		return
	}
	w.most = last.live
	f, err := os.Create(path + ".pprof")
	if err != nil {
		return
	}
	defer f.Close()
	pprof.Lookup("heap").WriteTo(f, 0)
}

func (w *heapWatch) end() []heapSample {
	close(w.stop)
	<-w.stopped
	return w.samples
}

// drawHeap draws what was live over time, with a line where it has to end.
func drawHeap(path string, samples []heapSample, most int64) error {
	const width, height, margin = 1000, 400, 60
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(img, img.Rect, image.White, image.Point{}, draw.Src)
	long := samples[len(samples)-1].at
	x := func(at time.Duration) int {
		return margin + int(float64(width-2*margin)*at.Seconds()/long.Seconds())
	}
	y := func(bytes int64) int {
		return height - margin - int(float64(height-2*margin)*float64(bytes)/(1.1*float64(most)))
	}
	fill := func(x0, y0, x1, y1 int, c color.Color) {
		draw.Draw(img, image.Rect(x0, y0, x1, y1), image.NewUniform(c), image.Point{}, draw.Src)
	}
	write := func(x, y int, text string) {
		d := font.Drawer{Dst: img, Src: image.Black, Face: basicfont.Face7x13, Dot: fixed.P(x, y)}
		d.DrawString(text)
	}
	blue, grey, red := color.RGBA{30, 90, 160, 255}, color.RGBA{200, 200, 200, 255}, color.RGBA{180, 30, 30, 255}
	for mb := int64(0); mb<<20 <= most; mb += 100 {
		fill(margin, y(mb<<20), width-margin, y(mb<<20)+1, grey)
		write(4, y(mb<<20)+4, fmt.Sprintf("%3d MB", mb))
	}
	for _, s := range samples {
		fill(x(s.at)-1, y(s.live)-1, x(s.at)+1, y(s.live)+1, blue)
	}
	fill(margin, y(most), width-margin, y(most)+2, red)
	write(margin+4, y(most)-4, fmt.Sprintf("at most %d MB", most>>20))
	write(margin, height-margin+20, fmt.Sprintf("live heap over %v of edits on the reference board", long.Round(time.Second)))
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return png.Encode(f, img)
}
