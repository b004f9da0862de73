package circuit

import "fmt"

// NoiseInput is a source of noise that has become a driven source.
type NoiseInput struct {
	Noise           // Density is what the driven source has to give, in V²/Hz, of white noise
	Flicker float64 // and V² of flicker noise, which over f is its density
	Input   string  // the driven source's name
}

// noisyGain is the current in a circuit by the voltage of the driven source that makes it, in S.
const noisyGain = 1e-4

// Noisy is the circuit with every source of noise as a driven source of its own, so that noise can
// be played through it over time. Densities are those at the operating point. An error is that of
// the operating point.
func (n *Netlist) Noisy() (*Netlist, []NoiseInput, error) {
	ac, err := n.AC()
	if err != nil {
		return nil, nil, err
	}
	copied := New()
	for _, node := range n.nodes {
		copied.node(node)
	}
	var inputs []NoiseInput
	for _, p := range n.parts {
		copied.Owner = p.owner
		e := p.element
		if s, ok := e.(source); ok && s.density > 0 {
			inputs = append(inputs, NoiseInput{Noise{p.name, p.owner, "input", s.density * s.density}, 0, p.name})
			e = source{driven: true}
		}
		var nodes []string
		for _, k := range p.nodes {
			nodes = append(nodes, n.nodeName(k))
		}
		copied.add(p.name, e, nodes...)
	}
	count := 0
	const low, high = 1.0, 1e12 // Hz: where flicker noise is told, and where it is gone
	var white []float64
	ac.eachNoise(high, func(_ *placed, _ string, _, _ int, density float64) { white = append(white, density) })
	each := 0
	ac.eachNoise(low, func(p *placed, cause string, from, to int, density float64) {
		w := white[each]
		if each++; p.row != ground { // a voltage: see above
			return
		}
		count++
		name := fmt.Sprintf("%s.noise%d", p.name, count)
		copied.Owner = p.owner
		copied.Input(name, name, Ground)
		copied.G(name+".g", n.nodeName(from), n.nodeName(to), name, Ground, noisyGain)
		inputs = append(inputs, NoiseInput{Noise{p.name, p.owner, cause, w / (noisyGain * noisyGain)}, (density - w) / (noisyGain * noisyGain), name})
	})
	return copied, inputs, nil
}
