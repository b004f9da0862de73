package power_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/power"
	"drywire/dsp"
)

// random is a small board: up to five blocks, up to four outputs of one supply or two.
func random(r *rand.Rand) (f *board.File, gains []string) {
	f = &board.File{Takes: []board.Take{{Name: "a"}}}
	var outputs []string
	for s := range 1 + r.IntN(2) {
		supply := board.Supply{Name: fmt.Sprint("s", s), Isolated: r.IntN(3) > 0}
		for k := range 1 + r.IntN(2) {
			o := board.Output{Name: fmt.Sprint(k), Voltage: []dsp.Volt{9, 9, 12, 18}[r.IntN(4)], Current: dsp.Ampere(50+50*r.IntN(6)) / 1e3}
			o.CentrePositive = r.IntN(12) == 0
			if r.IntN(8) == 0 {
				o.Highest = o.Voltage + 9
			}
			supply.Outputs = append(supply.Outputs, o)
			outputs = append(outputs, supply.Name+"."+o.Name)
		}
		f.Supplies = append(f.Supplies, supply)
	}
	for k := range 2 + r.IntN(4) {
		kind := blocks.Find([]string{"boost", "boost", "delay", "reverb", "fuzz", "treble-boost"}[r.IntN(6)])
		b := board.Block{Name: string(rune('a' + k)), Kind: kind, Settings: kind.Defaults(), Powered: board.Powered{Power: board.AutoPower}}
		if r.IntN(2) == 0 {
			b.Power = outputs[r.IntN(len(outputs))]
		}
		b.Draw = dsp.Ampere(10+10*r.IntN(15)) / 1e3
		if r.IntN(4) == 0 {
			b.Takes = [2]dsp.Volt{9, 9}
		}
		if r.IntN(2) == 0 {
			gains = append(gains, b.Name)
		}
		f.Blocks = append(f.Blocks, b)
	}
	return f, gains
}

// judged is the cost of a plugging by the rules, worked out from nothing; ok is false where it is
// against one.
func judged(f *board.File, to []string, margin float64, gains []string) (cost [3]int, ok bool) {
	for k, b := range f.Blocks {
		supply, o := board.FindOutput(f.Supplies, to[k])
		n, _ := f.Needs(b.Name)
		most := n.Volts[1]
		if o.CentrePositive != n.CentrePositive || o.Voltage < n.Volts[0] || o.Voltage > most || o.Highest > most {
			return cost, false
		}
		drawn := 0.0
		for j, other := range f.Blocks {
			m, _ := f.Needs(other.Name)
			on, _ := board.FindOutput(f.Supplies, to[j])
			if to[j] == to[k] {
				drawn += float64(m.Draw)
			}
			if j == k || on != supply || supply.Isolated && to[j] != to[k] {
				continue
			}
			if slices.Contains(n.Grounds, blocks.Positive) || !supply.Isolated && n.Digital != m.Digital {
				return cost, false
			}
			// pairs of an analogue block and a digital one: see mixed
			if j < k && n.Digital != m.Digital {
				cost[2] |= 1 << j
				cost[2] |= 1 << k
			}
		}
		if drawn > float64(o.Current)*(1-margin)+1e-9 {
			return cost, false
		}
		if b.Power != board.AutoPower && b.Power != to[k] {
			cost[0]++
		}
		if slices.Contains(gains, b.Name) {
			best := dsp.Volt(0)
			for _, s := range f.Supplies {
				for _, p := range s.Outputs {
					if p.CentrePositive == n.CentrePositive && p.Voltage >= n.Volts[0] && p.Voltage <= most && p.Highest <= most {
						best = max(best, p.Voltage)
					}
				}
			}
			cost[1] += int(1e3 * float64(best-o.Voltage))
		}
	}
	analogue := 0 // those that share with a digital one
	for k, b := range f.Blocks {
		if n, _ := f.Needs(b.Name); cost[2]&(1<<k) != 0 && !n.Digital {
			analogue++
		}
	}
	cost[2] = analogue
	return cost, true
}

// Every plugging of small boards is tried: none is better than the one that comes out, and where
// something is missing, none does.
func TestAssignAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	fine, missing := 0, 0
	for n := range 600 {
		f, gains := random(r)
		margin := []float64{0, 0.2}[n%2]
		var outputs []string
		for _, s := range f.Supplies {
			for _, o := range s.Outputs {
				outputs = append(outputs, s.Name+"."+o.Name)
			}
		}
		least, found := [3]int{}, false
		to := make([]string, len(f.Blocks))
		var each func(k int)
		each = func(k int) {
			if k < len(to) {
				for _, o := range outputs {
					to[k] = o
					each(k + 1)
				}
				return
			}
			if c, ok := judged(f, to, margin, gains); ok && (!found || slices.Compare(c[:], least[:]) < 0) {
				least, found = c, true
			}
		}
		each(0)
		a, err := power.Assign(f, margin, gains)
		if err != nil {
			if found {
				t.Fatalf("board %d: %v, but there is a way", n, err)
			}
			continue
		}
		if !a.Proven {
			t.Fatalf("board %d: the search was cut short", n)
		}
		if (len(a.Missing) == 0) != found {
			t.Fatalf("board %d: missing %v, brute force found a way: %v", n, a.Missing, found)
		}
		if !found {
			missing++
			adds(t, f, a, margin, gains)
			continue
		}
		fine++
		var got []string
		for _, l := range a.Leads {
			got = append(got, l.To)
		}
		if c, ok := judged(f, got, margin, gains); !ok || c != least {
			t.Fatalf("board %d: %v costs %v (allowed: %v), the best %v", n, got, c, ok, least)
		}
	}
	if fine < 100 || missing < 100 {
		t.Fatalf("%d boards that can be plugged in and %d that cannot: the draw is off", fine, missing)
	}
}

// adds checks that what is missing is enough, and that no output less is.
func adds(t *testing.T, f *board.File, a *power.Assignment, margin float64, gains []string) {
	t.Helper()
	with := func(list []power.Missing) *power.Assignment {
		g := *f
		extra := board.Supply{Name: "extra", Isolated: true}
		for k, m := range list {
			extra.Outputs = append(extra.Outputs, board.Output{Name: fmt.Sprint(k), Voltage: m.Voltage, Current: m.Current, CentrePositive: m.CentrePositive})
		}
		g.Supplies = append(slices.Clone(f.Supplies), extra)
		b, err := power.Assign(&g, margin, gains)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if b := with(a.Missing); len(b.Missing) > 0 {
		t.Fatalf("with %v there is still missing %v", a.Missing, b.Missing)
	}
	for k := range a.Missing {
		if b := with(slices.Delete(slices.Clone(a.Missing), k, k+1)); len(b.Missing) != 1 {
			t.Fatalf("of %v, without the %dth %d are missing", a.Missing, k+1, len(b.Missing))
		}
	}
}

const twoOutputs = `drywire: 1
recording: {sample: riff}
supplies: {brick: {outputs: {1: {voltage: 9 V, current: 150 mA}, 2: {voltage: 9 V, current: 100 mA}}}}
blocks:
  old:   {kind: fuzz, device: germanium, power: auto}
  clean: {kind: boost, power: auto}
  echo:  {kind: delay, power: brick.1}
order: [old, clean, echo]
`

func TestMissingIsSaid(t *testing.T) {
	a, err := power.Assign(chaintest.MustParse(t, twoOutputs), power.UsualMargin, nil)
	if err != nil || len(a.Missing) != 0 {
		t.Fatalf("%v, %v: old has brick.2 for itself, echo and clean draw 105 of 120 mA", err, a)
	}
	text := strings.Replace(twoOutputs, "150 mA", "126 mA", 1) // 100.8 mA with the margin
	a, err = power.Assign(chaintest.MustParse(t, text), power.UsualMargin, nil)
	if err != nil || len(a.Missing) != 1 {
		t.Fatal(err, a)
	}
	if got, want := a.Missing[0].String(), "one more isolated output of 10 mA at 9 V (for old)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if !a.Tight {
		t.Error("without the margin 105 of 126 mA are enough, and that is not said")
	}
}

// The shipped boards are plugged in as they are meant to be, within a second.
func TestShippedBoards(t *testing.T) {
	for _, name := range []string{"reference-board", "presets-on-a-loop-switcher", "big-board"} {
		f := chaintest.ShippedFile(t, name)
		a, err := power.Assign(f, power.UsualMargin, nil)
		if err != nil || len(a.Missing) > 0 || !a.Proven {
			t.Errorf("%s: %v, %+v", name, err, a)
		}
		for k := range f.Blocks {
			if f.Blocks[k].Power != "" {
				f.Blocks[k].Power = board.AutoPower
			}
		}
		if a, err = power.Assign(f, power.UsualMargin, nil); err != nil || len(a.Missing) > 0 || !a.Proven {
			t.Errorf("%s, all open: %v, %+v", name, err, a)
		}
	}
}
