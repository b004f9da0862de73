package cli

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

func TestProgress(t *testing.T) {
	if newProgress(&bytes.Buffer{}, 100) != nil {
		t.Error("there is a bar where there is no terminal")
	}
	var none *progress // what is nowhere seen can be told all the same
	none.add(1)
	none.stop()

	var quick bytes.Buffer
	p := &progress{to: &quick, begun: time.Now().Add(time.Hour), total: 100}
	p.add(50)
	p.stop()
	if quick.Len() > 0 {
		t.Errorf("quick work shows %q", quick.String())
	}

	var slow bytes.Buffer
	p = &progress{to: &slow, begun: time.Now().Add(-time.Hour), total: 100}
	p.add(50) // of 100, in an hour: an hour is left
	if text := slow.String(); !strings.Contains(text, "rendering") || !strings.Contains(text, "50%") || !strings.Contains(text, "3600 s left") {
		t.Errorf("slow work shows %q", text)
	}
	p.stop()
	before := slow.Len()
	p.add(10) // from a goroutine that ends late
	if slow.Len() != before {
		t.Errorf("after its end it shows %q", slow.String()[before:])
	}
}
