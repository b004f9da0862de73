package circuit

import "reflect"

// Missing is the kinds of elements that the circuit has none of.
func (n *Netlist) Missing() (names []string) {
	for k, e := range kinds {
		has := false
		for _, p := range n.parts {
			has = has || p.kind == k
		}
		if !has {
			names = append(names, reflect.TypeOf(e).Name())
		}
	}
	return names
}
