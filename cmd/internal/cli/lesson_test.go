package cli

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drywire/chains/file"
	"drywire/chains/lesson"
	"drywire/chains/lessons"
)

// Every command that a lesson prints beside a number is one of the program's, with flags that it
// has, and the chain file that comes with it is one that can be read.
func TestCommandsOfLessons(t *testing.T) {
	t.Parallel()
	course, err := lessons.Course()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, l := range course {
		for _, part := range []struct {
			facts []lesson.Fact
			board lesson.Board
		}{{l.Facts, l.Board}, {l.Transfer.Facts, l.Transfer.Board}} {
			f, err := file.Parse(l.Name+".yaml", part.board.Preferring(part.facts))
			if err != nil {
				t.Errorf("%s: %v", l.Name, err)
				continue
			}
			for _, fact := range part.facts {
				if fact.Measure == "" {
					continue
				}
				words := regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(fact.Command(l.Name+".yaml"), -1)
				root := command(streams{}, nil)
				cmd, rest, err := root.Find(words[1:])
				if err != nil || cmd == root {
					t.Errorf("%s: %s: no such command (%v)", l.Name, words, err)
					continue
				}
				if err := cmd.ParseFlags(rest); err != nil {
					t.Errorf("%s: %s: %v", l.Name, words, err)
				}
				if seen[cmd.Name()]++; cmd.Name() == "rank" && len(f.Prefer) == 0 {
					t.Errorf("%s: the file says nothing that rank would print", l.Name)
				}
			}
		}
	}
	t.Log(seen)
	if len(seen) < 5 {
		t.Errorf("only %d commands: %v", len(seen), seen)
	}
}

// A class of twenty, each in a file of their own: everybody is counted once, before and after, and
// the picture is well formed and has every belief.
func TestClassOfTwenty(t *testing.T) {
	l, err := lessons.Find("loading")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	chance := rand.New(rand.NewPCG(20, 1))
	right := l.Predict.Choices[l.Predict.Right()].Belief
	var before, after [3]int
	args := []string{"lesson", "merge"}
	for k := range 20 {
		b, a := chance.IntN(3), l.Predict.Right()
		if chance.IntN(4) == 0 {
			a = chance.IntN(3)
		}
		before[b]++
		after[a]++
		file := filepath.Join(dir, fmt.Sprintf("%02d.txt", k))
		text := fmt.Sprintf("drywire answers 1\nlesson: %s\nwho: listener %d\nright: %s\nbefore: %s\nhear: %s\nheard: %s\nsaw: -\nafter: %s\n",
			l.Name, k, right, l.Predict.Choices[b].Belief, l.Hear.Takes[l.Hear.Right], l.Hear.Takes[chance.IntN(2)], l.Predict.Choices[a].Belief)
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		args = append(args, file)
	}
	picture := filepath.Join(dir, "class.svg")
	out := mustRun(t, append(args, "-o", picture)...)
	t.Log("\n" + out)
	for k, c := range l.Predict.Choices {
		row := ""
		for _, line := range strings.Split(out, "\n") {
			if strings.HasPrefix(line, c.Belief) {
				row = line
			}
		}
		if want := fmt.Sprintf("%d of 20", before[k]); !strings.Contains(row, want) {
			t.Errorf("%q: %q has no %q before", c.Belief, row, want)
		}
		if want := fmt.Sprintf("%d of 20", after[k]); !strings.HasSuffix(row, want) {
			t.Errorf("%q: %q does not end in %q", c.Belief, row, want)
		}
	}
	svg, err := os.ReadFile(picture)
	if err != nil {
		t.Fatal(err)
	}
	rects := strings.Count(string(svg), "<rect")
	if rects != 1+2*len(l.Predict.Choices) {
		t.Errorf("%d bars, want two for each of %d beliefs and the ground", rects, len(l.Predict.Choices))
	}
	for d := xml.NewDecoder(strings.NewReader(string(svg))); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
