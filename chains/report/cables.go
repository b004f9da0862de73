package report

import (
	"fmt"
	"strings"

	"drywire/chains/experiment"
)

// cables is what to do on the floor to get from the first take to each of the others. Takes that
// are wired alike share their rows.
func (v *view) cables(all []experiment.Rewiring) {
	if len(all) == 0 {
		return
	}
	t := &table{
		Caption: "From the first take to each of the others, with as few cables as can be",
		Head:    []headView{{"take", "", true}, {"cables", "", false}, {"plugs", "", false}, {"what to do", "", true}},
		Note:    "A cable that is wanted where it is stays. Plugs are those that change their jack; the loops of a switcher keep their cables, in or out.",
	}
	told := map[int]bool{}
	for k, r := range all {
		if told[k] {
			continue
		}
		var takes []string
		for j, o := range all[k:] {
			if r.Same(o) {
				told[k+j] = true
				takes = append(takes, fmt.Sprintf("%d %s", o.B, v.Takes[o.B-1].Name))
			}
		}
		cables, plugs := r.Count()
		row := rowView{"", strings.Join(takes, "; "), []string{fmt.Sprint(cables), fmt.Sprint(plugs), "Nothing: it is wired the same."}}
		for _, m := range r.Moves {
			row.Cells[2] = m.Text
			t.Rows = append(t.Rows, row)
			row = rowView{"", "", []string{"", "", ""}}
		}
		if len(r.Moves) == 0 {
			t.Rows = append(t.Rows, row)
		}
	}
	v.Cables = t
}
