package experiment

import (
	"bytes"
	"testing"

	"drywire/chains/board"
)

// FuzzJournal reads journals, each with a line of its own behind it: whatever is before it, that
// line counts, or the whole is refused; and what is good ends with a whole line.
func FuzzJournal(f *testing.F) {
	prefer := []string{"quiet"}
	_, journal := ranked(f, rankOf(f, board.Keep{}, prefer, 1000, 1, 1))
	f.Add(journal, 0, byte(0))
	f.Add(journal, 300, byte('\n'))
	f.Add(journal[:len(journal)/2], 400, byte(1))
	f.Add([]byte("drywire: 1\n"), 0, byte(0))
	lines := bytes.SplitAfter(journal, []byte("\n"))
	last := lines[len(lines)-2]
	f.Fuzz(func(t *testing.T, text []byte, at int, change byte) {
		if at >= 0 && at < len(text) {
			text = bytes.Clone(text)
			text[at] ^= change
		}
		r := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
		before := r.Left()
		j, err := r.ReadJournal(text, true)
		good, damaged := j.Good, j.Damaged
		switch {
		case good < 0 || good > len(text) || good > 0 && text[good-1] != '\n':
			t.Errorf("%d of %d bytes are good", good, len(text))
		case len(damaged) > bytes.Count(text, []byte("\n")):
			t.Errorf("%d lines are damaged, of %d", len(damaged), bytes.Count(text, []byte("\n")))
		case err == nil && good > 0:
			r = rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
			all, err := r.ReadJournal(append(bytes.Clone(text[:good]), last...), true)
			if err != nil || all.Good != good+len(last) || r.Left() >= before {
				t.Errorf("one more line: %d bytes are good, want %d; %d orders left of %d (%v)", all.Good, good+len(last), r.Left(), before, err)
			}
		}
	})
}
