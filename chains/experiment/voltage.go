package experiment

import (
	"context"
	"slices"

	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// A block gains by a higher voltage where the playing comes within closeToCeiling of its ceiling at
// the lower one, and the ceiling rises by higherCeiling or more. What is meant to distort at its
// diodes does not: their ceiling stays where it is. Common practice, no source.
const (
	closeToCeiling = 6.0 // dB
	higherCeiling  = 1.0 // dB
)

// GainByVoltage is which of some blocks gain headroom where they need it from a supply of high in
// place of low volts, by their names: in any of the chains, on what was played. The error is of a
// render.
func GainByVoltage(ctx context.Context, chains []*board.Chain, volts map[string][2]dsp.Volt, dry Dry, rate dsp.Hertz, q section.Quality) ([]string, error) {
	var gain []string
	for _, c := range chains {
		var open []string
		for _, p := range c.Every() {
			if v, ok := volts[p.Name]; ok && v[1] > v[0] && !p.Off && !slices.Contains(gain, p.Name) {
				open = append(open, p.Name)
			}
		}
		if len(open) == 0 {
			continue
		}
		var at [2][]BlockCeiling
		for k := range at {
			fed := *c
			fed.Blocks = powered(c.Blocks, volts, k)
			if c.Split != nil {
				split := *c.Split
				split.Left, split.Right = powered(split.Left, volts, k), powered(split.Right, volts, k)
				fed.Split = &split
			}
			var err error
			if at[k], err = ceilings(&fed, ctx, rate, func(b string) bool { return slices.Contains(open, b) }); err != nil {
				return nil, err
			}
		}
		w := render.PlanOf(c, rate, q)
		signals, err := Rendered(ctx, w, dry.Of(c))
		if err != nil {
			return nil, err
		}
		for k, p := range c.Every() {
			low, high := at[0][k].BreaksUp, at[1][k].BreaksUp
			if !slices.Contains(open, p.Name) || !low.OK() || high.OK() && dsp.ToDB(high.Value/low.Value) < higherCeiling {
				continue
			}
			v, err := signals(ctx, w, p.In())
			if err != nil {
				return nil, err
			}
			if peak := highest(v); peak > 0 && dsp.ToDB(low.Value/peak) < closeToCeiling {
				gain = append(gain, p.Name)
			}
		}
	}
	return gain, nil
}

// powered is a line of blocks on the lower or the higher of their voltages.
func powered(line []board.Placed, volts map[string][2]dsp.Volt, which int) []board.Placed {
	line = slices.Clone(line)
	for k, p := range line {
		if v, ok := volts[p.Name]; ok {
			line[k].Settings = p.Settings.With("supply", float64(v[which]))
		}
	}
	return line
}
