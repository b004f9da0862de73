package venue

import (
	"math"
	"slices"

	"drywire/chains/board"
	"drywire/chains/internal/place"
	"drywire/dsp/circuit"
)

// powerKind is the kind of block that a venue turns down.
const powerKind = "poweramp"

// at is a preset of a file at a venue. An attenuator is taken as ideal: what comes before it stays
// as it is, and how loud the loudspeaker is then is Level's to say. A master volume goes back along
// its audio taper. Another power amplifier has its level control where the file's is.
func at(f *board.File, v place.Venue, preset string, trim *float64) *board.Chain {
	c := f.OnPreset(preset, "", trim)
	turnDown(c.Blocks, v)
	if c.Split != nil {
		turnDown(c.Split.Left, v)
		turnDown(c.Split.Right, v)
	}
	return c
}

func turnDown(line []board.Placed, v place.Venue) {
	for k := range line {
		if !isPower(line[k]) {
			continue
		}
		if v.Watts > 0 {
			line[k].Settings = line[k].Settings.With("watts", v.Watts)
		}
		if v.By == place.TurnedDownBy[0] && v.Amps < 0 {
			line[k].Settings = line[k].Settings.With("level", lowered(line[k].Settings.Number("level"), v.Amps))
		}
	}
}

func isPower(p board.Placed) bool {
	return p.Kind != nil && p.Piece == nil && p.Kind.Name == powerKind
}

// lowered is where an audio taper lets so many dB less through than at a position, 0 to 10.
func lowered(position, db float64) float64 {
	want := circuit.Audio.Wiper(position/10) * math.Pow(10, db/20)
	low, high := 0.0, position
	for range 50 {
		if middle := (low + high) / 2; circuit.Audio.Wiper(middle/10) < want {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// powerAmps is the power amplifiers of a chain, in its order.
func powerAmps(c *board.Chain) []board.Placed {
	return slices.DeleteFunc(slices.Clone(c.Every()), func(p board.Placed) bool { return !isPower(p) })
}
