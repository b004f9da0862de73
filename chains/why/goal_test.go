package why

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp/section"
)

const goalFile = `drywire: 1
recording: {file: a.wav, full_scale: 1 V, load: none}
blocks:
  drive: {kind: overdrive, drive: 6}
  lift:  {kind: boost, gain: 1 dB}
  tone:  {kind: eq}
order: [drive, lift, tone]
takes:
  - {name: verse}
  - {name: "verse, soft", off: [lift]}
  - {name: lead, set: {drive.drive: 7}}
`

// What is offered is there: the take, pasted into the file and rendered anew at normal quality, is
// as loud as was asked for, and no more distorted.
func TestGoalIsReached(t *testing.T) {
	f := chaintest.MustParse(t, goalFile)
	g, err := ParseGoal(f, "lead: 4 LU louder than verse, no more distortion, no less bass")
	if err != nil {
		t.Fatal(err)
	}
	r, err := Reach(t.Context(), GoalQuestion{Goal: g, Question: Question{File: f, Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: 3}})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(r.Sentence)
	if r.There || len(r.Ways) == 0 || !slices.ContainsFunc(r.Ways, func(w Way) bool { return strings.Contains(w.Text, "gain of lift up") }) {
		t.Fatalf("%+v", r)
	}
	b := experiment.NewBench(experiment.Dry{Volts: experiment.Loudest(chaintest.Played(), rate, 2)}, rate, section.Normal, 1<<28)
	for _, w := range r.Ways {
		if w.Needs != "" {
			continue
		}
		h, err := file.Parse("with the way", []byte(goalFile+"  - "+w.TakeText+"\n"))
		if err != nil {
			t.Errorf("%s: the take is no take: %v", w.Text, err)
			continue
		}
		all := h.Chains()
		level, err := b.Change(t.Context(), measures.LevelChange, all[0], all[3])
		if err != nil || !level.OK() || math.Abs(level.Value-4) > within {
			t.Errorf("%s: %v LU, %v", w.Text, level, err)
		}
		if d, err := b.Change(t.Context(), measures.THDChange, all[2], all[3]); err != nil || !d.OK() || d.Value > 3 {
			t.Errorf("%s: distortion %v dB, %v", w.Text, d, err)
		}
	}
}

// A goal that is there is said to be; one that no change reaches is said not to be.
func TestGoalsWithoutAWay(t *testing.T) {
	f := chaintest.Own(t, "blocks: {clear: {kind: buffer}}\norder: [clear]\ntakes: [{name: a}, {name: b}]\n")
	for text, want := range map[string]string{"a: 0 LU louder than b": "It is there already", "a: 6 LU louder than b": "no single change"} {
		g, err := ParseGoal(f, text)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Reach(t.Context(), GoalQuestion{Goal: g, Question: Question{File: f, Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: 3}})
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(r.Sentence, want) || len(r.Ways) > 0 {
			t.Errorf("%s: %s", text, r.Sentence)
		}
	}
}

// The grammar: what is understood, and what is said of what is not.
func TestParseGoal(t *testing.T) {
	f := chaintest.MustParse(t, goalFile)
	for text, want := range map[string]string{
		"lead: 3 LU louder than verse":                              "lead 3 verse []",
		" lead :  1.5  LU softer than verse":                        "lead -1.5 verse []",
		"lead: 3 LU louder than verse, no more  distortion":         "lead 3 verse [no more distortion]",
		"lead: 3 LU louder than verse, no less bass, no more noise": "lead 3 verse [no less bass no more noise]",
		"lead: 3 LU louder than verse, soft, no more noise":         "lead 3 verse, soft [no more noise]",
		"verse, soft: 3 LU softer than lead":                        "verse, soft -3 lead []",
		"lead 3 LU louder than verse":                               "a colon",
		"lead: louder than verse":                                   "is not a number, LU",
		"lead: 3 dB louder than verse":                              "is not a number, LU",
		"lead: three LU louder than verse":                          "\"three\" is not a number of LU from 0 to 40",
		"lead: -3 LU louder than verse":                             "from 0 to 40",
		"lead: 3 LU louder than vers":                               "did you mean \"verse\"?",
		"leed: 3 LU louder than verse":                              "did you mean \"lead\"?",
		"lead: 3 LU louder than lead":                               "louder than itself",
		"lead: 3 LU louder than verse, no more distorsion":          "did you mean \"no more distortion\"?",
		"lead: 3 LU louder than verse,":                             "no limit of a goal",
	} {
		g, err := ParseGoal(f, text)
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			got = fmt.Sprint(g.Take, " ", g.Louder, " ", g.Than, " ", g.Limits)
		}
		if err == nil && got != want || err != nil && !strings.Contains(got, want) {
			t.Errorf("%q: %s, and not %s", text, got, want)
		}
	}
}
