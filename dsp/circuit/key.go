package circuit

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
)

// Key is the same for two circuits that are the same but for the names of their nodes and elements, with these nodes read. Nodes and elements count in
// the order in which they were added.
func (n *Netlist) Key(probes ...string) [32]byte {
	h := sha256.New()
	var buf [8]byte
	number := func(x uint64) {
		binary.LittleEndian.PutUint64(buf[:], x)
		h.Write(buf[:])
	}
	nodes := func(list ...int) {
		for _, k := range list {
			number(uint64(int64(k)))
		}
	}
	values := func(list ...float64) {
		for _, x := range list {
			number(math.Float64bits(x))
		}
	}
	flag := func(list ...bool) {
		for _, b := range list {
			if b {
				number(1)
			} else {
				number(0)
			}
		}
	}
	number(uint64(len(n.nodes)))
	number(uint64(len(n.resistors)))
	for _, e := range n.resistors {
		nodes(e.a, e.b)
		values(e.r)
		flag(e.hot)
	}
	number(uint64(len(n.capacitors)))
	for _, e := range n.capacitors {
		nodes(e.a, e.b)
		values(e.c)
	}
	number(uint64(len(n.inductors)))
	for _, e := range n.inductors {
		nodes(e.a, e.b)
		values(e.l)
	}
	number(uint64(len(n.sources)))
	for _, e := range n.sources {
		nodes(e.a, e.b)
		values(e.dc)
		flag(e.driven)
	}
	number(uint64(len(n.vcvs)))
	for _, e := range n.vcvs {
		nodes(e.a, e.b, e.p, e.m)
		values(e.gain)
	}
	number(uint64(len(n.vccs)))
	for _, e := range n.vccs {
		nodes(e.a, e.b, e.p, e.m)
		values(e.gm)
	}
	number(uint64(len(n.cccs)))
	for _, e := range n.cccs {
		nodes(e.a, e.b, e.sense)
		values(e.gain)
	}
	number(uint64(len(n.diodes)))
	for _, e := range n.diodes {
		nodes(e.a, e.b)
		values(float64(e.model.Is), e.nvt)
	}
	number(uint64(len(n.bjts)))
	for _, e := range n.bjts {
		nodes(e.c, e.b, e.e)
		k := e.k
		values(k.is, k.ibf, k.ibr, k.rvf, k.rvr, k.ivaf, k.ivar, k.ise, k.isc, k.rve, k.rvc, k.polarity)
	}
	number(uint64(len(n.clamps)))
	for _, e := range n.clamps {
		nodes(e.a, e.b)
		values(e.lo, e.hi)
	}
	number(uint64(len(n.limiters)))
	for _, e := range n.limiters {
		nodes(e.a, e.b, e.p, e.m)
		values(e.gm, e.imax)
	}
	number(uint64(len(n.triodes)))
	for _, e := range n.triodes {
		nodes(e.p, e.g, e.k)
		t := e.model
		values(t.Mu, t.G, t.Gamma, t.C, t.Gg, t.Xi, t.Cg, t.NoiseConductance)
	}
	number(uint64(len(n.pairs)))
	for _, e := range n.pairs {
		nodes(e.a, e.b)
		values(float64(e.forward.Is), e.nf, float64(e.reverse.Is), e.nr)
	}
	number(uint64(len(n.noises)))
	for _, e := range n.noises {
		nodes(e.source)
		values(e.density)
	}
	for _, p := range probes {
		k, ok := n.index[p]
		if !ok {
			k = -2
		}
		nodes(k)
	}
	var key [32]byte
	h.Sum(key[:0])
	return key
}
