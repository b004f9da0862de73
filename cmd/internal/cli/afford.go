package cli

import (
	"fmt"

	"drywire/chains/board"
	"drywire/chains/cost"
	"drywire/chains/noise"
	"drywire/chains/wiring"
	"drywire/dsp/section"
)

// afford refuses takes that ask for more than is done unasked. Where that was asked for, it says
// how much it is.
func (s streams) afford(f *chainFile, list ...*board.Chain) error {
	var all cost.Estimate
	for _, c := range list {
		e := cost.Of(wiring.Of(c, anyRate, section.Normal))
		all = all.Plus(e)
		if err := e.Over(); err != nil && !*s.long {
			return fmt.Errorf("%s: take %q: %w", f.Text.Name, c.Take, err)
		}
	}
	err := all.Over()
	if err != nil && *s.long {
		s.say("drywire: this takes about %s of processor time before the first sound, %s for each second of it, and %.1f GiB of memory", cost.Long(all.Prepare), cost.Long(all.Sound), all.Bytes/(1<<30))
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: its %d takes together: %w", f.Text.Name, len(list), err)
	}
	return nil
}

// affordNoise is afford of a noise ledger at a jack, and of the moves that are tried with that at
// the end.
func (s streams) affordNoise(f *chainFile, c *board.Chain, jack string) error {
	moves := 0
	if n := len(c.Every()); jack == "out" {
		moves = n * (n - 1) // every block to every other place
	}
	e := cost.Of(wiring.Of(c, anyRate, section.Normal))
	err := e.OverLedger(moves)
	if err == nil && e.OverHeard() != nil && !*s.long {
		heard, wrong := noise.TakesRendering(c, anyRate, jack)
		if wrong != nil {
			return wrong
		}
		if heard {
			err = e.OverHeard()
		}
	}
	if err != nil && !*s.long {
		return fmt.Errorf("%s: take %q: %w", f.Text.Name, c.Take, err)
	}
	return nil
}
