package file

import (
	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/place"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// maxVenues is how many venues a file may name.
const maxVenues = 10

func venueKeys() []key[place.Venue] {
	return []key[place.Venue]{
		table.Quantity[*reader]("amps", "how far the amplifiers are turned down against the file", dsp.Decibels, -60, 0, "0 dB", func(v *place.Venue, x float64) { v.Amps = x }),
		table.Choice[*reader]("by", "what turns them down: the power amplifier's level, or an attenuator behind it", place.TurnedDownBy, place.TurnedDownBy[0], func(v *place.Venue, w string) { v.By = w }),
		table.Quantity[*reader]("watts", "the power into 8 Ω of the amplifiers that stand there instead; where it is left out, the file's", dsp.None, 1, 150, "", func(v *place.Venue, x float64) { v.Watts = x }),
		table.Quantity[*reader]("level", "how loud the preset in the middle is at the listener, in dB SPL", dsp.Decibels, 40, 120, "85 dB", func(v *place.Venue, x float64) { v.Level = x }),
	}
}

func venueKey() key[board.File] {
	const brief = "places that the same presets are played at, by name, and how the amplifiers are turned down there: see drywire venue"
	return key[board.File]{
		Name: "venue", Brief: brief, Schema: table.NamedSchema(brief, table.Map("a place to play at", venueKeys())),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			var all []place.Venue
			for _, p := range table.Named(&r.Reader, path, n, "home: {amps: -20 dB, level: 70 dB}", "venue", maxVenues) {
				v := place.Venue{Name: p.Key.GetToken().Value, By: place.TurnedDownBy[0], Level: 85}
				table.Read(r, yamltext.Join(path, v.Name), p.Value, "amps: -20 dB", venueKeys(), &v)
				all = append(all, v)
			}
			return func(f *board.File) { f.Venues = all }
		},
	}
}
