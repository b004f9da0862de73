package page

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/wiring"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

// State is all that is sent to a page of its document.
type State struct {
	File     string   `json:"file"`
	Start    string   `json:"start,omitempty"` // where other boards are opened from
	Title    string   `json:"title"`
	Revision int      `json:"revision"`
	Dirty    bool     `json:"dirty"`
	Disk     string   `json:"disk"` // same, changed or gone
	Undo     int      `json:"undo"`
	Redo     int      `json:"redo"`
	Changes  []string `json:"changes"` // that can be undone, the last one last
	Takes    []string `json:"takes"`
	Presets  []string `json:"presets"`
	Guitars  []string `json:"guitars"` // "" is the file's own
	Kinds    []KindOf `json:"kinds"`
	// what a player may say of a sound, for why
	Complaints []ComplaintOf    `json:"complaints"`
	Recording  RecordingOf      `json:"recording"`
	Region     [2]int64         `json:"region"` // that a page begins with, in frames
	Longest    int64            `json:"longest"`
	Sides      map[string]*Side `json:"sides"`
	Cautions   []string         `json:"cautions"`
	// where B loads a block otherwise than A does, most first
	Reasons []string `json:"reasons"`
}

// KindOf is a kind of block, for a page to offer.
type KindOf struct {
	Name  string `json:"name"`
	Brief string `json:"brief"`
}

// RecordingOf is the recording, for a page to draw.
type RecordingOf struct {
	Name     string       `json:"name"`
	Rate     int          `json:"rate"`
	Frames   int64        `json:"frames"`
	Waveform [][2]float64 `json:"waveform"` // least and largest, in volts
}

// Side is what one side shows.
type Side struct {
	Take      string        `json:"take"`
	Preset    string        `json:"preset"`
	Guitar    string        `json:"guitar"`
	Lane      []any         `json:"lane"` // of *Station; the last may be a *Paths
	Tray      []*Station    `json:"tray"`
	Station   GuitarStation `json:"guitar_station"`
	Load      LoadStation   `json:"load_station"`
	Cables    []CableOf     `json:"cables"`
	Jacks     []string      `json:"jacks"` // where it can be heard, as the signal runs
	Sentences []string      `json:"sentences"`

	take board.Take
	of   *board.File
}

// Station is a block in its place.
type Station struct {
	Block   string   `json:"block"`
	Kind    string   `json:"kind"`
	Brief   string   `json:"brief"`
	Off     bool     `json:"off"`
	In      *string  `json:"in"`  // |Z| at 1 kHz; null where it is not plugged in
	Out     *string  `json:"out"` // with the cable behind it
	Loading string   `json:"loading"`
	LossDB  *float64 `json:"loss_db"` // what plugging it in costs at 1 kHz, under 0
	Weak    bool     `json:"weak"`    // what drives it is loaded by it
	Knobs   []KnobOf `json:"knobs"`
	Loops   []LoopOf `json:"loops,omitempty"` // of a switcher
}

// LoopOf is a loop of a switcher.
type LoopOf struct {
	Number int  `json:"number"`
	On     bool `json:"on"`
	// it holds something else in this take than the switcher has in it
	Own bool `json:"own"`
	// it is always in
	Insert bool       `json:"insert,omitempty"`
	Blocks []*Station `json:"blocks"`
}

// Paths is a split.
type Paths struct {
	Split struct {
		Left  []*Station `json:"left"`
		Right []*Station `json:"right"`
		Mix   string     `json:"mix"`
	} `json:"split"`
}

// GuitarStation is where the signal begins.
type GuitarStation struct {
	Name   string   `json:"name"`
	Pickup string   `json:"pickup"`
	Out    *string  `json:"out"`
	Knobs  []KnobOf `json:"knobs"`
}

// LoadStation is where it ends.
type LoadStation struct {
	In     *string  `json:"in"`
	LossDB *float64 `json:"loss_db"`
}

// KnobOf is a knob, with its position. Percentages are in per cent; every other number is in the
// unit, which is "" for dials.
type KnobOf struct {
	Name   string   `json:"name"`
	Target string   `json:"target"`
	Brief  string   `json:"brief"`
	Unit   string   `json:"unit"`
	Min    *float64 `json:"min"`
	Max    *float64 `json:"max"`
	Value  *float64 `json:"value"` // null for a word
	Text   string   `json:"text"`  // as a chain file has it
	Words  []string `json:"words"` // null for a number
	Moves  bool     `json:"moves"` // with the recording; what is told is where it is at 0 s
}

// CableOf is a cable to move between the order on the floor and the one on screen.
type CableOf struct {
	Text string `json:"text"`
	From string `json:"from"`
	To   string `json:"to"`
}

// hearing is said wherever someone is about to listen.
const hearing = "Start with the volume turned down, then raise it: fuzz is dense and tires the ear unnoticed."

// state is what is sent to the page. The lock is held.
func (n *session) state() (json.RawMessage, error) {
	f, r := n.doc.File, n.doc.Dry
	s := State{
		Start: n.server.options.Start,
		File:  n.server.name, Title: f.Title, Revision: n.revision, Dirty: n.dirty(), Disk: n.disk, Undo: len(n.undo), Redo: len(n.redo),
		Changes: []string{}, Takes: []string{}, Presets: []string{}, Guitars: []string{""}, Complaints: complaints(),
		Recording: RecordingOf{r.Title, int(r.Rate), r.Frames, r.Waveform},
		Region:    [2]int64{0, min(r.Frames, longest(r), int64(usualSeconds*float64(r.Rate)))}, Longest: longest(r),
		Sides: map[string]*Side{}, Cautions: []string{hearing},
	}
	for _, u := range n.undo {
		s.Changes = append(s.Changes, u.then)
	}
	for _, t := range f.Takes {
		s.Takes = append(s.Takes, t.Name)
	}
	for _, p := range f.Presets {
		s.Presets = append(s.Presets, p.Name)
	}
	for _, g := range f.Guitars {
		s.Guitars = append(s.Guitars, g.Name)
	}
	for _, k := range blocks.Kinds() {
		s.Kinds = append(s.Kinds, KindOf{k.Name, k.Brief})
	}
	for _, r := range n.doc.Dries(f.Chains()...) {
		for _, text := range r.Cautions {
			// the page says so itself
			s.Cautions = append(s.Cautions, strings.TrimPrefix(text, "CAUTION: "))
		}
	}
	for _, p := range f.Plugged() {
		s.Cautions = append(s.Cautions, p.Warnings...)
	}
	for k, letter := range letters {
		side, err := n.side(k)
		if err != nil {
			return nil, err
		}
		s.Sides[letter] = side
		for _, w := range n.doc.chain(k).Warnings() {
			if !slices.Contains(s.Cautions, w) {
				s.Cautions = append(s.Cautions, w)
			}
		}
	}
	s.Reasons = reasons(n.doc.chain(0), n.doc.chain(1))
	return json.Marshal(s)
}

// longest is how many frames a region of the recording may have.
func longest(r *produce.Recording) int64 {
	return min(r.Frames, mostFrames, int64(mostSeconds*float64(r.Rate)))
}

// side is what one side shows. The lock is held.
func (n *session) side(k int) (*Side, error) {
	f, t := n.doc.File, n.doc.take(k)
	if old := n.sides[k]; old != nil && old.of == f && old.take.Name == t.Name {
		old.Sentences = n.moved[k]
		return old, nil
	}
	c := n.doc.chain(k)
	hands, err := c.Impedances()
	if err != nil {
		return nil, err
	}
	s := &Side{Take: t.Name, Preset: t.Preset, Guitar: c.GuitarName, Lane: []any{}, Tray: []*Station{}, Cables: n.cables(k, c.Chain), Jacks: c.Jacks(), Sentences: n.moved[k], take: t, of: f}
	s.Station = GuitarStation{Name: c.GuitarName, Pickup: c.Guitar.Pickup.Name, Out: ohms(hands[0].Source), Knobs: []KnobOf{
		dial("guitar.volume", "the guitar's volume", c.Guitar.Volume), dial("guitar.tone", "the guitar's tone", c.Guitar.Tone),
	}}
	here := map[string]bool{}
	l := layer{file: f, take: t, set: f.AsSet(t), on: f.LoopsOn(t), here: here}
	for _, station := range l.lay(c.Blocks, hands, "the guitar") {
		s.Lane = append(s.Lane, station)
	}
	end := hands[len(c.Blocks)]
	if c.Split != nil {
		p := &Paths{}
		from := "the guitar"
		if len(c.Blocks) > 0 {
			from = c.Blocks[len(c.Blocks)-1].Name
		}
		left := hands[len(c.Blocks)+1:]
		right := left[len(c.Split.Left)+1:]
		p.Split.Left, p.Split.Right, p.Split.Mix = l.lay(c.Split.Left, left, from), l.lay(c.Split.Right, right, from), c.Split.Mix
		s.Lane = append(s.Lane, p)
		end = left[len(c.Split.Left)]
	}
	s.Load = LoadStation{In: ohms(end.Input), LossDB: loss(end)}
	for _, b := range l.set {
		if !here[b.Name] {
			s.Tray = append(s.Tray, stationOf(b.Name, b.Kind, b.Settings, false))
		}
	}
	s.moving(c.Chain)
	n.sides[k] = s
	return s, nil
}

// moving marks the knobs that move.
func (s *Side) moving(c *board.Chain) {
	moves := map[string]bool{}
	for _, t := range c.Turns {
		moves[t.Target] = true
	}
	var mark func(stations []*Station)
	knobs := func(list []KnobOf) {
		for k := range list {
			list[k].Moves = moves[list[k].Target]
		}
	}
	mark = func(stations []*Station) {
		for _, st := range stations {
			knobs(st.Knobs)
			for _, l := range st.Loops {
				mark(l.Blocks)
			}
		}
	}
	knobs(s.Station.Knobs)
	for _, entry := range s.Lane {
		switch e := entry.(type) {
		case *Station:
			mark([]*Station{e})
		case *Paths:
			mark(e.Split.Left)
			mark(e.Split.Right)
		}
	}
}

// layer builds the list of stations.
type layer struct {
	file *board.File
	take board.Take
	set  []board.Placed // every block, as the take sets it and its supply feeds it
	on   []int
	here map[string]bool // the blocks that have been added
}

// lay is the stations of a run of blocks, with the hand-over into each and the one behind the last.
func (l layer) lay(line []board.Placed, hands []wiring.Handover, from string) []*Station {
	stations := []*Station{}
	var switcher *Station // that the signal is in
	for k, p := range line {
		feed := fedBy(from, line[:k], hands[k])
		var s *Station
		switch {
		case p.Piece != nil && switcher != nil && switcher.Block == p.Switcher:
			s = switcher // comes back to it from a loop
		case p.Piece != nil:
			s = stationOf(p.Switcher, p.Kind, p.Settings, false)
			s.loopsOf(l)
			switcher = s
			stations = append(stations, s)
			s.plug(feed)
		case switcher != nil && p.Switcher == switcher.Block:
			s = stationOf(p.Name, p.Kind, p.Settings, p.Off)
			switcher.replace(s)
			s.plug(feed)
		default:
			switcher = nil
			s = stationOf(p.Name, p.Kind, p.Settings, p.Off)
			stations = append(stations, s)
			s.plug(feed)
		}
		s.Out = ohms(hands[k+1].Source)
		l.here[s.Block] = true
		from = s.Block
	}
	return stations
}

// loopsOf puts the loops of the switcher into its station, as the take has them.
func (s *Station) loopsOf(l layer) {
	file := l.file.LoopsOf(board.Take{})
	for k, loop := range l.file.LoopsOf(l.take) {
		o := LoopOf{Number: loop.Number, On: slices.Contains(l.on, loop.Number), Insert: loop.Insert, Own: !slices.Equal(loop.Blocks, file[k].Blocks), Blocks: []*Station{}}
		for _, name := range loop.Blocks {
			inner := l.set[slices.IndexFunc(l.set, func(b board.Placed) bool { return b.Name == name })]
			o.Blocks = append(o.Blocks, stationOf(name, inner.Kind, inner.Settings, inner.Off))
			l.here[name] = true
		}
		s.Loops = append(s.Loops, o)
	}
}

// replace puts a station of a loop that is in where the file's stood.
func (s *Station) replace(with *Station) {
	for _, l := range s.Loops {
		for k, b := range l.Blocks {
			if b.Block == with.Block {
				l.Blocks[k] = with
			}
		}
	}
}

func stationOf(name string, kind *blocks.Kind, set blocks.Settings, off bool) *Station {
	s := &Station{Block: name, Kind: kind.Name, Brief: kind.Brief, Off: off, Knobs: []KnobOf{}}
	for _, knob := range kind.Knobs {
		k := KnobOf{Name: knob.Name, Target: name + "." + knob.Name, Brief: knob.Brief, Words: knob.Words}
		if knob.Words != nil {
			k.Text = set.Word(knob.Name)
		} else {
			k.number(knob.Unit, knob.Min, knob.Max, set.Number(knob.Name))
		}
		s.Knobs = append(s.Knobs, k)
	}
	return s
}

// number is the position of a knob that has no words.
func (k *KnobOf) number(unit dsp.Unit, low, high, v float64) {
	factor := 1.0
	switch unit {
	case dsp.Dial:
		k.Unit = ""
	case dsp.Percents:
		k.Unit, factor = "%", 100
	default:
		k.Unit = string(unit)
	}
	scaled := func(v float64) *float64 {
		v = math.Round(v*factor*1e12) / 1e12
		return &v
	}
	k.Min, k.Max, k.Value = scaled(low), scaled(high), scaled(v)
	k.Text = dsp.FormatQuantity(v, unit)
	if unit == dsp.Dial {
		k.Text = fmt.Sprint(*k.Value)
	}
}

func dial(target, brief string, v float64) KnobOf {
	k := KnobOf{Name: target[len("guitar."):], Target: target, Brief: brief}
	k.number(dsp.Dial, 0, 10, v)
	return k
}

// ohms is the magnitude of an impedance to three digits, with its unit.
func ohms(z complex128) *string {
	v := cmplx.Abs(z)
	if v > 0 && !math.IsInf(v, 0) {
		digits := math.Pow(10, 2-math.Floor(math.Log10(v)))
		v = math.Round(v*digits) / digits
	}
	text := dsp.FormatQuantity(v, dsp.Ohms)
	return &text
}

// loss is the loading loss at a jack at 1 kHz, in dB, 0 or less: the divider of source and input.
func loss(h wiring.Handover) *float64 {
	db := dsp.ToDB(cmplx.Abs(h.Input / (h.Source + h.Input)))
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return nil
	}
	db = math.Round(db*100) / 100
	return &db
}

// bridging is how many times the impedance of what drives it an input must have not to load it:
// common practice, no source.
const bridging = 10

// weak reports whether a source is loaded by the input that it drives.
func weak(h wiring.Handover) bool { return cmplx.Abs(h.Input) < bridging*cmplx.Abs(h.Source) }

// plug sets what drives a station. A loudspeaker is what a power amplifier is made to be loaded
// by.
func (s *Station) plug(f fed) {
	s.In, s.LossDB, s.Weak = ohms(f.Input), loss(f.Handover), weak(f.Handover) && !f.power
	if s.Weak && s.LossDB != nil {
		s.Loading = fmt.Sprintf("It loads %s: %s into %s costs %.1f dB at 1 kHz; other frequencies differ.", f.by, *ohms(f.Source), *ohms(f.Input), -*s.LossDB)
	}
}

// fed is what drives each block of a chain, and the end.
type fed struct {
	by    string
	power bool // by the power of an amplifier
	wiring.Handover
}

func fedBy(from string, before []board.Placed, h wiring.Handover) fed {
	n := len(before)
	return fed{from, n > 0 && before[n-1].Kind.Place == blocks.AfterPower, h}
}

func feeds(c *produce.Take) map[string]fed {
	hands, err := c.Impedances()
	if err != nil {
		return nil
	}
	list := map[string]fed{}
	walk := func(line []board.Placed, hands []wiring.Handover, from, end string) string {
		for k, p := range line {
			list[p.Name] = fedBy(from, line[:k], hands[k])
			if from = p.Name; p.Piece != nil {
				from = p.Switcher
			}
		}
		if end != "" {
			list[end] = fedBy(from, nil, hands[len(line)])
		}
		return from
	}
	if c.Split == nil {
		walk(c.Blocks, hands, "the guitar", "the load")
		return list
	}
	from := walk(c.Blocks, hands, "the guitar", "")
	left := hands[len(c.Blocks)+1:]
	walk(c.Split.Left, left, from, "the left load")
	walk(c.Split.Right, left[len(c.Split.Left)+1:], from, "the right load")
	return list
}

// worthTelling is by how many dB at 1 kHz a loading must change for a sentence: a step in level
// that is just heard (common practice, no source).
const worthTelling = 0.5

// reasons says where the loading of a block in b is another than in a, what changes most first.
func reasons(a, b *produce.Take) []string {
	type reason struct {
		text string
		db   float64
	}
	var list []reason
	was, is := feeds(a), feeds(b)
	for name, x := range was {
		y, both := is[name]
		lx, ly := loss(x.Handover), loss(y.Handover)
		if !both || lx == nil || ly == nil || math.Abs(*lx-*ly) < worthTelling {
			continue
		}
		in, by := *ohms(y.Input), func(f fed) string { return fmt.Sprintf("%s (%s)", f.by, *ohms(f.Source)) }
		text := fmt.Sprintf("%s (%s in) is driven by %s in B, by %s in A", name, in, by(y), by(x))
		if x.by == y.by {
			text = fmt.Sprintf("%s (%s in) is driven by %s: %s in B, %s in A", name, in, y.by, *ohms(y.Source), *ohms(x.Source))
		}
		list = append(list, reason{fmt.Sprintf("%s: %.1f dB lost at 1 kHz in B, %.1f dB in A.", text, -*ly, -*lx), math.Abs(*lx - *ly)})
	}
	slices.SortFunc(list, func(p, q reason) int { return cmp.Or(cmp.Compare(q.db, p.db), strings.Compare(p.text, q.text)) })
	texts := make([]string, len(list))
	for k, r := range list {
		texts[k] = r.text
	}
	return texts
}

// sentences says where a change has changed the loading, and why.
func sentences(before, after *produce.Take) []string {
	old, now := feeds(before), feeds(after)
	list := []string{}
	names := []string{}
	for _, p := range after.Every() {
		if p.Piece == nil {
			names = append(names, p.Name)
		}
	}
	for _, name := range append(names, "the load", "the left load", "the right load") {
		a, was := old[name]
		b, is := now[name]
		if !was || !is {
			continue
		}
		la, lb := loss(a.Handover), loss(b.Handover)
		if la == nil || lb == nil || math.Abs(*la-*lb) < worthTelling {
			continue
		}
		if a.by != b.by {
			list = append(list, fmt.Sprintf("%s is now driven by %s (%s) and no longer by %s (%s): it loads it: %.1f dB lost at 1 kHz (before: %.1f dB).",
				name, b.by, *ohms(b.Source), a.by, *ohms(a.Source), -*lb, -*la))
		} else if as, bs := cmplx.Abs(a.Source), cmplx.Abs(b.Source); math.Abs(math.Log(as/bs)) > math.Abs(math.Log(cmplx.Abs(a.Input)/cmplx.Abs(b.Input))) {
			list = append(list, fmt.Sprintf("%s has %s behind it now and no longer %s, so %s loads it: %.1f dB lost at 1 kHz (before: %.1f dB).",
				b.by, *ohms(b.Source), *ohms(a.Source), name, -*lb, -*la))
		} else {
			list = append(list, fmt.Sprintf("%s has an input of %s now and no longer of %s: it loads %s: %.1f dB lost at 1 kHz (before: %.1f dB).",
				name, *ohms(b.Input), *ohms(a.Input), b.by, -*lb, -*la))
		}
	}
	return list
}
