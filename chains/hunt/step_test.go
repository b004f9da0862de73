package hunt

import (
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
)

// Step by step it asks what a search asks, and ends with what it says; what answers nothing is
// refused.
func TestSteps(t *testing.T) {
	f := chaintest.ShippedFile(t, "reference-board")
	h := New(f, f.Takes[0], 48000)
	s := h.Begin()
	if err := s.Hear("hum"); err != nil {
		t.Fatal(err)
	}
	answers := []string{"hum"}
	for {
		step, err := h.At(answers)
		if err != nil {
			t.Fatal(err)
		}
		k, ok := s.Next()
		if !ok {
			if step.Said != s.Said() || step.Ask != "" || len(step.Words) > 0 || step.Plugs != s.Plugs || step.Tests != len(answers)-1 {
				t.Errorf("it ends with %+v, and the search with %q", step, s.Said())
			}
			break
		}
		if step.Ask != s.Ask(k) || step.Said != "" {
			t.Errorf("it asks %q, and the search %q", step.Ask, s.Ask(k))
		}
		if err := s.Answer(k, "same"); err != nil {
			t.Fatal(err)
		}
		answers = append(answers, "same")
	}
	for _, bad := range [][]string{{"gone"}, {"hum", "no idea"}, append(answers, "same")} {
		if _, err := h.At(bad); err == nil {
			t.Errorf("%s: taken", strings.Join(bad, ", "))
		}
	}
	if step, err := h.At([]string{"hum", "skip"}); err != nil || step.Tests != 0 || step.Ask == "" {
		t.Errorf("skipped: %+v, %v", step, err)
	}
}
