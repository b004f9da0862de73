package engine

import "drywire/cmd/internal/produce"

// Spot is a take and the place in it where it is listened to.
type Spot struct {
	*produce.Take
	Jack  string // "": what the take ends in
	Noisy bool   // with the hiss and hum of the board, as a comparison has them
}

// plain is the same without noise.
func (s Spot) plain() Spot {
	s.Noisy = false
	return s
}

// ears is the jacks that sound there, one for each channel.
func (s Spot) ears() []string {
	if s.Jack != "" {
		return []string{s.Jack}
	}
	return s.Ends()
}

// SpotOf is a take heard at a jack, or at its end where it has no such jack or where that is "".
func SpotOf(t *produce.Take, jack string) Spot {
	if jack == "" || t.Jack(jack) != nil {
		jack = ""
	}
	return Spot{Take: t, Jack: jack}
}
