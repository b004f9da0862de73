package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/cmd/internal/files"
	"drywire/dsp"
	"drywire/dsp/section"
)

type rankOptions struct {
	file, take, recording, quality, journal, part string
	seconds                                       float64
	most                                          int
	json                                          bool
}

// rankSeconds and rankMost are what a ranking renders of a recording, and how many orders it tries,
// where nothing else is asked for. Seven blocks have 5040 orders.
const (
	rankSeconds = 5
	rankMost    = 5040
)

func rankCommand(s streams) *cobra.Command {
	var o rankOptions
	cmd := &cobra.Command{
		Use:   "rank FILE",
		Short: "Try all orders of the blocks and rank them by what you prefer",
		Long: fmt.Sprintf(`Rank renders the beginning of the recording (%d s) through every order of a take's blocks and
measures each by your objectives. The chain file says what to keep to and what to prefer:
  keep: {first: [fuzz], last: [reverb], before: [[drive, delay]], together: [[drive, boost]]}
  prefer: [quiet, headroom]
Where the take splits into two paths, blocks change places on each and before both; in a
switcher's loops, with each other and with what is in none, and every loop keeps how many it
holds. Of a take with two ends, objectives are those of their mean, noise that of both together.
first and last: the order begins or ends with these; before: of each list, every block comes before
the next; together: they stand next to each other. The objectives, of which more is better:
%sWhat orders have in common up to a stage is rendered once for all of them, on all cores. The
quality is draft: levels are right within some 0.1 dB, but compare the best by ear at normal
quality.

The result is the Pareto set: the orders that no other order beats in one objective without being
worse in another. The score is the share of all orders that an order is as good as or better than,
mean over the objectives. The best few come as takes to be pasted into the chain file.

With more than --most orders, that many are tried: a quarter by chance (always the same ones), then
what is one move away from the best so far. The result says so.

--journal FILE keeps what was found. A run that was stopped or killed goes on from there when the
same command is given again. --part K/N does one share of N, for other machines; rank merge joins
the journals. However a ranking is stopped, shared and joined, the result is the same, byte for
byte. That goes for processors of one kind: others round otherwise in the last digits, and a
journal from there is refused. chains/jobs has job files for a batch scheduler and for a container
cluster.

--json prints one object in place of the table:
  title, take, quality, rate_hz, seconds (of the recording)
  wishes (the objectives): name, unit, better ("higher"), step (what differs by less counts as
    equal), definition
  search: kind ("exhaustive" or "budgeted"), orders (null: too many to count), tried, said
  base    the order as the take has it, null where it was not tried
  pareto, best, orders (all that were tried), highest score first:
    order, take (its keys), values (one for each objective, in its unit), score (percent), pareto
    (true or false)
What cannot be measured is {"not_measurable": "why"}; it counts as worst.`, rankSeconds, objectiveList()),
		Example: `  drywire rank my-chain.yaml
  drywire rank my-chain.yaml --journal rank.journal
  drywire rank my-chain.yaml --part 2/8 --journal part-2.journal`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runRank(cmd.Context(), s, o)
		},
	}
	rankFlags(cmd, &o)
	cmd.Flags().StringVar(&o.journal, "journal", "", "keep what is found in this `FILE`, and go on from what is in it")
	cmd.Flags().StringVar(&o.part, "part", "1/1", "do share `K/N` only; the orders of a share have their beginnings in common")
	complete(cmd, "part", cobra.NoFileCompletions)
	cmd.AddCommand(rankMergeCommand(s))
	return cmd
}

func rankFlags(cmd *cobra.Command, o *rankOptions) {
	flags := cmd.Flags()
	flags.StringVar(&o.take, "take", "", "the `NAME` of the take whose blocks and settings are ranked; the first when there is none given")
	flags.Float64Var(&o.seconds, "seconds", rankSeconds, "how much of the recording is rendered, from its beginning, in seconds")
	flags.IntVar(&o.most, "most", rankMost, "try at most so many orders (of a share: in this share)")
	flags.BoolVar(&o.json, "json", false, "print one JSON object in place of the table")
	recordingFlag(cmd, &o.recording)
	flags.StringVar(&o.quality, "quality", section.Draft.Name, "how finely to compute: `"+strings.Join(qualityNames(), "|")+"`")
	complete(cmd, "quality", completeQuality)
	complete(cmd, "take", completeTake)
	for _, name := range []string{"seconds", "most"} {
		complete(cmd, name, cobra.NoFileCompletions)
	}
}

func rankMergeCommand(s streams) *cobra.Command {
	var o rankOptions
	cmd := &cobra.Command{
		Use:   "merge FILE JOURNAL...",
		Short: "Join the shares of a ranking",
		Long: `Merge reads the journals of all shares of a ranking, in any order, and prints the result that one
machine would have printed. Give it the flags that the shares were given (--take, --recording,
--quality, --seconds, --most): a journal of another search is refused, and so is a ranking of which
orders are missing.`,
		Example: `  drywire rank merge my-chain.yaml part-*.journal`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return misusef("merge needs a chain file and journals, like this:\n%s", cmd.Example)
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runRankMerge(cmd.Context(), s, o, args[1:])
		},
	}
	rankFlags(cmd, &o)
	return cmd
}

// objectiveList is what may be preferred, for the help.
func objectiveList() string {
	var b strings.Builder
	for _, m := range measures.Objectives() {
		paragraph(&b, fmt.Sprintf("  %-15s  ", m.Name), fmt.Sprintf("%s (%s): %s", m.Brief, m.Unit, m.Definition), width)
	}
	return b.String()
}

// ranking is a search that is about to begin.
type ranking struct {
	*experiment.Rank
	file *chainFile
	take board.Take
}

func newRanking(ctx context.Context, s streams, o rankOptions, part, parts int) (*ranking, error) {
	q, err := quality(o.quality)
	if err != nil {
		return nil, err
	}
	if !(o.seconds >= 0.1 && o.seconds <= 600) {
		return nil, misusef("--seconds %v: want 0.1 to 600", o.seconds)
	}
	if o.most < 1 {
		return nil, misusef("--most %d: want 1 or more", o.most)
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return nil, err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return nil, err
	}
	if c, _, err = f.take(c.Take); err != nil { // with the recording in it
		return nil, err
	}
	x, err := f.DryOf(c).Beginning(ctx, o.seconds)
	if err != nil {
		return nil, err
	}
	rank, err := experiment.NewRank(c, f.Keep, f.Prefer, x, f.Dry.Rate, q, o.most, part, parts)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Text.Name, err)
	}
	at := slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == c.Take })
	return &ranking{rank, f, f.Takes[at]}, nil
}

func runRank(ctx context.Context, s streams, o rankOptions) error {
	part, parts, err := parsePart(o.part)
	if err != nil {
		return err
	}
	if parts > 1 && o.journal == "" {
		return misusef("--part %s needs --journal FILE: what a share finds is joined from there", o.part)
	}
	r, err := newRanking(ctx, s, o, part, parts)
	if err != nil {
		return err
	}
	keep := func([]string, []measures.Figure) error { return nil }
	if o.journal != "" {
		j, err := openJournal(s, o.journal, r.Rank)
		if err != nil {
			return err
		}
		defer j.Close()
		line := r.JournalLine()
		keep = func(names []string, values []measures.Figure) error {
			_, err := j.Write(line(names, values))
			return files.Named(o.journal, errors.Join(err, j.Sync()))
		}
	}
	bar := newProgress(s.err, int64(r.Left()))
	defer bar.stop()
	if err := r.Run(ctx, func(names []string, values []measures.Figure) error {
		bar.add(1)
		return keep(names, values)
	}); err != nil {
		if ctx.Err() != nil && o.journal != "" {
			return fmt.Errorf("interrupted; what was found is in %s, and the same command goes on from there", o.journal)
		}
		return err
	}
	bar.stop()
	if parts > 1 {
		s.printf("%s\nIt is in %s; when all parts are done, join them: drywire rank merge\n", r.Result().Search.Said, o.journal)
		return nil
	}
	return r.print(s, o)
}

func runRankMerge(ctx context.Context, s streams, o rankOptions, journals []string) error {
	// Where every share was within the limit, the whole may be beyond it.
	r, err := newRanking(ctx, s, o, 1, 1)
	if err != nil {
		return err
	}
	parts := 1
	for _, path := range journals {
		text, err := files.Read(s.disk, path, mostJournal)
		if err != nil {
			return err
		}
		if n := experiment.JournalParts(text); n > parts {
			parts = n
			if r, err = newRanking(ctx, s, o, 1, parts); err != nil {
				return err
			}
		}
	}
	for _, path := range journals {
		text, err := files.Read(s.disk, path, mostJournal)
		if err != nil {
			return err
		}
		j, err := r.ReadJournal(text, true)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		sayDamaged(s, path, j.Damaged)
	}
	if first, n := r.Missing(); n > 0 {
		hint := ""
		if len(first) > 0 {
			hint = fmt.Sprintf(", like [%s]", strings.Join(first, "], ["))
		}
		return fmt.Errorf("%s missing%s: run the shares that were not finished again", plural(n, "order is", "orders are"), hint)
	}
	r.Part, r.Parts = 1, 1
	return r.print(s, o)
}

// parsePart reads K/N.
func parsePart(text string) (part, parts int, err error) {
	k, n, ok := strings.Cut(text, "/")
	if ok {
		var e1, e2 error
		part, e1 = strconv.Atoi(strings.TrimSpace(k))
		parts, e2 = strconv.Atoi(strings.TrimSpace(n))
		ok = e1 == nil && e2 == nil && 1 <= part && part <= parts && parts <= 1_000_000
	}
	if !ok {
		return 0, 0, misusef("--part %q: want K/N, like 2/8", text)
	}
	return part, parts, nil
}

// mostJournal is how much of a journal is read, in bytes: half a million orders and more.
const mostJournal = 256 << 20

// openJournal opens a journal to go on with, or begins one. No other run can while it is open.
func openJournal(s streams, path string, r *experiment.Rank) (files.File, error) {
	f, text, err := files.Journal(s.disk, path, mostJournal)
	if err != nil {
		return nil, err
	}
	fail := func(err error) (files.File, error) {
		f.Close()
		return nil, err
	}
	j, err := r.ReadJournal(text, false)
	if err != nil {
		return fail(fmt.Errorf("%s: %w; give another --journal, or delete it", path, err))
	}
	if j.Good == 0 && len(text) > 0 && !experiment.UnfinishedHead(text, r) {
		return fail(fmt.Errorf("%s: is not the journal of a ranking; give another --journal", path))
	}
	sayDamaged(s, path, j.Damaged)
	err = f.Truncate(int64(j.Good))
	if err == nil {
		_, err = f.Seek(int64(j.Good), io.SeekStart)
	}
	if err == nil && !j.Headed {
		_, err = f.Write(r.JournalHead())
	}
	if err != nil {
		return fail(files.Named(path, err))
	}
	return f, nil
}

// sayDamaged says which lines of a journal are left out.
func sayDamaged(s streams, path string, lines []int) {
	for _, n := range lines {
		s.say("drywire: %s: line %d is damaged and left out; what it held counts as not found", path, n)
	}
}

// mostRanked is how many rows the table has, mostAlike how many orders are named for each.
const (
	mostRanked = 10
	mostAlike  = 4
)

func (r *ranking) print(s streams, o rankOptions) error {
	res := r.Result()
	if o.json {
		return s.object(res)
	}
	if res.Title != "" {
		s.printf("%s\n", res.Title)
	}
	s.printf("Take: %s\n", res.Take)
	r.file.describe(s, r.Chain)
	paragraph(s.out, "Search     ", fmt.Sprintf("%s Quality %s, the first %s of the recording.", res.Search.Said, res.Quality, quantity(res.Seconds, dsp.Seconds)), 98)

	s.printf("\nNo other order beats these in one objective without being worse in another (%s)\n\n", plural(len(res.Pareto), "order", "orders"))
	t := table{header: []string{" #", " score\n%"}}
	for _, w := range res.Objectives {
		t.header = append(t.header, " "+strings.ReplaceAll(w.Name, " ", "\n")+"\n"+w.Unit)
	}
	row := func(name string, k experiment.Ranked) {
		cells := []string{name, decibels(k.Score)}
		for i, v := range k.Values {
			cells = append(cells, res.Objectives[i].Format(v))
		}
		t.row(cells...)
	}
	var shown []experiment.Ranked // one of each that are alike
	orders := map[int][]string{}
	hidden := 0
	for _, p := range res.Pareto {
		at := slices.IndexFunc(shown, p.Alike)
		if at < 0 {
			if len(shown) == mostRanked {
				hidden++
				continue
			}
			at = len(shown)
			shown = append(shown, p)
			row(fmt.Sprint(at+1), p)
		}
		orders[at] = append(orders[at], strings.Join(p.Take, ", "))
	}
	if res.Base != nil && !slices.ContainsFunc(shown, res.Base.Alike) {
		row("as written", *res.Base)
	}
	t.print(s.out)
	s.printf("\n")
	for k := range shown {
		for i, text := range orders[k] {
			lead := fmt.Sprintf("%2d  ", k+1)
			switch {
			case i == mostAlike:
				text = plural(len(orders[k])-i, "more that is", "more that are") + " worth the same"
				fallthrough
			case i > 0:
				lead = "    "
			}
			paragraph(s.out, lead, text, 98)
			if i == mostAlike {
				break
			}
		}
	}
	if hidden > 0 {
		s.printf("    and %s; --json has them all\n", plural(hidden, "more", "more"))
	}
	why := map[string]bool{}
	for _, p := range append(slices.Clone(shown), baseOf(res)...) {
		for i, v := range p.Values {
			if !v.OK() {
				why[fmt.Sprintf("%s: not measurable: %s", res.Objectives[i].Name, v.Why)] = true
			}
		}
	}
	for _, text := range slices.Sorted(maps.Keys(why)) {
		paragraph(s.out, "-  ", text, 98)
	}

	s.printf("\nWhat was measured; more is better:\n")
	for _, w := range res.Objectives {
		paragraph(s.out, "  ", fmt.Sprintf("%s, %s: %s. Under %v %s counts as equal.", w.Name, w.Unit, w.Definition, w.Step, w.Unit), 98)
	}
	var set []string
	for _, k := range r.take.Set {
		set = append(set, k.Target+": "+quoted(k.Text))
	}
	s.printf("\nThe best, to be pasted into the chain file under takes:\n\n%s", res.Takes(set, r.take.Off, boardKeys(r.take)...))
	return nil
}

func baseOf(res *experiment.Ranking) []experiment.Ranked {
	if res.Base == nil {
		return nil
	}
	return []experiment.Ranked{*res.Base}
}

// quoted is a value for a chain file, in quotes where it needs them.
func quoted(text string) string {
	if strings.ContainsAny(text, ",:{}[]#'\"&*!|>%@`") {
		return "'" + strings.ReplaceAll(text, "'", "''") + "'"
	}
	return text
}

// boardKeys is what a take says about its guitar and its preset, as it stands in a chain
// file.
func boardKeys(t board.Take) []string {
	var keys []string
	if t.Guitar != "" {
		keys = append(keys, "guitar: "+t.Guitar)
	}
	if t.Preset != "" {
		keys = append(keys, "preset: "+quoted(t.Preset))
	}
	if len(t.Toggle) > 0 {
		keys = append(keys, "toggle: ["+strings.Trim(strings.ReplaceAll(fmt.Sprint(t.Toggle), " ", ", "), "[]")+"]")
	}
	return keys
}
