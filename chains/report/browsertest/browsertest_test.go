//go:build browser

package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// complaints is a test that keeps what is said against a page.
type complaints struct {
	testing.TB
	said []string
}

func (c *complaints) Helper()           {}
func (c *complaints) Error(args ...any) { c.said = append(c.said, fmt.Sprint(args...)) }
func (c *complaints) Errorf(format string, args ...any) {
	c.said = append(c.said, fmt.Sprintf(format, args...))
}

// A page that asks another host, says something and lets something go wrong is told of, each by its
// own complaint; one that does not is not.
func TestQuietSees(t *testing.T) {
	const elsewhere = "http://127.0.0.1:1/" // where nobody answers
	for _, page := range []struct {
		html string
		but  []string
		want []string // what the complaints begin with
	}{
		{html: `<p>Still.</p>`},
		{html: `<img src="` + elsewhere + `x.png">`, want: []string{"the page asked for " + elsewhere + "x.png", "the console says: "}},
		{html: `<script>fetch("` + elsewhere + `")</script>`, but: []string{"Failed", "fetch"}, want: []string{"the page asked for " + elsewhere}},
		{html: `<script>console.log("one"), console.error("two")</script>`, but: []string{"two"}, want: []string{"the console says: "}},
		{html: `<script>throw new Error("three")</script>`, want: []string{"the console says: "}},
	} {
		file := filepath.Join(t.TempDir(), "page.html")
		if err := os.WriteFile(file, []byte("<!doctype html><title>A page</title>"+page.html), 0o644); err != nil {
			t.Fatal(err)
		}
		c := &complaints{TB: t}
		b := Open(c, Page{Address: "file://" + file, Own: func(r string) bool { return r == "file://"+file }, Lifetime: time.Minute, Patience: time.Second})
		time.Sleep(500 * time.Millisecond)
		b.Quiet(page.but...)
		t.Logf("%s: %s", page.html, strings.Join(c.said, "; "))
		if !slices.EqualFunc(c.said, page.want, strings.HasPrefix) {
			t.Errorf("%s: %q, want %q", page.html, c.said, page.want)
		}
	}
}
