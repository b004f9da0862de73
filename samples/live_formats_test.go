//go:build live

package samples

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is written here, FFmpeg, SoX and libsndfile read as it was meant, every kind and also beyond
// 4 GiB.
func TestLiveKindsAreReadByOthers(t *testing.T) {
	dir := t.TempDir()
	f := Format{48000, 2, 24, false}
	x := [][]float64{make([]float64, 4801), make([]float64, 4801)}
	var want bytes.Buffer
	for k := range x[0] {
		for c := range x {
			v := int32(8388607 * math.Sin(float64(k*(c+1))/17))
			x[c][k] = float64(v) / (1 << 23)
			want.Write([]byte{byte(v), byte(v >> 8), byte(v >> 16)})
		}
	}
	for _, name := range []string{"a.wav", "a.rf64.wav", "a.bw64", "a.w64"} {
		path := filepath.Join(dir, name)
		frames := int64(0)
		if strings.Contains(name, "rf64") {
			frames = 1 << 40 // as if it were going to be that long
		}
		w, err := CreateFor(path, f, frames)
		if err != nil {
			t.Fatal(err)
		}
		w.Dither = false
		if err := errors.Join(w.Write(x...), w.Close()); err != nil {
			t.Fatal(err)
		}
		for tool, args := range map[string][]string{
			"ffmpeg":          {"-v", "error", "-i", path, "-f", "s24le", path + ".ffmpeg"},
			"sndfile-convert": {"-pcm24", path, path + ".sndfile-convert.raw"},
			"sox":             {path, "-t", "raw", path + ".sox"},
		} {
			if tool != "ffmpeg" && name == "a.bw64" {
				continue // libsndfile 1.2 knows no BW64, and SoX goes through it
			}
			run(t, tool, args...)
			got, err := os.ReadFile(args[len(args)-1])
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want.Bytes()) {
				t.Errorf("%s reads %s as %d bytes, want %d of the same", tool, name, len(got), want.Len())
			}
		}
	}
	for _, name := range []string{"a.wav", "a.w64", "a.bw64"} {
		path, f, frames, _ := long(t, name)
		seconds := fmt.Sprintf("%.6f", float64(frames)/float64(f.Rate))
		if got := strings.TrimSpace(run(t, "ffprobe", "-v", "error", "-show_entries", "format=duration", "-of", "csv=p=0", path)); got != seconds {
			t.Errorf("FFmpeg finds %s s in 5 GiB of %s, want %s", got, name, seconds)
		}
		if name != "a.bw64" {
			if out := run(t, "sndfile-info", path); !strings.Contains(out, fmt.Sprintf("Frames      : %d\n", frames)) {
				t.Errorf("libsndfile finds in 5 GiB of %s, where %d frames are:\n%s", name, frames, out)
			}
		}
	}
}
