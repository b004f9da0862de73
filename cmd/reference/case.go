package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/blocks"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/section"
)

// Case is one thing to be rendered and simulated.
type Case struct {
	Name   string  `json:"name"`
	Text   string  `json:"chain"` // a chain file
	Take   string  `json:"take"`
	Jack   string  `json:"jack"`
	Rate   float64 `json:"rate"`   // Hz
	Length float64 `json:"length"` // s
	Drive  Drive   `json:"drive"`
	Knobs  []Knob  `json:"knobs,omitempty"` // that are turned
	Own    string  `json:"own,omitempty"`   // the sample deck of the block "own", run as it is

	runs *runs // shared with others that have the same deck; nil: with none
}

// Wire wires the case's chain.
func (c Case) Wire(q section.Quality) (*render.Plan, error) {
	file, err := file.Parse(c.Name, []byte(c.Text))
	if err != nil {
		return nil, err
	}
	chain := file.Chains()[0]
	if c.Take != "" {
		if chain, err = file.Take(c.Take); err != nil {
			return nil, err
		}
	}
	if err := chain.Jack(c.Jack); err != nil {
		return nil, err
	}
	return render.PlanOf(chain, dsp.Hertz(c.Rate), q), nil
}

// samples is how many samples of the recording there are.
func (c Case) samples() int { return int(math.Round(c.Length * c.Rate)) }

// Render is the voltage at the case's jack, and the solver's convergence.
func (c Case) Render(ctx context.Context, q section.Quality) ([]float64, transient.Report, error) {
	var total transient.Report
	w, err := c.Wire(q)
	if err != nil {
		return nil, total, err
	}
	r, err := w.Renderer(c.Jack)
	if err != nil {
		return nil, total, err
	}
	in := make([]float64, c.samples())
	for k := range in {
		in[k] = c.Drive.At(float64(k) / c.Rate)
	}
	var out []float64
	err = r.Run(ctx, render.Volts(in), 0, func(taps [][]float64) error {
		out = append(out, taps[0]...)
		return nil
	})
	for _, rep := range r.Reports() {
		total.Add(rep.Report)
	}
	return out, total, err
}

// Accuracy of a simulator's run: its longest step and its relative tolerance.
type Accuracy struct {
	Step   float64 `json:"step"` // s
	RelTol float64 `json:"reltol"`
}

// A reference is a run at one of these steps and another at half of it, that are no further apart
// than converged: the finer counts. What lies between them is some three times what is left in it.
var (
	coarsest = Accuracy{0.35e-6, 1e-5}
	finest   = Accuracy{0.35e-6 / 8, 1e-5}
)

// converged is how far apart, in dB, the last two runs of a reference may lie.
const converged = -90.0

// Halved is the same at half the step.
func (a Accuracy) Halved() Accuracy { return Accuracy{a.Step / 2, a.RelTol} }

// Reference is the case's converged spectrum, how far it has converged, and at what accuracy.
func (c Case) Reference(ctx context.Context) (want []complex128, residual float64, a Accuracy, err error) {
	x, _, err := c.Simulate(ctx, coarsest)
	if err != nil {
		return nil, 0, a, err
	}
	last := c.Spectrum(x, high)
	for a = coarsest.Halved(); ; a = a.Halved() {
		if x, _, err = c.Simulate(ctx, a); err != nil {
			return nil, 0, a, err
		}
		want = c.Spectrum(x, high)
		residual = ErrorDB(last, want)
		if residual <= converged || a.Step < 1.01*finest.Step {
			return want, residual, a, nil
		}
		last = want
	}
}

// Deck is the case as a deck: the whole chain as one circuit, stages without memory as behavioural
// sources. A stage with memory in front of the jack is an error; one behind it rests at 0 V. With a
// zero accuracy it is a deck for the operating point.
func (c Case) Deck(a Accuracy) (string, error) {
	w, err := c.Wire(section.Normal)
	if err != nil {
		return "", err
	}
	drive := map[string]string{"Vdry": c.Drive.Expression()}
	needed := map[string]bool{}
	need(w, c.Jack, needed)
	for _, s := range w.Stages {
		f, ok := s.Shape().(*blocks.Follower)
		switch {
		case ok:
			drive[s.Drive[0]] = fmt.Sprintf("V=min(max(%v*v(%s),%v),%v)", f.Gain, circuit.SPICEName(s.Sense[0]), float64(f.Lo), float64(f.Hi))
		case needed[s.Name]:
			return "", fmt.Errorf("stage %s in front of jack %s has memory and cannot be written into a deck", s.Name, c.Jack)
		}
	}
	d := circuit.Deck{Title: c.Name, Drive: drive}
	if a.Step > 0 {
		d.Step, d.Stop, d.RelTol, d.Probes = dsp.Second(a.Step), dsp.Second(c.Length), a.RelTol, []string{c.Jack}
	}
	deck := w.Circuit.Deck(d)
	if c.Own != "" {
		if deck, err = withOwn(deck, c.Own, w.Chain.Blocks[0]); err != nil {
			return "", err
		}
	}
	for _, k := range c.Knobs {
		if deck, err = k.write(deck); err != nil {
			return "", err
		}
	}
	return deck, nil
}

// need gathers the stages in front of a node.
func need(w *render.Plan, node string, stages map[string]bool) {
	for _, in := range w.Section(node).Inputs() {
		for _, s := range w.Stages {
			for _, d := range s.Drive {
				if d == in && !stages[s.Name] {
					stages[s.Name] = true
					for _, sensed := range s.Sense {
						need(w, sensed, stages)
					}
				}
			}
		}
	}
}

// high is by how much a simulated waveform is oversampled before its spectrum is taken.
const high = 64

// Simulate is the voltage at the case's jack at high times the recording's rate.
func (c Case) Simulate(ctx context.Context, a Accuracy) ([]float64, *Waveforms, error) {
	deck, err := c.Deck(a)
	if err != nil {
		return nil, nil, err
	}
	w, err := c.runs.simulate(ctx, deck)
	if err != nil {
		return nil, nil, err
	}
	t, v := w.Vector("time"), w.Vector("v("+strings.ToLower(circuit.SPICEName(c.Jack))+")")
	if t == nil || v == nil {
		return nil, nil, fmt.Errorf("%s: no vector of jack %s among %v", c.Name, c.Jack, w.Names)
	}
	if last := t[len(t)-1]; last < c.Length*(1-1e-9) {
		return nil, nil, fmt.Errorf("%s: the simulator gave up at %v s of %v", c.Name, last, c.Length)
	}
	for k := 1; k < len(t); k++ {
		if dt := t[k] - t[k-1]; dt > a.Step*(1+1e-6) || dt <= 0 {
			return nil, nil, fmt.Errorf("%s: a step of %v s at %v s", c.Name, dt, t[k])
		}
	}
	return resample(t, v, 1/(high*c.Rate), c.samples()*high), w, nil
}

// The band that is compared, in Hz.
const (
	bottom = 20.0
	top    = 20e3
)

// Spectrum is lines of a waveform at a multiple of the recording's rate, from bottom to top, under
// a Hann window from the fade's end to the waveform's end. It is that of the waveform after an
// ideal band limit: nothing above the band is in it, however often it was sampled.
func (c Case) Spectrum(x []float64, multiple int) []complex128 {
	from := int(math.Round(c.Drive.Fade * c.Rate))
	n := c.samples() - from
	y := make([]float64, n*multiple)
	for k := range y {
		y[k] = x[from*multiple+k] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(len(y)))) / float64(multiple)
	}
	lines := fourier.NewFFT(len(y)).Coefficients(nil, y)
	resolution := c.Rate / float64(n)
	lo, hi := int(math.Ceil(bottom/resolution)), int(math.Floor(top/resolution))
	return lines[lo : hi+1]
}

// ErrorDB is the power of what lies between two spectra against the power of the reference, in dB.
func ErrorDB(got, want []complex128) float64 {
	e, s := 0.0, 0.0
	for k, w := range want {
		d := got[k] - w
		e += real(d)*real(d) + imag(d)*imag(d)
		s += real(w)*real(w) + imag(w)*imag(w)
	}
	return 10 * math.Log10(e/s)
}

// Result is what became of a case.
type Result struct {
	Case
	Residual float64 // dB between the last two runs of the reference
	Accuracy         // of the last
	Point    float64 // V, the largest difference between operating points
	Node     string  // and where it is
	Errors   []float64
	Reports  []transient.Report
	Err      error
	want     []complex128 // the reference's spectrum
}

// Check renders the case at the qualities and holds it against the simulator.
func (c Case) Check(ctx context.Context, qualities []section.Quality) Result {
	r := Result{Case: c}
	r.Err = func() error {
		var err error
		if r.want, r.Residual, r.Accuracy, err = c.Reference(ctx); err != nil {
			return err
		}
		if r.Point, r.Node, err = c.operating(ctx); err != nil {
			return err
		}
		for _, q := range qualities {
			y, report, err := c.Render(ctx, q)
			if err != nil {
				return err
			}
			r.Errors = append(r.Errors, ErrorDB(c.Spectrum(y, 1), r.want))
			r.Reports = append(r.Reports, report)
		}
		return nil
	}()
	return r
}

// operating is the largest difference between our operating point and the simulator's, over all
// nodes.
func (c Case) operating(ctx context.Context) (worst float64, where string, err error) {
	deck, err := c.Deck(Accuracy{})
	if err != nil {
		return 0, "", err
	}
	got, err := Simulate(ctx, deck)
	if err != nil {
		return 0, "", err
	}
	w, err := c.Wire(section.Normal)
	if err != nil {
		return 0, "", err
	}
	seen := 0
	for _, n := range w.Sections {
		p, err := n.Operating()
		if err != nil {
			return 0, "", err
		}
		for _, node := range n.Nodes() {
			if c.Own != "" && strings.HasSuffix(node, "/rs") {
				continue // within a diode, where the simulator has a node of its own
			}
			v := got.Vector("v(" + strings.ToLower(circuit.SPICEName(node)) + ")")
			if v == nil && c.Own != "" {
				v = got.Vector(ownVector(node))
			}
			if v == nil {
				return 0, "", fmt.Errorf("%s: the simulator has no node %s", c.Name, node)
			}
			seen++
			if d := math.Abs(v[0] - p.V(node)); d > worst {
				worst, where = d, node
			}
		}
	}
	if seen == 0 {
		return 0, "", fmt.Errorf("%s: no node to compare", c.Name)
	}
	return worst, where, nil
}
