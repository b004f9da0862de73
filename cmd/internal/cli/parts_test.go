package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
)

// jackForm is the end of a jack's name; dotted is a name with dots in it.
var (
	jackForm = regexp.MustCompile(`^(in|out|(send|return)-[0-9]+|out-(left|right)|(left|right))$`)
	dotted   = regexp.MustCompile(`\b[a-z][a-z0-9-]*(\.[A-Za-z][A-Za-z0-9-]*)+`)
)

// partsNamed is what a text names that is neither a jack nor a knob of a file's blocks, guitar, load
// or cables: parts of their circuits, which a player has no names for.
func partsNamed(f *board.File, text string) (parts []string) {
	knobs := map[string][]string{
		"guitar": {"volume", "tone", "pickup", "cable", "hum", "volume_pot", "tone_pot"}, "load": {"cable", "resistance"}, "cable": nil,
	}
	for _, b := range f.Blocks {
		names := []string{"supply", "power", "file", "bypass", "loops", "trim"}
		for _, k := range b.Kind.Knobs {
			names = append(names, k.Name)
		}
		knobs[b.Name] = names
	}
	for _, name := range dotted.FindAllString(text, -1) {
		of, rest, _ := strings.Cut(name, ".")
		known, ours := knobs[of]
		if ours && !jackForm.MatchString(rest) && !slices.Contains(known, rest) && !slices.Contains(parts, name) {
			parts = append(parts, name)
		}
	}
	return parts
}

// What a player reads first names blocks, jacks and knobs and no parts, for all files that ship;
// TestEveryQuestionOfEveryBoard and TestTwelveQuestions ask the same of all other commands.
func TestPlayersReadNoParts(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, name := range chains.Shipped() {
		if strings.HasSuffix(name, "-board") && os.Getenv("BOARDS") != "all" {
			continue
		}
		src, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		f, err := file.Parse(name, src)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name+".yaml")
		if err := os.WriteFile(path, src, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, command := range []string{"noise", "check"} {
			var out, said bytes.Buffer
			if code := Run(t.Context(), []string{command, path}, strings.NewReader(""), &out, &said); code != 0 {
				t.Fatalf("%s %s: exit %d\n%s", command, name, code, said.String())
			}
			if parts := partsNamed(f, out.String()+said.String()); parts != nil {
				t.Errorf("%s %s names parts: %q", command, name, parts)
			}
		}
	}
	// The list of every part, which is asked for by --all, does name them.
	var all bytes.Buffer
	if code := Run(t.Context(), []string{"noise", filepath.Join(dir, "fuzz-or-buffer-first.yaml"), "--all"}, strings.NewReader(""), &all, &all); code != 0 {
		t.Fatal(all.String())
	}
	src, _ := chains.ReadShipped("fuzz-or-buffer-first")
	shipped, _ := file.Parse("x.yaml", src)
	if len(partsNamed(shipped, all.String())) < 10 {
		t.Errorf("parts found in the list of every part: %q", partsNamed(shipped, all.String()))
	}
	f, err := file.Parse("x.yaml", []byte("drywire: 1\nrecording: {sample: riff}\nblocks: {germ: {kind: fuzz}}\norder: [germ]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := partsNamed(f, "germ.in, germ.fuzz, guitar.volume, brick.left, germ.q1, guitar.volume.bottom and cable.germ.r"); !slices.Equal(got, []string{"germ.q1", "guitar.volume.bottom", "cable.germ.r"}) {
		t.Errorf("parts found: %q", got)
	}
}
