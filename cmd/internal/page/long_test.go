package page

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPageRefusesWhatTakesTooLong: an edit that would keep the machine busy for hours is refused in
// the words of the commands, and leaves all as it was; so is a file when the page begins.
func TestPageRefusesWhatTakesTooLong(t *testing.T) {
	var blocks strings.Builder
	var names []string
	for k := range 60 {
		fmt.Fprintf(&blocks, "  w%d: {kind: wah}\n", k)
		names = append(names, fmt.Sprintf("w%d", k))
	}
	all := strings.Join(names, ", ")
	text := func(order, tray string) string {
		return "drywire: 1\nrecording: {sample: riff}\nblocks:\n" + blocks.String() + "order: [" + order + "]\n" + tray
	}
	p := openPage(t, text("w0", "tray: ["+strings.Join(names[1:], ", ")+"]\n"))
	w := p.window()
	order := []any{}
	for _, n := range names {
		order = append(order, n)
	}
	if said := w.do("A", op("order", "order", order)); !strings.Contains(said, "processor time before the first sound") {
		t.Errorf("the edit is answered %q", said)
	}
	path := filepath.Join(t.TempDir(), "wahs.yaml")
	if err := os.WriteFile(path, []byte(text(all, "")), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := newServer(t.Context(), Options{File: path}); err == nil || !strings.Contains(err.Error(), "--long") {
		t.Errorf("the page begins with %v", err)
	}
	if s, err := newServer(t.Context(), Options{File: path, Long: true}); err != nil {
		t.Errorf("asked for, it does not: %v", err)
	} else {
		s.root.Close()
	}
}
