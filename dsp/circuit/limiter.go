package circuit

import (
	"fmt"
	"math"
)

// limiter is a transconductance that saturates: i = Imax·tanh(gm·v/Imax), sensed from p to m,
// flowing from a to b. It gives an op-amp its slew rate.
type limiter struct{ gm, imax float64 } // S, A

// Limiter is a transconductance gm, in S, from the voltage between p and m to a current from a to b
// that saturates at most, in A.
func (n *Netlist) Limiter(name, a, b, p, m string, gm, most float64) {
	n.add(name, limiter{positive(name, gm), positive(name, most)}, a, b, p, m)
}

func (e limiter) values() []float64 { return []float64{e.gm, e.imax} }

func (e limiter) ports(nodes []int) []port {
	return []port{{a: nodes[0], b: nodes[1], p: nodes[2], m: nodes[3], weight: 1}}
}

func (e limiter) laws(run []*part, from int) law {
	return &limiterLaws{from, collect(run, func(e limiter) limiter { return e })}
}

type limiterLaws struct {
	from int // port
	list []limiter
}

func (l *limiterLaws) eval(at *Ports) {
	for k := range l.list {
		e, p := &l.list[k], l.from+k
		t := math.Tanh(e.gm * at.V[p] / e.imax)
		at.I[p], at.Own[p] = e.imax*t, e.gm*(1-t*t)
	}
}

func (e limiter) card(d *deckWriter, name string, nodes []string) {
	d.card("B", name, nodes[:2],
		fmt.Sprintf("I=%s*tanh(%s*v(%s,%s)/%s)", num(e.imax), num(e.gm), nodes[2], nodes[3], num(e.imax)))
}
