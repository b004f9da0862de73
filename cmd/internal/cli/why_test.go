package cli

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/measures"
	"drywire/chains/why"
	"drywire/dsp"
	"drywire/dsp/section"
)

// grievance is a complaint about a take of a shipped file.
type grievance struct {
	word, file, take string
	cause            string // a necessary cause; "" where no pedal is one
	part             bool   // the cause is the strongest, and not all of it
	helper           string // a block that makes it less, or ""
	classic          string // what measures the same, in chains/classics_test.go, and what it finds
	fast             bool   // asked in every run
}

// The complaints that shipped files hold. What causes them agrees with what the classics measure on
// the same takes.
var shippedComplaints = []grievance{
	{word: "hiss", file: "compressor-before-or-after-drive", take: "compressor first", cause: "press",
		classic: "TestCompressorBeforeOrAfterDrive: the loudest hiss is the compressor's own, through the drive's gain"},
	{word: "hum", file: "compressor-before-or-after-drive", take: "drive first", cause: "press", part: true,
		classic: "TestCompressorBeforeOrAfterDrive: at rest both are amplifiers, the guitar's hum goes through both; the guitar alone has it too"},
	{word: "dull", file: "wah-before-or-after-fuzz", take: "fuzz first, heel", cause: "wah",
		classic: "TestWahBeforeOrAfterFuzz: behind the fuzz the wah keeps its resonance, low at the heel"},
	{word: "harsh", file: "fuzz-or-buffer-first", take: "buffered", cause: "buffer",
		classic: "TestFuzzOrBufferFirst: 10 dB brighter at least"},
	{word: "no-clean-up", file: "fuzz-or-buffer-first", take: "buffered", cause: "buffer",
		classic: "TestFuzzOrBufferFirst: rolled back, as distorted as with the volume full"},
	{word: "smeared-echoes", file: "delay-before-or-after-drive", take: "delay first", cause: "drive",
		classic: "TestDelayBeforeOrAfterDrive: products of echo and note behind the drive, none before it"},
	{word: "stumbling-octave", file: "octave-before-or-after-fuzz", take: "fuzz first", cause: "fuzz",
		classic: "TestOctaveBeforeOrAfterFuzz: half of the notes at most are tracked behind the fuzz"},
	{word: "no-headroom", file: "mid-cut-before-gain", take: "mids cut before the gain", helper: "carve",
		classic: "TestMidCutBeforeGain: the amplifier clips without a cut, and twice as long"},
	{word: "cannot-turn-up", file: "compressor-before-or-after-drive", take: "compressor first", cause: "press",
		classic: "TestCompressorBeforeOrAfterDrive: notes 20 dB apart leave the compressor 5 dB apart"},
	{word: "too-loud", file: "boost-before-or-after-drive", take: "boost after the drive", cause: "lift", fast: true,
		classic: "TestBoostBeforeOrAfterDrive: behind the drive the boost is 12 dB of level"},
	{word: "too-quiet", file: "volume-pedal-early-or-late", take: "pedal late, half way", cause: "pedal",
		classic: "TestVolumePedalEarlyOrLate: half way, the late pedal is a fader at -16.5 dB"},
	{word: "jumps", file: "volume-pedal-early-or-late", take: "pedal late, half way", cause: "pedal",
		classic: "TestVolumePedalEarlyOrLate: as above"},
	{word: "boomy", file: "octave-before-or-after-fuzz", take: "octave first", cause: "octave", part: true,
		classic: "TestOctaveBeforeOrAfterFuzz: in front of the fuzz all is tracked, an octave lower"},
	{word: "thin", file: "compressor-before-or-after-drive", take: "no compressor", cause: "drive",
		classic: "TestOverdriveTakesTheBass: from 300 Hz down to 80 Hz it loses 10.8 dB, by closed form"},
	{word: "muddy", file: "low-mids-before-or-after-drive", take: "drive first", cause: "warm",
		classic: "TestLowMidsBeforeOrAfterDrive: a hill of 10 dB in the low mids, of which the drive evens out a part only where it comes behind"},
	{word: "dead-sustain", file: "front-end-or-effects-loop", take: "front end", cause: "echo",
		classic: "TestFrontEndOrEffectsLoop: in front of the preamplifier the echo is louder than in the loop"},
}

// Every complaint of the list holds, has the cause that the classics measure, and is cured by what
// is said to cure it: each fix, pasted into the file and rendered anew by compare, over the whole
// recording and at normal quality, shows what was promised within 0.5 dB or 10 %.
func TestComplaintsOfShippedFiles(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("renders some hundred variants")
	}
	for _, q := range shippedComplaints {
		t.Run(q.word, func(t *testing.T) {
			if !q.fast && os.Getenv("BOARDS") != "all" {
				t.Skip("BOARDS=all asks of all of them, for some minutes")
			}
			src, err := chains.ReadShipped(q.file)
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), "chain.yaml")
			if err := os.WriteFile(path, src, 0o600); err != nil {
				t.Fatal(err)
			}
			var a why.Answer
			inJSON(t, &a, "why", path, "--complaint", q.word, "--take", q.take)
			t.Logf("%s (%s)", a.Sentence, q.classic)
			if !a.Holds {
				t.Fatal("it does not hold")
			}
			necessary := func(c why.Cause) bool { return (c.Necessary || q.part) && slices.Contains(c.Blocks, q.cause) }
			if q.cause == "" && len(a.Causes) > 0 || q.cause != "" && !slices.ContainsFunc(a.Causes, necessary) {
				t.Errorf("causes: %+v, want %q", a.Causes, q.cause)
			}
			if q.part && len(a.Causes) > 0 && !necessary(a.Causes[0]) {
				t.Errorf("the strongest cause is %+v, want %s", a.Causes[0], q.cause)
			}
			if q.helper != "" && !slices.ContainsFunc(a.Helpers, func(c why.Cause) bool { return slices.Contains(c.Blocks, q.helper) }) {
				t.Errorf("helpers: %+v, want %s", a.Helpers, q.helper)
			}
			if len(a.Fixes) == 0 {
				t.Error("nothing to do about it")
			}
			keepsPromises(t, string(src), q.take, &a)
		})
	}
}

// Takes of shipped files in which nothing is wrong, and of which nothing is said to be. Complaints
// that compare with other takes are about those as much as about this one.
func TestNothingWrongWithShippedTakes(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("renders a take once for every complaint")
	}
	for k, q := range [][2]string{
		{"low-mids-before-or-after-drive", "no warmth"},
		{"boost-before-or-after-drive", "boost before the drive"},
		{"boost-before-or-after-drive", "no boost"},
		{"delay-before-or-after-drive", "drive first"},
		{"big-board", "monologue"},
	} {
		t.Run(q[1], func(t *testing.T) {
			if k > 0 && os.Getenv("BOARDS") != "all" {
				t.Skip("BOARDS=all asks of all of them")
			}
			src, err := chains.ReadShipped(q[0])
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), "chain.yaml")
			if err := os.WriteFile(path, src, 0o600); err != nil {
				t.Fatal(err)
			}
			f, err := readChainFile(streams{in: strings.NewReader(""), out: &bytes.Buffer{}, err: &bytes.Buffer{}}, path)
			if err != nil {
				t.Fatal(err)
			}
			if f, err = f.withRecording(t.Context(), ""); err != nil {
				t.Fatal(err)
			}
			x, err := f.Beginning(t.Context(), whySeconds)
			if err != nil {
				t.Fatal(err)
			}
			asked := 0
			for _, c := range why.Complaints {
				if c.Relative {
					continue
				}
				a, err := why.Judge(t.Context(), why.Question{File: f.File, Take: q[1], Complaint: &c, Recording: why.LoudestOf(x, f.Dry.Rate, 3), Rate: f.Dry.Rate})
				if err != nil {
					t.Fatal(err)
				}
				t.Log(a.Sentence)
				if asked++; a.Holds || !strings.HasPrefix(a.Sentence, "Nothing") {
					t.Errorf("%s: %s", c.Word, a.Sentence)
				}
			}
			if asked < 12 {
				t.Errorf("%d complaints only", asked)
			}
		})
	}
}

// Every fix of every complaint about every take of the shipped files keeps its promise: PROMISES=all,
// for some hours, or the names of files with commas between; boards of many pedals only by name.
func TestPromises(t *testing.T) {
	wanted := os.Getenv("PROMISES")
	if wanted == "" {
		t.Skip("PROMISES=all asks all shipped questions of all complaints, for hours; PROMISES=NAME,… some")
	}
	fixes, asked := 0, 0
	for _, name := range chains.Shipped() {
		if !slices.Contains(strings.Split(wanted, ","), name) && (wanted != "all" || strings.Contains(name, "board")) {
			continue
		}
		src, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "chain.yaml")
		if err := os.WriteFile(path, src, 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := file.Parse(name, src)
		if err != nil {
			t.Fatal(err)
		}
		for _, take := range f.Takes {
			for _, c := range why.Complaints {
				t.Run(name+"/"+take.Name+"/"+c.Word, func(t *testing.T) {
					var a why.Answer
					inJSON(t, &a, "why", path, "--complaint", c.Word, "--take", take.Name)
					if asked++; !a.Holds || len(a.Fixes) == 0 {
						return
					}
					fixes += len(a.Fixes)
					keepsPromises(t, string(src), take.Name, &a)
				})
			}
		}
	}
	if t.Logf("%d fixes of %d questions", fixes, asked); fixes == 0 {
		t.Error("no fix was looked at")
	}
}

// inJSON is what a command prints with --json.
func inJSON(t *testing.T, to any, args ...string) {
	t.Helper()
	var out, said bytes.Buffer
	if code := Run(t.Context(), append(args, "--json"), strings.NewReader(""), &out, &said); code != 0 {
		t.Fatalf("%s: exit %d\n%s", strings.Join(args, " "), code, said.String())
	}
	if err := json.Unmarshal(out.Bytes(), to); err != nil {
		t.Fatal(err)
	}
}

// keepsPromises pastes the fixes of an answer about a take into the text of its file, compares them
// with the take, and holds what compare finds to what was printed.
func keepsPromises(t *testing.T, src, take string, a *why.Answer) {
	t.Helper()
	var takes strings.Builder
	args := []string{"--take", take}
	for _, x := range a.Fixes {
		takes.WriteString("  - " + x.TakeText + "\n")
		if x.Needs != "" && !strings.Contains(src, x.Needs) {
			src = strings.Replace(src, "\nblocks:\n", "\nblocks:\n  "+x.Needs+"\n", 1)
		}
	}
	if !strings.Contains(src, "\ntakes:\n") {
		src += "takes:\n  - {name: " + take + "}\n"
	}
	src = strings.Replace(src, "\ntakes:\n", "\ntakes:\n"+takes.String(), 1)
	path := filepath.Join(t.TempDir(), "fixed.yaml")
	if err := os.WriteFile(path, []byte(src), 0o600); err != nil {
		t.Fatal(err)
	}
	s := streams{in: strings.NewReader(""), out: &bytes.Buffer{}, err: &bytes.Buffer{}}
	f, err := readChainFile(s, path)
	if err != nil {
		t.Fatal(err)
	}
	if f, err = f.withRecording(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	for _, one := range f.File.Takes[:len(a.Fixes)] {
		args = append(args, "--take", one.Name)
	}
	var compared struct {
		Pairs []map[string]any `json:"pairs"`
	}
	inJSON(t, &compared, append([]string{"compare", path, "-o", filepath.Join(t.TempDir(), "out")}, args...)...)
	x, err := f.Dry.Beginning(t.Context(), whySeconds)
	if err != nil {
		t.Fatal(err)
	}
	bench := experiment.NewBench(experiment.Dry{Volts: x}, f.Dry.Rate, section.Normal, 1<<28)
	worst := 0.0
	for k, fix := range a.Fixes {
		pair := compared.Pairs[k]
		off := func(what string, want, got float64) {
			t.Helper()
			d := math.Abs(got-want) / math.Max(0.5, 0.1*math.Abs(want))
			if strings.HasPrefix(what, "sustain") || strings.HasPrefix(what, "octave") {
				d = math.Abs(got-want) / (0.1 * math.Abs(want))
			}
			if worst = math.Max(worst, d); d > 1 {
				t.Errorf("%s: promised %s %.2f, rendered anew %.2f", fix.Text, what, want, got)
			}
		}
		if m := distorted.FindStringSubmatch(fix.Side); m != nil {
			is, _ := strconv.ParseFloat(m[1], 64)
			was, _ := strconv.ParseFloat(m[2], 64)
			got, _ := pair[measures.THDChange.Key].(float64)
			off("distortion", dsp.ToDB(is/was), got)
		}
		if got, _ := pair[measures.LateChange.Key].(float64); strings.Contains(fix.Side, "the echoes are gone") && got > -3 {
			t.Errorf("%s: the echoes are said to be gone, and compare has %.1f dB of late sound", fix.Text, got)
		}
		level, _ := pair["level_lu"].(float64)
		if level < -30 {
			t.Errorf("%s: %.1f LU: nothing is left of what is played", fix.Text, level)
		}
		switch c := why.Find(a.Complaint.Word); {
		case c.Relative && c.Either: // how far it is from the others, whichever way
			near := math.Abs(math.Abs(a.Value.Value+level) - fix.Value.Value)
			far := math.Abs(math.Abs(-a.Value.Value+level) - fix.Value.Value)
			off("level", 0, math.Min(near, far))
		case c.Relative:
			off("level", fix.Value.Value-a.Value.Value, level)
		default:
			v, err := bench.Measure(t.Context(), f.Of(f.File.Takes[k]), c.Measure)
			if err != nil {
				t.Fatal(err)
			}
			if v[0].OK() != fix.Value.OK() {
				t.Errorf("%s: promised %v, rendered anew %v", fix.Text, fix.Value, v[0])
			} else if v[0].OK() {
				off(c.Measure.Name, fix.Value.Value, v[0].Value)
			}
		}
		for _, e := range effects {
			if e.measure == why.Find(a.Complaint.Word).Itself {
				continue
			}
			got, ok := pair[e.measure.Key].(float64)
			if !ok {
				continue
			}
			if m := e.said.FindStringSubmatch(fix.Side); m != nil && m[1] == "" { // all of it
			} else if m != nil {
				want, err := strconv.ParseFloat(m[1], 64)
				if err != nil {
					t.Fatal(err)
				}
				if m[2] == "softer" || m[2] == "less" {
					want = -want
				}
				off(e.measure.Name, want, got)
			} else if math.Abs(got) > e.silent {
				t.Errorf("%s: of %s nothing was said, and compare has %.2f", fix.Text, e.measure.Name, got)
			}
		}
	}
	t.Logf("%d fixes; the worst is at %.0f %% of 0.5 dB or 10 %%", len(a.Fixes), 100*worst)
}

// distorted is what a fix says of its distortion.
var distorted = regexp.MustCompile(`distorted \(THD ([0-9.]+) %, from ([0-9.]+) %\)`)

// effects is what a fix says of what else is heard, and how much compare may have of what it does
// not speak of: what counts, and 0.5 dB or 10 % more.
var effects = []struct {
	measure *measures.Measure
	said    *regexp.Regexp
	silent  float64
}{
	{measures.LevelChange, regexp.MustCompile(`([0-9.]+) LU (louder|softer)`), 1.5},
	{measures.BassChange, regexp.MustCompile(`([0-9.]+) dB (more|less) bass`), 1.5},
	{measures.MiddleChange, regexp.MustCompile(`([0-9.]+) dB (more|less) middle`), 1.5},
	{measures.TrebleChange, regexp.MustCompile(`([0-9.]+) dB (more|less) treble`), 1.5},
	{measures.NoiseChange, regexp.MustCompile(`([0-9.]+) dB(?:\(A\))? (more|less) noise`), 1.5},
	{measures.LateChange, regexp.MustCompile(`the echoes (?:([0-9.]+) dB (louder|softer)|are gone)`), 50},
	{measures.SustainChange, regexp.MustCompile(`([0-9.]+) s (more|less) sustain`), 0.22},
}
