package report

import (
	"strings"
	"testing"

	"drywire/chains/experiment"
)

// The page says which cables to move, once for takes that are wired alike, and nothing where there
// is nothing to say.
func TestCablesAreTold(t *testing.T) {
	p := made()
	v, err := newView(p)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range v.Cables.Rows {
		got = append(got, r.Head+"|"+strings.Join(r.Cells, "|"))
	}
	want := []string{"2 take of 330 Hz|2|3|Put echo on the board.", "|||Unplug guitar from fuzz.in; plug it into buffer.in.", "|||Take one more cable, and plug it into buffer.out and fuzz.in.", "3 take of 550 Hz|0|0|Nothing: it is wired the same."}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	page := write(t, p)
	for _, text := range []string{"<h3>Which cables to move</h3>", "Unplug guitar from fuzz.in; plug it into buffer.in.</td>"} {
		if strings.Count(page, text) != 1 {
			t.Errorf("%q stands %d times", text, strings.Count(page, text))
		}
	}
	p.Comparison.Cables[1].Moves = p.Comparison.Cables[0].Moves
	if v, err = newView(p); err != nil || len(v.Cables.Rows) != 3 || v.Cables.Rows[0].Head != "2 take of 330 Hz; 3 take of 550 Hz" {
		t.Errorf("two takes wired alike: %+v, %v", v.Cables, err)
	}
	p.Comparison.Cables = nil
	if strings.Contains(write(t, p), "Which cables to move") {
		t.Error("cables without any")
	}
	p.Comparison.Cables = []experiment.Rewiring{{A: 1, B: 4}}
	if err := Write(nil, p); err == nil || !strings.Contains(err.Error(), "cables to take 4, of 3") {
		t.Errorf("cables to a take that is not there: %v", err)
	}
}
