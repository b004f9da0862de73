package lessons

import (
	"bytes"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"drywire/chains/board"
	"drywire/chains/lesson"
)

func course(t *testing.T) []*lesson.Lesson {
	t.Helper()
	course, err := Course()
	if err != nil {
		t.Fatal(err)
	}
	if len(course) < 14 {
		t.Fatalf("%d lessons in the course, want 14 and more", len(course))
	}
	return course
}

// The course has its places without a gap, and every lesson builds only on lessons before it.
func TestCourseBuildsOnItself(t *testing.T) {
	var before []string
	for k, l := range course(t) {
		if l.Place != k+1 {
			t.Errorf("%s has place %d, want %d", l.Name, l.Place, k+1)
		}
		if k > 0 && len(l.After) == 0 {
			t.Errorf("%s builds on nothing", l.Name)
		}
		for _, name := range l.After {
			if !slices.Contains(before, name) {
				t.Errorf("%s builds on %s, which does not come before it", l.Name, name)
			}
		}
		if l.Minutes < 5 || l.Minutes > 8 {
			t.Errorf("%s takes %g minutes, want 5 to 8", l.Name, l.Minutes)
		}
		before = append(before, l.Name)
	}
}

// A wrong idea is shared: what is named in one lesson only could not be drilled in another.
func TestIdeasAreShared(t *testing.T) {
	in := map[string][]string{}
	for _, l := range course(t) {
		for _, c := range l.Predict.Choices {
			if c.Idea != "" {
				in[c.Idea] = append(in[c.Idea], l.Name)
			}
		}
	}
	if len(in) < 5 {
		t.Errorf("only %d ideas", len(in))
	}
	for idea, names := range in {
		if len(names) < 2 {
			t.Errorf("only %s has the idea %q", names[0], idea)
		}
	}
}

// Every lesson has something to do with one's hands, with knobs that its board has.
func TestHandsHaveTheirKnobs(t *testing.T) {
	knobs := 0
	for _, l := range course(t) {
		if l.Hands == nil {
			t.Errorf("%s has nothing to do", l.Name)
			continue
		}
		for _, name := range l.Hands.Knobs {
			part, knob, _ := strings.Cut(name, ".")
			if part == "order" || part == "guitar" {
				continue
			}
			k := slices.IndexFunc(l.Board.File.Blocks, func(b board.Block) bool { return b.Name == part })
			if k < 0 {
				t.Errorf("%s: no block for the knob %s", l.Name, name)
				continue
			}
			if _, ok := l.Board.File.Blocks[k].Kind.Knob(knob); !ok {
				t.Errorf("%s: no knob %s", l.Name, name)
			}
			knobs++
		}
	}
	if knobs < 15 {
		t.Errorf("only %d knobs seen", knobs)
	}
}

// trade is words of the trade that a beginner does not know, by a pattern of them.
var trade = map[string]string{
	"decibel": `\bd(B|ecibels?)\b`, "peak": `\bpeaks?\b`, "RMS": `\bRMS\b`, "dBu": `\bdBu\b`, "gain": `\bgain\b`, "level": `\blevels?\b`,
	"ceiling": `\bceiling\b`, "headroom": `\bheadroom\b`, "clip": `\bclip(s|ped|ping)?\b`, "noise": `\bnoise\b`, "hiss": `\bhiss(es|ing)?\b`, "hum": `\bhums?\b`,
	"supply": `\bsuppl(y|ies)\b`, "distortion": `\bdistortion\b`, "buffer": `\bbuffers?\b`, "true bypass": `\btrue bypass\b`, "input impedance": `\bimpedance\b`,
	"treble": `\btreble\b`, "bass": `\bbass\b`, "fuzz": `\bfuzz\b`, "compressor": `\bcompressor\b`, "equaliser": `\bequaliser\b`, "delay": `\bdelays?\b`, "reverb": `\breverb\b`,
	"preamp": `\bpreamp\b`, "power amplifier": `\bpower amplifiers?\b`, "effects loop": `\beffects loop\b`, "preset": `\bpresets?\b`, "loudness": `\bloudness\b`,
	"polarity": `\bpolarity\b`, "mono": `\bmono\b`, "clean boost": `\bclean boost\b`, "drive pedal": `\bdrive pedals?\b`, "ladder": `\bladder\b`, "chain": `\bchain\b`,
	"capacitance": `\bcapacitance\b`, "spectrum": `\bspectr(um|a)\b`, "operating point": `\boperating point\b`, "harmonics": `\bharmonics?\b`, "intermodulation": `\bintermodulation\b`,
	"crest factor": `\bcrest factor\b`, "dB(A)": `\bdBu?\(A\)`, "LU": `\bLU\b`, "kHz": `\bkHz\b`, "ohm": `Ω|\bohms?\b`, "tail": `\btail\b`, "A-weighted": `\bA-weighted\b`, "null": `\bnull(s|ed)?\b`,
}

// texts is what a reader sees, in the order in which it comes; the numbers filled in.
func texts(l *lesson.Lesson) (list []string) {
	list = append(list, l.Scene, l.Predict.Ask)
	for _, c := range l.Predict.Choices {
		list = append(list, c.Say, c.Thinks)
	}
	list = append(list, l.Hear.Ask, l.Hear.Tells, l.Measured, l.Why)
	for _, look := range l.Look {
		list = append(list, look.Says)
	}
	list = append(list, l.Not, l.Transfer.Scene, l.Transfer.Ask)
	for _, c := range l.Transfer.Choices {
		list = append(list, c.Say, c.Thinks)
	}
	list = append(list, l.Transfer.Answer, l.Enables, l.Caution)
	if l.Hands != nil {
		list = append(list, l.Hands.Goal)
	}
	return list
}

// No word of the trade stands in a lesson that neither it nor one before it in the course has
// introduced.
func TestNoWordBeforeItIsIntroduced(t *testing.T) {
	known := map[string]bool{}
	patterns := map[string]*regexp.Regexp{}
	for term, p := range trade {
		patterns[term] = regexp.MustCompile(`(?i)` + p)
	}
	seen := 0
	for _, l := range course(t) {
		for _, w := range l.Words {
			for term, p := range patterns {
				if p.MatchString(w.Term) {
					known[term] = true
				}
			}
		}
		for term, p := range patterns {
			for _, text := range texts(l) {
				text = lesson.Filled(text, append(l.Facts, l.Transfer.Facts...))
				if p.MatchString(text) {
					if seen++; !known[term] {
						t.Errorf("%s: %q stands in %q, and no lesson has introduced it", l.Name, term, text)
						break
					}
				}
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d words of the trade seen: the patterns see nothing", seen)
	}
}

// most is how many words a sentence may have, for one reading to do. Common practice, no source:
// plain-language guides ask for 15 to 20 on the average, and few over 25.
const most = 25

func TestSentencesAreShort(t *testing.T) {
	end := regexp.MustCompile(`[.?!]["”]?(\s+|$)`)
	sentences, words := 0, 0
	for _, l := range course(t) {
		for _, text := range texts(l) {
			for _, p := range lesson.Paragraphs(lesson.Filled(text, append(l.Facts, l.Transfer.Facts...))) {
				for _, s := range end.Split(p, -1) {
					if n := len(strings.Fields(s)); n > 0 {
						sentences, words = sentences+1, words+n
						if n > most {
							t.Errorf("%s: %d words: %q", l.Name, n, s)
						}
					}
				}
			}
		}
	}
	t.Logf("%d sentences of %.1f words", sentences, float64(words)/float64(sentences))
	if sentences < 500 {
		t.Errorf("only %d sentences seen", sentences)
	}
}

// What makes one turn something up says what to heed: the ears always.
func TestEveryLessonHasACaution(t *testing.T) {
	for _, l := range course(t) {
		if !regexp.MustCompile(`(?i)\b(turn\w*|start\w*|bring\w*|soft)\b`).MatchString(l.Caution) {
			t.Errorf("%s: the caution does not say to start soft: %s", l.Name, l.Caution)
		}
		says := strings.Join(texts(l), " ")
		for what, pattern := range map[string]string{"mains plug|earth": `\bearth\b|mains`, "valve": `\bvalve amp`} {
			if regexp.MustCompile(pattern).MatchString(says) && !regexp.MustCompile(what).MatchString(l.Caution) {
				t.Errorf("%s speaks of %s and has no caution on it", l.Name, what)
			}
		}
	}
}

// The schema takes every lesson that ships.
func TestSchemaTakesTheLessons(t *testing.T) {
	text, err := os.ReadFile("lesson.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("urn:drywire:lesson", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("urn:drywire:lesson")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range Names() {
		src, err := Read(name)
		if err != nil {
			t.Fatal(err)
		}
		var lesson any
		if err := yaml.Unmarshal(src, &lesson); err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(lesson); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
