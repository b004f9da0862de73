package report

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
)

// view is the page in words: every number is text with its unit, or stands under one in a table's
// head.
type view struct {
	Title, Lead, Version, Command string
	Policy                        string
	Style                         template.CSS
	Script                        template.JS
	Block                         []pair // the title block
	Hearing, Part                 string
	Matched                       string
	Notes                         []string
	ListenFor                     []string
	Takes                         []takeView
	Sounds                        []template.HTML // base64, one per take
	Player                        template.JS     // JSON for the script
	Seconds                       string
	Ticks                         []tickView
	Levels                        table
	Nulls                         *table
	Pairs                         []pairView
	PairTable                     *table
	Cables                        *table
	Swaps                         *swapsView
	Ladders                       []ladderView
	Jacks                         []table
	Silence                       string    // what the loop leaves out; "" for nothing
	Spectrum, TrueSpectrum        *plotView // matched in loudness, and not
	Guitar, Response              *plotView
	Losses                        *table
	Noise                         []noiseView
	Assumptions                   []string
	Remarks                       []string
	ChainName, ChainFile          string
	Solver                        *table
	Limits                        []string
	sections                      int
}

type pair struct{ Name, Value string }

type takeView struct {
	Number       int
	Name         string
	Sample       template.HTML // SVG: the take's line
	Wave         string        // path, matched in loudness
	TrueWave     string        // path, at its true level
	Flow         []stopView
	Paths        [][]stopView // behind Flow, where the signal splits
	Set          []string
	Color        string
	Gain, Levels string
}

// stopView is a block in the order of a take.
type stopView struct {
	Name       string
	Off, Moved bool
	End        bool // guitar or load
}

type tickView struct {
	Left string // %
	Text string
}

// table is a table with a caption; the first cell of a row is its head.
type table struct {
	Caption string
	Head    []headView
	Rows    []rowView
	Note    string
	Slim    bool // fits half a sheet of paper
}

type headView struct {
	Text, Unit string
	Words      bool // a column of words, not of numbers
}

type rowView struct {
	Sample template.HTML
	Head   string
	Cells  []string
}

type ladderView struct {
	Take     takeView
	Drawings []drawing
	Words    string
	Long     bool // too long to stand beside another
}

type plotView struct {
	ID, Title, Unit string
	Drawings        []drawing
	Takes           []takeView
	Data            template.JS
	Table           table
	Last, Start     int
	first, last     float64 // Hz
	Description     string
}

// SVG is a drawing's body as it is to be put into the page.
func (d drawing) SVG() template.HTML { return template.HTML(d.Body) }

// Edges is where the first and the last value stand in the two drawings, for the slider below to
// begin and end there.
func (p *plotView) Edges() template.CSS {
	at := func(d drawing, hz float64) float64 {
		return 100 * (d.Left + (d.Right-d.Left)*math.Log(hz/20)/math.Log(1000)) / d.Width
	}
	wide, narrow := p.Drawings[0], p.Drawings[1]
	return template.CSS(fmt.Sprintf("--axis:%.2f%%;--left:%.2f%%;--right:%.2f%%;--narrow-left:%.2f%%;--narrow-right:%.2f%%",
		100*wide.Left/wide.Width, at(wide, p.first), 100-at(wide, p.last), at(narrow, p.first), 100-at(narrow, p.last)))
}

type noiseView struct {
	Take   takeView
	Total  string
	Bars   []barView
	Causes string
	Advice string
}

type barView struct {
	Name, Level, Share string
	Short              bool   // the name is not to be broken
	Width              string // share, 0 to 1
}

// No counts the sections of the page.
func (v *view) No() int { v.sections++; return v.sections }

// LastKey is the digit that chooses the last take that a digit chooses.
func (v *view) LastKey() int { return min(9, len(v.Takes)) }

func newView(p Page) (*view, error) {
	c := p.Comparison
	v := &view{
		Title: c.Title, Version: p.Version, Command: p.Command, Hearing: p.Hearing, Part: p.Part, ListenFor: p.ListenFor, Remarks: p.Remarks,
		ChainName: p.ChainName, ChainFile: p.ChainFile, Limits: limits, Notes: c.Recording.Notes,
	}
	if v.Title == "" {
		v.Title = "A chain without a title"
	}
	v.takes(p)
	v.block(p)
	v.levels(p)
	v.pairs(p)
	v.cables(p.Comparison.Cables)
	v.swaps(p.Swaps)
	if err := v.sounds(p); err != nil {
		return nil, err
	}
	v.ladders(p)
	if err := v.plots(p); err != nil {
		return nil, err
	}
	v.noises(p)
	v.solver(c)
	return v, nil
}

// takes are the takes with what is changed in them against the first.
func (v *view) takes(p Page) {
	for k, t := range p.Comparison.Takes {
		view := takeView{Number: t.Number, Name: t.Name, Set: t.Set, Color: string(take(k)), Sample: template.HTML(sample(k)), Gain: signed(t.GainDB, 1) + " dB"}
		moved := movedBlocks(p.Comparison.Takes[0].Order, t.Order)
		flow := func(first string, blocks []string, last ...stopView) []stopView {
			stops := []stopView{{Name: first, End: true}}
			for _, b := range blocks {
				stops = append(stops, stopView{Name: b, Off: slices.Contains(t.Off, b), Moved: moved[b]})
			}
			return append(stops, last...)
		}
		load := stopView{Name: "load", End: true}
		if split := len(t.Left) + len(t.Right); split > 0 {
			view.Flow = flow("guitar", t.Order[:len(t.Order)-split])
			view.Paths = [][]stopView{flow("left", t.Left), flow("right", t.Right)}
		} else {
			view.Flow = flow("guitar", t.Order, load)
		}
		v.Takes = append(v.Takes, view)
	}
}

// movedBlocks are the fewest blocks that have to be moved to get from one order to another: those
// outside the longest sequence that both share. Where there are several such sequences, it is the
// one that keeps the earlier blocks of the second order moving least: the last of them found from
// the end.
func movedBlocks(from, to []string) map[string]bool {
	n, m := len(from), len(to)
	common := make([][]int, n+1)
	for k := range common {
		common[k] = make([]int, m+1)
	}
	for a := n - 1; a >= 0; a-- {
		for b := m - 1; b >= 0; b-- {
			if from[a] == to[b] {
				common[a][b] = common[a+1][b+1] + 1
			} else {
				common[a][b] = max(common[a+1][b], common[a][b+1])
			}
		}
	}
	moved := map[string]bool{}
	a, b := 0, 0
	for b < m {
		switch {
		case a < n && from[a] == to[b]:
			a, b = a+1, b+1
		case a < n && common[a+1][b] > common[a][b+1]:
			a++
		default:
			moved[to[b]] = true
			b++
		}
	}
	return moved
}

// block is the title block: what the sheet is about, at a glance.
func (v *view) block(p Page) {
	c := p.Comparison
	matched := fmt.Sprintf("%s LUFS", signed(c.TargetDB, 1))
	v.Matched = fmt.Sprintf("All takes are brought to one loudness, %s LUFS (ITU-R BS.1770), so that you judge the sound and not the level.", signed(c.TargetDB, 1))
	if c.MatchedBy == "rms" {
		matched = fmt.Sprintf("%s dB RMS", signed(c.TargetDB, 1))
		v.Matched = fmt.Sprintf("All takes are brought to one level, %s dB RMS re full scale: they are too short for a loudness.", signed(c.TargetDB, 1))
	}
	if c.LimitedBy != "" {
		v.Matched += fmt.Sprintf(" Louder, the peaks of take “%s” would pass %s dBTP.", c.LimitedBy, signed(c.CeilingDB, 0))
	}
	into := c.Recording.Load
	if into == "none" {
		into = "nothing: the bare pickup"
	}
	v.Lead = fmt.Sprintf("One dry recording through %s of the same board, computed in volts from the pickup to the last jack.", count(len(c.Takes), "take", "takes"))
	v.Block = []pair{
		{"Recording", fmt.Sprintf("%s, %s s", c.Recording.Name, seconds(c.Recording.Seconds))},
		{"Recorded into", into},
		{"Sample rate", fmt.Sprintf("%s kHz", number(float64(c.RateHz)/1000, -1))},
		{"Quality", c.Quality},
		{"Matched to", matched},
		{"Made by", strings.TrimSpace("drywire " + p.Version)},
	}
}

// levels are the table of takes and that of nulls.
func (v *view) levels(p Page) {
	c := p.Comparison
	unit := "LUFS"
	if c.MatchedBy == "rms" {
		unit = "dB RMS"
	}
	v.Levels = table{
		Caption: "Levels at the last jack, and what was done to them for listening",
		Head: []headView{{"take", "", true}, {"peak", "mV", false}, {"RMS", "mV", false}, {"level", "dBu", false}, {"before", unit, false}, {"gain", "dB", false},
			{"after", unit, false}, {"true peak", "dBTP", false}},
		Note: "Peak, RMS and level are of the simulated voltage. Before and gain take 1 V as full scale; after and true peak are of the file.",
	}
	for k, t := range c.Takes {
		v.Levels.Rows = append(v.Levels.Rows, rowView{v.Takes[k].Sample, takeHead(t), []string{
			number(1e3*t.PeakVolts, 1), number(1e3*t.RMSVolts, 2), level(t.LeveldBu), level(t.Before), signed(t.GainDB, 1), level(t.After), level(t.TruePeakDB)}})
		if !t.Matched {
			v.Levels.Note += fmt.Sprintf(" Take %d is not matched: it is silent (under 1 µV), or too little sound for a loudness.", t.Number)
		}
	}
	if len(c.Nulls) == 0 || len(p.Pairs) > 0 { // pairs say it better
		return
	}
	v.Nulls = &table{
		Caption: "What is left when one matched take is taken from another",
		Head:    []headView{{"pair", "", true}, {"left over", "dB", false}, {"in words", "", true}},
		Note: "Relative to the first of the pair. It says how different two waveforms are, not how different they sound: a delay of a millisecond " +
			"leaves much and is hardly heard.",
	}
	for _, n := range c.Nulls {
		text, words := level(n.DB), ""
		switch {
		case n.Identical:
			text, words = "none", "the same, to the last bit"
		case n.DB == nil:
			words = "not measurable: one of the two is silent"
		case *n.DB > -3:
			words = "as much difference as signal"
		default:
			words = fmt.Sprintf("the difference is %s %% of the signal", number(100*math.Pow(10, *n.DB/20), -2))
		}
		v.Nulls.Rows = append(v.Nulls.Rows, rowView{"", fmt.Sprintf("%d and %d", n.A, n.B), []string{text, words}})
	}
}

func takeHead(t experiment.Take) string { return fmt.Sprintf("%d %s", t.Number, t.Name) }

// sounds encodes the takes for the player.
func (v *view) sounds(p Page) error {
	if len(p.Sounds) == 0 {
		return nil
	}
	top := 0.0
	for _, s := range p.Sounds {
		top = math.Max(top, loudest(s.Channels))
	}
	type takeData struct {
		Name string  `json:"name"`
		Gain float64 `json:"gain"` // of true levels, a factor
	}
	data := struct {
		Rate    int        `json:"rate"`
		Seconds float64    `json:"seconds"`
		Loop    [2]float64 `json:"loop"` // seconds
		Takes   []takeData `json:"takes"`
	}{Rate: p.Sounds[0].Rate, Seconds: float64(len(p.Sounds[0].Channels[0])) / float64(p.Sounds[0].Rate)}
	data.Loop[1] = data.Seconds
	if end := soundEnd(p.Sounds); end < len(p.Sounds[0].Channels[0]) {
		data.Loop[1] = rounded(float64(end)/float64(data.Rate), 4)
		v.Silence = fmt.Sprintf("The loop ends at %s s, before the silence at the end.", number(data.Loop[1], 1))
	}
	least := leastGain(p.Comparison)
	for k, t := range p.Comparison.Takes {
		var channels [][]int32
		for _, x := range p.Sounds[k].Channels {
			channels = append(channels, quantise(x))
		}
		file, err := encode(channels, p.Sounds[k].Rate)
		if err != nil {
			return err
		}
		v.Sounds = append(v.Sounds, template.HTML(base64.StdEncoding.EncodeToString(file)))
		v.Takes[k].Wave = wave(p.Sounds[k].Channels, top)
		gain := 0.0 // a take that could not be matched has no level to speak of
		if t.Matched {
			gain = dsp.FromDB(least - t.GainDB)
			v.Takes[k].Levels = signed(least-t.GainDB, 1) + " dB"
			v.Takes[k].TrueWave = wave(p.Sounds[k].Channels, top/math.Max(gain, 1e-6))
		}
		data.Takes = append(data.Takes, takeData{t.Name, math.Round(gain*1e6) / 1e6})
	}
	v.Seconds = number(data.Seconds, 1)
	for _, t := range timeTicks(data.Seconds) {
		v.Ticks = append(v.Ticks, tickView{number(100*t/data.Seconds, 2), number(t, -1)})
	}
	var err error
	v.Player, err = jsonOf(data)
	return err
}

// leastGain is the gain of the loudest take, in dB: of those that were matched, the least.
func leastGain(c *experiment.Comparison) float64 {
	least := math.Inf(1)
	for _, t := range c.Takes {
		if t.Matched {
			least = math.Min(least, t.GainDB)
		}
	}
	return least
}

// timeTicks are round times, at most eight.
func timeTicks(seconds float64) []float64 {
	step := 0.1
	for n := 0; seconds/step > 8; n++ {
		step *= []float64{2, 2.5, 2}[n%3]
	}
	var list []float64
	for k := 0; float64(k)*step <= seconds*0.97; k++ {
		list = append(list, math.Round(float64(k)*step*100)/100)
	}
	return list
}

// ladders are the level diagrams, and the meters at every jack as tables.
func (v *view) ladders(p Page) {
	var measured []*experiment.Measures
	for _, m := range p.Measures {
		if m != nil {
			measured = append(measured, m)
		}
	}
	all := experiment.NewLadder(measured...)
	low, high := span(all)
	for k, m := range p.Measures {
		if m == nil {
			continue
		}
		rungs := all.Takes[len(v.Ladders)].Rungs
		drawings := drawLadder(k, rungs, low, high)
		long := slices.ContainsFunc(drawings, func(d drawing) bool { return d.Least > 0 })
		v.Ladders = append(v.Ladders, ladderView{v.Takes[k], drawings, ladderWords(rungs), long})
		t := table{Caption: fmt.Sprintf("%d %s", v.Takes[k].Number, v.Takes[k].Name)}
		for n, j := range m.Jacks {
			list := measures.Printed(measures.AtJacks(), m.Jacks[0].Values)
			if n == 0 {
				t.Head = append([]headView{{"jack", "", true}}, heads(list)...)
			}
			t.Rows = append(t.Rows, rowView{"", j.Jack, cells(list, j.Values)})
		}
		v.Jacks = append(v.Jacks, t)
	}
}

// heads is the columns of some measures, cells a row of them.
func heads(list []*measures.Measure) (heads []headView) {
	for _, m := range list {
		heads = append(heads, headView{m.Name, m.Shown(), false})
	}
	return heads
}

func cells(list []*measures.Measure, values measures.Values) (cells []string) {
	for _, m := range list {
		if f := values.Of(m); f.OK() {
			cells = append(cells, minus(m.Format(f)))
		} else {
			cells = append(cells, "–")
		}
	}
	return cells
}

// plots are spectra and responses.
func (v *view) plots(p Page) error {
	s := curves{label: "level in a third of an octave, dB", least: 30, most: 70}
	trueLevels := s
	least := leastGain(p.Comparison)
	for k, m := range p.Measures {
		if m == nil || len(m.Jacks) == 0 {
			continue
		}
		t := p.Comparison.Takes[k]
		bands := m.Jacks[len(m.Jacks)-1].ThirdOctaves
		c, own := curve{take: k, name: t.Name}, curve{take: k, name: t.Name}
		if len(s.hz) == 0 {
			for _, b := range bands {
				s.hz = append(s.hz, b.Hz)
			}
		}
		if len(bands) != len(s.hz) {
			continue
		}
		for _, b := range bands {
			db := math.NaN()
			if b.DBV.OK() && t.Matched {
				db = b.DBV.Value + t.GainDB
			}
			c.db, own.db = append(c.db, db), append(own.db, db+least-t.GainDB)
		}
		s.takes, trueLevels.takes = append(s.takes, c), append(trueLevels.takes, own)
	}
	var err error
	if v.Spectrum, err = v.plot("spectrum", "What you hear, by frequency", s); err != nil {
		return err
	}
	trueLevels.hz = s.hz
	if len(p.Sounds) > 0 {
		if v.TrueSpectrum, err = v.plot("true-spectrum", "What you hear at true levels, by frequency", trueLevels); err != nil {
			return err
		}
	}
	if v.Guitar, err = v.plot("guitar-response", "From the pickup to the guitar’s jack", v.responses(p.Guitar, 70)); err != nil {
		return err
	}
	if v.Response, err = v.plot("response", "From the pickup to the last jack", v.responses(p.Responses, 80)); err != nil {
		return err
	}
	v.losses(p)
	return nil
}

func (v *view) responses(list []*experiment.ResponseReport, most float64) curves {
	c := curves{label: "gain, dB", least: 20, most: most}
	for k, r := range list {
		if r == nil {
			continue
		}
		if len(c.hz) == 0 {
			for _, q := range r.Points {
				c.hz = append(c.hz, q.Hz)
			}
		}
		if len(r.Points) != len(c.hz) {
			continue
		}
		t := curve{take: k, name: v.Takes[k].Name}
		for _, q := range r.Points {
			db := math.NaN()
			if q.GainDB.OK() {
				db = q.GainDB.Value
			}
			t.db = append(t.db, db)
		}
		c.takes = append(c.takes, t)
	}
	return c
}

// plot is a plot with its data for the script and a table of it; nil for one without a point.
func (v *view) plot(id, title string, c curves) (*plotView, error) {
	if len(c.hz) == 0 || len(c.takes) == 0 {
		return nil, nil
	}
	drawings := c.draw()
	view := &plotView{ID: id, Title: title, Unit: "dB", Drawings: drawings, Last: len(c.hz) - 1, first: c.hz[0], last: c.hz[len(c.hz)-1]}
	data := struct {
		Hz    []float64    `json:"hz"`
		Takes [][]*float64 `json:"takes"`
	}{}
	for _, f := range c.hz {
		data.Hz = append(data.Hz, rounded(f, 4))
		if f < 1000 {
			view.Start++
		}
	}
	view.Table = table{Caption: title, Head: []headView{{"frequency", "Hz", false}}, Note: "Read off the plot at third-octave frequencies."}
	var words []string
	for _, t := range c.takes {
		view.Takes = append(view.Takes, v.Takes[t.take])
		view.Table.Head = append(view.Table.Head, headView{fmt.Sprintf("%d %s", v.Takes[t.take].Number, t.name), "dB", false})
		var list []*float64
		peak := 0
		for k, db := range t.db {
			if math.IsNaN(db) {
				list = append(list, nil)
				continue
			}
			short := math.Round(db*10)/10 + 0
			list = append(list, &short)
			if math.IsNaN(t.db[peak]) || db > t.db[peak] {
				peak = k
			}
		}
		data.Takes = append(data.Takes, list)
		if !math.IsNaN(t.db[peak]) {
			words = append(words, fmt.Sprintf("Take %d is highest at %s Hz, %s dB.", v.Takes[t.take].Number, number(rounded(c.hz[peak], 2), -1), signed(t.db[peak], 1)))
		}
	}
	view.Description = strings.Join(words, " ")
	each := max(1, len(c.hz)/30)
	for k := each / 2; k < len(c.hz); k += each {
		row := rowView{Head: number(rounded(c.hz[k], 3), -1)}
		for _, t := range c.takes {
			row.Cells = append(row.Cells, signed(t.db[k], 1))
		}
		view.Table.Rows = append(view.Table.Rows, row)
	}
	var err error
	view.Data, err = jsonOf(data)
	return view, err
}

// losses are the loading losses at every jack.
func (v *view) losses(p Page) {
	t := table{
		Caption: "Loading losses: what plugging in costs",
		Head: []headView{{"take", "", true}, {"into", "", true}, {"source", "", false}, {"input", "", false}, {"input takes, 1 kHz", "dB", false}, {"input takes, 5 kHz", "dB", false},
			{"cable", "m", false}, {"cable takes, 5 kHz", "dB", false}},
		Note: "Impedances at 1 kHz. Where nothing takes half a decibel, nothing is said. A negative loss is a gain: a cable can lower the resonance of a pickup to where it lifts the treble.",
	}
	for k, r := range p.Responses {
		if r == nil {
			continue
		}
		first := true
		for _, l := range r.Losses {
			if !worth(l) {
				continue
			}
			row := rowView{Cells: []string{l.Jack, dsp.FormatQuantity(rounded(l.Source, 3), dsp.Ohms), dsp.FormatQuantity(rounded(l.Input, 3), dsp.Ohms)}}
			if first {
				row.Head, row.Sample, first = takeHead(p.Comparison.Takes[k]), v.Takes[k].Sample, false
			}
			find := func(hz float64, of func(experiment.LossPoint) measures.Figure) string {
				for _, a := range l.At {
					if a.Hz == hz {
						return figure(of(a), 1)
					}
				}
				return "–"
			}
			in := func(a experiment.LossPoint) measures.Figure { return a.Input }
			cable := func(a experiment.LossPoint) measures.Figure { return a.Cable }
			row.Cells = append(row.Cells, find(1000, in), find(5000, in), number(l.Cable, -1), find(5000, cable))
			t.Rows = append(t.Rows, row)
		}
	}
	t.Slim = len(t.Rows) <= 12
	for _, r := range t.Rows {
		t.Slim = t.Slim && len(r.Cells[0]) <= 10 // letters of a jack
	}
	if len(t.Rows) > 0 {
		v.Losses = &t
	}
}

// worth reports whether a hand-over takes, or gives, half a decibel anywhere.
func worth(l experiment.Loss) bool {
	for _, a := range l.At {
		for _, f := range []measures.Figure{a.Input, a.Cable, a.Both} {
			if f.OK() && math.Abs(f.Value) >= 0.5 {
				return true
			}
		}
	}
	return false
}

// noises are the ledgers.
func (v *view) noises(p Page) {
	for k, r := range p.Noise {
		if r == nil {
			continue
		}
		n := noiseView{Take: v.Takes[k], Total: figure(r.ADBu, 1) + " dBu, A-weighted"}
		if r.Jack != "out" {
			n.Total = "at " + r.Jack + ": " + n.Total
		}
		for _, b := range r.Blocks {
			n.Bars = append(n.Bars, barView{b.Name, figure(b.ADBu, 1) + "\u00a0dBu", share(b.Share), utf8.RuneCountInString(b.Name) <= 18, number(b.Share, 4)})
		}
		var causes []string
		for _, c := range r.Causes {
			causes = append(causes, fmt.Sprintf("%s %s", c.Name, share(c.Share)))
		}
		n.Causes = strings.Join(causes, ", ")
		if m, ok := r.Quieter(); ok {
			n.Advice = fmt.Sprintf("Moving %s %s would change the noise by %s dB and the gain at 1 kHz by %s dB.", m.Block, m.Where, signed(m.NoiseDB, 1), signed(m.GainDB, 1))
		} else if len(r.Moves) > 0 {
			n.Advice = "No move of one block makes it quieter by 1 dB at the same gain."
		}
		v.Assumptions = r.Assumptions
		v.Noise = append(v.Noise, n)
	}
}

func share(of float64) string {
	if of > 0 && of < 0.001 {
		return "under\u00a00.1\u00a0%"
	}
	return number(100*of, 1) + "\u00a0%"
}

// solver is the table of the solver's convergence.
func (v *view) solver(c *experiment.Comparison) {
	t := table{
		Caption: "Convergence of the solver, in each non-linear circuit",
		Head: []headView{{"take", "", true}, {"solved together", "", true}, {"rate", "kHz", false}, {"steps", "", false}, {"divided", "steps", false}, {"most iterations", "", false},
			{"unconverged", "steps", false}},
		Note: "An unconverged step is a wrong voltage; there should be none.",
	}
	for k, take := range c.Takes {
		for _, s := range take.Solver {
			t.Rows = append(t.Rows, rowView{v.Takes[k].Sample, takeHead(take), []string{
				strings.Join(s.Parts, " + "), number(s.RateHz/1000, -1), grouped(s.Steps), grouped(s.Divided), strconv.Itoa(s.MaxIterations), grouped(s.Unconverged)}})
		}
	}
	if len(t.Rows) > 0 {
		v.Solver = &t
	}
}

// limits is what the model does not know.
var limits = []string{
	"Circuits are solved with real component values, but generic ones: common practice, not one maker’s.",
	"Transistors have no temperature but 27 °C, no spread and no series resistance. Tapers and tolerances are the textbook’s.",
	"The guitar is a pickup with resistance, inductance, capacitance and an eddy-current branch, two pots and a cable. What the guitar is plugged into does not act back on the string.",
	"Dynamics, equalisers, modulation, delays, reverbs, the power amplifier and the loudspeaker are signal processing behind a real input and output.",
	"Supplies have a voltage, a limit and, where they are shared, a ripple by assumption, which is in the noise; only the power amplifier’s sags. Currents in a common ground and clock whine are not in the model.",
	"Cables have resistance and capacitance, not microphony.",
	"A difference that is shown here is one that the circuit makes. Whether you will like it is for your ears.",
}

// Numbers in words.

func level(db *float64) string {
	if db == nil {
		return "–"
	}
	return signed(*db, 1)
}

func figure(f measures.Figure, digits int) string {
	if !f.OK() {
		return "–"
	}
	return minus(f.Text(digits))
}

// signed is a number with that many digits after the point and a true minus.
func signed(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if zero := strconv.FormatFloat(0, 'f', digits, 64); text == "-"+zero {
		return zero
	}
	return minus(text)
}

// number is a number with so many digits after the point; -1: as many as it has; -2: two digits in
// all.
func number(v float64, digits int) string {
	switch digits {
	case -1:
		return minus(strconv.FormatFloat(v, 'f', -1, 64))
	case -2:
		return minus(strconv.FormatFloat(rounded(v, 2), 'f', -1, 64))
	}
	return signed(v, digits)
}

// seconds is a length with one digit, or where it is short with two in all.
func seconds(v float64) string {
	if v < 0.95 {
		return number(v, -2)
	}
	return number(v, 1)
}

// rounded is a number to so many digits in all.
func rounded(v float64, digits int) float64 {
	short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil {
		return v
	}
	return short
}

// grouped is a count with thin spaces between its thousands.
func grouped(n int64) string {
	digits := strconv.FormatInt(n, 10)
	var b strings.Builder
	for k, d := range digits {
		if k > 0 && (len(digits)-k)%3 == 0 && digits[k-1] != '-' {
			b.WriteRune('\u202f')
		}
		b.WriteRune(d)
	}
	return b.String()
}

func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// Cells is a row's cells, with what their columns hold.
func (t table) Cells(r rowView) []cellView {
	list := make([]cellView, len(r.Cells))
	for k, text := range r.Cells {
		list[k] = cellView{text, k+1 < len(t.Head) && t.Head[k+1].Words}
	}
	return list
}

type cellView struct {
	Text  string
	Words bool
}
