package cli

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

type checkOptions struct {
	file      string
	recording string
	all       bool
}

func checkCommand(s streams) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Check a chain file and show what is wired to what",
		Long: `Check reads a chain file, wires every take and finds its operating point; or it prints every mistake
in the file with its place. First come the warnings: an output of a supply that is overloaded, a
block whose supply voltage is too low, two paths that cancel when they are summed (their correlation
is under -0.5, or their sum is 6 dB or more under the sum of their powers in any octave from 80 Hz
to 5 kHz; by their responses, or where one of them has a block without one, as a reverb, by
rendering many tones at once). Then what each output feeds, the order of every take, and the source
impedance (with the cable) and input impedance at every jack, both at 1 kHz: each pair once, and of
many only those with a loss of 1 dB or more. It says which presets need a knob turned by hand, and
the fewest cables to move on the floor from the first take to each of the others. A plug that would
harm a block is a mistake, and so is the power of a valve amplifier without a loudspeaker or a load
box. --all shows every take in full. It writes nothing.`,
		Example: `  drywire check my-chain.yaml`,
		Args:    oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runCheck(cmd.Context(), s, o)
		},
	}
	recordingFlag(cmd, &o.recording)
	cmd.Flags().BoolVar(&o.all, "all", false, "every take in full, with the impedances at each of its jacks")
	return cmd
}

func recordingFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "recording", "", "another recording in place of the file's: a sound `FILE`, - for standard input, or a shipped one by name")
	complete(cmd, "recording", completeRecording)
}

func qualityFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "quality", section.Normal.Name, "how finely to compute: `"+strings.Join(qualityNames(), "|")+"`")
	complete(cmd, "quality", completeQuality)
}

// orderText is the order of a take, in one line. A switcher is named wherever the signal comes back
// to it.
func orderText(c *board.Chain) string {
	line := func(list []board.Placed, names ...string) []string {
		for _, b := range list {
			switch {
			case b.Piece != nil:
				names = append(names, b.Switcher)
			case b.Off:
				names = append(names, "("+b.Name+" off)")
			default:
				names = append(names, b.Name)
			}
		}
		return names
	}
	names := line(c.Blocks, "guitar")
	if c.GuitarName != "" {
		names[0] += " " + c.GuitarName
	}
	if c.RecordingOf != "" {
		names[0] += " (its own recording)"
	}
	if level := dsp.ToDB(c.GuitarLevel()); math.Abs(level) >= 0.05 {
		names[0] += fmt.Sprintf(" (%+.1f dB against the recording's)", level)
	}
	if c.Split == nil {
		return strings.Join(append(names, "load"), " > ")
	}
	path := func(side string, list []board.Placed) string {
		return side + ": " + strings.Join(append(line(list), "load"), " > ")
	}
	return strings.Join(append(names, "{"+path("left", c.Split.Left)+" | "+path("right", c.Split.Right)+"}"), " > ") + " " + c.Split.Mix
}

// at is the frequency at which impedances are shown.
const at = 1000

// checked is a take that was wired.
type checked struct {
	number int
	take   board.Take
	chain  *board.Chain
	places []wiring.Handover
	paths  string // how the paths of its split add up; "" where it has none
	cancel bool
}

func runCheck(ctx context.Context, s streams, o checkOptions) error {
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if err := s.afford(f, f.Chains()...); err != nil {
		return err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	s.printf("%s: %s\n", f.Text.Name, titleOf(f))
	f.describe(s, f.Chains()...)
	s.held(f.Chains()...)
	var takes []checked
	for k, c := range f.Chains() {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := render.PlanOf(c, f.Dry.Rate, section.Normal).Renderer(c.Ends()...); err != nil {
			return err
		}
		t := checked{number: k + 1, take: f.Takes[k], chain: c}
		if t.places, err = wiring.Handovers(c, at); err != nil {
			return err
		}
		if c.Split != nil {
			t.paths, t.cancel = pathsText(ctx, c, f.Dry.Rate)
		}
		takes = append(takes, t)
	}
	warnings := warningsOf(f, takes)
	if len(warnings) > 0 {
		s.printf("\n")
	}
	for _, w := range warnings {
		paragraph(s.out, "", "WARNING: "+w+".", 98)
	}
	printSupplies(s, f)
	if o.all {
		for _, t := range takes {
			t.print(s, f)
			printHandovers(s, []checked{t}, true)
			if t.paths != "" && !t.cancel {
				paragraph(s.out, "  ", t.paths, 98)
			}
		}
	} else {
		printTakes(s, f, takes)
		printHandovers(s, takes, false)
		printPaths(s, takes)
	}
	printFourCables(s, takes)
	for _, h := range f.ByHand() {
		paragraph(s.out, "", h.String(), 98)
	}
	printCables(s, experiment.Rewirings(f.Chains()))
	end := "no mistakes found"
	var over []string
	for _, p := range f.Plugged() {
		if p.Overload {
			over = append(over, p.Output)
		}
	}
	switch {
	case len(over) > 0:
		end = "no mistake in the file, but " + strings.Join(over, ", ") + " " + map[bool]string{true: "is", false: "are"}[len(over) == 1] + " OVERLOADED"
	case len(warnings) > 0:
		end += ", and " + plural(len(warnings), "WARNING", "WARNINGS") + " above"
	}
	if !o.all && len(takes) >= manyTakes {
		end += ". Every jack of every take: --all"
	}
	s.printf("\n%s, %s.\n", plural(len(f.Takes), "take", "takes"), end)
	return nil
}

// warningsOf is every warning once, with the takes that it is about: supplies first.
func warningsOf(f *chainFile, takes []checked) []string {
	var list []string
	plugged := f.Plugged()
	for _, overload := range []bool{true, false} {
		for _, p := range plugged {
			if p.Overload == overload {
				list = append(list, p.Warnings...)
			}
		}
	}
	if open := notPluggedIn(f); len(open) > 0 {
		list = append(list, "not plugged in yet, and so as on supplies of their own: "+strings.Join(open, ", ")+"; drywire power --assign works out where")
	}
	about := map[string][]string{}
	var order []string
	for _, t := range takes {
		own := t.chain.Warnings()
		if t.cancel {
			own = append(own, t.paths)
		}
		for _, w := range own {
			if about[w] == nil {
				order = append(order, w)
			}
			about[w] = append(about[w], fmt.Sprint(t.number))
		}
	}
	for _, w := range order {
		if len(about[w]) < len(takes) {
			list = append(list, w+" (take "+strings.Join(about[w], ", ")+")")
		} else {
			list = append(list, w)
		}
	}
	return list
}

// manyTakes is from where on takes are shown in a line each.
const manyTakes = 5

// printTakes shows what is wired, in short.
func printTakes(s streams, f *chainFile, takes []checked) {
	if len(takes) < manyTakes {
		for _, t := range takes {
			t.print(s, f)
		}
		return
	}
	s.printf("\nTakes\n")
	if first := slices.IndexFunc(takes, func(t checked) bool { return t.take.Order == nil }); first >= 0 {
		paragraph(s.out, "  ", "order: "+listed(f.Order, f.Split), 98)
	}
	rows := table{header: []string{"  no", "name", "what is in it"}}
	for _, t := range takes {
		what := orderText(t.chain)
		if t.take.Order == nil {
			what = t.short(f)
		}
		rows.row(fmt.Sprintf("  %d", t.number), clip(t.chain.Take, 32), what)
	}
	rows.wrap(s.out, 100)
}

// listed is an order as the file has it.
func listed(order []string, split *board.SplitOrder) string {
	text := strings.Join(order, " > ")
	if split != nil {
		text += fmt.Sprintf(" > {left: %s | right: %s} %s", strings.Join(split.Left, " > "), strings.Join(split.Right, " > "), split.Mix)
	}
	return text
}

// short is what a take has that others may not: its loops, its guitar, and what it changes.
func (t checked) short(f *chainFile) string {
	var parts []string
	on := f.LoopsOn(t.take)
	for _, l := range f.LoopsOf(t.take) {
		if slices.Contains(on, l.Number) {
			holds := strings.Join(l.Blocks, " > ")
			if holds == "" {
				holds = "a cable"
			}
			parts = append(parts, fmt.Sprintf("%d %s", l.Number, holds))
		}
	}
	if t.chain.GuitarName != "" {
		parts = append(parts, "guitar "+t.chain.GuitarName)
	}
	for _, b := range t.chain.Every() {
		if b.Off && b.Piece == nil {
			parts = append(parts, b.Name+" off")
		}
	}
	for _, set := range t.take.Set {
		parts = append(parts, set.Target+": "+set.Text)
	}
	for _, c := range t.take.Changes {
		parts = append(parts, fmt.Sprintf("from %s on preset %s", quantity(float64(c.At), dsp.Seconds), c.Preset))
	}
	if len(parts) == 0 {
		return "the order as it is"
	}
	return strings.Join(parts, ", ")
}

// print shows a take with its order and what it sets.
func (t checked) print(s streams, f *chainFile) {
	s.printf("\nTake %d: %s\n", t.number, t.chain.Take)
	paragraph(s.out, "  ", orderText(t.chain), 98)
	if own := t.take.Loops; len(own) > 0 {
		s.printf("  loops of its own: %s\n", board.LoopsText(own))
	}
	if len(t.take.Changes) > 0 {
		s.printf("  preset: %s\n", t.take.PresetText())
	}
	for _, set := range t.take.Set {
		s.printf("  %s: %s\n", set.Target, set.Text)
	}
	for _, turn := range t.chain.Turns {
		if !slices.ContainsFunc(t.take.Set, func(set board.Setting) bool { return set.Target == turn.Target }) {
			s.printf("  %s: %v\n", turn.Target, turn.Curve)
		}
	}
}

const (
	fewRows = 24  // so many places are shown all
	costly  = 1.0 // dB: where there are more, those that lose so much
)

// printHandovers prints source and input impedances at every jack; what is the same in several
// takes shares a row. Of many rows it prints those with a loss, unless all are asked for.
func printHandovers(s streams, takes []checked, all bool) {
	type place struct{ jack, source, input, lost string }
	var order []place
	in, much := map[place][]string{}, map[place]bool{}
	for _, t := range takes {
		loads := map[string]bool{} // what a power amplifier drives takes the most of it by design
		for _, b := range t.chain.Every() {
			loads[b.In()] = b.Kind.Loads
		}
		for _, p := range t.places {
			row := place{p.Jack, ohms(p.Source), ohms(p.Input), decibels(lost(p))}
			if in[row] == nil {
				order = append(order, row)
			}
			in[row] = append(in[row], fmt.Sprint(t.number))
			much[row] = much[row] || lost(p) >= costly && !loads[p.Jack]
		}
	}
	rows := table{header: []string{"  into", " source at 1 kHz\nΩ", " input at 1 kHz\nΩ", " lost\ndB"}}
	if len(takes) > 1 {
		rows.header = append(rows.header, "takes")
	}
	few := all || len(order) <= fewRows
	if !all {
		s.printf("\nSource and input impedances%s\n", map[bool]string{false: fmt.Sprintf(", where %.0f dB and more are lost at 1 kHz", costly)}[few])
	}
	for _, p := range order {
		if !few && !much[p] {
			continue
		}
		row := []string{"  " + p.jack, p.source, p.input, p.lost}
		if len(takes) > 1 {
			row = append(row, clip(strings.Join(in[p], ", "), 30))
		}
		rows.row(row...)
	}
	rows.print(s.out)
}

// printFourCables names the cables between a switcher and the amplifier that it hangs about.
func printFourCables(s streams, takes []checked) {
	at := slices.IndexFunc(takes, func(t checked) bool { return t.chain.FourCables() != nil })
	if at < 0 {
		return
	}
	var four []string
	for _, k := range takes[at].chain.FourCables() {
		four = append(four, k.String())
	}
	s.printf("\n")
	paragraph(s.out, "", "Four cables about the amplifier: "+strings.Join(four, ", ")+". Its ground comes onto the board twice: where that hums, an isolating transformer in the cable from its send helps (common practice, no source); never lift a safety earth.", 98)
}

// printPaths says of which takes the two paths do not cancel; those whose paths do are warned of.
func printPaths(s streams, takes []checked) {
	about := map[string][]string{}
	var order []string
	for _, t := range takes {
		if t.paths == "" || t.cancel {
			continue
		}
		if about[t.paths] == nil {
			order = append(order, t.paths)
		}
		about[t.paths] = append(about[t.paths], fmt.Sprint(t.number))
	}
	if len(order) == 0 {
		return
	}
	if len(order) > 2 { // told for each take with --all
		but := ""
		if slices.ContainsFunc(takes, func(t checked) bool { return t.cancel }) {
			but = " but those above"
		}
		s.printf("\nThe two paths cancel in no take%s.\n", but)
		return
	}
	s.printf("\n")
	for _, text := range order {
		if len(about[text]) < len(takes) {
			text = "Take " + strings.Join(about[text], ", ") + ": " + text
		}
		paragraph(s.out, "", text, 98)
	}
}

// printSupplies says what is plugged into which output of a supply.
func printSupplies(s streams, f *chainFile) {
	outputs := f.Plugged()
	if len(outputs) == 0 {
		return
	}
	s.printf("\nSupplies, whatever is switched on\n")
	t := table{header: []string{"  output", " voltage\nV", " drawn\nmA", " of\nmA", " ripple\nmV", "feeds"}}
	for _, o := range outputs {
		feeds := "nothing"
		if len(o.Blocks) > 0 {
			feeds = strings.Join(o.Blocks, ", ")
		}
		if o.Overload {
			feeds = "OVERLOADED by " + feeds
		}
		t.row("  "+o.Output, fmt.Sprintf("%.4g", float64(o.Voltage)), fmt.Sprintf("%.4g", 1e3*float64(o.Draw)), fmt.Sprintf("%.4g", 1e3*float64(o.Current)),
			fmt.Sprintf("%.3g", 1e3*float64(o.Ripple)), clip(feeds, 50))
	}
	t.print(s.out)
}

// pathsText says how the two paths of a take's split add up, and whether they cancel.
func pathsText(ctx context.Context, c *board.Chain, rate dsp.Hertz) (text string, cancel bool) {
	x, err := experiment.CancellationOf(c, ctx, rate)
	switch {
	case err != nil:
		return fmt.Sprintf("Whether the two paths cancel is not known: %v.", err), false
	case x.Cancels():
		return "the two paths cancel: " + x.String() + "; a trim with polarity: inverted in one of them turns it over", true
	}
	return "The two paths do not cancel: " + x.String() + ".", false
}

func titleOf(f *chainFile) string {
	if f.Title == "" {
		return "(no title)"
	}
	return f.Title
}
