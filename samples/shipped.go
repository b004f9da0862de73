package samples

import (
	"embed"
	"fmt"
	"io"
	"strings"

	"drywire/dsp"
	"drywire/samples/pluck"
)

//go:generate go run pluck/generate.go recordings

// The recordings travel inside the program, so that it works from any folder.
//
//go:embed recordings/*.wav
var files embed.FS

// fullScale is the voltage that ±1 in a shipped recording stands for. One volt keeps the numbers
// readable: a sample's value is its voltage. Single notes peak at 24 to 250 mV in them, chords at
// up to 490 mV.
const fullScale dsp.Volt = 1

// Recording is a dry recording that ships. It holds the open-circuit voltage of a pickup: what the
// strings induce, before the pickup's own resistance, inductance and capacitance and before any
// load. In a chain file that is `load: none` with the full scale below.
type Recording struct {
	Name    string // the word in a chain file
	Title   string // what it is
	Purpose string // what to listen for, or to measure, with it
	// the kind of pickup whose place and width it was sensed with: "single-coil" or "humbucker"
	Pickup    string
	FullScale dsp.Volt // what a sample of 1 stands for
	Load      string   // what the guitar was plugged into: "none"
	Seed      uint64   // of the generator
	File      string   // NAME.wav
}

// Shipped is every recording that ships, in the order to show them.
func Shipped() []Recording {
	var all []Recording
	for _, p := range pluck.Pieces() {
		all = append(all, Recording{
			Name: p.Name, Title: p.Title, Purpose: p.Purpose, Pickup: p.Pickup,
			FullScale: fullScale, Load: "none", Seed: p.Seed, File: p.Name + ".wav",
		})
	}
	return all
}

// Find is the shipped recording of that name. The error offers the nearest name.
func Find(name string) (Recording, error) {
	var names []string
	nearest, least := "", 3 // more than two slips is another word
	for _, r := range Shipped() {
		if r.Name == name {
			return r, nil
		}
		names = append(names, r.Name)
		if d := slips(strings.ToLower(name), r.Name); d < least {
			nearest, least = r.Name, d
		}
	}
	if nearest != "" {
		return Recording{}, fmt.Errorf("no shipped recording %q; did you mean %q? There are %s", name, nearest, strings.Join(names, ", "))
	}
	return Recording{}, fmt.Errorf("no shipped recording %q; there are %s", name, strings.Join(names, ", "))
}

// slips is how many letters have to be put in, left out or changed to make b of a (the edit
// distance).
func slips(a, b string) int {
	x, y := []rune(a), []rune(b)
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diagonal := row[0]
		row[0] = i + 1
		for j := range y {
			change := diagonal
			if x[i] != y[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, diagonal+1, row[j]+1)
		}
	}
	return row[len(y)]
}

// Open opens the recording for reading. The error begins with the file's name: that of a file which
// is not in the program, or NewReader's.
func (r Recording) Open() (*Reader, error) {
	f, err := files.Open("recordings/" + r.File)
	if err != nil {
		return nil, plainPathError(r.File, err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, plainPathError(r.File, err)
	}
	// Files of package embed are io.ReaderAt, by its documentation.
	reader, err := NewReader(f.(io.ReaderAt), info.Size(), r.File)
	if err != nil {
		return nil, err
	}
	reader.closers = append(reader.closers, f)
	return reader, nil
}
