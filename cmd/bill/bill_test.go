package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestBill holds that every module of the program has its terms in the notices and its place in the
// bill, and that a text which is no licence is not taken for one.
func TestBill(t *testing.T) {
	folder := t.TempDir()
	if err := run(folder); err != nil {
		t.Fatal(err)
	}
	list, err := parts()
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(folder, "NOTICES.txt"))
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(folder, "bill.cdx.json"))
	if err != nil {
		t.Fatal(err)
	}
	var bill struct {
		Components []struct{ Purl string }
	}
	if err := json.Unmarshal(raw, &bill); err != nil {
		t.Fatal(err)
	}
	if len(list) < 15 || len(bill.Components) != len(list) {
		t.Fatalf("%d modules, %d in the bill", len(list), len(bill.Components))
	}
	for k, p := range list {
		if !strings.Contains(string(text), p.path+" "+p.version) || !strings.Contains(string(text), p.texts[0]) || bill.Components[k].Purl != "pkg:golang/"+p.path+"@"+p.version {
			t.Errorf("%s is not in both", p.path)
		}
	}
	if id := licence([]byte("All rights reserved.")); id != "" {
		t.Errorf("taken for %s", id)
	}
	if err := (&part{path: "none"}).read(t.TempDir()); err == nil {
		t.Error("a module without a licence is taken")
	}
}
