package experiment

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/dsp"
)

// NoiseReport is the noise ledger of one jack: which sources are heard at rest, and what moving a
// block would do. It is also the JSON object that the command prints. The definition is that of
// noise.Ledger; levels are RMS from 20 Hz to 20 kHz, A-weighted to IEC 61672-1 or unweighted.
type NoiseReport struct {
	Take    string          `json:"take"`
	Order   []string        `json:"order"`
	Jack    string          `json:"jack"`
	ADBu    measures.Figure `json:"a_weighted_dbu"`
	DBu     measures.Figure `json:"unweighted_dbu"`
	AVolts  float64         `json:"a_weighted_volts"`
	Volts   float64         `json:"unweighted_volts"`
	Blocks  []NoiseGroup    `json:"blocks"`  // loudest first
	Causes  []NoiseGroup    `json:"causes"`  // loudest first
	Sources []NoiseSource   `json:"sources"` // loudest first, all of them
	// behind a loudspeaker: the microphone and what it is plugged into, which nobody in the room
	// hears and which is in nothing else here; null where there is none
	Apart *NoiseGroup `json:"apart"`
	// the same as all in all, with gates open; null where there is none that is on
	Open *NoiseGroup `json:"open"`
	// of one block to another place; only for the jack out
	Moves []NoiseMove `json:"moves"`
	// blocks at whose thresholds the noise is: then it was computed by rendering, and shares need
	// not add up
	Near        []string `json:"near,omitempty"`
	Assumptions []string `json:"assumptions"`
}

// NoiseGroup is what several sources add together.
type NoiseGroup struct {
	Name string          `json:"name"`
	ADBu measures.Figure `json:"a_weighted_dbu"`
	DBu  measures.Figure `json:"unweighted_dbu"`
	// of the A-weighted power, 0 to 1; all groups add up to 1, unless there is Near
	Share float64 `json:"share"`
}

// NoiseSource is what one source adds.
type NoiseSource struct {
	Block   string          `json:"block"`
	Element string          `json:"element"`
	Cause   string          `json:"cause"`
	ADBu    measures.Figure `json:"a_weighted_dbu"`
	DBu     measures.Figure `json:"unweighted_dbu"`
	Share   float64         `json:"share"`
}

// NoiseMove is a block, or a switcher as a whole, at another place.
type NoiseMove struct {
	Block string `json:"block"`
	Line  string `json:"line"` // where it goes: "order", "left", "right", or "loop 3"
	// the block that it would stand behind there; "guitar", or "" at the beginning of a path or a
	// loop
	Behind string `json:"behind"`
	Where  string `json:"where"` // the same in words
	// it is on the same paths as before: what both of two amplifiers hear, both still do
	Same    bool     `json:"same"`
	Take    []string `json:"take"`     // as keys of a take
	NoiseDB float64  `json:"noise_db"` // change of the A-weighted noise at out
	// change of the small-signal gain at 1 kHz from the pickup to out
	GainDB float64 `json:"gain_db"`
}

// noiseAssumptions is what a ledger assumes.
var noiseAssumptions = []string{
	"Nobody plays: what a clipping stage or a compressor does to noise while the strings sound is not in it.",
	"The recording's own noise is not in it.",
	"Ripple is that of the supplies that the file gives; a block that is plugged into none has an ideal one.",
	"Mains hum is what the chain file says for the guitar: 50 Hz and multiples, each as many times softer as its number.",
	"Every resistor at 27 °C.",
	"Behind a loudspeaker, what the microphone and all that follows it make is apart: nobody in the room hears it.",
}

// Noise is the ledger of one jack of a chain, with the moves of its blocks where the jack is out.
// The errors are those of noise.At.
func Noise(c *board.Chain, rate dsp.Hertz, jack string) (*NoiseReport, error) {
	l, err := noise.At(c, rate, jack)
	if err != nil {
		return nil, err
	}
	r := noiseReport(l)
	if a := l.ApartRMS(noise.AWeighted); a > 0 {
		flat := l.ApartRMS(noise.Flat)
		r.Apart = &NoiseGroup{Name: "microphone", ADBu: measures.NoiseLevel(a * a), DBu: measures.NoiseLevel(flat * flat)}
	}
	if open, gates := c.Opened(); gates {
		l, err := noise.Totals(open, rate, jack)
		if err != nil {
			return nil, err
		}
		a, flat := l[0].RMS(noise.AWeighted), l[0].RMS(noise.Flat)
		r.Open = &NoiseGroup{Name: "gates open", ADBu: measures.NoiseLevel(a * a), DBu: measures.NoiseLevel(flat * flat), Share: 1}
	}
	r.Take = c.Take
	r.Order = orderOf(c)
	r.Assumptions = slices.Clone(noiseAssumptions)
	if len(l.Near) > 0 {
		r.Near = l.Near
		r.Assumptions = append(r.Assumptions, fmt.Sprintf("Hiss and hum alone are loud enough to open or to clip %s, so they were played through the board and not added up. A share is what goes away without its source; shares need not add up. Of groups it is their sources' sum.",
			strings.Join(l.Near, ", ")))
	}
	if held := board.Held(c); held != "" {
		r.Assumptions = append(r.Assumptions, held)
	}
	if jack != "out" {
		return r, nil
	}
	moves, err := noise.Moves(c, rate)
	if err != nil {
		return nil, err
	}
	for _, m := range moves {
		r.Moves = append(r.Moves, NoiseMove{m.First, m.To.Key(), m.Behind, m.Where(), m.SamePaths(), c.Keys(m.Result), m.NoiseDB, m.GainDB})
	}
	return r, nil
}

func orderOf(c *board.Chain) []string {
	names := []string{}
	for _, b := range c.Blocks {
		names = append(names, b.Name)
	}
	return names
}

// noiseReport groups a ledger.
func noiseReport(l *noise.Ledger) *NoiseReport {
	r := &NoiseReport{
		Jack: l.Jack, AVolts: l.RMS(noise.AWeighted), Volts: l.RMS(noise.Flat),
		Blocks: []NoiseGroup{}, Causes: []NoiseGroup{}, Sources: []NoiseSource{}, Moves: []NoiseMove{},
	}
	r.ADBu, r.DBu = measures.NoiseLevel(r.AVolts*r.AVolts), measures.NoiseLevel(r.Volts*r.Volts)
	total := r.AVolts * r.AVolts
	share := func(power float64) float64 {
		if total == 0 {
			return 0
		}
		return power / total
	}
	type power struct{ a, flat float64 }
	blocks, causes := map[string]power{}, map[string]power{}
	for k, s := range l.Shares {
		p := power{l.Power(k, noise.AWeighted), l.Power(k, noise.Flat)}
		r.Sources = append(r.Sources, NoiseSource{s.Block, s.Element, s.Cause, measures.NoiseLevel(p.a), measures.NoiseLevel(p.flat), share(p.a)})
		b, c := blocks[s.Block], causes[s.Cause]
		blocks[s.Block] = power{b.a + p.a, b.flat + p.flat}
		causes[s.Cause] = power{c.a + p.a, c.flat + p.flat}
	}
	groups := func(m map[string]power) []NoiseGroup {
		list := []NoiseGroup{}
		for name, p := range m {
			list = append(list, NoiseGroup{name, measures.NoiseLevel(p.a), measures.NoiseLevel(p.flat), share(p.a)})
		}
		slices.SortFunc(list, func(a, b NoiseGroup) int {
			return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.Name, b.Name))
		})
		return list
	}
	r.Blocks, r.Causes = groups(blocks), groups(causes)
	return r
}

// worthMoving is the change of noise, in dB at the same gain, from which a move is worth speaking
// of: twice what a listener just notices in a steady noise, some 0.5 dB for a broad band (JASA
// 19(4), 609-619, 1947, from memory).
const worthMoving = 1.0

// Quieter is the best move: the one that lowers the noise most beyond what it takes of the gain.
// false where none is worth it. It takes nothing off a path.
func (r *NoiseReport) Quieter() (NoiseMove, bool) {
	var best NoiseMove
	found := false
	net := func(m NoiseMove) float64 { return m.NoiseDB - m.GainDB }
	for _, m := range r.Moves {
		if m.Same && net(m) <= -worthMoving && m.NoiseDB < 0 && (!found || net(m) < net(best)) {
			best, found = m, true
		}
	}
	return best, found
}
