// Package edit changes the text of a chain file and keeps every byte that the change does not
// touch: comments, quotes, the order of keys.
//
// An edit is made twice, in the text and in what the text means; what comes out is parsed and
// compared with what was meant, and refused where the two differ. Start reading at Text and its
// SetTake, then at edit.
package edit

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// Text is a chain file's text with what file.Parse made of it. It is never changed: an edit makes
// another. The errors of edits are a take, a block or a loop that is not there, a layout that
// cannot be edited here, and what the language of chain files does not allow.
type Text struct {
	Name   string // what messages call the file
	Source []byte
	File   *board.File // its cabinets have not been read

	decks file.Decks
}

// Read parses a text. The error is that of file.Parse.
func Read(name string, src []byte) (*Text, error) { return ReadWith(name, src, nil) }

// ReadWith is Read of a text that may name decks of its own, as do the texts that edits make of it:
// those have the decks as they were when this one was read. The error is that of file.ParseWith.
func ReadWith(name string, src []byte, decks file.Decks) (*Text, error) {
	if decks == nil {
		return read(name, src, nil)
	}
	var mu sync.Mutex
	known := map[string]*blocks.Kind{}
	return read(name, src, func(path string) (*blocks.Kind, error) {
		mu.Lock()
		defer mu.Unlock()
		if k := known[path]; k != nil {
			return k, nil
		}
		k, err := decks(path)
		if err == nil {
			known[path] = k
		}
		return k, err
	})
}

func read(name string, src []byte, decks file.Decks) (*Text, error) {
	f, err := file.ParseWith(name, src, decks)
	if err != nil {
		return nil, err
	}
	return &Text{name, src, f, decks}, nil
}

// Edits of a chain file's text: each gives the text with one thing changed and every other byte
// kept, so that comments, spacing, line ends and the order of keys stay as somebody wrote them.
// What comes out is parsed, once, and compared with what was meant; an edit that does not come out
// so is an error, and so is one whose result Parse refuses.
//
// Blocks that are in no order after an edit go into the tray; those that were there for that
// reason, and are in an order again, leave it.

// SetOrder changes the file's own order. The errors are those of edits; see Text.
func (x *Text) SetOrder(order []string, split *board.SplitOrder) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error { return d.ownOrder(f, order, split) })
}

// SetBoard changes the file's own order and what is in the loops of its switcher at once, as when a
// block goes from one to the other. The errors are those of edits; see Text.
func (x *Text) SetBoard(order []string, split *board.SplitOrder, switcher string, loops []board.Loop) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		if err := d.ownOrder(f, order, split); err != nil {
			return err
		}
		return d.ownLoops(f, switcher, loops)
	})
}

// ownOrder changes the file's own order.
func (d *document) ownOrder(f *board.File, order []string, split *board.SplitOrder) error {
	if f.Order != nil {
		if err := d.setOrder(f.Order, f.Split, order, split, "order"); err != nil {
			return err
		}
	} else if err := d.insertTop("order", board.OrderText(order, split), "blocks", "supplies", "recording"); err != nil {
		return err
	}
	f.Order, f.Split = full(order), filled(split)
	return nil
}

// SetTake turns the take of that name into t: its name, guitar, order with its split (nil: the
// file's), preset, loops of its own, toggled loops, settings by Target and Text, and blocks that
// are off. What does not change keeps its bytes. File.Fitted helps to drop settings of blocks that
// leave the order. The errors are those of edits, see Text, of a name or value that is no line of
// text, and of a loop or setting that is there twice.
func (x *Text) SetTake(name string, t board.Take) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		k, err := d.take(f, name)
		if err != nil {
			return err
		}
		if t, err = plain(t); err != nil {
			return err
		}
		if err := d.setTake(k, f.Takes[k], t); err != nil {
			return err
		}
		f.Takes[k] = t
		return nil
	})
}

// AddTake adds a take behind the one called after, or as the last where after is "". The errors are
// those of SetTake.
func (x *Text) AddTake(after string, t board.Take) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		if after == "" {
			after = f.Takes[len(f.Takes)-1].Name
		}
		k, err := d.take(f, after)
		if err != nil {
			return err
		}
		if t, err = plain(t); err != nil {
			return err
		}
		pairs := pairsOf(t)
		flow := make([]string, len(pairs))
		for i, p := range pairs {
			flow[i] = p.key + ": " + p.value(true)
		}
		line := "{" + strings.Join(flow, ", ") + "}"
		list := d.find("takes")
		like := list.entries[k].value
		if err := d.insert(list, k+1, line, func(indent string) string {
			if like.form != blockMap {
				return "- " + line
			}
			var text strings.Builder
			text.WriteString("- ")
			for i, p := range pairs {
				if i > 0 {
					text.WriteString(d.eol() + indent + "  ")
				}
				text.WriteString(p.key + ": " + p.value(false))
			}
			return text.String()
		}); err != nil {
			return err
		}
		f.Takes = slices.Insert(f.Takes, k+1, t)
		return nil
	})
}

// RemoveTake takes a take out. The last one stays, and taking it out is an error: a file has at
// least one. Other errors are those of edits; see Text.
func (x *Text) RemoveTake(name string) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		k, err := d.take(f, name)
		if err != nil {
			return err
		}
		if len(f.Takes) == 1 {
			return fmt.Errorf("%q is the only take, and a chain file has at least one", name)
		}
		f.Takes = slices.Delete(f.Takes, k, k+1)
		return d.remove(d.find("takes"), k)
	})
}

// SetLoops changes what is in the loops of a switcher, in all takes that have no loops of their
// own. The errors are those of edits; see Text.
func (x *Text) SetLoops(switcher string, loops []board.Loop) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error { return d.ownLoops(f, switcher, loops) })
}

// ownLoops changes the loops of a switcher.
func (d *document) ownLoops(f *board.File, switcher string, loops []board.Loop) error {
	at := slices.IndexFunc(f.Blocks, func(b board.Block) bool { return b.Name == switcher })
	if at < 0 || f.Blocks[at].Kind.Name != board.SwitcherKind {
		return fmt.Errorf("no block %q that is a switcher", switcher)
	}
	if len(loops) == 0 {
		return fmt.Errorf("%s has one loop at least; an empty one is a cable", switcher)
	}
	loops = sortedLoops(loops)
	if f.Blocks[at].Loops == nil {
		m := d.find("blocks", switcher)
		if err := d.insertKey(m, len(m.entries)-1, "loops", board.LoopsText(loops), false); err != nil {
			return err
		}
	} else if err := d.setLoops(f.Blocks[at].Loops, loops, "blocks", switcher, "loops"); err != nil {
		return err
	}
	for k := range loops {
		loops[k].Insert = slices.ContainsFunc(f.Blocks[at].Loops, func(l board.Loop) bool { return l.Insert && l.Number == loops[k].Number })
	}
	f.Blocks[at].Loops = loops
	return nil
}

// SetTray changes which blocks wait off the board. Those that are in no order wait there whether
// they are named or not. The errors are those of edits; see Text.
func (x *Text) SetTray(names []string) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		err := d.setTray(f.Tray, names)
		f.Tray = slices.Clone(names)
		return err
	})
}

// AddBlock adds a block of that kind with its default settings, and puts it into the tray. The
// errors are those of edits, see Text, of a kind that is not known or is a deck's, and of a name
// that a block has already or may not have.
func (x *Text) AddBlock(name, kind string) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		kinds := blocks.Kinds()
		at := slices.IndexFunc(kinds, func(k *blocks.Kind) bool { return k.Name == kind })
		if kind == blocks.CircuitKind {
			return fmt.Errorf("a circuit names its deck: write it into the chain file by hand, like %s: {kind: circuit, file: my-pedal.cir}", name)
		}
		if at < 0 {
			hint := ""
			if near := yamltext.Nearest(kind, file.KindNames(kinds)); near != "" {
				hint = fmt.Sprintf("; did you mean %q?", near)
			}
			return fmt.Errorf("no block kind %q%s", kind, hint)
		}
		if slices.ContainsFunc(f.Blocks, func(b board.Block) bool { return b.Name == name }) {
			return fmt.Errorf("there is a block %q already; give the new one another name", name)
		}
		if err := file.BlockName(name); err != nil {
			return err
		}
		value := "{kind: " + kind + "}"
		var err error
		if m := d.find("blocks"); m == nil {
			err = d.insertTop("blocks", "{"+yamltext.Quote(name, true)+": "+value+"}", "supplies", "load", "guitars", "guitar", "recording")
		} else {
			err = d.insertKey(m, len(m.entries)-1, name, d.aligned(m, name)+value, false)
		}
		f.Blocks = append(f.Blocks, board.Block{Name: name, Kind: kinds[at], Settings: kinds[at].Defaults()})
		return err
	})
}

// SetRecording turns to another recording: a sound file beside the chain file, how loud its loudest
// moment is at the guitar's jack (V, over 0), and what the guitar was plugged into while it was
// recorded; nil for nothing. What the file says of the former recording goes, but for comments in
// lines of their own behind it. The errors are those of edits; see Text.
func (x *Text) SetRecording(path string, peak dsp.Volt, load *board.Load) (*Text, error) {
	return x.edit(func(d *document, f *board.File) error {
		e, ok := d.entry("recording")
		if !ok {
			return errLayout
		}
		plugged := "none"
		if load != nil {
			plugged = fmt.Sprintf("{resistance: %s, cable: %s}", quantity(float64(load.Resistance), dsp.Ohms), quantity(float64(load.Cable), dsp.Metres))
		}
		f.Recording = board.Recording{File: path, Peak: peak, Load: load, LoadGiven: true, Side: "sum"}
		return d.replace(e, fmt.Sprintf("{file: %s, peak: %s, load: %s}", yamltext.Quote(path, true), quantity(float64(peak), dsp.Volts), plugged))
	})
}

// quantity is a quantity as people write it, or with all its digits where that would be another.
func quantity(v float64, unit dsp.Unit) string {
	text := dsp.FormatQuantity(v, unit)
	if back, err := dsp.ParseQuantity(text, unit); err == nil && back == v {
		return text
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + map[dsp.Unit]string{dsp.Volts: " V", dsp.Ohms: " Ω", dsp.Metres: " m"}[unit]
}

// edit changes a text and, by the same steps, what it is meant to say.
func (x *Text) edit(change func(*document, *board.File) error) (out *Text, err error) {
	defer func() {
		if recover() != nil { // a layout that nobody has thought of: the file is as it was
			out, err = nil, errLayout
		}
	}()
	d, err := newDocument(slices.Clone(x.Source))
	if err != nil {
		return nil, err
	}
	meant := forComparison(x.File)
	if err := change(d, meant); err != nil {
		return nil, err
	}
	tray := slices.Clone(meant.Tray)
	idle, before := meant.Idle(), x.File.Idle()
	tray = slices.DeleteFunc(tray, func(n string) bool { return slices.Contains(before, n) && !slices.Contains(idle, n) })
	for _, n := range idle {
		if !slices.Contains(tray, n) {
			tray = append(tray, n)
		}
	}
	if err := d.setTray(meant.Tray, tray); err != nil {
		return nil, err
	}
	meant.Tray = tray
	got, err := read(x.Name, d.src, x.decks)
	if err != nil {
		var faults yamltext.Faults
		if errors.As(err, &faults) && len(faults) > 0 {
			return nil, fmt.Errorf("the chain file does not allow that: %s", faults[0].Text)
		}
		return nil, err
	}
	if what := differs(forComparison(got.File), meant); what != "" {
		return nil, fmt.Errorf("the edit would have changed %s in another way than it should: the file is laid out in a way that cannot be edited here; edit it by hand", what)
	}
	return got, nil
}

// forComparison is the file with what is compared of takes and presets: no functions, no order
// where none matters, nil for empty where both mean the same.
func forComparison(f *board.File) *board.File {
	g := *f
	g.Blocks = slices.Clone(f.Blocks)
	g.Takes = make([]board.Take, len(f.Takes))
	for k, t := range f.Takes {
		g.Takes[k], _ = plain(t)
	}
	g.Presets = slices.Clone(f.Presets)
	for k := range g.Presets {
		g.Presets[k].Set = texts(f.Presets[k].Set)
	}
	g.Tray = slices.Clone(f.Tray)
	return &g
}

func texts(set []board.Setting) []board.Setting {
	var all []board.Setting
	for _, s := range set {
		all = append(all, board.Setting{Target: s.Target, Text: s.Text})
	}
	return all
}

// differs names the first thing that two files say in different words, "" for none.
func differs(a, b *board.File) string {
	va, vb := reflect.ValueOf(*a), reflect.ValueOf(*b)
	for k := range va.NumField() {
		x, y := va.Field(k), vb.Field(k)
		if name := va.Type().Field(k).Name; name == "Takes" {
			if len(a.Takes) != len(b.Takes) {
				return "the takes"
			}
			for i := range a.Takes {
				if !like(a.Takes[i], b.Takes[i]) {
					return fmt.Sprintf("take %q", b.Takes[i].Name)
				}
			}
		} else if x.Kind() == reflect.Slice && x.Len() == 0 && y.Len() == 0 && name != "Order" {
			continue
		} else if !reflect.DeepEqual(x.Interface(), y.Interface()) {
			return "the " + strings.ToLower(name)
		}
	}
	return ""
}

// like compares what two takes say.
func like(t board.Take, o board.Take) bool {
	sorted := func(l []string) []string { return slices.Sorted(slices.Values(l)) }
	set := func(t board.Take) map[string]string {
		m := map[string]string{}
		for _, s := range t.Set {
			m[s.Target] = s.Text
		}
		return m
	}
	return t.Name == o.Name && t.Guitar == o.Guitar && t.Preset == o.Preset && slices.Equal(t.Changes, o.Changes) && (t.Order == nil) == (o.Order == nil) && slices.Equal(t.Order, o.Order) &&
		reflect.DeepEqual(t.Split, o.Split) && reflect.DeepEqual(t.Loops, o.Loops) && slices.Equal(t.Toggle, o.Toggle) && len(t.Set) == len(o.Set) && maps.Equal(set(t), set(o)) &&
		slices.Equal(sorted(t.Off), sorted(o.Off)) && slices.Equal(sorted(t.On), sorted(o.On))
}

// plain is the take as Parse would have it.
func plain(t board.Take) (board.Take, error) {
	p := board.Take{
		Name: strings.TrimSpace(t.Name), Guitar: t.Guitar, Order: t.Order, Split: filled(t.Split), Preset: t.Preset, Changes: slices.Clone(t.Changes),
		Loops: sortedLoops(t.Loops), Toggle: slices.Clone(t.Toggle), Set: texts(t.Set), Off: t.Off, On: t.On,
	}
	if p.Name == "" {
		return p, errors.New("a take needs a name")
	}
	if strings.ContainsFunc(p.Name, yamltext.Steers) {
		return p, errors.New("the name of a take is one line of text")
	}
	if p.Split != nil {
		p.Order = full(p.Order)
	}
	slices.Sort(p.Toggle)
	for k, l := range p.Loops {
		if k > 0 && p.Loops[k-1].Number == l.Number {
			return p, fmt.Errorf("loop %d is there twice", l.Number)
		}
	}
	for k, s := range p.Set {
		if slices.ContainsFunc(p.Set[:k], func(o board.Setting) bool { return o.Target == s.Target }) {
			return p, fmt.Errorf("%s is set twice", s.Target)
		}
		text, err := settingText(s.Text)
		if err != nil {
			return p, fmt.Errorf("%s: %w", s.Target, err)
		}
		p.Set[k].Text = text
	}
	return p, nil
}

// settingText is the text of a setting as Parse would have it: a value with keys of its own, like
// {resistance: 6 kΩ}, in its usual form.
func settingText(text string) (string, error) {
	text = strings.TrimSpace(text)
	if strings.ContainsFunc(text, yamltext.Steers) {
		return "", errors.New("a value is one line of text")
	}
	if !keyed(text) {
		return text, nil
	}
	r := yamltext.NewReader("")
	body := r.Guard([]byte("k: " + text))
	pairs, ok := r.QuietPairs(body)
	if body == nil || !ok || len(pairs) != 1 || !yamltext.IsMap(pairs[0].Value) {
		return "", fmt.Errorf("%q is not readable", yamltext.Clipped(text, 60))
	}
	return yamltext.Written(pairs[0].Value), nil
}

func keyed(text string) bool { return strings.HasPrefix(text, "{") }

// full is a list of names that is not nil.
func full(names []string) []string { return append([]string{}, names...) }

// filled is a split whose lists are there and whose mix is said.
func filled(s *board.SplitOrder) *board.SplitOrder {
	if s == nil {
		return nil
	}
	f := &board.SplitOrder{Left: full(s.Left), Right: full(s.Right), Mix: s.Mix}
	if f.Mix == "" {
		f.Mix = board.MixStereo
	}
	return f
}

// insertTop adds a key to the top of the file, behind the first of some keys that is there.
func (d *document) insertTop(key, value string, behind ...string) error {
	m := d.root
	at := len(m.entries) - 1
	for _, name := range behind {
		if k := m.index(name); k >= 0 {
			at = k
			break
		}
	}
	apart := at > 0 && m.form == blockMap && d.blank(d.next(m.entries[at-1].to()))
	return d.insertKey(m, at, key, value, apart)
}

// take is the number of a take. A file that leaves its takes out has them written out first.
func (d *document) take(f *board.File, name string) (int, error) {
	k := slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == name })
	if k < 0 {
		_, err := f.Take(name)
		return 0, err
	}
	if d.root.index("takes") >= 0 {
		return k, nil
	}
	var text strings.Builder
	if d.root.form == flowMap {
		for i, t := range f.Takes {
			if i > 0 {
				text.WriteString(", ")
			}
			text.WriteString(TakeText(t))
		}
		return k, d.insertTop("takes", "["+text.String()+"]", "presets", "tray", "order", "blocks")
	}
	indent := strings.Repeat(" ", d.indent(d.root.from)+2)
	for i, t := range f.Takes {
		if i > 0 {
			text.WriteString(d.eol())
		}
		text.WriteString(indent + "- " + TakeText(t))
	}
	return k, d.insertTop("takes", d.eol()+text.String(), "presets", "tray", "order", "blocks")
}

// TakeLines is a take as a chain file would have it, a key on each line.
func TakeLines(t board.Take) (lines []string) {
	for _, p := range pairsOf(t) {
		lines = append(lines, p.key+": "+p.value(false))
	}
	return lines
}

// TakeText is a take as a chain file would have it, in flow style on one line.
func TakeText(t board.Take) string {
	var all []string
	for _, p := range pairsOf(t) {
		all = append(all, p.key+": "+p.value(true))
	}
	return "{" + strings.Join(all, ", ") + "}"
}

// pair is a key of a take with its value as text.
type pair struct {
	key   string
	value func(flow bool) string
}

// pairsOf is what a take says, in the order in which its keys are written.
func pairsOf(t board.Take) []pair {
	word := func(s string) func(bool) string { return func(flow bool) string { return yamltext.Quote(s, flow) } }
	same := func(s string) func(bool) string { return func(bool) string { return s } }
	all := []pair{{"name", word(t.Name)}}
	if t.Preset != "" {
		all = append(all, pair{"preset", same(t.PresetText())})
	}
	if t.Guitar != "" {
		all = append(all, pair{"guitar", word(t.Guitar)})
	}
	if t.Order != nil {
		all = append(all, pair{"order", same(board.OrderText(t.Order, t.Split))})
	}
	if len(t.Loops) > 0 {
		all = append(all, pair{"loops", same(board.LoopsText(t.Loops))})
	}
	if len(t.Toggle) > 0 {
		all = append(all, pair{"toggle", same(yamltext.FlowNames(numbers(t.Toggle)))})
	}
	if len(t.Set) > 0 {
		var set []string
		for _, s := range t.Set {
			set = append(set, yamltext.Quote(s.Target, true)+": "+settingValue(s.Text, true))
		}
		all = append(all, pair{"set", same("{" + strings.Join(set, ", ") + "}")})
	}
	if len(t.Off) > 0 {
		all = append(all, pair{"off", same(yamltext.FlowNames(t.Off))})
	}
	if len(t.On) > 0 {
		all = append(all, pair{"on", same(yamltext.FlowNames(t.On))})
	}
	return all
}

func settingValue(text string, flow bool) string {
	if keyed(text) {
		return text
	}
	return yamltext.Quote(text, flow)
}

func numbers(list []int) []string {
	var all []string
	for _, n := range list {
		all = append(all, strconv.Itoa(n))
	}
	return all
}

// setTake changes the k-th take, key by key.
func (d *document) setTake(k int, was, t board.Take) error {
	now, want := pairsOf(was), pairsOf(t)
	rank := func(key string) int {
		return slices.Index([]string{"name", "preset", "guitar", "order", "loops", "toggle", "set", "off", "on"}, key)
	}
	for _, p := range want {
		m := d.find("takes", k)
		if i := m.index(p.key); i >= 0 && p.key != "set" {
			if err := d.setKey(k, was, t, p); err != nil {
				return err
			}
			continue
		} else if i >= 0 {
			if err := d.setSettings(k, was.Set, t.Set); err != nil {
				return err
			}
			continue
		}
		before := -1
		for i, e := range m.entries {
			if rank(e.key.text) < rank(p.key) {
				before = i
			}
		}
		if err := d.insertKey(m, before, p.key, p.value(m.form == flowMap), false); err != nil {
			return err
		}
	}
	for _, p := range now {
		if slices.ContainsFunc(want, func(w pair) bool { return w.key == p.key }) {
			continue
		}
		m := d.find("takes", k)
		if err := d.removeKey(m, m.index(p.key)); err != nil {
			return err
		}
	}
	return nil
}

// setKey changes a key that a take has before and after.
func (d *document) setKey(k int, was, t board.Take, p pair) error {
	e, _ := d.entry("takes", k, p.key)
	word := func(old, new string) error {
		if old == new {
			return nil
		}
		return d.replace(e, yamltext.Quote(new, d.find("takes", k).form == flowMap))
	}
	switch p.key {
	case "name":
		return word(was.Name, t.Name)
	case "preset":
		if was.PresetText() == t.PresetText() {
			return nil
		}
		return d.replace(e, t.PresetText())
	case "guitar":
		return word(was.Guitar, t.Guitar)
	case "order":
		return d.setOrder(was.Order, was.Split, t.Order, t.Split, "takes", k, "order")
	case "loops":
		return d.setLoops(was.Loops, t.Loops, "takes", k, "loops")
	case "toggle":
		return d.setList(asSet(e.value.words(), numbers(t.Toggle)), "takes", k, "toggle")
	}
	return d.setList(asSet(e.value.words(), map[string][]string{"off": t.Off, "on": t.On}[p.key]), "takes", k, p.key)
}

// asSet is the wanted names in the order in which the file has those that it has.
func asSet(now, wanted []string) []string {
	var all []string
	for _, n := range append(slices.Clone(now), wanted...) {
		if slices.Contains(wanted, n) && !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	return all
}

// words is the scalars of a list.
func (p *part) words() []string {
	var all []string
	for _, e := range p.entries {
		all = append(all, strings.TrimSpace(e.value.text))
	}
	return all
}

// setList changes a list of words.
func (d *document) setList(wanted []string, path ...any) error {
	list := d.find(path...)
	if list == nil {
		return errLayout
	}
	return d.arrange(list.words(), wanted, func(n string) string { return yamltext.Quote(n, true) }, path...)
}

// theSplit stands for the split among the entries of an order. It is no name of a block.
const theSplit = "{split}"

// setOrder changes an order that is there.
func (d *document) setOrder(was []string, wasSplit *board.SplitOrder, order []string, split *board.SplitOrder, path ...any) error {
	names, wanted := slices.Clone(was), slices.Clone(order)
	if wasSplit != nil {
		names = append(names, theSplit)
	}
	if split != nil {
		split = filled(split)
		wanted = append(wanted, theSplit)
	}
	if err := d.arrange(names, wanted, func(n string) string {
		if n == theSplit {
			return split.String()
		}
		return yamltext.Quote(n, true)
	}, path...); err != nil || split == nil || wasSplit == nil {
		return err
	}
	at := append(slices.Clone(path), len(order), "split")
	if err := d.setList(split.Left, append(at, "left")...); err != nil {
		return err
	}
	if err := d.setList(split.Right, append(at, "right")...); err != nil {
		return err
	}
	if split.Mix == wasSplit.Mix {
		return nil
	}
	if e, ok := d.entry(append(at, "mix")...); ok {
		if split.Mix == board.MixStereo {
			m := d.find(at...)
			return d.removeKey(m, m.index("mix"))
		}
		return d.replace(e, split.Mix)
	}
	m := d.find(at...)
	if m == nil {
		return errLayout
	}
	return d.insertKey(m, len(m.entries)-1, "mix", split.Mix, false)
}

// setSettings changes what is set in a take that has some set before and after.
func (d *document) setSettings(k int, was, set []board.Setting) error {
	path := []any{"takes", k, "set"}
	find := func(list []board.Setting, target string) (string, bool) {
		for _, s := range list {
			if s.Target == target {
				return s.Text, true
			}
		}
		return "", false
	}
	for _, s := range set {
		m := d.find(path...)
		old, there := find(was, s.Target)
		switch {
		case !there:
			if err := d.insertKey(m, len(m.entries)-1, s.Target, settingValue(s.Text, m.form == flowMap), false); err != nil {
				return err
			}
		case old != s.Text:
			e, _ := d.entry(append(path, s.Target)...)
			if err := d.replace(e, settingValue(s.Text, m.form == flowMap)); err != nil {
				return err
			}
		}
	}
	for _, s := range was {
		if _, stays := find(set, s.Target); !stays {
			m := d.find(path...)
			if err := d.removeKey(m, m.index(s.Target)); err != nil {
				return err
			}
		}
	}
	return nil
}

// sortedLoops is loops by their numbers, with lists of blocks that are there.
func sortedLoops(loops []board.Loop) []board.Loop {
	var all []board.Loop
	for _, l := range loops {
		all = append(all, board.Loop{Number: l.Number, Blocks: full(l.Blocks)})
	}
	slices.SortStableFunc(all, func(a, b board.Loop) int { return a.Number - b.Number })
	return all
}

// setLoops changes loops that are there, of a switcher or of a take.
func (d *document) setLoops(was, loops []board.Loop, path ...any) error {
	for _, l := range loops {
		m, number := d.find(path...), strconv.Itoa(l.Number)
		if m.index(number) >= 0 {
			if err := d.setList(l.Blocks, append(slices.Clone(path), number)...); err != nil {
				return err
			}
			continue
		}
		before := -1
		for i, e := range m.entries {
			if n, _ := strconv.Atoi(e.key.text); n < l.Number {
				before = i
			}
		}
		if err := d.insertKey(m, before, number, yamltext.FlowNames(l.Blocks), false); err != nil {
			return err
		}
	}
	for _, l := range was {
		if !slices.ContainsFunc(loops, func(n board.Loop) bool { return n.Number == l.Number }) {
			m := d.find(path...)
			if err := d.removeKey(m, m.index(strconv.Itoa(l.Number))); err != nil {
				return err
			}
		}
	}
	return nil
}

// setTray changes the tray. An empty one is left out.
func (d *document) setTray(was, names []string) error {
	k := d.root.index("tray")
	switch {
	case slices.Equal(was, names):
		return nil
	case k < 0:
		return d.insertTop("tray", yamltext.FlowNames(names), "order", "blocks")
	case len(names) == 0:
		return d.removeKey(d.root, k)
	}
	return d.setList(names, "tray")
}

// aligned is the blanks that bring a value in line with the one above it, where that is in line
// with others.
func (d *document) aligned(m *part, name string) string {
	if m.form != blockMap {
		return ""
	}
	last := m.entries[len(m.entries)-1]
	column, padded := d.indent(last.value.from), false
	for _, e := range m.entries[max(0, len(m.entries)-2):] {
		if d.TakeText(e.value.from) != d.TakeText(e.from) || d.indent(e.value.from) != column {
			return ""
		}
		padded = padded || e.value.from-e.key.to > 2
	}
	if !padded {
		return ""
	}
	return strings.Repeat(" ", max(0, column-d.indent(m.from)-len(name)-2))
}
