package because

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
)

// Differences undone one after the other lead from every take of every shipped file to every other
// one: nothing that differs is overlooked.
func TestDifferencesUndoneLeadBack(t *testing.T) {
	pairs := 0
	for _, name := range chains.Shipped() {
		f := chaintest.ShippedFile(t, name)
		takes := f.Takes
		for _, p := range f.Presets {
			takes = append(takes, board.Take{Name: p.Name, Preset: p.Name})
		}
		if len(takes) > 6 {
			takes = takes[:6]
		}
		for _, a := range takes {
			for _, b := range takes {
				pairs++
				leadsBack(t, f, a, b)
			}
		}
	}
	if pairs < 50 {
		t.Errorf("%d pairs only", pairs)
	}
}

func leadsBack(t *testing.T, f *board.File, a, b board.Take) {
	t.Helper()
	now := b
	for range 60 {
		list := Differences(f, a, now, "A")
		if len(list) == 0 {
			break
		}
		now = list[0].Back
	}
	x, y := f.Of(f.Owned(a)), f.Of(f.Owned(now))
	x.Take, y.Take = "", ""
	if list := Differences(f, a, now, "A"); len(list) > 0 {
		t.Errorf("%s: %q against %q: never ends: %v", f.Title, b.Name, a.Name, list[0].Text)
	} else if !slices.EqualFunc(x.Every(), y.Every(), func(p, q board.Placed) bool {
		return p.Name == q.Name && p.Off == q.Off && p.Settings.String() == q.Settings.String()
	}) || x.Guitar != y.Guitar || x.Load != y.Load {
		t.Errorf("%s: %q against %q: undone, it is\n%v\nand not\n%v", f.Title, b.Name, a.Name, y.Every(), x.Every())
	}
}

// The same of orders by chance, with blocks that are off, left out and turned.
func TestDifferencesOfChance(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	text := strings.Builder{}
	text.WriteString("blocks:\n  a: {kind: fuzz}\n  b: {kind: buffer}\n  c: {kind: boost}\n  d: {kind: delay}\n  e: {kind: eq}\norder: [a, b, c, d, e]\ntakes:\n")
	for k := range 120 {
		order := []string{"a", "b", "c", "d", "e"}
		r.Shuffle(5, func(i, j int) { order[i], order[j] = order[j], order[i] })
		order = order[:2+r.IntN(4)]
		var set []string
		for _, s := range []struct{ block, text string }{{"a", "a.fuzz: %d"}, {"c", "c.gain: %d dB"}, {"d", "d.repeats: %d"}} {
			if slices.Contains(order, s.block) && r.IntN(2) == 0 {
				set = append(set, fmt.Sprintf(s.text, 1+r.IntN(9)))
			}
		}
		if r.IntN(2) == 0 {
			set = append(set, fmt.Sprintf("guitar.volume: %d", 1+r.IntN(9)))
		}
		fmt.Fprintf(&text, "  - {name: t%d, order: [%s], off: [%s], set: {%s}}\n", k, strings.Join(order, ", "),
			strings.Join(order[:r.IntN(2)], ", "), strings.Join(set, ", "))
	}
	f := chaintest.Own(t, text.String())
	for k := 0; k < len(f.Takes); k += 2 {
		leadsBack(t, f, f.Takes[k], f.Takes[k+1])
	}
}

// A buffer in front of a fuzz, beside a delay that is moved without consequence: the buffer is
// named, and put back nothing is left of the treble.
func TestCauseOfDifference(t *testing.T) {
	f := chaintest.Own(t, `blocks:
  buf: {kind: buffer}
  fuzz: {kind: fuzz}
  lift: {kind: boost, gain: 1 dB}
  clean: {kind: boost, gain: 0 dB}
order: [fuzz, buf, lift, clean]
takes:
  - {name: a}
  - {name: b, order: [buf, fuzz, clean, lift]}
  - {name: c, order: [lift, clean, buf, fuzz]}
  - {name: far, order: [buf, fuzz, lift, clean]}
  - {name: one, set: {lift.gain: 6 dB}}
  - {name: same, set: {lift.gain: 1 dB}}
`)
	m := NewMoment(experiment.Dry{Volts: chaintest.Played()}, 48000)
	of := func(name string) board.Take {
		return f.Takes[slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == name })]
	}
	ask := func(a, b string, respects ...string) *Because {
		t.Helper()
		o, err := m.Between(t.Context(), f, of(a), of(b), "A", respects)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(o.Sentence)
		return o
	}
	o := ask("a", "b", "tone")
	if len(o.Parts) != 2 || !slices.Contains(o.Blocks, "buf") || o.Parts[0].Gone < 0.9 || o.Parts[1].Gone > 0.1 {
		t.Errorf("%+v", o)
	}
	// what is left is what the take without it gives, measured anew
	if full, err := m.bench.Change(t.Context(), measures.TrebleChange, f.Of(of("a")), f.Of(of("b"))); err != nil || o.Full != full {
		t.Errorf("full %v, measured anew %v, %v", o.Full, full, err)
	}
	if o := ask("a", "one", "level"); len(o.Parts) != 1 || !strings.Contains(o.Sentence, "gain at 6 dB (in A at 1 dB)") || o.Parts[0].Gone < 0.999 {
		t.Errorf("%+v", o)
	}
	if o := ask("a", "same"); len(o.Parts) != 0 || o.Sentence != "" {
		t.Errorf("%+v", o)
	}
}

// Of a block that is moved past several, the one is named that counts.
func TestWhatIsPassedCounts(t *testing.T) {
	f := chaintest.Own(t, `blocks:
  echo: {kind: delay, mix: 50 %}
  flat: {kind: boost, gain: 0 dB}
  drive: {kind: overdrive, drive: 9}
  even: {kind: boost, gain: 0 dB}
order: [flat, drive, even, echo]
takes:
  - {name: a}
  - {name: b, order: [echo, flat, drive, even]}
`)
	o, err := NewMoment(experiment.Dry{Volts: chaintest.Played()}, 48000).Between(t.Context(), f, f.Takes[0], f.Takes[1], "A", nil)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(o.Sentence, "it is drive that counts") {
		t.Errorf("%s %+v", o.Sentence, o.Parts)
	}
}
