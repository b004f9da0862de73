package cli

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// patience is how long work takes before there is a bar.
const patience = time.Second

// progress is a bar on a terminal, for work that takes a while. Anywhere else it is nothing. It may
// be told from several goroutines; nil is a progress that nobody sees.
type progress struct {
	mu    sync.Mutex
	to    io.Writer
	begun time.Time
	total int64
	now   int64
	bar   *progressbar.ProgressBar
	over  bool
}

func newProgress(stderr io.Writer, total int64) *progress {
	f, ok := raw(stderr).(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	return &progress{to: f, begun: time.Now(), total: total}
}

func (p *progress) add(n int) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.now += int64(n)
	if p.bar == nil && (p.over || time.Since(p.begun) < patience) {
		return
	}
	// The bar's own guess counts from when the bar was made, which is too late.
	left := time.Since(p.begun).Seconds() * float64(max(p.total-p.now, 0)) / float64(p.now)
	text := fmt.Sprintf("rendering, %.0f s left", left)
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(p.total,
			progressbar.OptionSetWriter(p.to), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(),
			progressbar.OptionSetWidth(30), progressbar.OptionSetElapsedTime(false), progressbar.OptionSetPredictTime(false),
			progressbar.OptionSetDescription(text))
	}
	p.bar.Set64(min(p.now, p.total-1)) // done is for stop to say
	p.bar.Describe(text)
}

// stop takes the bar away.
func (p *progress) stop() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		p.bar.Clear()
		p.bar = nil
	}
	p.over = true
}
