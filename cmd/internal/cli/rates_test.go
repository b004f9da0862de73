package cli

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An impulse response may have rates that a recording may not, for it is resampled: the README's
// bounds, and one step beyond each.
func TestRatesOfImpulseResponses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := func(rate uint32) string {
		var b bytes.Buffer
		n := uint32(rate / 100)
		for _, v := range []any{[]byte("RIFF"), 36 + 2*n, []byte("WAVEfmt "), uint32(16), uint16(1), uint16(1), rate, 2 * rate, uint16(2), uint16(16), []byte("data"), 2 * n} {
			binary.Write(&b, binary.LittleEndian, v)
		}
		for k := range n {
			binary.Write(&b, binary.LittleEndian, int16(20000*math.Exp(-float64(k)/float64(n)*10)*math.Cos(2*math.Pi*400*float64(k)/float64(rate))))
		}
		name := fmt.Sprintf("%d.wav", rate)
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return name
	}
	for rate, fault := range map[uint32]string{22050: "", 384000: "", 32000: "", 22049: "22050 to 384000 Hz", 384001: "22050 to 384000 Hz"} {
		chain := filepath.Join(dir, "board.yaml")
		text := fmt.Sprintf("drywire: 1\nrecording: {sample: riff}\nblocks: {cab: {kind: speaker, file: %s}}\norder: [cab]\n", file(rate))
		if err := os.WriteFile(chain, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		code := Run(context.Background(), []string{"check", chain}, strings.NewReader(""), &out, &errs)
		if (code == done) != (fault == "") || !strings.Contains(errs.String(), fault) {
			t.Errorf("%d Hz: exit code %d, want %q:\n%s", rate, code, fault, errs.String())
		}
		code = Run(context.Background(), []string{"render", chain, "--recording", filepath.Join(dir, fmt.Sprintf("%d.wav", rate)), "-o", filepath.Join(dir, "out.wav")}, strings.NewReader(""), &out, &errs)
		if code != failed || !strings.Contains(errs.String(), "Hz") {
			t.Errorf("a recording at %d Hz: exit code %d\n%s", rate, code, errs.String())
		}
	}
}
