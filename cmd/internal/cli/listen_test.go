package cli

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
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

// TestTokenIsOnNoCommandLine opens a browser that writes down what it was started with, which
// everybody on the machine may read in the list of processes.
func TestTokenIsOnNoCommandLine(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the browser is found by another name")
	}
	folder := t.TempDir()
	t.Setenv("PATH", folder+string(os.PathListSeparator)+os.Getenv("PATH"))
	t.Setenv("TMPDIR", folder)
	seen := filepath.Join(folder, "seen")
	script := "#!/bin/sh\nstat -c %a \"${1#file://}\" > " + seen + ".mode\ncp \"${1#file://}\" " + seen + ".html\nprintf '%s' \"$*\" > " + seen + ".part && mv " + seen + ".part " + seen + "\n"
	if err := os.WriteFile(filepath.Join(folder, "xdg-open"), []byte(script), 0o700); err != nil {
		t.Fatal(err)
	}
	const address = "http://127.0.0.1:1/the-token/"
	closed, err := openBrowser(address)
	if err != nil {
		t.Fatal(err)
	}
	var args []byte
	for begin := time.Now(); args == nil; time.Sleep(5 * time.Millisecond) {
		if args, _ = os.ReadFile(seen); args == nil && time.Since(begin) > 10*time.Second {
			t.Fatal("the browser was not started")
		}
	}
	if strings.Contains(string(args), "the-token") {
		t.Errorf("the browser was started with %q, which has the token in it", args)
	}
	page, err := os.ReadFile(seen + ".html")
	if err != nil || !strings.Contains(string(page), address) {
		t.Errorf("what it opened does not lead to the page: %v, %q", err, page)
	}
	if mode, err := os.ReadFile(seen + ".mode"); err != nil || strings.TrimSpace(string(mode)) != "600" {
		t.Errorf("what it opened has mode %q (%v), want 600", mode, err)
	}
	closed()
	if left, _ := filepath.Glob(filepath.Join(folder, "drywire-*")); left != nil {
		t.Errorf("left behind: %v", left)
	}
}
