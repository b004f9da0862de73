package lesson

import (
	"bytes"
	"os"
	"strings"
	"testing"
)

// small is a lesson with everything that must be there.
const small = `lesson: 1
title: A lesson
minutes: 5
enables: Something.
caution: Start soft.
board: |
  drywire: 1
  recording: {sample: riff}
  blocks: {lift: {kind: boost, gain: 12 dB}}
  order: [lift]
  takes: [{name: up}, {name: flat, off: [lift]}]
scene: A boost.
facts:
  up: {measure: gain_db, take: up, hz: 1 kHz, is: 12 dB, within: 1 dB}
  flat: {measure: gain_db, take: flat, hz: 1 kHz, is: 0 dB, within: 1 dB}
  more: {less: [up, flat], is: 12 dB, within: 0.2 dB}
predict: &q
`

func lessonText() string {
	question := `
  ask: How much?
  choices:
    - {say: Much., belief: much, thinks: So it is., right: yes}
    - {say: Nothing., belief: nothing, thinks: No.}
  proof: [{fact: up, over: flat, by: 11 dB}]
`
	return strings.Replace(small, "predict: &q\n", "predict:"+question, 1) + `hear:
  takes: [up, flat]
  heard: no
  for: 2 s
  ask: Which is better?
  right: neither
  tells: Nothing at one loudness.
  proof: [{fact: more, near: 12 dB, by: 1 dB}]
measured: The boost gives {more}.
why: It is a boost.
look: [{take: up, jack: lift.in, says: Here.}]
not: Nothing else.
transfer:
  chain: boost-before-or-after-drive
  scene: A drive behind it.
  facts:
    a: {measure: peak_volts, take: no boost, jack: guitar, is: 400 mV, within: 40 mV}
  ask: How much?
  choices:
    - {say: Much., belief: much, thinks: So it is., right: yes}
    - {say: Nothing., belief: nothing, thinks: No.}
  proof: [{fact: a, over: 100 mV, by: 1 mV}]
  answer: Much.
sources: [from memory]
`
}

func TestParse(t *testing.T) {
	l, err := Parse("a/small.yaml", []byte(lessonText()))
	if err != nil {
		t.Fatal(err)
	}
	if l.Name != "small" || len(l.Facts) != 3 || l.Facts[0].Jack != "out" || l.Facts[2].Unit != "dB" || l.Predict.Right() != 0 || l.Hear.Right != Neither || len(l.Board.File.Takes) != 2 {
		t.Errorf("read as %+v", l)
	}
	if got := Filled(l.Measured, l.Facts); got != "The boost gives 12 dB." {
		t.Errorf("filled: %q", got)
	}
}

// Every error names its place, in the chain file within the lesson too.
func TestFaultsHaveTheirPlaces(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"title: A lesson", "titel: A lesson", `x.yaml:2:1: no key "titel"; did you mean "title"?`},
		{"lesson: 1", "lesson: 2", "x.yaml:1:9: lesson: unsupported version 2"},
		{"minutes: 5", "minutes: 500", `x.yaml:3:10: minutes is "500"; want a number from 1 to 30`},
		{"kind: boost", "kind: bost", `x.yaml:9:25: no block kind "bost"; did you mean "boost"?`},
		{"measure: gain_db, take: up", "measure: gain, take: up", `x.yaml:14:17: facts.up.measure: no "gain"`},
		{"take: flat, hz", "take: flt, hz", `no take "flt"; did you mean "flat"?`},
		{"hz: 1 kHz, is: 12 dB", "is: 12 dB", `facts.up.hz is missing: gain_db needs it`},
		{"is: 12 dB, within: 0.2 dB", "is: 12 dB, within: 6 dB", "is no bound for 12 dB"},
		{"is: 12 dB, within: 0.2 dB", "is: 12 dBu, within: 0.2 dB", `is no number in dB`},
		{"less: [up, flat]", "less: [up, down]", `no fact "down" above it`},
		{"by: 11 dB", "by: 11 V", `by: "11 V" is no number in dB`},
		{"The boost gives {more}.", "The boost gives {mor}.", `no fact "mor" for {mor}`},
		{"The boost gives {more}.", "The boost gives 12 dB.", `12 dB stands in the text by itself`},
		{"heard: no", "heard: yes", "heard and right contradict each other"},
		{"right: neither", "right: up there", "hear.right is neither of the two takes"},
		{"jack: lift.in", "jack: lft.in", `look[1]: no jack "lft.in"`},
		{"chain: boost-before-or-after-drive", "chain: boost-before-or-after", `transfer.chain: no shipped chain file`},
		{"sources: [from memory]", "", "sources is missing"},
	} {
		text := lessonText()
		if !strings.Contains(text, c.from) {
			t.Fatalf("no %q in the lesson", c.from)
		}
		_, err := Parse("x.yaml", []byte(strings.Replace(text, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s in the place of %s:\n%v\nwant %s", c.to, c.from, err, c.want)
		}
	}
}

// The schema that ships is the one that the tables make.
func TestSchemaFile(t *testing.T) {
	const path = "../lessons/lesson.schema.json"
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, Schema(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	have, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(have, Schema()) {
		t.Errorf("%s is not what the tables make (%v); UPDATE=1 go test ./chains/lesson -run TestSchemaFile makes it", path, err)
	}
}

// No two readings have one name.
func TestReadingsHaveNamesOfTheirOwn(t *testing.T) {
	names := readingNames()
	if len(names) < 40 {
		t.Errorf("%d readings", len(names))
	}
	for k, name := range names {
		if k > 0 && name == names[k-1] {
			t.Errorf("two readings are called %s", name)
		}
	}
}
