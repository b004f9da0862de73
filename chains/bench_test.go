package chains_test

import (
	"context"
	"io"
	"math"
	"runtime"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// strum is a stand-in for a recording, without end: decaying notes of a few partials, up to 0.3 V,
// a new one every half second.
type strum struct {
	left int64
	at   int64
	rate float64
}

func (s *strum) Read(dst []float64) (int, error) {
	n := int(min(int64(len(dst)), s.left))
	for k := range dst[:n] {
		t := float64(s.at) / s.rate
		note := math.Floor(t * 2)
		within := t - note/2
		f := 82.4 * math.Pow(2, math.Mod(note*7, 24)/12)
		x := 0.0
		for p := 1.0; p <= 6; p++ {
			x += math.Sin(2*math.Pi*f*p*within) / p * math.Exp(-within*2*p)
		}
		dst[k] = 0.15 * x
		s.at++
	}
	s.left -= int64(n)
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func demoTakes(tb testing.TB) []*board.Chain {
	tb.Helper()
	src, err := chains.ReadShipped("fuzz-or-buffer-first")
	if err != nil {
		tb.Fatal(err)
	}
	f, err := file.Parse("fuzz-or-buffer-first.yaml", src)
	if err != nil {
		tb.Fatal(err)
	}
	return f.Chains()
}

// BenchmarkDemoChain renders ten seconds through every take of the shipped demo at normal quality
// on one core. The promise is five times real time.
func BenchmarkDemoChain(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	const rate, seconds = 48000, 10
	for _, c := range demoTakes(b) {
		b.Run(c.Take, func(b *testing.B) {
			r, err := render.PlanOf(c, rate, section.Normal).Renderer("out")
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if err := r.Run(context.Background(), &strum{left: seconds * rate, rate: rate}, 0, func([][]float64) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(seconds*float64(b.N)/b.Elapsed().Seconds(), "×real-time")
		})
	}
}

// BenchmarkHour renders an hour through the demo chain at draft quality and reports the memory that
// it took at most. The promise is 200 MiB.
func BenchmarkHour(b *testing.B) {
	const rate = 48000
	c := demoTakes(b)[1]
	for b.Loop() {
		r, err := render.PlanOf(c, dsp.Hertz(rate), section.Draft).Renderer("out")
		if err != nil {
			b.Fatal(err)
		}
		var top uint64
		blocks := 0
		err = r.Run(context.Background(), &strum{left: 3600 * rate, rate: rate}, 0, func([][]float64) error {
			if blocks++; blocks%20000 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				top = max(top, m.Sys)
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(top)/(1<<20), "MiB-at-most")
	}
}
