package why

import (
	"os"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp/section"

	"drywire/chains/experiment"
)

const rate = 48000

func ask(t *testing.T, f *board.File, take, word string) *Answer {
	t.Helper()
	if take == "" {
		take = f.Takes[0].Name
	}
	a, err := Ask(t.Context(), Question{File: f, Take: take, Complaint: Find(word), Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: 3})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%s", a.Sentence)
	return a
}

// The chains with one thing in them that is known to be wrong, by their construction. cause is what
// taken out cures; fix is a part of the text of one of the changes that are offered, none of which
// may harm.
func TestKnownCauses(t *testing.T) {
	if testing.Short() {
		t.Skip("renders some hundred variants")
	}
	for _, c := range []struct {
		word, name, take, text string
		cause, fix             string
	}{
		{word: "hiss", name: "fuzz-or-buffer-first", take: "buffered", cause: "buffer", fix: "move buffer behind"},
		{word: "harsh", name: "fuzz-or-buffer-first", take: "buffered", cause: "buffer", fix: "move buffer behind"},
		{word: "no-clean-up", name: "fuzz-or-buffer-first", take: "buffered", cause: "buffer", fix: "move buffer behind"},
		{word: "smeared-echoes", name: "delay-before-or-after-drive", take: "delay first", cause: "drive", fix: "move echo behind drive"},
		{word: "dull", name: "wah-before-or-after-fuzz", take: "fuzz first, heel", cause: "wah", fix: "behind wah"},
		{word: "dead-sustain", name: "front-end-or-effects-loop", take: "front end", cause: "echo", fix: "mix of echo"},
		{
			word: "thin", text: "blocks:\n  tilt: {kind: eq, low: -18 dB, low_freq: 300 Hz}\n  clear: {kind: buffer}\norder: [clear, tilt]\n",
			cause: "tilt", fix: "low of tilt up",
		}, {
			word: "boomy", text: "blocks:\n  tilt: {kind: eq, low: 18 dB, low_freq: 150 Hz}\n  clear: {kind: buffer}\norder: [clear, tilt]\n",
			cause: "tilt", fix: "low of tilt down",
		}, {
			word: "muddy", text: "blocks:\n  tilt: {kind: eq, low_mid: 14 dB, low_mid_freq: 320 Hz, low_mid_q: 0.7}\n  clear: {kind: buffer}\norder: [clear, tilt]\n",
			cause: "tilt", fix: "low_mid of tilt down",
		}, {
			word: "hum", text: "supplies: {brick: {isolated: no, ripple: 50 mV, outputs: {1: {voltage: 9 V, current: 500 mA}}}}\nguitar: {hum: 0 V}\nblocks:\n  quiet: {kind: buffer}\n  dirty: {kind: fuzz, power: brick.1}\norder: [quiet, dirty]\n",
			cause: "dirty",
		}, {
			word: "no-headroom", text: "blocks:\n  lift: {kind: boost, gain: 20 dB}\n  clear: {kind: buffer}\norder: [clear, lift]\n",
			cause: "lift", fix: "lift from 12 V",
		}, {
			word: "stumbling-octave", take: "fuzz first", text: "blocks:\n  wall: {kind: op-amp-fuzz, sustain: 8}\n  low: {kind: octave-down}\norder: [low, wall]\ntakes: [{name: octave first}, {name: fuzz first, order: [wall, low]}]\n",
			cause: "wall", fix: "move wall behind low",
		}, {
			word: "cannot-turn-up", text: "blocks:\n  lift: {kind: boost, gain: 30 dB}\n  more: {kind: boost, gain: 20 dB}\norder: [lift, more]\n",
			cause: "lift", fix: "gain of lift down",
		}, {
			word: "jumps", take: "solo", text: "blocks:\n  lift: {kind: boost, gain: 9 dB}\n  box: {kind: switcher, loops: {1: [lift]}}\norder: [box]\npresets: {plain: {loops: []}, too: {loops: []}, solo: {loops: [1]}}\ntakes: [{name: solo, preset: solo}, {name: other, preset: plain}]\n",
			cause: "lift", fix: "gain of lift down",
		}, {
			word: "too-quiet", take: "soft", text: "blocks:\n  pot: {kind: volume, volume: 3}\norder: [pot]\ntakes: [{name: soft}, {name: loud, set: {pot.volume: 10}}, {name: louder, set: {pot.volume: 9}}]\n",
			cause: "pot", fix: "volume of pot up",
		}, {
			word: "too-loud", take: "lifted", text: "blocks:\n  lift: {kind: boost, gain: 12 dB}\norder: [lift]\ntakes: [{name: lifted}, {name: plain, off: [lift]}, {name: plain too, order: []}]\n",
			cause: "lift", fix: "gain of lift down",
		},
	} {
		t.Run(c.word, func(t *testing.T) {
			if c.name != "" && c.word != "smeared-echoes" && os.Getenv("BOARDS") != "all" {
				t.Skip("BOARDS=all asks of the shipped files, for a minute and a half")
			}
			var f *board.File
			if c.name != "" {
				f = chaintest.ShippedFile(t, c.name)
			} else {
				f = chaintest.Own(t, c.text)
			}
			a := ask(t, f, c.take, c.word)
			if !a.Holds {
				t.Fatalf("it does not hold: %+v", a.Value)
			}
			at := slices.IndexFunc(a.Causes, func(k Cause) bool { return slices.Contains(k.Blocks, c.cause) })
			if at < 0 || !a.Causes[at].Necessary {
				t.Errorf("%s is no necessary cause: %+v", c.cause, a.Causes)
			}
			if c.fix != "" && !slices.ContainsFunc(a.Fixes, func(x Fix) bool { return strings.Contains(x.Text, c.fix) }) {
				t.Errorf("no fix says %q: %+v", c.fix, a.Fixes)
			}
			for _, x := range a.Fixes {
				if x.Gain < a.Complaint.Step {
					t.Errorf("%s: better by %v only", x.Text, x.Gain)
				}
			}
		})
	}
}

// What is printed is what the take that is offered gives: rendered anew, through the chain file, at
// normal quality.
func TestFixesHold(t *testing.T) {
	f := chaintest.ShippedFile(t, "fuzz-or-buffer-first")
	a := ask(t, f, "buffered", "no-clean-up")
	if len(a.Fixes) == 0 {
		t.Fatal("no fix")
	}
	for _, x := range a.Fixes {
		if x.Needs != "" {
			continue
		}
		src, _ := chains.ReadShipped("fuzz-or-buffer-first")
		text := strings.TrimRight(string(src), "\n") + "\n  - " + x.TakeText + "\n"
		g, err := file.Parse("with the fix", []byte(text))
		if err != nil {
			t.Errorf("%s: the take is no take: %v", x.Text, err)
			continue
		}
		b := experiment.NewBench(experiment.Dry{Volts: chaintest.Played()}, rate, section.Normal, 1<<28)
		v, err := b.Measure(t.Context(), g.Of(g.Takes[len(g.Takes)-1]), a.Complaint.Measure)
		if err != nil {
			t.Fatal(err)
		}
		if d := v[0].Minus(x.Value); !d.OK() || d.Value > 0.01 || d.Value < -0.01 {
			t.Errorf("%s: promised %v, is %v", x.Text, x.Value, v[0])
		}
	}
}

// Two boosts that are equal: taking one out takes a part of it away, only both cure it.
func TestTwoEqualCauses(t *testing.T) {
	f := chaintest.Own(t, "blocks:\n  one: {kind: eq, low: 14 dB, low_freq: 150 Hz}\n  two: {kind: eq, low: 14 dB, low_freq: 150 Hz}\norder: [one, two]\n")
	a := ask(t, f, "", "boomy")
	if !a.Holds || len(a.Causes) < 3 {
		t.Fatalf("%+v", a)
	}
	if !slices.Equal(a.Causes[0].Blocks, []string{"one", "two"}) || !a.Causes[0].Necessary || a.Causes[1].Necessary || a.Causes[2].Necessary {
		t.Errorf("causes: %+v", a.Causes)
	}
}

// Nothing is wrong with a guitar into a buffer, and it is said.
func TestNothingWrong(t *testing.T) {
	f := chaintest.Own(t, "blocks: {clear: {kind: buffer}}\norder: [clear]\n")
	for _, c := range Complaints {
		if a := ask(t, f, "", c.Word); a.Holds || !strings.HasPrefix(a.Sentence, "Nothing") || len(a.Fixes) > 0 {
			t.Errorf("%s: %+v", c.Word, a)
		}
	}
}

// At a jack it is judged by what is in front of it, loaded by what follows; and a chain that has not
// got the jack has not cured the complaint.
func TestAtAJack(t *testing.T) {
	f := chaintest.Own(t, "blocks:\n  tilt: {kind: eq, low: -18 dB, low_freq: 300 Hz}\n  more: {kind: eq, low: -18 dB, low_freq: 300 Hz}\norder: [tilt, more]\n")
	at := func(jack string) *Answer {
		t.Helper()
		a, err := Ask(t.Context(), Question{File: f, Take: f.Takes[0].Name, Complaint: Find("thin"), At: jack, Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: 3})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s", a.Sentence)
		return a
	}
	if a := at("guitar"); a.Holds {
		t.Errorf("at the guitar: %+v", a)
	}
	a := at("tilt.out")
	if !a.Holds || !strings.Contains(a.Sentence, " at tilt.out, ") {
		t.Fatalf("at tilt.out: %+v", a)
	}
	if len(a.Causes) > 0 || !slices.Equal(a.About, []string{"tilt"}) {
		t.Errorf("tilt has the jack that is asked about, more stands behind it: %+v, about %v", a.Causes, a.About)
	}
	hiss := chaintest.ShippedFile(t, "fuzz-or-buffer-first")
	b, err := Ask(t.Context(), Question{File: hiss, Take: "buffered", Complaint: Find("hiss"), At: "fuzz.out", Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: 1})
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Causes) != 1 || b.Causes[0].Blocks[0] != "buffer" || !slices.Equal(b.About, []string{"fuzz"}) {
		t.Errorf("hiss at fuzz.out: %+v, about %v", b.Causes, b.About)
	}
}

// What must not be wired is not offered: a pedal behind the power of an amplifier, and what keep
// forbids.
func TestChangesThatAreOffered(t *testing.T) {
	f := chaintest.Own(t, "blocks:\n  fuzz: {kind: fuzz}\n  echo: {kind: delay}\n  amp: {kind: preamp}\n  power: {kind: poweramp}\n  box: {kind: speaker}\norder: [fuzz, echo, amp, power, box]\nkeep: {first: [fuzz]}\n")
	g := withBuffer(f)
	c := &changer{file: g, take: g.Takes[0], at: g.Of(g.Takes[0]), keep: f.Keep}
	list := c.all()
	if len(list) < 20 {
		t.Fatalf("%d changes", len(list))
	}
	moved := 0
	for _, one := range list {
		u := one.do(c.take)
		if why := g.Of(u).Unwireable(); why != "" {
			t.Errorf("%s: %s", one.text, why)
		}
		if u.Order == nil {
			continue
		}
		moved++
		at := func(n string) int { return slices.Index(u.Order, n) }
		if p := at("power"); at("echo") > p || at("fuzz") > p || at(NewBuffer) > p {
			t.Errorf("%s: %v", one.text, u.Order)
		}
		if one.sort != "remove" && at("fuzz") != 0 {
			t.Errorf("%s: %v, and keep has the fuzz first", one.text, u.Order)
		}
	}
	if moved < 5 {
		t.Errorf("%d of %d change the order", moved, len(list))
	}
}

// Behind the line output of a load box stand a mixer's effects: they are moved among themselves,
// and what is in front of the power among itself.
func TestChangesBehindALoadBox(t *testing.T) {
	f := chaintest.Own(t, "blocks:\n  fuzz: {kind: fuzz}\n  drive: {kind: overdrive}\n  power: {kind: poweramp}\n  dummy: {kind: load-box}\n  tone: {kind: eq}\n  echo: {kind: delay}\norder: [fuzz, drive, power, dummy, tone, echo]\n")
	g := withBuffer(f)
	c := &changer{file: g, take: g.Takes[0], at: g.Of(g.Takes[0]), keep: f.Keep}
	var got []string
	for _, one := range c.all() {
		if one.sort == "move" || one.sort == "insert" {
			got = append(got, strings.Join(one.do(c.take).Order, " "))
		}
	}
	slices.Sort(got)
	want := []string{
		"drive fuzz power dummy tone echo",
		"fuzz drive new-buffer power dummy tone echo",
		"fuzz drive power dummy echo tone",
		"fuzz new-buffer drive power dummy tone echo",
		"new-buffer fuzz drive power dummy tone echo",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Every complaint is bound to what can be measured of a take, and has its source.
func TestComplaints(t *testing.T) {
	for _, c := range Complaints {
		if c.Measure.OfPlayed == nil && c.Measure.OfTake == nil || c.Measure.Better == "" || c.Source == "" || c.Unknown == "" || c.Says == "" || !(c.Step > 0) {
			t.Errorf("%+v", c)
		}
		if c.Holds(measures.None("silence")) {
			t.Errorf("%s is complained of where it cannot be measured", c.Word)
		}
	}
}
