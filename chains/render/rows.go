package render

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"

	"drywire/blocks"
	"drywire/chains/motion"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// rows is the rows of a plan (wiring.Row), and which of them a section or a stage is in. What moves
// is in none.
type rows struct {
	sections map[*circuit.Netlist]rowPlace
	stages   map[string]rowPlace // by name
}

// rowPlace is a part of a row.
type rowPlace struct {
	row  wiring.Row
	part int
}

func (p rowPlace) first() bool { return p.part == 0 }

// rows finds the rows, once.
func (p *Plan) rows() *rows {
	p.onceRows.Do(func() {
		r := &rows{map[*circuit.Netlist]rowPlace{}, map[string]rowPlace{}}
		moved, _ := p.motion() // where it fails, so does the render
		if moved == nil {
			moved = &motion.Motion{}
		}
		for _, row := range p.Wiring.Rows(func(part wiring.Part) bool {
			if part.Section != nil {
				return moved.Sections[part.Section] == nil
			}
			return moved.Stages[part.Stage.Name] == nil
		}) {
			for k, part := range row {
				if part.Section != nil {
					r.sections[part.Section] = rowPlace{row, k}
				} else {
					r.stages[part.Stage.Name] = rowPlace{row, k}
				}
			}
		}
		p.inRows = r
	})
	return p.inRows
}

// raised is the row in which the voltage of a section's nodes is computed: none where it is
// computed as by itself, as of a row's first section.
func (p *Plan) raised(n *circuit.Netlist) (at rowPlace, ok bool) {
	at, ok = p.rows().sections[n]
	return at, ok && !at.first()
}

// raisedStage is the row in which a stage is computed.
func (p *Plan) raisedStage(name string) (at rowPlace, ok bool) {
	at, ok = p.rows().stages[name]
	return
}

// newRow prepares a row, with the nodes that are read of each of its sections.
func (p *Plan) newRow(row wiring.Row, probes [][]string, reads []section.Read) (*section.Row, error) {
	var parts []section.Part
	for k, part := range row {
		s := section.Part{From: part.From, Circuit: part.Section, Probes: probes[k]}
		if part.From >= 0 && row[part.From].Section != nil {
			s.Output = slices.Index(probes[part.From], part.Node())
		}
		if part.Section == nil {
			s.Core = part.Stage.Shape().(blocks.Raiser).Raise
		}
		parts = append(parts, s)
	}
	return section.NewRow(parts, reads, p.Rate, p.Quality)
}

// rowStep is a row as a step of a renderer.
type rowStep struct {
	*section.Row
	parts  wiring.Row
	probes [][]string // of each part: its outputs
}

// where finds an output of the row.
func (r *rowStep) where(name string) (at section.Read, ok bool) {
	for k, names := range r.probes {
		if j := slices.Index(names, name); j >= 0 {
			return section.Read{Part: k, Output: j}, true
		}
	}
	return at, false
}

// signals is all outputs of the row.
func (r *rowStep) signals() (list []Signal) {
	for k, names := range r.probes {
		for _, name := range names {
			list = append(list, Signal{name, r.parts[k].Section == nil})
		}
	}
	return list
}

func (r *rowStep) reports() (list []SectionReport) {
	for k, p := range r.parts {
		if p.Section != nil && !p.Section.Linear() {
			list = append(list, SectionReport{r.probes[k][0], r.Factor, r.ReportOf(k)})
		}
	}
	return list
}

// rowStep prepares what of a row the taps depend on; nil where they do not. names is what of it
// others read.
func (p *Plan) rowStep(row wiring.Row, wanted *wants, taps []string) (r *rowStep, names []string, err error) {
	r = &rowStep{}
	at := make([]int, len(row)) // of each part in r.parts
	for k, part := range row {
		if at[k] = -1; !wanted.part(part) {
			continue
		}
		at[k] = len(r.parts)
		if part.From >= 0 {
			part.From = at[part.From]
		}
		r.parts = append(r.parts, part)
		if part.Section != nil {
			r.probes = append(r.probes, probesOf(part.Section, p.Stages, taps))
		} else {
			r.probes = append(r.probes, part.Stage.Drive)
		}
	}
	if len(r.parts) == 0 {
		return nil, nil, nil
	}
	var reads []section.Read
	in := p.rows()
	for k, part := range r.parts {
		for j, name := range r.probes[k] {
			read := false
			if part.Section != nil {
				read = slices.Contains(taps, name) || slices.ContainsFunc(p.Stages, func(s blocks.Stage) bool {
					_, inside := in.stages[s.Name]
					return wanted.stages[s.Name] && !inside && slices.Contains(s.Sense, name)
				})
			} else {
				read = slices.ContainsFunc(p.Sections, func(n *circuit.Netlist) bool {
					place, inside := in.sections[n]
					return wanted.sections[n] && (!inside || place.first()) && slices.Contains(n.Inputs(), name)
				})
			}
			if read {
				reads, names = append(reads, section.Read{Part: k, Output: j}), append(names, name)
			}
		}
	}
	r.Row, err = p.newRow(r.parts, r.probes, reads)
	return r, names, err
}

// wants is what some nodes depend on.
type wants struct {
	sections map[*circuit.Netlist]bool
	stages   map[string]bool // by name
}

func (w *wants) part(p wiring.Part) bool {
	if p.Section != nil {
		return w.sections[p.Section]
	}
	return w.stages[p.Stage.Name]
}

// wants is what these nodes depend on.
func (p *Plan) wants(nodes []string) *wants {
	w := &wants{map[*circuit.Netlist]bool{}, map[string]bool{}}
	driver := map[string]blocks.Stage{}
	for _, s := range p.Stages {
		for _, d := range s.Drive {
			driver[d] = s
		}
	}
	of := map[string]*circuit.Netlist{}
	for _, n := range p.Sections {
		for _, node := range n.Nodes() {
			of[node] = n
		}
	}
	for open := slices.Clone(nodes); len(open) > 0; {
		n := of[open[len(open)-1]]
		open = open[:len(open)-1]
		if n == nil || w.sections[n] {
			continue
		}
		w.sections[n] = true
		for _, in := range n.Inputs() {
			if s, ok := driver[in]; ok && !w.stages[s.Name] {
				w.stages[s.Name] = true
				open = append(open, s.Sense...)
			}
		}
	}
	return w
}

// row computes one output of a part of a row, by its name, from the whole signal that the row gets.
func (m *Memo) row(ctx context.Context, w *Plan, at rowPlace, name string, in []float64) ([]float64, error) {
	line := at.row.Upto(at.part)
	probes := make([][]string, len(line))
	for k := range line {
		probes[k] = []string{name}
		if k+1 < len(line) {
			probes[k][0] = line[k+1].Node()
		}
	}
	r, err := w.newRow(line, probes, []section.Read{{Part: len(line) - 1}})
	if err != nil {
		return nil, err
	}
	out, err := m.run(ctx, r.Process, r.Latency(), [][]float64{in}, 1)
	if err != nil {
		return nil, err
	}
	m.count(len(line) - 1)
	if f := r.Report().Failures; f > 0 {
		return nil, fmt.Errorf("take %q: %d samples at %s did not converge", w.Chain.Take, f, name)
	}
	return out[0], nil
}

// rowKey is what a part of a row does to the signal that the row gets, with the output that is read.
func (w *Plan) rowKey(at rowPlace, name string) [32]byte {
	h := sha256.New()
	line := at.row.Upto(at.part)
	for k, p := range line {
		if p.Section == nil {
			fmt.Fprintf(h, "stage %s\n", p.Stage.Key)
			continue
		}
		read := name
		if k+1 < len(line) {
			read = line[k+1].Node()
		}
		fmt.Fprintf(h, "circuit %x\n", p.Section.Key(read))
	}
	var key [32]byte
	h.Sum(key[:0])
	return key
}

// hangRow is hang for the stages in a row, whose input comes so late.
func (x *relays) hangRow(preset, before int, r *rowStep) {
	for k, p := range r.parts {
		if p.Section != nil {
			continue
		}
		r.Wrap(k, func(core dsp.Processor, late int) dsp.Processor {
			late += before * r.Factor
			x.latest = max(x.latest, (late+r.Factor-1)/r.Factor)
			return &raisedHung{Processor: core, name: p.Stage.Name + " raised", relays: x, preset: preset,
				late: int64(late), factor: int64(r.Factor), own: make([]float64, blockSize*r.Factor)}
		})
	}
}

// raisedHung is hung for a stage in a row: at factor times the rate, and so many of its samples
// late.
type raisedHung struct {
	dsp.Processor
	name   string
	relays *relays
	preset int
	late   int64
	factor int64
	done   int64 // samples that it has had
	own    []float64
}

// Process implements dsp.Processor.
func (h *raisedHung) Process(out, in [][]float64) {
	n := int64(len(in[0]))
	fed := h.relays.fed[h.name]
	if fed == nil {
		fed = [][]float64{make([]float64, blockSize*h.factor)}
		h.relays.fed[h.name] = fed
	}
	from := h.done - h.relays.done*h.factor // in this block
	all, own := fed[0][from:from+n], h.own[:n]
	for j := int64(0); j < n; {
		now, until := h.relays.played(floor(h.done+j-h.late, h.factor))
		until = min(until, h.relays.done+2*blockSize) // beyond this block
		end := min(n, until*h.factor-h.done+h.late)
		if now == h.preset {
			copy(all[j:end], in[0][j:end])
		}
		copy(own[j:end], all[j:end])
		j = end
	}
	h.done += n
	h.Processor.Process(out, [][]float64{own})
}

// floor is the whole part of a/b, b > 0.
func floor(a, b int64) int64 {
	if a < 0 {
		return -((b - 1 - a) / b)
	}
	return a / b
}
