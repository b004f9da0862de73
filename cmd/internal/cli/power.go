package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/power"
	"drywire/dsp"
	"drywire/dsp/section"
)

type powerOptions struct {
	file, recording string
	margin          string
	assign, json    bool
}

// headroomSeconds is how much of the recording is played to see which blocks need headroom.
const headroomSeconds = 5

func powerCommand(s streams) *cobra.Command {
	var o powerOptions
	cmd := &cobra.Command{
		Use:   "power FILE",
		Short: "Show how the supplies are loaded; work out what to plug in where",
		Long: fmt.Sprintf(`Power lists the outputs of a file's supplies: voltage, what is drawn from each and what it gives.

--assign works out an output for every block that says power: auto, and looks whether the others may
stay where they are. It keeps to the voltage and the plug that a block wants, and leaves a share of
each output's current free (--margin). A block whose ground is the positive pole shares an output
with no other, nor a supply whose outputs are not isolated; nor does a digital block share such a
supply with others, since its clock is heard in them. As few leads as there can be are moved.
A block whose output is open gets the higher voltage where it gains by it: where the first %d s of
the recording come within 6 dB of its ceiling in any take, and the ceiling rises with the voltage.
An output that can be switched is taken as it stands, and only where no turn of the switch harms.
Where no plugging will do, it says what is missing.

CAUTION: a wrong voltage, polarity or ground can destroy a pedal or start a fire. The file's figures
are what you have read off the pedals and supplies: read them again before you plug in.

--json prints one object: outputs (output, voltage_v, drawn_a, gives_a, isolated, blocks, warnings),
open (blocks with power: auto), and with --assign assignment: margin, leads (block, from, to),
missing (voltage_v, current_a, centre_positive, blocks), proven (false where the search was cut
short), tight (nothing would be missing without the margin); gain_by_voltage (blocks).`, headroomSeconds),
		Example: `  drywire power my-board.yaml
  drywire power my-board.yaml --assign --margin 30%`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runPower(cmd.Context(), s, o)
		},
	}
	cmd.Flags().BoolVar(&o.assign, "assign", false, "work out which block is plugged into which output")
	cmd.Flags().StringVar(&o.margin, "margin", dsp.FormatQuantity(power.UsualMargin, dsp.Percents), "the `SHARE` of an output's current that is left free")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	complete(cmd, "margin", cobra.NoFileCompletions)
	return cmd
}

type powerReport struct {
	Outputs    []powerOutput     `json:"outputs"`
	Open       []string          `json:"open"`
	Assignment *power.Assignment `json:"assignment,omitempty"`
	Gain       []string          `json:"gain_by_voltage,omitempty"`
}

type powerOutput struct {
	Output   string     `json:"output"`
	Voltage  dsp.Volt   `json:"voltage_v"`
	Drawn    dsp.Ampere `json:"drawn_a"`
	Gives    dsp.Ampere `json:"gives_a"`
	Isolated bool       `json:"isolated"`
	Blocks   []string   `json:"blocks"`
	Warnings []string   `json:"warnings"`
}

func runPower(ctx context.Context, s streams, o powerOptions) error {
	margin, err := dsp.ParseQuantity(o.margin, dsp.Percents)
	if err != nil || margin < 0 || margin > 0.9 {
		return misusef("--margin %s: want 0 to 90 %%", o.margin)
	}
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if len(f.Supplies) == 0 {
		return fmt.Errorf("%s: no supplies; name them, like supplies: {brick: {outputs: {1: {voltage: 9 V, current: 500 mA}}}}", f.Text.Name)
	}
	report := powerReport{Open: append([]string{}, notPluggedIn(f)...), Outputs: []powerOutput{}}
	for _, p := range f.Plugged() {
		report.Outputs = append(report.Outputs, powerOutput{p.Output, p.Voltage, p.Draw, p.Current, p.Isolated, append([]string{}, p.Blocks...), append([]string{}, p.Warnings...)})
	}
	if o.assign {
		if err := s.afford(f, f.Chains()...); err != nil {
			return err
		}
		if report.Gain, err = gainByVoltage(ctx, f, o.recording, report.Open); err != nil {
			return err
		}
		if report.Assignment, err = power.Assign(f.File, margin, report.Gain); err != nil {
			return fmt.Errorf("%s: %w", f.Text.Name, err)
		}
	}
	if o.json {
		return s.object(report)
	}
	s.printf("%s\n", titleOf(f))
	for _, p := range report.Outputs {
		for _, w := range p.Warnings {
			paragraph(s.out, "", "WARNING: "+w+".", width)
		}
	}
	if text := fullest(f); text != "" {
		paragraph(s.out, "", text, width)
	}
	printSupplies(s, f)
	if !o.assign {
		if len(report.Open) > 0 {
			s.printf("\n")
			paragraph(s.out, "", "Not plugged in yet: "+strings.Join(report.Open, ", ")+". --assign works out where.", width)
		}
		return nil
	}
	printAssignment(s, f, report)
	return nil
}

// fullest says that no output is overloaded, and which comes nearest; "" where one is, or none is
// used.
func fullest(f *chainFile) string {
	var most board.Plugged
	for _, p := range f.Plugged() {
		if p.Overload {
			return ""
		}
		if len(p.Blocks) > 0 && (most.Output == "" || p.Draw*most.Current > most.Draw*p.Current) {
			most = p
		}
	}
	if most.Output == "" {
		return ""
	}
	return fmt.Sprintf("No output is overloaded. The fullest is %s, with %.4g of %.4g mA.", most.Output, 1e3*float64(most.Draw), 1e3*float64(most.Current))
}

// notPluggedIn is the blocks whose output is still to be chosen.
func notPluggedIn(f *chainFile) (names []string) {
	for _, b := range f.Blocks {
		if b.Power == board.AutoPower {
			names = append(names, b.Name)
		}
	}
	return names
}

// gainByVoltage is which open blocks gain by a higher voltage, of those that have the choice.
func gainByVoltage(ctx context.Context, f *chainFile, recording string, open []string) ([]string, error) {
	volts := map[string][2]dsp.Volt{}
	for _, name := range open {
		var fit []dsp.Volt
		for _, supply := range f.Supplies {
			for k := range supply.Outputs {
				if f.Fits(name, &supply.Outputs[k]) {
					fit = append(fit, supply.Outputs[k].Voltage)
				}
			}
		}
		if len(fit) > 0 && slices.Min(fit) < slices.Max(fit) {
			volts[name] = [2]dsp.Volt{slices.Min(fit), slices.Max(fit)}
		}
	}
	if len(volts) == 0 {
		return nil, nil
	}
	f, err := f.withRecording(ctx, recording)
	if err != nil {
		return nil, err
	}
	x, err := f.Beginning(ctx, headroomSeconds)
	if err != nil {
		return nil, err
	}
	return experiment.GainByVoltage(ctx, f.Chains(), volts, x, f.Dry.Rate, section.Draft)
}

func printAssignment(s streams, f *chainFile, report powerReport) {
	a := report.Assignment
	s.printf("\nPlug in, with %s of every output left free\n", dsp.FormatQuantity(a.Margin, dsp.Percents))
	t := table{header: []string{"block", " draws\nmA", "from", "to", ""}}
	moved := 0
	for _, l := range a.Leads {
		n, _ := f.Needs(l.Block)
		what := ""
		switch {
		case l.From == board.AutoPower:
			what = "new"
		case l.Moved():
			what = "move"
			moved++
		}
		if slices.Contains(report.Gain, l.Block) {
			what = strings.TrimPrefix(what+", needs headroom", ", ")
		}
		from := l.From
		if from == board.AutoPower {
			from = "-"
		}
		t.row(clip(l.Block, 32), fmt.Sprintf("%.4g", 1e3*float64(n.Draw)), from, l.To, what)
	}
	t.print(s.out)
	s.printf("%s to move.\n", plural(moved, "lead", "leads"))
	for k, m := range a.Missing {
		paragraph(s.out, fmt.Sprintf("MISSING %d: ", k+1), m.String()+".", width)
	}
	if a.Tight {
		paragraph(s.out, "", "Without the margin nothing would be missing, but then an output is close to its limit.", width)
	}
	if !a.Proven {
		paragraph(s.out, "", "The search was cut short: there may be a better way.", width)
	}
	if len(a.Missing) == 0 && (moved > 0 || len(report.Open) > 0) {
		s.printf("\nIn the file, at these blocks:\n")
		for _, l := range a.Leads {
			if l.From != l.To {
				s.printf("  %s: {power: %s}\n", l.Block, l.To)
			}
		}
	}
}
