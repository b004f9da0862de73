// Package place is what a chain file says of a place that its presets are played at, as data: apart
// from the board, since nothing of it is wired.
package place

// Venue is a place that the same presets are played at, and how the amplifiers are turned down
// there.
type Venue struct {
	Name  string
	Amps  float64 // dB against the file; 0 or less
	By    string  // one of TurnedDownBy: what turns them down by that
	Watts float64 // into 8 Ω, of the power amplifiers in place of the file's; 0: the same
	Level float64 // dB SPL at the listener, of the preset in the middle
}

// TurnedDownBy is the ways in which an amplifier is turned down, the usual one first: the level of
// the power amplifier, or what stands between it and its loudspeaker.
var TurnedDownBy = []string{"master", "attenuator"}
