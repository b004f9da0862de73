package deck

import (
	"fmt"
	"slices"
	"strings"
)

// known are the parameters of models that are simulated.
var known = map[string][]string{
	"d":   {"is", "n", "rs", "cjo"},
	"npn": {"is", "bf", "br", "nf", "nr", "vaf", "var", "ise", "isc", "ne", "nc", "cje", "cjc", "rb", "rc", "re", "kf"},
}

// passed are parameters that are read over and told of: how a junction's capacitance follows its
// voltage, and transit times, both of some picofarads and nanoseconds.
var passed = map[string][]string{
	"d":   {"m", "vj", "fc", "tt"},
	"npn": {"mje", "vje", "mjc", "vjc", "fc", "tf", "tr", "xtf", "vtf", "itf", "ptf", "xcjc", "cjs", "mjs", "vjs"},
}

// cold are those that say nothing at 27 °C, which is the temperature of everything here.
var cold = []string{"eg", "xti", "xtb"}

// spelt are other spellings.
var spelt = map[string]string{"cj0": "cjo", "va": "vaf", "vb": "var", "pe": "vje", "me": "mje", "pc": "vjc", "mc": "mjc"}

func (m *model) param(name string) *expr {
	for _, p := range m.params {
		if p.name == name {
			return p.e
		}
	}
	return nil
}

// readModel reads NAME TYPE(NAME=VALUE …).
func readModel(c card, list []word, f *faulty) *model {
	if len(list) < 2 || list[0].brace || list[1].brace || !nodeForm.MatchString(list[0].text) {
		f.at(c.place(0), "want .model NAME D(IS=…), or NPN or PNP")
		return nil
	}
	m := &model{name: list[0].text, kind: list[1].text, at: c.place(list[0].off)}
	kind := m.kind
	if kind == "pnp" {
		kind = "npn"
	}
	if known[kind] == nil {
		f.at(c.place(list[1].off), "no model of the type %s here; there are D, NPN and PNP", strings.ToUpper(clip(m.kind)))
		return nil
	}
	list = list[2:]
	if len(list) > 0 && list[0].text == "(" {
		if list[len(list)-1].text != ")" {
			f.at(c.place(list[0].off), "what begins with ( has no )")
			return nil
		}
		list = list[1 : len(list)-1]
	}
	for _, p := range readPairs(c, list, f) {
		if s, ok := spelt[p.name]; ok {
			p.name = s
		}
		switch {
		case slices.Contains(known[kind], p.name), slices.Contains(passed[kind], p.name), slices.Contains(cold, p.name):
		case p.name == "af" && p.e.op == "num" && p.e.num == 1:
		default:
			f.at(p.at, "%s is not in the model of a %s here; without it the part is simulated as if it had none", strings.ToUpper(p.name), strings.ToUpper(m.kind))
		}
		m.params = append(m.params, p)
	}
	return m
}

// note says what of a model is passed over.
func (l *library) note(m *model) {
	kind := m.kind
	if kind == "pnp" {
		kind = "npn"
	}
	var names []string
	for _, p := range m.params {
		zero := p.e.op == "num" && p.e.num == 0
		if slices.Contains(passed[kind], p.name) && !zero {
			names = append(names, strings.ToUpper(p.name))
		}
	}
	if names != nil {
		l.notes = append(l.notes, fmt.Sprintf("Of the model %s, %s: its junctions' capacitances are the same at any voltage, and it has no transit times.", m.name, strings.Join(names, ", ")))
	}
}
