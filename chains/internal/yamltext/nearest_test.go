package yamltext

import "testing"

func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"kitten", "sitting", 3}, // the textbook's example of the edit distance
		// the textbook's example of optimal string alignment (unrestricted: 2)
		{"ca", "abc", 3},
		{"oder", "order", 1}, // by hand, as all below
		{"levle", "level", 1},
		{"", "fuzz", 4},
		{"fuzz", "", 4},
		{"µs", "ms", 1},
		{"same", "same", 0},
	} {
		if got := edits([]rune(c.a), []rune(c.b)); got != c.want {
			t.Errorf("edits(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestNearest(t *testing.T) {
	words := []string{"buffer", "compressor", "delay", "eq", "fuzz"}
	for _, c := range []struct{ word, want string }{
		{"bufer", "buffer"},
		{"Fuzz", "fuzz"}, // capitals do not count
		{"fzuz", "fuzz"},
		{"conpresor", "compressor"},
		{"dely", "delay"},
		{"e", ""}, // one letter is a slip of nothing
		{"q", ""}, //
		{"buzz", "fuzz"},
		{"bolt", ""}, // too far from all
		{"", ""},
	} {
		if got := Nearest(c.word, words); got != c.want {
			t.Errorf("nearest(%q) = %q, want %q", c.word, got, c.want)
		}
	}
}
