// Package guitar is the keys by which a chain file describes a guitar: pickups, controls, cable. It
// is apart from package file, whose tables hold them, so that either can be read in one go.
//
// Start reading at Keys.
package guitar

import (
	"slices"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// Keys is the keys of a guitar.
func Keys[R table.Reader]() []table.Key[R, board.Guitar] {
	return []table.Key[R, board.Guitar]{
		{
			Name: "pickup", Brief: "a pickup by its name, or by its values", Schema: PickupSchema[R](),
			Read: func(r R, path string, n ast.Node) func(*board.Guitar) {
				p, ok := ReadPickup(r, path, n)
				if !ok {
					return nil
				}
				return func(g *board.Guitar) { g.Pickup = p }
			},
		},
		table.Moving[R]("volume", "the guitar's volume", dsp.Dial, 0, 10, "10", "", func(g *board.Guitar, v float64) { g.Volume = v }, func(g *board.Guitar, c *board.Curve) { g.VolumeCurve = c }),
		table.Moving[R]("tone", "the guitar's tone", dsp.Dial, 0, 10, "10", "", func(g *board.Guitar, v float64) { g.Tone = v }, func(g *board.Guitar, c *board.Curve) { g.ToneCurve = c }),
		table.Quantity[R]("volume_pot", "resistance of the volume pot; 250 kΩ with a single-coil, else 500 kΩ", dsp.Ohms, 1e3, 10e6, "", func(g *board.Guitar, v float64) { g.VolumePot = dsp.Ohm(v) }),
		table.Quantity[R]("tone_pot", "resistance of the tone pot; 250 kΩ with a single-coil, else 500 kΩ", dsp.Ohms, 1e3, 10e6, "", func(g *board.Guitar, v float64) { g.TonePot = dsp.Ohm(v) }),
		table.Quantity[R]("tone_capacitor", "the tone control's capacitor", dsp.Farads, 100e-12, 1e-6, "22 nF", func(g *board.Guitar, v float64) { g.ToneCapacitor = dsp.Farad(v) }),
		secondKey[R](), bleedKey[R](),
		table.Choice[R]("tone_wired", "the tone control before the volume, at the pickup, or after it, at the jack", []string{"before", "after"}, "before", func(g *board.Guitar, w string) { g.ToneAfter = w == "after" }),
		table.Quantity[R]("hum", "mains hum that the pickup picks up, RMS, for the noise ledger; 0.3 mV with a single-coil, else none", dsp.Volts, 0, 0.1, "", func(g *board.Guitar, v float64) { g.Hum = dsp.Volt(v) }),
		table.Quantity[R]("cable", "length of the cable from the guitar to the first block", dsp.Metres, 0, 100, "5 m", func(g *board.Guitar, v float64) { g.Cable = dsp.Metre(v) }),
		Capacitance[R]("cable_capacitance", func(g *board.Guitar, v float64) { g.Capacitance = dsp.Farad(v) }),
	}
}

// pickupKeys are the values of a pickup that has no name.
func pickupKeys[R table.Reader]() []table.Key[R, board.Pickup] {
	must := func(k table.Key[R, board.Pickup]) table.Key[R, board.Pickup] { k.Must = true; return k }
	return []table.Key[R, board.Pickup]{
		must(table.Quantity[R]("resistance", "the winding's resistance, like 8 kΩ", dsp.Ohms, 10, 1e6, "", func(p *board.Pickup, v float64) { p.Resistance = dsp.Ohm(v) })),
		must(table.Quantity[R]("inductance", "the winding's inductance, like 4.4 H", dsp.Henries, 1e-3, 100, "", func(p *board.Pickup, v float64) { p.Inductance = dsp.Henry(v) })),
		must(table.Quantity[R]("capacitance", "the winding's capacitance, like 130 pF", dsp.Farads, 1e-12, 100e-9, "", func(p *board.Pickup, v float64) { p.Capacitance = dsp.Farad(v) })),
		table.Choice[R]("coils", "coils in series, 2 of a humbucker; as many as the recording's pickup has when left out", []string{"1", "2"}, "", func(p *board.Pickup, w string) { p.Coils = int(w[0] - '0') }),
		table.Quantity[R]("magnet", "a stronger magnet, or one nearer to the strings", dsp.Decibels, -20, 20, "0 dB", func(p *board.Pickup, v float64) { p.Magnet = v }),
		table.Quantity[R]("eddy", "loss to eddy currents: a resistance parallel to part of the inductance; none when left out", dsp.Ohms, 1e3, 1e9, "", func(p *board.Pickup, v float64) { p.Eddy = dsp.Ohm(v) }),
	}
}

// ReadPickup takes a preset's name or a map of values.
func ReadPickup[R table.Reader](r R, path string, n ast.Node) (board.Pickup, bool) {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		p := board.Pickup{Name: "custom"}
		faults := len(r.Text().Faults)
		table.Read(r, path, n, "", pickupKeys[R](), &p)
		return p, len(r.Text().Faults) == faults
	}
	word, ok := r.Text().Scalar(path, n, "a pickup like humbucker, or its values {resistance: 8 kΩ, inductance: 4.4 H, capacitance: 130 pF}")
	if !ok {
		return board.Pickup{}, false
	}
	p, ok := board.FindPickup(word)
	if !ok {
		allowed := append(slices.Clone(board.PickupNames()), "or {resistance: 8 kΩ, inductance: 4.4 H, capacitance: 130 pF}")
		r.Text().Unknown(n, path+": no pickup %q", word, yamltext.Nearest(word, board.PickupNames()), "pickups", allowed)
	}
	return p, ok
}

// Capacitance is that of a cable.
func Capacitance[R table.Reader, T any](name string, set func(*T, float64)) table.Key[R, T] {
	return table.Quantity[R](name, "capacitance of one metre of the cable, like 130 pF", dsp.Farads, 30e-12, 500e-12, "100 pF", set)
}

// bleedKeys are those of a treble bleed.
func bleedKeys[R table.Reader]() []table.Key[R, blocks.TrebleBleed] {
	capacitor := table.Quantity[R]("capacitor", "from the volume's top to its wiper, like 1 nF", dsp.Farads, 10e-12, 100e-9, "", func(b *blocks.TrebleBleed, v float64) { b.Capacitor = dsp.Farad(v) })
	capacitor.Must = true
	return []table.Key[R, blocks.TrebleBleed]{
		capacitor,
		table.Quantity[R]("series", "a resistor in series with the capacitor, like 130 kΩ; none when left out", dsp.Ohms, 100, 10e6, "", func(b *blocks.TrebleBleed, v float64) { b.Series = dsp.Ohm(v) }),
		table.Quantity[R]("parallel", "a resistor beside them, like 150 kΩ; none when left out", dsp.Ohms, 100, 10e6, "", func(b *blocks.TrebleBleed, v float64) { b.Parallel = dsp.Ohm(v) }),
	}
}

// orNone reads a map of keys into a value that may be the word none as well.
func orNone[R table.Reader, T any](name, brief, like string, keys []table.Key[R, T], set func(*board.Guitar, T)) table.Key[R, board.Guitar] {
	return table.Key[R, board.Guitar]{
		Name: name, Brief: brief,
		Schema: table.Object{"anyOf": []any{
			table.Object{"const": "none", "description": "none"},
			table.Map(brief, keys),
		}},
		Read: func(r R, path string, n ast.Node) func(*board.Guitar) {
			var v T
			if s, ok := n.(ast.ScalarNode); ok && s.GetToken().Value == "none" {
				return func(g *board.Guitar) { set(g, v) }
			}
			faults := len(r.Text().Faults)
			if table.Read(r, path, n, like, keys, &v) == nil || len(r.Text().Faults) > faults {
				return nil
			}
			return func(g *board.Guitar) { set(g, v) }
		},
	}
}

func bleedKey[R table.Reader]() table.Key[R, board.Guitar] {
	return orNone("treble_bleed", "a capacitor over the volume, which lets treble past where it is turned down, with a resistor in series or beside it; none when left out",
		"{capacitor: 1 nF, parallel: 150 kΩ}", bleedKeys[R](), func(g *board.Guitar, b blocks.TrebleBleed) { g.Bleed = b })
}

// secondKeys are those of a second pickup.
func secondKeys[R table.Reader]() []table.Key[R, board.SecondPickup] {
	pickup := table.Key[R, board.SecondPickup]{
		Name: "pickup", Brief: "a pickup by its name, or by its values", Schema: PickupSchema[R](), Must: true,
		Read: func(r R, path string, n ast.Node) func(*board.SecondPickup) {
			p, ok := ReadPickup(r, path, n)
			if !ok {
				return nil
			}
			return func(s *board.SecondPickup) { s.Pickup = p }
		},
	}
	wired := table.Choice[R]("wired", "how it is wired to the first", []string{"parallel", "series"}, "", func(s *board.SecondPickup, w string) { s.Series = w == "series" })
	wired.Must = true
	return []table.Key[R, board.SecondPickup]{
		pickup, wired,
		table.Choice[R]("phase", "in phase, both signals add; out of phase, the one is taken from the other", []string{"in", "out"}, "in", func(s *board.SecondPickup, w string) { s.Out = w == "out" }),
	}
}

func secondKey[R table.Reader]() table.Key[R, board.Guitar] {
	return orNone("second", "a second pickup that plays together with the first: the same signal at its own level; none when left out",
		"{pickup: single-coil, wired: parallel}", secondKeys[R](), func(g *board.Guitar, s board.SecondPickup) { g.Second = s })
}

// PickupSchema describes a pickup to editors.
func PickupSchema[R table.Reader]() table.Object {
	return table.Object{"anyOf": []any{
		table.ChoiceSchema("a pickup by its name", board.PickupNames(), board.DefaultPickup),
		table.Map("a pickup by its values", pickupKeys[R]()),
	}}
}
