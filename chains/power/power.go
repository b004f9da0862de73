// Package power assigns the blocks of a board to the outputs of its supplies, and says which
// outputs are missing where no assignment satisfies every block.
//
// It knows voltages, currents and grounds, and no sound: whoever has measured which blocks gain by
// more headroom says so. Start reading at Assign.
package power

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
)

// UsualMargin is the share of an output's current that is left free, since a supply at its limit is
// hot and hums: common practice, no source.
const UsualMargin = 0.2

// mostMissing is how many outputs may be missing before the answer is only that too many are.
const mostMissing = 4

// mostTried bounds the search: steps of it.
const mostTried = 2_000_000

// Assignment says where every block that takes a supply is plugged in.
//
// Kept to: the plug and the voltage that a block wants, whichever way an output's switch stands;
// the current, with the margin; a block with a positive ground alone on its output (on its supply,
// where outputs are not isolated); digital blocks apart from others on a supply that is not
// isolated. Among those the best has, in this order: as few outputs missing as there can be, and
// these small; the fewest leads moved; the highest voltages for the blocks that gain by it; the
// fewest blocks that share an output with a digital one.
type Assignment struct {
	Margin  float64   `json:"margin"` // share of an output's current that is left free
	Leads   []Lead    `json:"leads"`
	Missing []Missing `json:"missing"` // empty where the supplies do
	// that nothing is better: false where the search was cut short
	Proven bool `json:"proven"`
	Tight  bool `json:"tight"` // something is missing, but nothing without the margin
}

// Lead is a lead from an output to a block.
type Lead struct {
	Block string `json:"block"`
	From  string `json:"from"` // where the file has it: an output, or auto
	To    string `json:"to"`   // the output; "missing 1", … for one that is missing
}

// Moved reports whether a lead that was plugged in has to be moved.
func (l Lead) Moved() bool { return l.From != board.AutoPower && l.From != l.To }

// Missing is an isolated output that would have to be added.
type Missing struct {
	Voltage        dsp.Volt   `json:"voltage_v"`
	Current        dsp.Ampere `json:"current_a"` // with the margin, rounded up to 10 mA
	CentrePositive bool       `json:"centre_positive"`
	Blocks         []string   `json:"blocks"`
}

// String is like "one more isolated output of 100 mA at 9 V (for echo)".
func (m Missing) String() string {
	plug := ""
	if m.CentrePositive {
		plug = ", centre-positive"
	}
	return fmt.Sprintf("one more isolated output of %s at %s%s (for %s)", dsp.FormatQuantity(float64(m.Current), dsp.Amperes),
		dsp.FormatQuantity(float64(m.Voltage), dsp.Volts), plug, strings.Join(m.Blocks, ", "))
}

// Assign works out where the file's blocks are plugged in, those that are plugged in already among
// them; blocks on supplies of their own stay there. margin is the share of current left free, from
// 0 to less than 1. gains are the blocks that gain by a higher voltage. The error says that more
// outputs are missing than anybody would add at once.
func Assign(f *board.File, margin float64, gains []string) (*Assignment, error) {
	a, err := assign(f, margin, gains)
	if margin > 0 && (err != nil || len(a.Missing) > 0) {
		if bare, e := assign(f, 0, gains); e == nil && len(bare.Missing) == 0 && a != nil {
			a.Tight = true
		}
	}
	return a, err
}

func assign(f *board.File, margin float64, gains []string) (*Assignment, error) {
	proven := true
	for missing := 0; missing <= mostMissing; missing++ {
		s := newSearch(f, margin, gains, missing)
		if len(s.loads) == 0 {
			return &Assignment{Margin: margin, Leads: []Lead{}, Missing: []Missing{}, Proven: true}, nil
		}
		s.place(0, cost{})
		proven = proven && s.tried <= mostTried
		if s.best != nil {
			a := s.assignment(f)
			a.Proven = proven
			return a, nil
		}
	}
	return nil, fmt.Errorf("more than %d outputs are missing for %d blocks", mostMissing, len(newSearch(f, margin, gains, 0).loads))
}

// microamps is a current as a whole number: sums of them are exact.
type microamps int64

func micro(a dsp.Ampere) microamps { return microamps(math.Round(float64(a) * 1e6)) }

// load is a block that is to be plugged in.
type load struct {
	name              string
	draw              microamps
	positive, digital bool
	home              int   // the output that it is plugged into; -1 where that is open
	fits              []int // outputs, by their indices
	// millivolts that each of these is under the best, for one that gains; else 0
	below []int
}

// output is one that the search may use.
type output struct {
	name           string
	limit          microamps // what may be drawn, the margin taken off
	group          int       // of what shares a voltage and a ground: one output, or a whole supply
	common         bool      // the group is a supply that is not isolated
	missing        bool
	voltage        dsp.Volt
	centrePositive bool
	// outputs of one kind are as good as each other while nothing is plugged in
	kind string
}

// cost is what an assignment is judged by, the first number first.
type cost struct{ added, moves, below, mixed int }

func (c cost) less(d cost) bool {
	return slices.Compare([]int{c.added, c.moves, c.below, c.mixed}, []int{d.added, d.moves, d.below, d.mixed}) < 0
}

func (c cost) plus(d cost) cost {
	return cost{c.added + d.added, c.moves + d.moves, c.below + d.below, c.mixed + d.mixed}
}

// group is what is plugged into outputs that share a ground.
type group struct{ analogue, digital, positive int }

// search is a depth-first search with a bound.
type search struct {
	loads   []load
	outputs []output
	margin  float64
	missing int // how many outputs may be added

	at     []int // output of each load, so far
	drawn  []microamps
	groups []group
	waits  []int // loads not placed yet whose home is that output

	best  []int
	least cost
	tried int
}

func newSearch(f *board.File, margin float64, gains []string, missing int) *search {
	s := &search{margin: margin, missing: missing}
	groups := 0
	var known []board.Output
	for _, supply := range f.Supplies {
		for _, o := range supply.Outputs {
			s.outputs = append(s.outputs, output{
				name: supply.Name + "." + o.Name, limit: microamps(float64(micro(o.Current))*(1-margin) + 1e-6), group: groups, common: !supply.Isolated,
				voltage: o.Voltage, centrePositive: o.CentrePositive, kind: fmt.Sprintf("%v %v %v %v", o.Voltage, o.Highest, o.Current, o.CentrePositive),
			})
			known = append(known, o)
			if supply.Isolated {
				groups++
			}
		}
		if !supply.Isolated {
			groups++
		}
	}
	real := len(known)
	type wish struct {
		volts    dsp.Volt
		positive bool
	}
	var wishes []wish
	for _, b := range f.Blocks {
		if n, ok := f.Needs(b.Name); ok && b.Power != "" {
			if w := (wish{n.Volts[0], n.CentrePositive}); !slices.Contains(wishes, w) {
				wishes = append(wishes, w)
			}
		}
	}
	for _, w := range wishes {
		for range missing {
			s.outputs = append(s.outputs, output{
				name: "missing", limit: math.MaxInt64, group: groups, missing: true, voltage: w.volts, centrePositive: w.positive, kind: fmt.Sprint("missing ", w),
			})
			known = append(known, board.Output{Voltage: w.volts, CentrePositive: w.positive})
			groups++
		}
	}
	for _, b := range f.Blocks {
		n, ok := f.Needs(b.Name)
		if !ok || b.Power == "" {
			continue
		}
		l := load{name: b.Name, draw: micro(n.Draw), positive: slices.Contains(n.Grounds, blocks.Positive), digital: n.Digital}
		l.home = slices.IndexFunc(s.outputs[:real], func(o output) bool { return o.name == b.Power })
		best := dsp.Volt(0)
		for k := range known {
			if f.Fits(b.Name, &known[k]) {
				l.fits = append(l.fits, k)
				best = max(best, known[k].Voltage)
			}
		}
		for _, k := range l.fits {
			below := 0
			if slices.Contains(gains, b.Name) && k < real {
				below = int(math.Round(1e3 * float64(best-known[k].Voltage)))
			}
			l.below = append(l.below, below)
		}
		s.loads = append(s.loads, l)
	}
	// Those with the least choice first, then the heaviest: what cannot be is seen early.
	slices.SortStableFunc(s.loads, func(a, b load) int {
		if a.positive != b.positive {
			return map[bool]int{true: -1, false: 1}[a.positive]
		}
		if len(a.fits) != len(b.fits) {
			return len(a.fits) - len(b.fits)
		}
		return int(b.draw - a.draw)
	})
	s.at, s.drawn, s.groups = make([]int, len(s.loads)), make([]microamps, len(s.outputs)), make([]group, groups)
	s.waits = make([]int, len(s.outputs))
	for _, l := range s.loads {
		if l.home >= 0 {
			s.waits[l.home]++
		}
	}
	return s
}

// place tries every output for a load and goes on to the next, at a cost so far.
func (s *search) place(k int, so cost) {
	if k == len(s.loads) {
		s.best, s.least = slices.Clone(s.at), so
		return
	}
	l := s.loads[k]
	if l.home >= 0 {
		s.waits[l.home]--
		defer func() { s.waits[l.home]++ }()
	}
	order := make([]int, len(l.fits))
	for i := range order {
		order[i] = i
	}
	free := func(i int) float64 { return float64(s.outputs[l.fits[i]].limit - s.drawn[l.fits[i]]) }
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := l.fits[i], l.fits[j]
		switch {
		case (a == l.home) != (b == l.home):
			return map[bool]int{true: -1, false: 1}[a == l.home]
		case s.outputs[a].missing != s.outputs[b].missing:
			return map[bool]int{true: 1, false: -1}[s.outputs[a].missing]
		case l.below[i] != l.below[j]:
			return l.below[i] - l.below[j]
		case free(i) != free(j):
			return map[bool]int{true: -1, false: 1}[free(i) > free(j)]
		}
		return 0
	})
	var seen []string
	for _, i := range order {
		if s.tried++; s.tried > mostTried {
			return
		}
		n := l.fits[i]
		o, g := &s.outputs[n], &s.groups[s.outputs[n].group]
		// as good as any other of its kind
		if !o.common && *g == (group{}) && n != l.home && s.waits[n] == 0 {
			if slices.Contains(seen, o.kind) {
				continue
			}
			seen = append(seen, o.kind)
		}
		if s.drawn[n]+l.draw > o.limit || g.positive > 0 || l.positive && *g != (group{}) ||
			o.common && (l.digital && g.analogue > 0 || !l.digital && g.digital > 0) {
			continue
		}
		step := cost{below: l.below[i]}
		if l.home >= 0 && n != l.home {
			step.moves = 1
		}
		if o.missing {
			step.added = int(l.draw)
		}
		switch {
		case l.digital && g.digital == 0:
			step.mixed = g.analogue
		case !l.digital && g.digital > 0:
			step.mixed = 1
		}
		to := so.plus(step)
		if s.best != nil && !to.less(s.least) {
			continue
		}
		if o.missing && *g == (group{}) && s.added() >= s.missing {
			continue
		}
		was := *g
		s.at[k], s.drawn[n] = n, s.drawn[n]+l.draw
		switch {
		case l.positive:
			g.positive++
		case l.digital:
			g.digital++
		default:
			g.analogue++
		}
		s.place(k+1, to)
		*g, s.drawn[n] = was, s.drawn[n]-l.draw
	}
}

// added is how many of the missing outputs are in use.
func (s *search) added() (n int) {
	for k, o := range s.outputs {
		if o.missing && s.drawn[k] > 0 {
			n++
		}
	}
	return n
}

// assignment is the best that was found, with the leads in the order of the file's blocks.
func (s *search) assignment(f *board.File) *Assignment {
	a := &Assignment{Margin: s.margin, Leads: []Lead{}, Missing: []Missing{}}
	name, missing := map[int]string{}, map[int]int{} // of outputs; the index in Missing
	for _, b := range f.Blocks {
		k := slices.IndexFunc(s.loads, func(l load) bool { return l.name == b.Name })
		if k < 0 {
			continue
		}
		n := s.best[k]
		if o := s.outputs[n]; o.missing {
			if name[n] == "" {
				missing[n] = len(a.Missing)
				a.Missing = append(a.Missing, Missing{Voltage: o.voltage, CentrePositive: o.centrePositive})
				name[n] = fmt.Sprint("missing ", len(a.Missing))
			}
			m := &a.Missing[missing[n]]
			m.Blocks = append(m.Blocks, b.Name)
			m.Current += dsp.Ampere(float64(s.loads[k].draw) / 1e6)
		} else {
			name[n] = o.name
		}
		a.Leads = append(a.Leads, Lead{b.Name, b.Power, name[n]})
	}
	for k := range a.Missing {
		m := &a.Missing[k]
		m.Current = dsp.Ampere(math.Ceil(float64(m.Current)/(1-s.margin)*100-1e-6) / 100)
	}
	return a
}
