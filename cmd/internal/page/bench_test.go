package page

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// BenchmarkFirstSound makes fifty changes to the demo chain while it plays, as a page does, and
// takes the time from asking for each to the first bytes of its sound. Every change makes a chain
// that has not been heard: orders, bypasses and knobs, at places all over the recording. The change
// before is still being rendered where the next one comes.
func BenchmarkFirstSound(b *testing.B) {
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "fuzz-or-buffer-first.yaml"))
	if err != nil {
		b.Fatal(err)
	}
	p := openPage(b, string(text))
	w := p.window()
	region := w.State.Region
	w.render("A", region[0], region)
	orders := [][]string{{"fuzz", "buffer", "echo", "plate"}, {"buffer", "fuzz", "plate", "echo"}, {"echo", "fuzz", "buffer", "plate"}, {"fuzz", "echo", "plate", "buffer"}, {"plate", "fuzz", "echo", "buffer"}}
	random := rand.New(rand.NewPCG(1, 1))
	var all []time.Duration
	for b.Loop() {
		for k := range 50 {
			op := op("knob", "target", []string{"guitar.volume", "fuzz.fuzz", "echo.repeats", "guitar.tone"}[k%4], "value", fmt.Sprintf("%.2f", 2+8*random.Float64()))
			switch k % 5 {
			case 1:
				op = map[string]any{"do": "order", "order": orders[random.IntN(len(orders))]}
			case 3:
				op = map[string]any{"do": "bypass", "block": "buffer", "on": k%2 == 0}
			}
			ctx, leave := context.WithCancel(context.Background())
			begin := time.Now()
			w.must("A", op)
			r := w.send(ctx, "api/render", map[string]any{"session": w.ID, "side": "A", "from": region[0] + random.Int64N(region[1]-region[0]), "region": region})
			for {
				kind, _, err := message(r.Body)
				if err != nil {
					b.Fatal(err)
				}
				if kind == previewMessage || kind == exactMessage {
					break
				}
			}
			all = append(all, time.Since(begin))
			time.Sleep(time.Duration(100+random.IntN(900)) * time.Millisecond) // a hand is not faster; the exact sound is under way
			leave()
			r.Body.Close()
		}
	}
	slices.Sort(all)
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(all[len(all)/2])/1e6, "median-ms")
	b.ReportMetric(float64(all[len(all)*95/100])/1e6, "p95-ms")
	b.ReportMetric(float64(all[len(all)-1])/1e6, "worst-ms")
}
