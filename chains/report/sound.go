package report

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
)

// budget is how many bytes all takes together may take in the page, as base64: the page stays under
// 25 MB with all else that is on it.
const budget = 20_000_000

// mostSamples is how many samples of 16 bits that is in base64, were they to resist all
// compression.
const mostSamples = budget / 2 / 4 * 3

// Longest is how many samples of each channel a page can hold of that many takes.
func Longest(takes, channels int) int64 { return int64(mostSamples / max(takes*channels, 1)) }

// quantise turns samples of ±1 into 16 bits with triangular dither of ±1 step: the error is then
// noise that does not follow the signal (Journal of the AES 40(5), 355-375, 1992, from memory). The
// dither is the same for all takes, so that equal takes stay equal.
func quantise(x []float32) []int32 {
	rng := rand.New(rand.NewPCG(16, 48000))
	out := make([]int32, len(x))
	for k, v := range x {
		d := rng.Float64() - rng.Float64()
		out[k] = int32(math.Max(-32768, math.Min(32767, math.Round(32768*float64(v)+d))))
	}
	return out
}

// block is the length of the blocks of a file, but for the last.
const block = 4096

// encode makes a FLAC file of 16 bits of one channel or two.
func encode(channels [][]int32, rate int) ([]byte, error) {
	length, layout := len(channels[0]), frame.ChannelsMono
	if len(channels) == 2 {
		layout = frame.ChannelsLR
	}
	var file memory
	enc, err := flac.NewEncoder(&file, &meta.StreamInfo{
		BlockSizeMin: block, BlockSizeMax: block, SampleRate: uint32(rate), NChannels: uint8(len(channels)), BitsPerSample: 16, NSamples: uint64(length),
	})
	if err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	for at := 0; at < length; at += block {
		n := min(block, length-at)
		f := &frame.Frame{Header: frame.Header{
			HasFixedBlockSize: true, BlockSize: uint16(n), SampleRate: uint32(rate), Channels: layout, BitsPerSample: 16,
		}}
		for _, x := range channels {
			// the encoder looks for the best prediction itself, and works in place
			f.Subframes = append(f.Subframes, &frame.Subframe{
				SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: slices.Clone(x[at : at+n]), NSamples: n,
			})
		}
		if err := enc.WriteFrame(f); err != nil {
			return nil, fmt.Errorf("report: %w", err)
		}
	}
	if err := enc.Close(); err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	// The encoder counts the last block as the smallest, which the format does not (RFC 9639,
	// section 8.2). The two lengths stand behind the magic number and the header of the first block
	// of metadata.
	binary.BigEndian.PutUint16(file.b[8:], block)
	binary.BigEndian.PutUint16(file.b[10:], block)
	return file.b, nil
}

// memory is a file in memory: the encoder goes back to its beginning to write lengths and the
// checksum.
type memory struct {
	b  []byte
	at int
}

// Write implements io.Writer.
func (m *memory) Write(p []byte) (int, error) {
	n := copy(m.b[m.at:], p)
	m.b = append(m.b, p[n:]...)
	m.at += len(p)
	return len(p), nil
}

// Seek implements io.Seeker, as far as the encoder needs it.
func (m *memory) Seek(offset int64, whence int) (int64, error) {
	if whence != io.SeekStart || offset < 0 || offset > int64(len(m.b)) {
		return 0, errors.New("report: no such place")
	}
	m.at = int(offset)
	return offset, nil
}

// The size of a take's picture, in its own units.
const (
	waveColumns = 480
	waveHalf    = 100 // from the middle to full scale of the picture
)

// wave is the outline of a take as the path of an SVG: the largest and least sample of each column,
// of all channels, with top the sample that reaches the edge.
func wave(channels [][]float32, top float64) string {
	y := func(v float32) int { return int(math.Round(waveHalf - waveHalf*float64(v)/top)) }
	up, down := make([]string, waveColumns), make([]string, waveColumns)
	for c := range waveColumns {
		from, to := c*len(channels[0])/waveColumns, (c+1)*len(channels[0])/waveColumns
		high, low := float32(math.Inf(-1)), float32(math.Inf(1))
		for _, x := range channels {
			for _, v := range x[from:to] {
				high, low = max(high, v), min(low, v)
			}
		}
		if high < low { // fewer samples than columns
			high, low = 0, 0
		}
		up[c] = fmt.Sprintf("L%d %d", c, min(y(high), waveHalf-1)) // silence is a line
		down[waveColumns-1-c] = fmt.Sprintf("L%d %d", c, max(y(low), waveHalf+1))
	}
	return fmt.Sprintf("M0 %d%s%sZ", waveHalf, strings.Join(up, ""), strings.Join(down, ""))
}

// Where the sound of some takes ends, for the loop: in windows of 50 ms, the last in which any of them is less
// than endBelow under its loudest window, and endOver over what it ends in, which is the board's hiss
// where it is far under the music. From memory; it is a convenience, and the listener can move it.
const (
	endWindow = 0.05 // s
	endBelow  = 45.0 // dB
	endOver   = 6.0  // dB
	endRest   = 20.0 // dB under the loudest window: what a take ends in is its rest, and not music
	endLeast  = 0.3  // s: less silence than that stays in the loop
)

// soundEnd is the frame at which all takes have become silent, or their length.
func soundEnd(takes []Sound) int {
	frames := len(takes[0].Channels[0])
	size := max(1, int(endWindow*float64(takes[0].Rate)))
	windows := frames / size
	last := 0
	for _, s := range takes {
		powers := make([]float64, windows)
		most := 0.0
		for k := range powers {
			for _, x := range s.Channels {
				for _, v := range x[k*size : (k+1)*size] {
					powers[k] += float64(v) * float64(v)
				}
			}
			most = math.Max(most, powers[k])
		}
		least := most * math.Pow(10, -endBelow/10)
		// the last whole window may lie in the fade that ends the file
		if windows > 2 && powers[windows-2] < most*math.Pow(10, -endRest/10) {
			least = math.Max(least, powers[windows-2]*math.Pow(10, endOver/10))
		}
		for k, p := range powers {
			if p > least {
				last = max(last, k+1)
			}
		}
	}
	if end := last * size; last > 0 && float64(frames-end) > endLeast*float64(takes[0].Rate) {
		return end
	}
	return frames
}

// loudest is the largest magnitude of some takes.
func loudest(takes [][]float32) float64 {
	top := 1e-9
	for _, x := range takes {
		for _, v := range x {
			top = math.Max(top, math.Abs(float64(v)))
		}
	}
	return top
}
