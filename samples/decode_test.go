package samples

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func foreignBytes(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata/foreign", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Lossy files of a known tone have its length to the sample, where the file says it, and hold the
// tone where it was, but for what such a coder loses. The decoders of FFmpeg and of oggdec give the
// same lengths, but for what FFmpeg leaves out of the first block of a Vorbis stream.
func TestLossyFiles(t *testing.T) {
	for _, c := range []struct {
		name     string
		rate     int
		channels int
		frames   int64
		at       int // the frame of the tone's first sample
	}{
		{"lame.mp3", 48000, 1, 4001, 0},
		{"lame-vbr-stereo.mp3", 44100, 2, 3676, 0},
		{"ffmpeg-tagged.mp3", 48000, 1, 4001, 0},
		// LAME's delay of 576 and the decoder's of 529
		{"ffmpeg-bare.mp3", 48000, 1, 5 * 1152, 1105},
		{"oggenc.ogg", 48000, 1, 4001, 0},
		{"oggenc-stereo.ogg", 44100, 2, 3676, 0},
		{"ffmpeg.ogg", 48000, 1, 4001, 0},
	} {
		r, err := Open("testdata/foreign/" + c.name)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if r.Rate != c.rate || r.Channels != c.channels || r.Frames() != c.frames {
			t.Errorf("%s: %v, %d frames, want %d", c.name, r.Format, r.Frames(), c.frames)
		}
		if len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "a coding with loss") {
			t.Errorf("%s: warnings %q", c.name, r.Warnings)
		}
		for pass, side := range []Side{Sum, Left, Right} {
			r.SetSide(side)
			r.Rewind()
			x, err := readAll(r, 777-pass)
			if err != nil || int64(len(x)) != c.frames {
				t.Fatalf("%s: %d frames, %v", c.name, len(x), err)
			}
			// A sample too early or too late would be -17 dB of the tone.
			var ww, wx, xx float64
			for k := 500; k < 3200; k++ {
				want := 0.5 * math.Sin(2*math.Pi*1000*float64(k)/float64(c.rate))
				v := x[c.at+k]
				ww, wx, xx = ww+want*want, wx+want*v, xx+v*v
			}
			gain := wx / ww
			rest := 10 * math.Log10((xx-wx*gain)/xx)
			if math.Abs(20*math.Log10(gain)) > 0.5 || rest > -30 { // LAME turns down to 0.95
				t.Errorf("%s, %s: the tone at %.3f and %.1f dB of others", c.name, side, gain, rest)
			}
		}
	}
}

// What is wrong with a coded file is said, and a file that is cut off gives what is there.
func TestCodedRefusedOrTold(t *testing.T) {
	flac, mp3, ogg := foreignBytes(t, "flac-int16.flac"), foreignBytes(t, "lame.mp3"), foreignBytes(t, "oggenc.ogg")
	changed := func(b []byte, at int, v byte) []byte {
		b = bytes.Clone(b)
		b[at] = v
		return b
	}
	tagged := func(b []byte, size int) []byte {
		head := []byte{'I', 'D', '3', 4, 0, 0, byte(size >> 21 & 0x7f), byte(size >> 14 & 0x7f), byte(size >> 7 & 0x7f), byte(size & 0x7f)}
		return append(append(head, make([]byte, size)...), b...)
	}
	lastPage := bytes.LastIndex(ogg, []byte("OggS"))
	for _, c := range []struct {
		name   string
		file   []byte
		frames int64 // 0 for an error
		told   string
	}{
		{"FLAC", flac, 61, ""},
		{"FLAC behind a tag", tagged(flac, 300), 61, ""},
		{"FLAC, cut off before its sound", flac[:60], 0, "x: has no FLAC header"},
		{"FLAC, cut off in its first frame", flac[:len(flac)-9], 0, "is damaged at frame 0"},
		{"FLAC, a bit of sound", changed(flac, len(flac)-30, flac[len(flac)-30]^1), 0, "is damaged at frame 0"},
		{"FLAC, its checksum", changed(flac, 30, flac[30]^1), 0, "do not have the checksum"},
		{"FLAC, 96 frames claimed", changed(flac, 25, 96), 61, "is truncated: its header claims 96 frames, holds 61"},
		{"FLAC, rate of 0", changed(changed(changed(flac, 18, 0), 19, 0), 20, 0), 0, "invalid sample rate"},
		{"MP3", mp3, 4001, "with loss"},
		{"MP3 behind two tags", tagged(tagged(mp3, 5000), 3), 4001, "with loss"},
		{"MP3 before a tag", append(bytes.Clone(mp3), append([]byte("TAG"), make([]byte, 125)...)...), 4001, "with loss"},
		{"MP3 before rubbish", append(bytes.Clone(mp3), make([]byte, 99)...), 4001, "has rubbish from byte 2880 on"},
		{"MP3, cut off", mp3[:len(mp3)-9], 3503, "is truncated: its last frame claims 480 bytes, holds 471"},
		{"MP3, a tag alone", tagged(nil, 300), 0, "no frame of MPEG-1 layer III"},
		{"MP3, a tag of 256 MiB", append([]byte("ID3\x04\x00\x00\x7f\x7f\x7f\x7f"), mp3...), 0, "no frame of MPEG-1 layer III"},
		{"MP3, another rate", append(bytes.Clone(mp3), foreignBytes(t, "lame-vbr-stereo.mp3")...), 0, "changes its rate or its channels"},
		{"MP3 at half the rate", []byte("\xff\xf3\x40\xc4aaaaaaaaaaaaaa"), 0, "half the usual rates"},
		{"Ogg", ogg, 4001, "with loss"},
		{"Ogg, cut off", ogg[:lastPage], 0, "holds no samples"},
		{"Ogg, cut off in its headers", ogg[:100], 0, "ends inside its headers"},
		{"Ogg, twice", append(bytes.Clone(ogg), ogg...), 4001, "has another stream after its first"},
		{"Ogg, a bit", changed(ogg, lastPage+200, ogg[lastPage+200]^1), 0, "another checksum"},
		{"Ogg, no page", append(bytes.Clone(ogg[:lastPage]), make([]byte, 100)...), 0, "no page of an Ogg stream"},
		{"Ogg with Opus", foreignBytes(t, "opus.ogg"), 0, "with Opus in it"},
		{"Ogg of nothing", oggFile(t, 1, 4, []byte("hello, world")), 0, "without the headers of Vorbis"},
	} {
		r, err := NewReader(bytes.NewReader(c.file), int64(len(c.file)), "x")
		text, frames := fmt.Sprint(err), int64(0)
		if err == nil {
			text, frames = strings.Join(r.Warnings, "\n"), r.Frames()
			if x, err := readAll(r, 100); err != nil || int64(len(x)) != frames {
				t.Errorf("%s: read %d frames, %v", c.name, len(x), err)
			}
			r.Close()
		}
		if frames != c.frames || !strings.Contains(text, c.told) || c.told == "" && text != "" || text != "" && !strings.HasPrefix(text, "x: ") {
			t.Errorf("%s: %d frames, %q; want %d, %q", c.name, frames, text, c.frames, c.told)
		}
	}
}

// oggFile is packets of a stream, one on each page, all but the last of flags 0.
func oggFile(t testing.TB, serial uint32, flags byte, packets ...[]byte) []byte {
	t.Helper()
	var b []byte
	for k, p := range packets {
		f := byte(0)
		if k == len(packets)-1 {
			f = flags
		}
		head := le("OggS", uint8(0), f, int64(-1), serial, uint32(k), uint32(0), uint8(len(p)/255+1))
		head = append(head, bytes.Repeat([]byte{255}, len(p)/255)...)
		head = append(head, byte(len(p)%255))
		b = append(b, append(head, p...)...)
	}
	return checksummed(b)
}

// checksummed makes the checksums of all pages true, as far as there are pages.
func checksummed(b []byte) []byte {
	b = bytes.Clone(b)
	for at := 0; at+27 <= len(b) && string(b[at:at+4]) == "OggS"; {
		end := at + 27 + int(b[at+26])
		if end > len(b) {
			break
		}
		for _, n := range b[at+27 : end] {
			end += int(n)
		}
		if end > len(b) {
			break
		}
		clear(b[at+22 : at+26])
		sum := uint32(0)
		for _, v := range b[at:end] {
			sum = sum<<8 ^ oggCRC[byte(sum>>24)^v]
		}
		binary.LittleEndian.PutUint32(b[at+22:], sum)
		at = end
	}
	return b
}

// packetsOf is the packets of an Ogg file.
func packetsOf(t testing.TB, b []byte) [][]byte {
	t.Helper()
	o := oggPackets{from: bytes.NewReader(b)}
	var all [][]byte
	for {
		p, _, _, err := o.next()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, bytes.Clone(p))
	}
}

// bitsOf writes numbers as Vorbis does: pairs of a value and how many bits it takes.
func bitsOf(pairs ...uint64) []byte {
	var b []byte
	at := 0
	for k := 0; k < len(pairs); k += 2 {
		for i := range pairs[k+1] {
			if at%8 == 0 {
				b = append(b, 0)
			}
			b[at/8] |= byte(pairs[k]>>i&1) << (at % 8)
			at++
		}
	}
	return append(b, make([]byte, 64)...)
}

// Headers that the Vorbis decoder would take gigabytes, for ever, or its own life over are refused
// before it sees them.
func TestVorbisBombs(t *testing.T) {
	ogg := foreignBytes(t, "oggenc.ogg")
	packets := packetsOf(t, ogg)
	book := func(dimensions, entries uint64, more ...uint64) []byte {
		return append([]byte("\x05vorbis"), bitsOf(append([]uint64{0, 8, 0x564342, 24, dimensions, 16, entries, 24}, more...)...)...)
	}
	with := func(k int, p []byte) []byte {
		list := append([][]byte{}, packets...)
		list[k] = p
		return oggFile(t, 1, 4, list...)
	}
	format := bytes.Clone(packets[0])
	format[7+21] = 0xff
	for _, c := range []struct {
		name string
		file []byte
		told string
	}{
		{"17 GB for a book of no entries", with(2, book(1, 0)), "damaged in its codebooks"},
		{"a book without dimensions, for ever", with(2, book(0, 2)), "damaged in its codebooks"},
		{"a book of 2^24 entries", with(2, book(1, 1<<24-1)), "more than 131072 entries"},
		{"2^40 values", with(2, book(65535, 1<<15)), "than are read"},
		{"an ordered book that never ends", with(2, book(1, 2, 1, 1, 0, 5)), "damaged in its codebooks"},
		{"a book without words", with(2, book(1, 2, 0, 1, 1, 1, 0, 2)), "no whole tree"},
		{"too many words", with(2, book(1, 3, 0, 1, 0, 1, 0, 5, 0, 5, 0, 5)), "no whole tree"},
		{"half a tree", with(2, book(1, 2, 0, 1, 0, 1, 1, 5, 0, 5)), "no whole tree"},
		{"blocks of 2^15", with(0, format), "2^15 and 2^15 samples"},
		{"no setup", with(2, []byte("\x05vorbis")), "damaged in its codebooks"},
		{"setup first", with(0, packets[2]), "without the headers"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r, err := NewReader(bytes.NewReader(c.file), int64(len(c.file)), "x")
		runtime.ReadMemStats(&after)
		if err == nil {
			r.Close()
		}
		if err == nil || !strings.Contains(err.Error(), c.told) {
			t.Errorf("%s: %v, want %q", c.name, err, c.told)
		}
		if got := after.TotalAlloc - before.TotalAlloc; got > 4<<20 {
			t.Errorf("%s: took %d bytes", c.name, got)
		}
	}
	// The comments, whose count the decoder would set aside memory for, are not given to it.
	comments := append([]byte("\x03vorbis"), 0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff)
	file := with(1, comments)
	if r, err := NewReader(bytes.NewReader(file), int64(len(file)), "x"); err != nil {
		t.Error(err)
	} else {
		r.Close()
	}
	// A packet over many pages, too large for any.
	head := le("OggS", uint8(0), uint8(0), int64(-1), uint32(1), uint32(0), uint32(0), uint8(255), bytes.Repeat([]byte{255}, 255))
	page := append(head, make([]byte, 255*255)...)
	one := checksummed(page)
	page[5] = 1
	more := checksummed(page)
	file = append(one, bytes.Repeat(more, mostPacket/len(more)+2)...)
	if _, err := NewReader(bytes.NewReader(file), int64(len(file)), "x"); err == nil || !strings.Contains(err.Error(), "a packet of more than 16 MiB") {
		t.Errorf("an endless packet: %v", err)
	}
}

// What a coded file becomes has an end, and nothing is left of it in the system's folder.
func TestDecodedIsBounded(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	for _, name := range []string{"flac-int16.flac", "lame.mp3", "oggenc.ogg"} {
		b := foreignBytes(t, name)
		r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x")
		if err != nil {
			t.Fatal(err)
		}
		if names := left(t, dir); len(names) != 0 {
			t.Errorf("%s: %q is there", name, names)
		}
		r.Close()
		before := mostDecoded
		mostDecoded = 100
		_, err = NewReader(bytes.NewReader(b), int64(len(b)), "x")
		mostDecoded = before
		if err == nil || !strings.Contains(err.Error(), "when it is decoded") {
			t.Errorf("%s: %v", name, err)
		}
		// What is wrong with the disk or the run is not called damage of the file.
		for room := range len(b) {
			if _, err := NewReader(failing{bytes.NewReader(b), int64(room)}, int64(len(b)), "x"); room < 100 && !errors.Is(err, errBroken) {
				t.Errorf("%s: cannot be read from byte %d on: %v", name, room, err)
			}
		}
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "none"))
	b := foreignBytes(t, "lame.mp3")
	if _, err := NewReader(bytes.NewReader(b), int64(len(b)), "x"); err == nil || !strings.Contains(err.Error(), "x: cannot be decoded into a file of its own") {
		t.Errorf("no folder: %v", err)
	}
}

var errBroken = errors.New("broken")

// failing can be read up to a byte.
type failing struct {
	*bytes.Reader
	most int64
}

func (f failing) ReadAt(b []byte, off int64) (int, error) {
	if off+int64(len(b)) > f.most && off < f.Size() {
		return 0, errBroken
	}
	return f.Reader.ReadAt(b, off)
}
