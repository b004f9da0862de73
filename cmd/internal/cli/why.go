package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/file"
	"drywire/chains/why"
)

type whyOptions struct {
	file, complaint, goal, take, at, recording string
	json, all                                  bool
}

// whySeconds is how much of a recording is looked at for its loudest moment.
const whySeconds = 60

func whyCommand(s streams) *cobra.Command {
	var o whyOptions
	var words strings.Builder
	for _, c := range why.Complaints {
		fmt.Fprintf(&words, "  %-15s %s\n", c.Word, c.Says)
	}
	cmd := &cobra.Command{
		Use:   "why FILE --complaint WORD [--take NAME] [--at JACK] | --goal TEXT",
		Short: "Why it sounds like that, and what to do about it",
		Long: fmt.Sprintf(`Why finds what causes a complaint about a take, what does not, and what to do. It changes one thing,
simulates again and compares: every pedal is taken out, alone and in pairs, and left alone; then
every single change that a player could make is tried (a pedal moved, a buffer put in, switched off,
another supply voltage, half the cable, every knob an hour either way, the guitar's own knobs), in
draft on the worst second of the recording. The best are simulated again at normal quality on its
loudest ten, which is what is printed: compare shows the same of the takes that are offered.

Complaints:
%s
Each stands for a measure and a limit, which the answer prints; %s
are against the file's other takes, all others at equal loudness: turning down cures nothing.
With --at, all is judged at that jack, loaded as it is by what follows, wherever the block then
stands. keep in the chain file says what must stay in its place.

A goal says what you want instead: --goal "lead: 3 LU louder than verse, no more distortion" finds
the settings and changes that reach it, every knob over its whole travel. It names two takes or
presets, by how many LU the first is to be louder or softer, and behind commas what is to stay: no
more or no less distortion, noise, bass, middle, treble or sustain. What is printed is simulated
again at normal quality, and within 0.5 LU.

--json prints one object in place of the tables:
  complaint: word, says, measure, limit, step, source, unknown
  take, at, held, value, limit, holds, sentence, bare, confirm, unknown, tried, changes, left
  about, causes, ruled_out, helpers: blocks, without, gain, alone, necessary, sufficient
  fixes: text, value, gain, cures, plugs, take, needs, side
and of a goal: goal, now_lu, there, sentence, tried, ways: as fixes, and limits.
What cannot be measured is {"not_measurable": "why"}.`, words.String(), "jumps, too-quiet and too-loud"),
		Example: `  drywire why my-chain.yaml --complaint hiss
  drywire why my-chain.yaml --complaint dull --take buffered
  drywire why my-board.yaml --goal "lead: 3 LU louder than verse, no more distortion"`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runWhy(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.complaint, "complaint", "", "the `WORD` of a complaint")
	cmd.Flags().StringVar(&o.goal, "goal", "", "what is wanted, in `TEXT` as above, in place of a complaint")
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.at, "at", "", "the `JACK` at which the complaint is judged; the end when there is none given")
	cmd.Flags().BoolVar(&o.all, "all", false, "print what is ruled out, and what helps, too")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	complete(cmd, "take", completeTake)
	complete(cmd, "at", completeJack)
	complete(cmd, "complaint", cobra.FixedCompletions(why.Words(), cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

func runWhy(ctx context.Context, s streams, o whyOptions) error {
	if o.goal != "" {
		if o.complaint != "" || o.take != "" || o.at != "" {
			return misusef("--goal names its takes itself, and stands in place of --complaint, --take and --at")
		}
		return runGoal(ctx, s, o)
	}
	complaint := why.Find(o.complaint)
	if complaint == nil {
		if o.complaint == "" {
			return misusef("say what is wrong with --complaint WORD (there are: %s)", strings.Join(why.Words(), ", "))
		}
		hint := ""
		if near := file.Nearest(o.complaint, why.Words()); near != "" {
			hint = fmt.Sprintf("; did you mean %q?", near)
		}
		return misusef("no complaint %q%s (there are: %s)", o.complaint, hint, strings.Join(why.Words(), ", "))
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	if o.at != "" {
		if err := c.Jack(o.at); err != nil {
			return misuse{err}
		}
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	x, err := f.Beginning(ctx, whySeconds)
	if err != nil {
		return err
	}
	bar, tell := bars(s)
	defer bar.stop()
	a, err := why.Ask(ctx, why.Question{
		File: f.File, Take: c.Take, At: o.at, Complaint: complaint, Recording: x, Rate: f.Dry.Rate, Fixes: why.UsualFixes, Progress: tell,
	})
	if err != nil {
		return err
	}
	bar.stop()
	if o.json {
		return s.object(a)
	}
	printWhy(s, a, o.all)
	return nil
}

// stepsOf is a progress of so many steps.
const stepsOf = 1000

// bars is a progress bar and its update function, which gets how many variants are done.
func bars(s streams) (bar *progress, tell func(done, total int)) {
	bar = newProgress(raw(s.err), stepsOf)
	seen := 0
	return bar, func(done, total int) {
		now := stepsOf * done / total
		bar.add(max(0, now-seen))
		seen = max(seen, now)
	}
}

func runGoal(ctx context.Context, s streams, o whyOptions) error {
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if err := s.afford(f, f.Chains()...); err != nil {
		return err
	}
	g, err := why.ParseGoal(f.File, o.goal)
	if err != nil {
		return misuse{err}
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	x, err := f.Beginning(ctx, whySeconds)
	if err != nil {
		return err
	}
	bar, tell := bars(s)
	defer bar.stop()
	r, err := why.Reach(ctx, why.GoalQuestion{Goal: g, Question: why.Question{File: f.File, Recording: x, Rate: f.Dry.Rate, Fixes: why.UsualFixes, Progress: tell}})
	if err != nil {
		return err
	}
	bar.stop()
	if o.json {
		return s.object(r)
	}
	paragraph(s.out, "", r.Sentence, 98)
	if len(r.Ways) == 0 {
		return nil
	}
	s.printf("\nWays to it, best first\n")
	t := table{header: []string{" #", "", "then", "plugs"}}
	for k, w := range r.Ways {
		t.row(fmt.Sprint(k+1), clip(w.Text, 66), fmt.Sprintf("%+.1f LU", w.Value.Value), fmt.Sprint(w.Plugs))
	}
	t.print(s.out)
	needs := ""
	for k, w := range r.Ways {
		paragraph(s.out, fmt.Sprintf("%2d  else:  ", k+1), w.Side+".", 98)
	}
	s.printf("\nAs takes to paste:\n")
	for _, w := range r.Ways {
		s.printf("  - %s\n", strings.Join(w.Lines, "\n    "))
		if w.Needs != "" {
			needs = w.Needs
		}
	}
	if needs != "" {
		s.printf("  and among the blocks: %s\n", needs)
	}
	s.printf("\n")
	paragraph(s.out, "", fmt.Sprintf("%d variants were simulated.", r.Tried), 98)
	return nil
}

func printWhy(s streams, a *why.Answer, all bool) {
	s.printf("%s: %s\n", a.Take, a.Complaint.Says)
	s.printf("\n")
	paragraph(s.out, "", a.Sentence, 98)
	if !a.Holds {
		return
	}
	value := func(v float64, ok bool) string {
		if !ok {
			return "-"
		}
		return a.Complaint.Text(v)
	}
	causes := func(title string, list []why.Cause) {
		if len(list) == 0 {
			return
		}
		s.printf("\n")
		paragraph(s.out, "", title, 98)
		t := table{header: []string{"", "taken out", "better by", "alone", ""}}
		for _, c := range list {
			word := ""
			switch {
			case c.Necessary && c.Sufficient:
				word = "gone without it; there alone"
			case c.Necessary:
				word = "gone without it"
			case c.Sufficient:
				word = "there alone"
			}
			gain := a.Complaint.Text(c.Gain)
			if !c.Without.OK() {
				gain = "all of it"
			}
			t.row(strings.Join(c.Blocks, " and "), value(c.Without.Value, c.Without.OK()), gain, value(c.Alone.Value, c.Alone.OK()), word)
		}
		t.print(s.out)
	}
	causes(fmt.Sprintf("What causes it (%s; as it is %s, limit %s, without any pedal %s)", a.Complaint.Measure.Name,
		value(a.Value.Value, true), a.Complaint.Text(a.Limit), value(a.Bare.Value, a.Bare.OK())), a.Causes)
	if all {
		causes("What is ruled out: taken out, nothing changes", a.RuledOut)
		causes("What helps: taken out, it gets worse", a.Helpers)
	} else if names := blocksOf(a.RuledOut); names != "" {
		s.printf("\n")
		paragraph(s.out, "Ruled out (taken out, nothing changes):  ", names, 98)
	}
	if len(a.Fixes) > 0 {
		s.printf("\nWhat to do, best first\n")
		t := table{header: []string{" #", "", "then", "better by", "plugs", ""}}
		for k, f := range a.Fixes {
			mark := ""
			if f.Cures {
				mark = "cures it"
			}
			t.row(fmt.Sprint(k+1), clip(f.Text, 50), value(f.Value.Value, f.Value.OK()), gained(a, f), fmt.Sprint(f.Plugs), mark)
		}
		t.print(s.out)
		for k, f := range a.Fixes {
			paragraph(s.out, fmt.Sprintf("%2d  else:  ", k+1), f.Side+".", 98)
		}
		s.printf("\nAs takes to paste:\n")
		needs := ""
		for _, f := range a.Fixes {
			s.printf("  - %s\n", strings.Join(f.Lines, "\n    "))
			if f.Needs != "" {
				needs = f.Needs
			}
		}
		if needs != "" {
			s.printf("  and among the blocks: %s\n", needs)
		}
	}
	s.printf("\n")
	paragraph(s.out, "On the floor:  ", a.Confirm, 98)
	paragraph(s.out, "Measured:  ", fmt.Sprintf("%s (%s): %s. Limit: %s.", a.Complaint.Measure.Name, a.Complaint.Measure.Shown(), a.Complaint.Measure.Definition, a.Complaint.Source), 98)
	if a.Held != "" {
		paragraph(s.out, "Held:  ", a.Held+".", 98)
	}
	paragraph(s.out, "Not known here:  ", a.Unknown+".", 98)
	left := ""
	if a.Left > 0 {
		left = fmt.Sprintf(" Of %d single changes, %d that concern no cause were not tried.", a.Changes, a.Left)
	}
	paragraph(s.out, "", fmt.Sprintf("%d variants were simulated.%s", a.Tried, left), 98)
}

func gained(a *why.Answer, f why.Fix) string {
	if !f.Value.OK() {
		return "all of it"
	}
	return a.Complaint.Text(f.Gain)
}

// blocksOf is the names in a list of causes.
func blocksOf(list []why.Cause) string {
	var names []string
	for _, c := range list {
		names = append(names, strings.Join(c.Blocks, " and "))
	}
	return strings.Join(names, ", ")
}
