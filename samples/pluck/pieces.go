package pluck

import (
	"math"
	"math/rand/v2"
)

// Rate is the sample rate of the pieces, in Hz.
const Rate = 48000

// Piece is something to play: the guitar, the notes and the seed that make one recording.
type Piece struct {
	Name    string // the word that it is called by
	Title   string
	Purpose string // what to listen for, or to measure, with it
	Pickup  string // the kind that the coils stand for: "single-coil" or "humbucker"
	Guitar  Guitar
	Notes   []Note
	Seconds float64
	Seed    uint64
}

// Render is the piece's voltage, in volts, at Rate.
func (p *Piece) Render() []float64 { return p.Guitar.Render(p.Notes, p.Seconds, Rate, p.Seed) }

// Where pickups sit and picks strike, in metres from the bridge; common practice, no source.
const (
	bridgeCoil = 0.042
	neckCoil   = 0.155
	coilGap    = 0.018 // between the two coils of a humbucker
	singleSees = 0.008
	humSees    = 0.006 // each coil
	pickHere   = 0.105
	pickBridge = 0.070
	pickNeck   = 0.165
)

// How far strings are pulled, in metres.
const (
	softest = 0.25e-3
	soft    = 0.40e-3
	medium  = 0.75e-3
	hard    = 1.35e-3
	hardest = 1.85e-3
)

// Pieces is the pieces that ship, in the order in which they are shown.
func Pieces() []Piece { return []Piece{notes(), riff(), arpeggio(), chugs()} }

// byHand makes notes a little uneven, as a hand plays them: in time by up to 3 ms, in strength by
// up to 6 % and in where the pick strikes by up to 5 mm, each way. No two chugs are then the same.
func (p *Piece) byHand() {
	rnd := rand.New(rand.NewPCG(p.Seed, 1<<32)) // apart from the streams of Render
	each := func(most float64) float64 { return most * (2*rnd.Float64() - 1) }
	for i := range p.Notes {
		n := &p.Notes[i]
		n.At += each(0.003)
		n.Pull *= 1 + each(0.06)
		n.Pick += each(0.005)
	}
}

// notes: a rising line, each note harder than the one before, back down, and the first note again
// as hard as it goes, left to ring.
func notes() Piece {
	p := Piece{
		Name:    "notes",
		Title:   "Single notes, soft to hard",
		Purpose: "how the sound follows the pick, from 25 mV to 250 mV, and how a long note decays",
		Pickup:  "single-coil",
		Guitar:  Guitar{Strings: LightSet(), Coils: []float64{neckCoil}, Aperture: singleSees},
		Seconds: 12.5,
		Seed:    11,
	}
	line := []struct {
		at           float64
		str, fret    int
		pull, stopAt float64
	}{
		{0.10, 2, 5, softest, 1.55},  // E4
		{1.60, 2, 8, 0.33e-3, 2.30},  // G4
		{2.35, 1, 5, 0.42e-3, 3.05},  // A4
		{3.10, 1, 7, 0.58e-3, 3.80},  // B4
		{3.85, 1, 10, 0.80e-3, 4.55}, // D5
		{4.60, 1, 12, 1.10e-3, 5.75}, // E5
		{5.80, 1, 7, 1.35e-3, 6.15},  // B4
		{6.20, 2, 8, 1.50e-3, 6.55},  // G4
		{6.60, 3, 7, 1.60e-3, 6.95},  // D4
		{7.00, 4, 2, 1.70e-3, 7.70},  // E3
		{7.75, 2, 5, hardest, 12.2},  // E4
	}
	for _, n := range line {
		p.Notes = append(p.Notes, Note{At: n.at, String: n.str, Fret: n.fret, Pull: n.pull, Pick: pickHere, Stop: n.stopAt})
	}
	p.Notes[5].Vibrato = 12
	p.Notes[len(p.Notes)-1].Vibrato = 8
	return p
}

// riff: low notes answered by fourths on the middle strings, twice, and a chord to end on. 100
// beats a minute.
func riff() Piece {
	p := Piece{
		Name:    "riff",
		Title:   "A riff with double-stops",
		Purpose: "how two notes at once distort against one, with low notes between",
		Pickup:  "humbucker",
		Guitar:  Guitar{Strings: LightSet(), Coils: []float64{bridgeCoil, bridgeCoil + coilGap}, Aperture: humSees},
		Seconds: 8.6,
		Seed:    23,
	}
	const beat = 0.6
	single := func(at, length float64, str, fret int, pull float64) {
		p.Notes = append(p.Notes, Note{At: 0.1 + at*beat, String: str, Fret: fret, Pull: pull, Pick: pickHere, Stop: 0.1 + (at+length)*beat})
	}
	stop := func(at, length float64, lower, fret1, fret2 int, pull float64) { // on two neighbouring strings
		single(at, length, lower, fret1, pull)
		single(at+0.01/beat, length, lower-1, fret2, pull*0.95)
	}
	for bar := range 2 {
		b := 4 * float64(bar)
		single(b+0, 0.9, 6, 0, hard)
		single(b+1, 0.4, 6, 0, medium)
		stop(b+1.5, 0.45, 4, 2, 2, hard) // E3 A3
		stop(b+2, 0.7, 4, 5, 5, hard)    // G3 C4
		single(b+2.75, 0.22, 6, 3, medium)
		single(b+3, 0.45, 5, 0, hard)
		if bar == 0 {
			stop(b+3.5, 0.45, 4, 2, 2, medium)
		} else {
			stop(b+3.5, 0.22, 3, 4, 5, hard)    // B3 E4
			stop(b+3.75, 0.22, 3, 2, 3, medium) // A3 D4
		}
	}
	b := 8.0
	single(b+0, 0.45, 5, 2, hard) // B2
	stop(b+0.5, 0.45, 3, 2, 3, hard)
	stop(b+1, 0.7, 3, 0, 0, hard) // G3 B3
	single(b+1.75, 0.22, 5, 0, medium)
	for k, fret := range []int{0, 2, 2, 0} { // E2 B2 E3 G3, ringing
		single(b+2+0.02*float64(k), 3.6, 6-k, fret, hard)
	}
	p.byHand()
	return p
}

// arpeggio: four chords of eight notes and a slow strum, all strings left to ring.
func arpeggio() Piece {
	p := Piece{
		Name:    "arpeggio",
		Title:   "A clean arpeggio",
		Purpose: "how open strings ring into each other, for clean sounds, delays and reverbs",
		Pickup:  "single-coil",
		Guitar:  Guitar{Strings: LightSet(), Coils: []float64{neckCoil}, Aperture: singleSees},
		Seconds: 10.4,
		Seed:    37,
	}
	type place struct{ str, fret int }
	chords := [][8]place{
		{{5, 0}, {4, 2}, {3, 2}, {2, 1}, {1, 0}, {2, 1}, {3, 2}, {4, 2}}, // A minor
		{{4, 3}, {3, 2}, {2, 1}, {1, 0}, {2, 1}, {1, 3}, {2, 1}, {3, 2}}, // F major 7
		{{5, 3}, {4, 2}, {3, 0}, {2, 1}, {1, 0}, {2, 1}, {3, 0}, {4, 2}}, // C
		{{6, 3}, {4, 0}, {3, 0}, {2, 3}, {1, 3}, {2, 3}, {3, 0}, {4, 0}}, // G
	}
	const eighth = 0.24
	at := 0.1
	for _, chord := range chords {
		end := at + 8*eighth
		for k, c := range chord {
			pull := soft * 1.25
			if k%4 == 0 {
				pull = medium
			}
			p.Notes = append(p.Notes, Note{At: at, String: c.str, Fret: c.fret, Pull: pull, Pick: pickNeck, Stop: end})
			at += eighth
		}
	}
	for k, fret := range []int{0, 2, 0, 1, 0} { // A minor 7, strummed slowly from the fifth string
		p.Notes = append(p.Notes, Note{At: at + 0.045*float64(k), String: 5 - k, Fret: fret, Pull: medium, Pick: pickNeck, Stop: 10.2})
	}
	p.byHand()
	return p
}

// chugs: palm-muted fifths on the low strings in sixteenths, with rests, and an open chord that is
// cut off. 110 beats a minute.
func chugs() Piece {
	p := Piece{
		Name:    "chugs",
		Title:   "Muted chugs with rests",
		Purpose: "what happens in the gaps: gating, noise, recovery from overload, tight bass",
		Pickup:  "humbucker",
		Guitar:  Guitar{Strings: LightSet(), Coils: []float64{bridgeCoil, bridgeCoil + coilGap}, Aperture: humSees},
		Seconds: 7.8,
		Seed:    53,
	}
	const sixteenth = 60. / 110 / 4
	chug := func(at float64, fret int, pull, palm, length float64) { // the fifth above on the next string
		for k := range 2 {
			f := fret
			if k == 1 {
				f += 2
			}
			t := 0.1 + at*sixteenth + 0.006*float64(k)
			p.Notes = append(p.Notes, Note{At: t, String: 6 - k, Fret: f, Pull: pull, Pick: pickBridge, Palm: palm, Stop: t + length*sixteenth})
		}
	}
	bars := []struct {
		hits  string // a sixteenth each: X hard, x medium, . a rest
		frets [4]int // of each beat
	}{
		{"X.xxX...X.xxX...", [4]int{0, 0, 3, 0}},
		{"X.xxX.xxX.......", [4]int{0, 0, 5, 0}},
		{"X.xxX...X.xxX...", [4]int{0, 0, 3, 0}},
	}
	at := 0.0
	for _, bar := range bars {
		for k, hit := range bar.hits {
			switch hit {
			case 'X':
				chug(at, bar.frets[k/4], hardest*0.9, 1, 0.9)
			case 'x':
				chug(at, bar.frets[k/4], hard*0.8, 1, 0.9)
			}
			at++
		}
	}
	for k, fret := range []int{0, 2, 2} { // the open chord, cut off by the hand
		t := math.Round(at)*sixteenth + 0.1 + 0.008*float64(k)
		p.Notes = append(p.Notes, Note{At: t, String: 6 - k, Fret: fret, Pull: hard, Pick: pickBridge, Stop: 7.4})
	}
	p.byHand()
	return p
}
