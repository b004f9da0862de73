package cli

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drywire/chains"
)

// TestListenEnds opens the page, asks it for itself, and interrupts it: that is no failure.
func TestListenEnds(t *testing.T) {
	text, err := chains.ReadShipped("fuzz-or-buffer-first")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "demo.yaml")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, interrupt := context.WithCancel(context.Background())
	defer interrupt()
	out, to := io.Pipe()
	var errs strings.Builder
	code := make(chan int, 1)
	go func() {
		code <- Run(ctx, []string{"listen", file, "--no-open"}, strings.NewReader(""), to, &errs)
		to.Close()
	}()
	lines := bufio.NewScanner(out)
	lines.Scan()
	address := lines.Text()
	rest := make(chan string, 1)
	go func() {
		b, _ := io.ReadAll(out)
		rest <- string(b)
	}()
	r, err := http.Get(address)
	if err != nil {
		t.Fatalf("%q: %v", address, err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Errorf("the page answers %d", r.StatusCode)
	}
	interrupt()
	select {
	case c := <-code:
		if c != done || errs.String() != "" {
			t.Errorf("exit code %d, and said %q", c, errs.String())
		}
	case <-time.After(20 * time.Second):
		t.Fatal("an interrupt does not end it")
	}
	if words := <-rest; !strings.Contains(words, "volume turned down") || !strings.Contains(words, "Ctrl-C") {
		t.Errorf("said %q", words)
	}
}
