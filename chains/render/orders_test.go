package render_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// permutations is all orders of n things.
func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var all [][]int
	for _, p := range permutations(n - 1) {
		for k := range n {
			all = append(all, slices.Insert(slices.Clone(p), k, n-1))
		}
	}
	return all
}

func inOrderOf(base *board.Chain, order []int) *board.Chain {
	c := *base
	c.Blocks = nil
	for _, k := range order {
		c.Blocks = append(c.Blocks, base.Blocks[k])
	}
	return &c
}

// In every order of some blocks, every signal is the rendered one within -120 dB, and the same to
// the last bit whatever has been computed before. The blocks are linear but for two; in the second
// list some reach their limits, in some orders and not in others: the boost clips before the
// equaliser has taken 12 dB away and not after it.
func TestOrdersEqualRender(t *testing.T) {
	const rate = dsp.Hertz(48000)
	in := chaintest.Tone(2000, float64(rate), 220, 0.4)
	for name, list := range map[string]string{
		"within limits": "pedal: {kind: volume, volume: 7}; buffer: {kind: buffer}; eq: {kind: eq, high: 3 dB, low_mid: -4 dB}; echo: {kind: delay, time: 20 ms}; comp: {kind: compressor}",
		"past limits":   "boost: {kind: boost, gain: 15 dB}; eq: {kind: eq, level: -12 dB}; echo: {kind: delay, time: 20 ms, headroom: 250 mV, repeats: 9}; comp: {kind: compressor}",
	} {
		t.Run(name, func(t *testing.T) {
			var names []string
			for _, b := range strings.Split(list, ";") {
				name, _, _ := strings.Cut(strings.TrimSpace(b), ":")
				names = append(names, name)
			}
			base := chaintest.Chain(t, list, strings.Join(names, ", "))
			orders := render.NewOrders(in, rate, section.Draft, 1<<30)
			literal := render.NewOrders(in, rate, section.Draft, 1<<30)
			literal.Literal = true
			worst := -1000.0
			kept := map[int][]float64{}
			all := permutations(len(base.Blocks))
			for k, p := range all {
				c := inOrderOf(base, p)
				w := render.PlanOf(c, rate, section.Draft)
				o, l := orders.Order(w), literal.Order(render.PlanOf(c, rate, section.Draft))
				jacks := []string{"out"}
				if k%12 == 0 {
					jacks = c.Jacks()
				}
				for _, jack := range jacks {
					got, err := o.Signal(context.Background(), jack)
					if err != nil {
						t.Fatal(err)
					}
					want, err := l.Signal(context.Background(), jack)
					if err != nil {
						t.Fatal(err)
					}
					r := chaintest.Residual(got, want)
					worst = max(worst, r)
					if jack == "out" {
						kept[k] = got
					}
					if r > -120 {
						t.Errorf("%v, %s: %.1f dB off", c.Jacks(), jack, r)
					}
				}
				if k%40 == 0 {
					want := rendertest.Render(t, c, float64(rate), section.Draft, render.Volts(in), "out")[0]
					got, err := l.Signal(context.Background(), "out")
					if err != nil {
						t.Fatal(err)
					}
					if !slices.Equal(got, want) {
						t.Errorf("%v: taken literally, it is not the render to the last bit", c.Jacks())
					}
				}
			}
			// without room to remember much
			again := render.NewOrders(in, rate, section.Draft, 1<<20)
			for k := len(all) - 1; k >= 0; k -= 5 {
				got, err := again.Order(render.PlanOf(inOrderOf(base, all[k]), rate, section.Draft)).Signal(context.Background(), "out")
				if err != nil {
					t.Fatal(err)
				}
				if !slices.Equal(got, kept[k]) {
					t.Errorf("%v: another signal when asked for in another order: %.1f dB", all[k], chaintest.Residual(got, kept[k]))
				}
			}
			t.Logf("worst %.1f dB; %d signals computed, %d where orders are taken literally", worst, orders.Computed(), literal.Computed())
			if name == "within limits" && orders.Computed() >= literal.Computed() {
				t.Errorf("%d signals were computed, %d without sharing what commutes", orders.Computed(), literal.Computed())
			}
			reached := false
			for _, limited := range orders.Limits() {
				reached = reached || limited
			}
			if want := name == "past limits"; reached != want {
				t.Errorf("a limit was reached: %v, want %v", reached, want)
			}
		})
	}
}

// What is read beside a node of a non-linear circuit is solved with it: fewer solutions, and the
// same bits.
func TestOrderReadsTogether(t *testing.T) {
	const rate = dsp.Hertz(48000)
	in := chaintest.Tone(2000, float64(rate), 220, 0.4)
	c := chaintest.Chain(t, "buffer: {kind: buffer}; fuzz: {kind: fuzz}; drive: {kind: overdrive}; echo: {kind: delay, time: 20 ms}", "buffer, fuzz, drive, echo")
	computed := map[bool]int64{}
	signals := map[bool][][]float64{}
	for _, together := range []bool{false, true} {
		orders := render.NewOrders(in, rate, section.Draft, 1<<30)
		orders.Literal = true
		o := orders.Order(render.PlanOf(c, rate, section.Draft))
		if together {
			o.Read(c.Jacks()...)
		}
		for _, jack := range c.Jacks() {
			x, err := o.Signal(context.Background(), jack)
			if err != nil {
				t.Fatal(err)
			}
			signals[together] = append(signals[together], x)
		}
		computed[together] = orders.Computed()
	}
	for k, jack := range c.Jacks() {
		if !slices.Equal(signals[true][k], signals[false][k]) {
			t.Errorf("%s: other bits, %.1f dB", jack, chaintest.Residual(signals[true][k], signals[false][k]))
		}
	}
	if t.Logf("%v", computed); computed[true] >= computed[false] {
		t.Errorf("%d circuits and stages were run, %d for one jack at a time", computed[true], computed[false])
	}
}
