// Package samples reads files of sound, writes WAV files, and carries the dry recordings that
// Drywire ships.
//
// It knows files, headers and sample formats. It knows no circuit and no chain: what a sample means
// in volts is said by whoever opens the file, or by a shipped Recording. It reads WAV, its 64-bit
// kinds RF64, BW64 and W64, AIFF and AIFF-C, FLAC, Ogg Vorbis and MP3, and refuses everything else
// by name. Every file is taken for hostile: memory is bounded whatever a header claims.
//
// Start reading at Reader (read.go), which lists the formats, then Writer (wav_write.go) and
// Shipped (shipped.go). Formats of plain samples are located in their file (wav_read.go,
// aiff_read.go); coded ones are decoded into a file of plain samples (decode.go). The generator of
// the shipped recordings is the package pluck beside this one.
package samples

import "fmt"

// The sample rates, in Hz, of recordings, which are those that files are written at: they are kept,
// never converted. What is not played but resampled, as an impulse response, may have any rate that
// is read.
const (
	MinRate = 44100
	MaxRate = 192000

	MinReadRate = 22050
	MaxReadRate = 384000
)

// Format is how the samples of a file are stored.
type Format struct {
	Rate     int  // frames per second
	Channels int  // 1 or 2
	Bits     int  // per sample: 8, 16, 24 or 32 for integers, 32 or 64 for floats
	Float    bool // IEEE 754 floats rather than integers
}

// String is the format in words: "48000 Hz, mono, 24-bit integer".
func (f Format) String() string {
	channels, kind := "mono", "integer"
	if f.Channels == 2 {
		channels = "stereo"
	}
	if f.Float {
		kind = "float"
	}
	return fmt.Sprintf("%d Hz, %s, %d-bit %s", f.Rate, channels, f.Bits, kind)
}

// frameBytes is the size of one frame: one sample of every channel.
func (f Format) frameBytes() int { return f.Channels * f.Bits / 8 }

// Side is how a reader turns a stereo file into one channel, since a guitar is mono.
type Side string

// The sides of a stereo file.
const (
	Sum   Side = "sum" // (L+R)/2
	Left  Side = "left"
	Right Side = "right"
)

// ParseSide reads the word for a side. The empty word is Sum. Any other is an error, which names
// the sides that there are.
func ParseSide(word string) (Side, error) {
	switch s := Side(word); s {
	case Sum, Left, Right:
		return s, nil
	case "":
		return Sum, nil
	}
	return "", fmt.Errorf("no side %q; a side is sum, left or right", word)
}
