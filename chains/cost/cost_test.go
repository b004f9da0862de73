//go:build unix

package cost_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/cost"
	"drywire/chains/internal/chaintest"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp/section"
)

// row is a chain of so many blocks.
func row(t testing.TB, count int, block func(k int) string) *board.Chain {
	var lines, order strings.Builder
	for k := range count {
		fmt.Fprintf(&lines, "  b%d: %s\n", k, block(k))
		fmt.Fprintf(&order, "b%d, ", k)
	}
	return chaintest.MustParse(t, fmt.Sprintf("drywire: 1\nrecording: {sample: riff}\nblocks:\n%sorder: [%s]\n", lines.String(), strings.TrimSuffix(order.String(), ", "))).Chains()[0]
}

func same(block string) func(int) string { return func(int) string { return block } }

// turning is a wah that is turned to and fro at so many points.
func turning(points int) func(int) string {
	return func(k int) string {
		var at []string
		for i := range points {
			at = append(at, fmt.Sprintf("%.2f s: %d", 0.1*float64(i)+0.01*float64(k%9), (37*i+k)%10))
		}
		return "{kind: wah, position: {at: {" + strings.Join(at, ", ") + "}}}"
	}
}

// cabinets is so many loudspeakers with impulse responses of two seconds.
func cabinets(t testing.TB, count int) *board.Chain {
	text := strings.Builder{}
	text.WriteString("drywire: 1\nrecording: {sample: riff}\nblocks:\n")
	var order []string
	for k := range count {
		fmt.Fprintf(&text, "  b%d: {kind: speaker, file: %d.wav}\n", k, k)
		order = append(order, fmt.Sprintf("b%d", k))
	}
	fmt.Fprintf(&text, "order: [%s]\n", strings.Join(order, ", "))
	f := chaintest.MustParse(t, text.String())
	var read []*board.Cabinet
	for k := range count {
		x := make([]float64, 90000)
		for i := range x {
			x[i] = math.Exp(-float64(i)/20000) * math.Sin(float64(i*i%(1000+k)))
		}
		c, err := board.NewCabinet(fmt.Sprintf("%d.wav", k), x, 48000)
		if err != nil {
			t.Fatal(err)
		}
		read = append(read, c)
	}
	return f.WithCabinets(read).Chains()[0]
}

// rows is of what a machine would be kept busy with.
func rows(t testing.TB, full bool) map[string]*board.Chain {
	size := func(large, small int) int {
		if full {
			return large
		}
		return small
	}
	return map[string]*board.Chain{
		"wahs in series":            row(t, size(60, 8), same("{kind: wah}")),
		"wahs with 99-point curves": row(t, size(18, 1), turning(99)),
		"volume pots":               row(t, size(200, 64), same("{kind: volume}")),
		"boosts":                    row(t, size(200, 16), same("{kind: boost}")),
		"impulse responses":         cabinets(t, size(60, 2)),
	}
}

func shipped(t testing.TB) map[string]*board.Chain {
	list := map[string]*board.Chain{}
	for _, name := range chains.Shipped() {
		text, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		for k, c := range chaintest.MustParse(t, string(text)).Chains() {
			list[fmt.Sprintf("%s, take %d", name, k+1)] = c
		}
	}
	return list
}

func estimate(c *board.Chain) cost.Estimate { return cost.Of(wiring.Of(c, 48000, section.Normal)) }

// TestShippedAreAfforded: every take of every file that ships is done unasked, all takes of a file
// together as well, and is far from where it would not be.
func TestShippedAreAfforded(t *testing.T) {
	for name, c := range shipped(t) {
		e := estimate(c)
		n := len(c.Every())
		if err := errors.Join(e.Over(), e.OverLedger(n*(n-1))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if e.Sound > cost.MostSound/5 || e.Prepare > cost.MostPrepare/10 {
			t.Errorf("%s: %+v is near the bounds", name, e)
		}
	}
}

// TestHostileAreRefused: files of under 64 kB that would keep a machine busy for minutes to days.
func TestHostileAreRefused(t *testing.T) {
	for name, c := range rows(t, true) {
		e := estimate(c)
		n := len(c.Every())
		err := errors.Join(e.Over(), e.OverLedger(n*(n-1)))
		t.Logf("%s: %+v: %v", name, e, err)
		if !errors.As(err, new(cost.TooMuch)) {
			t.Errorf("%s: not refused", name)
		}
	}
}

// BenchmarkEstimates holds what is estimated against what it takes, by the processor's time: of the
// shipped takes and of smaller brothers of the hostile rows. Where either is over a second it fails
// outside of cost.Factor.
func BenchmarkEstimates(b *testing.B) {
	const played = 0.25 // s
	list := rows(b, false)
	for name, c := range shipped(b) {
		if strings.HasSuffix(name, "take 1") {
			list[name] = c
		}
	}
	for name, c := range list {
		b.Run(name, func(b *testing.B) {
			e := estimate(c)
			var prepare, sound, rest float64
			for b.Loop() {
				at := chaintest.Worked(b)
				spent := func() float64 {
					before := at
					at = chaintest.Worked(b)
					return at - before
				}
				r, err := render.PlanOf(c, 48000, section.Normal).Renderer(c.Ends()...)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := wiring.Handovers(c, 1000); err != nil {
					b.Fatal(err)
				}
				prepare += spent()
				err = r.Run(context.Background(), render.Volts(chaintest.Tone(int(played*48000), 48000, 220, 0.1)), 0, func([][]float64) error { return nil })
				if err != nil && !errors.Is(err, io.EOF) {
					b.Fatal(err)
				}
				sound += spent() / played
				if _, err := noise.At(c, 48000, "out"); err != nil {
					b.Fatal(err)
				}
				rest += spent()
			}
			guess := float64(e.Rest)
			if heard, err := noise.TakesRendering(c, 48000, "out"); err != nil {
				b.Fatal(err)
			} else if heard {
				guess += float64(e.Heard)
			}
			for _, of := range []struct {
				what              string
				guessed, measured float64
			}{{"prepare", float64(e.Prepare), prepare / float64(b.N)}, {"sound", float64(e.Sound), sound / float64(b.N)}, {"noise", guess, rest / float64(b.N)}} {
				ratio := of.guessed / of.measured
				b.ReportMetric(of.measured, "s-"+of.what)
				b.ReportMetric(ratio, "ratio-"+of.what)
				if max(of.guessed, of.measured) > 1 && (ratio > cost.Factor || ratio < 1/cost.Factor) {
					b.Errorf("%s: estimated %.3g s, measured %.3g s", of.what, of.guessed, of.measured)
				}
			}
		})
	}
}
