package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"drywire/samples"
)

// A render that is piped out is the file that it would write, and a recording that is piped in is
// the file that it is. What is said goes to the error stream then.
func TestPipes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	toneFile(t, in("riff.wav"), 1, 330)
	chain := "drywire: 1\nrecording: {file: riff.wav, peak: 420 mV}\nblocks: {buffer: {kind: buffer}, echo: {kind: delay}}\norder: [buffer, echo]\n"
	fromPipe := strings.Replace(chain, "riff.wav", `"-"`, 1)
	if err := errors.Join(os.WriteFile(in("board.yaml"), []byte(chain), 0o644), os.WriteFile(in("pipe.yaml"), []byte(fromPipe), 0o644)); err != nil {
		t.Fatal(err)
	}
	riff, err := os.ReadFile(in("riff.wav"))
	if err != nil {
		t.Fatal(err)
	}
	for _, volts := range [][]string{nil, {"--volts"}} {
		var out, errs bytes.Buffer
		args := append([]string{"render", in("board.yaml"), "--quality", "draft", "-o", in("out.wav")}, volts...)
		if code := Run(t.Context(), args, strings.NewReader(""), &out, &errs); code != done {
			t.Fatalf("%s", errs.String())
		}
		want, err := os.ReadFile(in("out.wav"))
		if err != nil {
			t.Fatal(err)
		}
		for name, args := range map[string][]string{
			"file":        {"render", in("board.yaml")},
			"--recording": {"render", in("board.yaml"), "--recording", "-"},
			"file: -":     {"render", in("pipe.yaml")},
		} {
			out.Reset()
			errs.Reset()
			args := append(append(args, "--quality", "draft", "-o", "-"), volts...)
			if code := Run(t.Context(), args, bytes.NewReader(riff), &out, &errs); code != done {
				t.Fatalf("%s: exit code %d: %s", name, code, errs.String())
			}
			if !bytes.Equal(out.Bytes(), want) {
				t.Errorf("%s %v: %d bytes came out of the pipe, want the file's %d", name, volts, out.Len(), len(want))
			}
			if !strings.Contains(errs.String(), "Wrote      standard output") {
				t.Errorf("%s: said:\n%s", name, errs.String())
			}
		}
	}
	// What is no recording is refused by how it begins, however long it is.
	var out, errs bytes.Buffer
	if code := Run(t.Context(), []string{"render", in("pipe.yaml"), "-o", in("no.wav")}, endless{}, &out, &errs); code != failed || !strings.Contains(errs.String(), "standard input: is no sound file") {
		t.Errorf("endless zeros: exit code %d: %s", code, errs.String())
	}
	errs.Reset()
	if code := Run(t.Context(), []string{"render", "-", "--recording", "-", "-o", in("no.wav")}, strings.NewReader(chain), &out, &errs); code != failed || !strings.Contains(errs.String(), "standard input: was read already") {
		t.Errorf("the chain file and the recording: exit code %d: %s", code, errs.String())
	}
	// A pipe that never gives anything does not hold up an interrupt.
	ctx, stop := context.WithCancel(context.Background())
	reader, _ := io.Pipe()
	time.AfterFunc(50*time.Millisecond, stop)
	errs.Reset()
	if code := Run(ctx, []string{"render", in("pipe.yaml"), "-o", in("no.wav")}, reader, &out, &errs); code != 128+int(syscall.SIGINT) || !strings.Contains(errs.String(), "interrupted") {
		t.Errorf("a pipe that gives nothing: exit code %d: %s", code, errs.String())
	}
	// The 64-bit kinds by their names.
	for _, name := range []string{"out.w64", "out.BW64"} {
		if code := Run(t.Context(), []string{"render", in("board.yaml"), "--quality", "draft", "-o", in(name)}, strings.NewReader(""), &out, &errs); code != done {
			t.Errorf("%s: exit code %d: %s", name, code, errs.String())
		}
		r, err := samples.Open(in(name))
		if err != nil {
			t.Fatal(err)
		}
		if r.Frames() < 48000 || len(r.Warnings) > 0 {
			t.Errorf("%s: %d frames, warnings %q", name, r.Frames(), r.Warnings)
		}
		r.Close()
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// A recording of any format that is read is one, by its name in the chain file and from a pipe.
func TestRecordingsOfEveryFormat(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"sox-int16.wav", "sndfile-rf64.wav", "sox-w64.w64", "sox-aiff24.aiff", "ffmpeg-fl32.aiff", "flac-int16.flac", "lame.mp3", "oggenc.ogg"} {
		dir := t.TempDir()
		b, err := os.ReadFile(filepath.Join("../../../samples/testdata/foreign", name))
		if err != nil {
			t.Fatal(err)
		}
		chain := filepath.Join(dir, "board.yaml")
		text := "drywire: 1\nrecording: {file: " + name + ", full_scale: 1 V, load: none}\nblocks: {buffer: {kind: buffer}}\norder: [buffer]\n"
		if err := errors.Join(os.WriteFile(filepath.Join(dir, name), b, 0o644), os.WriteFile(chain, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
		var errs bytes.Buffer
		var outs [2]bytes.Buffer
		for k, recording := range []string{"", "-"} {
			args := []string{"render", chain, "--recording", recording, "--volts", "--at", "guitar", "-o", "-"}
			if code := Run(t.Context(), args, bytes.NewReader(b), &outs[k], &errs); code != done {
				t.Fatalf("%s: exit code %d: %s", name, code, errs.String())
			}
		}
		if !bytes.Equal(outs[0].Bytes(), outs[1].Bytes()) {
			t.Errorf("%s: %d bytes by its name, %d others from a pipe", name, outs[0].Len(), outs[1].Len())
		}
		r, err := samples.NewReader(bytes.NewReader(outs[0].Bytes()), int64(outs[0].Len()), name)
		if err != nil {
			t.Fatal(err)
		}
		peak, err := largest(t.Context(), r)
		if err != nil || peak < 0.1 || peak > 0.6 {
			t.Errorf("%s: a tone of 0.5 V peaks at %v V at the guitar's jack, %v", name, peak, err)
		}
	}
}
