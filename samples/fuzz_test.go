package samples

import (
	"bytes"
	"math"
	"runtime"
	"strings"
	"testing"
)

// fuzzRead holds the reader to its promises, whatever a file holds: it is an error that names the
// file, or as many finite samples as promised, the same however they are asked for, in bounded
// memory.
func fuzzRead(f *testing.F, mend func([]byte) []byte) {
	mostDecoded = 8 << 20
	f.Fuzz(func(t *testing.T, b []byte) {
		b = mend(b)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x.wav")
		runtime.ReadMemStats(&after)
		// Decoders set aside what they need for every frame; a header's claim would be gigabytes.
		if got := after.TotalAlloc - before.TotalAlloc; got > 256<<20+uint64(len(b))*(64<<10) {
			t.Fatalf("%d bytes were set aside for a file of %d", got, len(b))
		}
		if err != nil {
			if !strings.HasPrefix(err.Error(), "x.wav: ") {
				t.Fatalf("an error that does not name the file: %v", err)
			}
			return
		}
		defer r.Close()
		if r.Frames() <= 0 || r.src == nil {
			t.Fatalf("%d frames", r.Frames())
		}
		if _, raw := r.src.(*bytes.Reader); raw && r.Frames()*int64(r.stride()) > int64(len(b)) {
			t.Fatalf("%d frames of %d bytes in a file of %d bytes", r.Frames(), r.stride(), len(b))
		}
		if r.Frames() > mostDecoded {
			t.Fatalf("%d frames out of %d bytes", r.Frames(), len(b))
		}
		whole, err1 := readAll(r, int(r.Frames()))
		r.Rewind()
		cut, err2 := readAll(r, 3)
		if len(whole) != len(cut) || (err1 == nil) != (err2 == nil) {
			t.Fatalf("in one call %d frames, %v; in many %d, %v", len(whole), err1, len(cut), err2)
		}
		if err1 == nil && int64(len(whole)) != r.Frames() {
			t.Fatalf("%d frames, promised %d", len(whole), r.Frames())
		}
		for i, v := range whole {
			if v != cut[i] || math.IsNaN(v-v) {
				t.Fatalf("frame %d: %v in one call, %v in many", i, v, cut[i])
			}
		}
	})
}

// as lets only files through that begin like those, so that a target stays with its format.
func as(magic ...string) func([]byte) []byte {
	return func(b []byte) []byte {
		for _, m := range magic {
			if strings.HasPrefix(string(b), m) {
				return b
			}
		}
		return append([]byte(magic[0]), b...)
	}
}

func FuzzWAV64(f *testing.F) {
	for _, name := range []string{"sndfile-rf64.wav", "ffmpeg-pipe-rf64.wav", "ffmpeg-pipe.w64", "sndfile-float32-stereo.w64"} {
		f.Add(foreignBytes(f, name))
	}
	fuzzRead(f, as("RF64", "BW64", w64RIFF))
}

func FuzzAIFF(f *testing.F) {
	for _, name := range []string{"sox-aiff8.aiff", "ffmpeg-sowt.aiff", "ffmpeg-fl64.aiff", "sndfile-float32-stereo.aifc"} {
		f.Add(foreignBytes(f, name))
	}
	fuzzRead(f, as("FORM"))
}

func FuzzFLAC(f *testing.F) {
	for _, name := range []string{"sox-int8.flac", "flac-int16.flac", "flac-int24-stereo.flac"} {
		f.Add(foreignBytes(f, name))
	}
	fuzzRead(f, as("fLaC", "ID3"))
}

func FuzzMP3(f *testing.F) {
	for _, name := range []string{"lame.mp3", "lame-vbr-stereo.mp3", "ffmpeg-bare.mp3", "ffmpeg-tagged.mp3"} {
		f.Add(foreignBytes(f, name))
	}
	fuzzRead(f, as("\xff\xfb", "\xff\xfa", "ID3"))
}

// The checksums of the pages are made true, so that what is inside them is reached.
func FuzzVorbis(f *testing.F) {
	for _, name := range []string{"oggenc.ogg", "oggenc-stereo.ogg"} {
		f.Add(foreignBytes(f, name))
	}
	fuzzRead(f, func(b []byte) []byte { return checksummed(as("OggS")(b)) })
}
