package circuit

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
)

// Key is the same for two circuits that are the same but for the names and owners of their elements
// and the names of their nodes, with these nodes read. Nodes, and elements of a kind, count in the
// order in which they were added.
func (n *Netlist) Key(probes ...string) (key [32]byte) {
	h := sha256.New()
	var buf [8]byte
	number := func(x uint64) {
		binary.LittleEndian.PutUint64(buf[:], x)
		h.Write(buf[:])
	}
	number(uint64(len(n.nodes)))
	number(uint64(len(n.parts)))
	for _, p := range n.parts {
		number(uint64(p.kind))
		for _, k := range p.nodes {
			number(uint64(int64(k)))
		}
		for _, x := range p.values() {
			number(math.Float64bits(x))
		}
	}
	for _, p := range probes {
		k, ok := n.index[p]
		if !ok {
			k = -2
		}
		number(uint64(int64(k)))
	}
	h.Sum(key[:0])
	return key
}
