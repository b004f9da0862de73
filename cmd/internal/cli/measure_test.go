package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/measures"
)

// Every key of the JSON that the measuring commands print stands in their help, and the help says
// none that is not there.
func TestMeasuringJSONIsDocumented(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	chain := filepath.Join(dir, "chain.yaml")
	if err := os.WriteFile(chain, []byte("drywire: 1\nrecording: {sample: notes}\nguitar: {volume: {at: {0 s: 10, 1 s: 8}}}\nblocks: {fuzz: {kind: fuzz}, eq: {kind: eq}}\norder: [fuzz, eq]\ntakes: [{name: one}, {name: two, order: [eq, fuzz]}]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	// one whose presets change while it plays, which some tell of
	switched := filepath.Join(dir, "switched.yaml")
	if err := os.WriteFile(switched, []byte("drywire: 1\nrecording: {sample: notes}\nblocks: {fuzz: {kind: fuzz}, echo: {kind: delay, mix: {at: {0 s: 10 %, 1 s: 50 %}}}, lift: {kind: boost}, board: {kind: switcher, loops: {1: [lift]}}}\norder: [fuzz, board, echo]\n"+
		"presets: {soft: {loops: []}, loud: {loops: [1]}}\ntakes: [{name: one, preset: {at: {0 s: soft, 0.5 s: loud}}}, {name: two, order: [board, fuzz, echo], preset: soft}]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		command string
		args    []string
	}{
		{"noise", nil},
		{"response", nil},
		{"measure", []string{"--quality", "draft", "--recording", "chugs"}},
		{"ladder", []string{"--quality", "draft", "--recording", "chugs"}},
		{"compare", []string{"--quality", "draft", "--recording", "chugs", "-o", filepath.Join(dir, "takes")}},
		{"swaps", []string{"--quality", "draft", "--recording", "chugs", "--seconds", "1"}},
	} {
		var object any
		chain := chain
		if c.command == "measure" {
			chain = switched
		}
		if err := json.Unmarshal([]byte(mustRun(t, append([]string{c.command, chain, "--json"}, c.args...)...)), &object); err != nil {
			t.Fatal(err)
		}
		keys := map[string]bool{}
		var walk func(v any)
		walk = func(v any) {
			switch v := v.(type) {
			case map[string]any:
				for k, x := range v {
					keys[k] = true
					walk(x)
				}
			case []any:
				for _, x := range v {
					walk(x)
				}
			}
		}
		walk(object)
		_, help, found := strings.Cut(mustRun(t, c.command, "--help"), "--json prints one object")
		if !found {
			t.Fatalf("%s: the help tells nothing of --json", c.command)
		}
		help, _, _ = strings.Cut(help, "Usage:")
		told := map[string]bool{}
		for _, w := range regexp.MustCompile(`[a-z][a-z_]*`).FindAllString(help, -1) {
			told[w] = true
			if strings.Contains(w, "_") && !keys[w] && w != "not_measurable" {
				t.Errorf("%s: the help tells of %s, which is not there", c.command, w)
			}
		}
		for k := range keys {
			if !told[k] {
				t.Errorf("%s: the help does not tell of %s", c.command, k)
			}
		}
		if len(keys) < 5 {
			t.Errorf("%s: only %d keys", c.command, len(keys))
		}
	}
}

// A figure that is below nought is told as what it is: the other way round.
func TestDynamicsBothWays(t *testing.T) {
	of := func(m *measures.Measure, v float64) measures.Value {
		return measures.Value{Measure: m, Figure: measures.Figure{Value: v}}
	}
	for _, c := range []struct {
		compression, cleanUp float64 // dB
		want                 []string
	}{
		{3, 6.02, []string{"compression  3.0 dB of the last 12 dB\n", "clean-up     6.0 dB less distortion at guitar volume 2 (5.00 %) than at 10 (10.0 %)\n"}},
		{-0.4, -1.8, []string{"compression  0.4 dB more than the last 12 dB: it expands\n", "clean-up     1.8 dB more distortion at guitar volume 2 (5.00 %) than at 10 (10.0 %)\n"}},
		{-0.04, -0.04, []string{"compression  0.0 dB of the last 12 dB\n", "clean-up     0.0 dB less distortion"}},
	} {
		var out strings.Builder
		printDynamics(streams{out: &out}, &experiment.Measures{Tone: measures.TestTone,
			Dynamics: experiment.Dynamics{Values: measures.Values{
				of(measures.Compression, c.compression), of(measures.CleanUp, c.cleanUp), of(measures.RolledTHD, 5), of(measures.FullTHD, 10)}}})
		for _, line := range c.want {
			if !strings.Contains(out.String(), line) {
				t.Errorf("%v: want %q in\n%s", c, line, out.String())
			}
		}
	}
}

// Of many jacks one screen is shown first: what goes into each block, and what comes out. The
// furthest over its ceiling is named before all else.
func TestMeasuresOnOneScreen(t *testing.T) {
	t.Parallel()
	m := &experiment.Measures{Tone: measures.TestTone, Dynamics: experiment.Dynamics{Values: measures.NoValues(measures.Dynamics(), measures.Figure{})}}
	jack := func(name, into string, headroom float64) {
		j := experiment.JackMeasures{Jack: name, CeilingOf: into}
		for _, a := range measures.AtJacks() {
			v := measures.Value{Measure: a, Figure: measures.Figure{Value: 1}}
			if a == measures.Headroom {
				v.Figure = measures.Figure{Value: headroom}
			}
			j.Values = append(j.Values, v)
		}
		m.Jacks = append(m.Jacks, j)
	}
	for k := range 17 { // as many pedals as the large board has
		jack(fmt.Sprintf("pedal%d.in", k), fmt.Sprintf("pedal%d", k), float64(k)-1.5)
		jack(fmt.Sprintf("pedal%d.out", k), "", 1)
	}
	jack("out", "", 1)
	for _, c := range []struct {
		all  bool
		outs int
	}{{false, 0}, {true, 2 * 17}} { // in two tables
		var out strings.Builder
		printMeasures(streams{out: &out}, m, "", c.all)
		text := out.String()
		if lines := strings.Count(text, "\n"); !c.all && lines > screenLines-5 { // five say what was measured
			t.Errorf("%d lines", lines)
		}
		if !strings.HasPrefix(text, "\nBreaks up at its loudest: pedal0 (1.5 dB over its ceiling), pedal1 (0.5 dB over its ceiling).\n") {
			t.Errorf("it begins with\n%.200s", text)
		}
		if n := strings.Count(text, ".out "); n != c.outs {
			t.Errorf("all %v: %d rows of outputs, want %d", c.all, n, c.outs)
		}
		if strings.Contains(text, "All 35 jacks") == c.all || strings.Contains(text, "centroid") != c.all {
			t.Errorf("all %v:\n%s", c.all, text)
		}
	}
}
