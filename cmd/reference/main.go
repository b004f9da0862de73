// Command reference holds renders of chains against a general circuit simulator (ngspice) that runs
// the same circuit.
//
//	go run ./cmd/reference -suite                     the fixed list of cases
//	go run ./cmd/reference -seed 7 -count 20          random conditions, not used in development
//	go run ./cmd/reference -gain -seed 7 -count 21    the same for the gain blocks
//	go run ./cmd/reference -pairs -seed 7 -count 20   two in a row: five that are hard, and random ones
//	go run ./cmd/reference -noise -seed 7 -count 50   noise ledgers against injected noise
//	go run ./cmd/reference -events [RECORDING ...]    verdicts on what is known to be heard or not
//	go run ./cmd/reference -chain FILE -take NAME -tone "330 Hz 200 mV"
//	go run ./cmd/reference -store chains/testdata/reference
//	go run ./cmd/reference -moving                    knobs that are turned; with
//	                                                  -store chains/render/testdata/moving stored
//	go run ./cmd/reference -own                       decks of the kind circuit, run as they are; with
//	                                                  -store chains/testdata/decks stored
//	go run ./cmd/reference -decks dsp/circuit/testdata
//	go run ./cmd/reference -stress 10000000           does the solver ever fail?
//	go run ./cmd/reference -speed                     against the simulator, at the same accuracy
//
// It ends with status 1 where a figure is missed. The error is that of the whole chain: filters,
// latency and all. How it is measured stands at Case.Check and Case.Spectrum.
//
// Start reading at case.go.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"drywire/chains"
	"drywire/dsp/section"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// wanted is the largest error of each quality, in dB. Draft promises nothing.
var wanted = map[string]float64{"draft": 0, "normal": -60, "fine": -80}

// samePoint is how far operating points may lie apart, in volts.
const samePoint = 1e-3

type options struct {
	chain, take, jack, tone, pluck, quality, store, decks string

	rate, length       float64
	suite, speed, deck bool
	gain, moving, own  bool
	noise, events      bool
	pairs              bool
	seed               uint64
	count, jobs        int
	stress             int64
}

func run(ctx context.Context, args []string, out, errs io.Writer) int {
	var o options
	f := flag.NewFlagSet("reference", flag.ContinueOnError)
	f.SetOutput(errs)
	f.StringVar(&o.chain, "chain", "", "chain `file`, or the name of a shipped one")
	f.StringVar(&o.take, "take", "", "take, by name (default: the first)")
	f.StringVar(&o.jack, "jack", "out", "jack to compare")
	f.StringVar(&o.tone, "tone", "", "drive with `tones`, like \"330 Hz 200 mV\" or \"330 Hz 100 mV, 441 Hz 100 mV\" (at the pickup)")
	f.StringVar(&o.pluck, "pluck", "", "drive with a plucked `note`, like \"196 Hz 200 mV\"")
	f.StringVar(&o.quality, "quality", "normal,fine", "qualities to render at: draft, normal, fine")
	f.Float64Var(&o.rate, "rate", 48000, "sample rate in `Hz`")
	f.Float64Var(&o.length, "length", 0.1, "length in `seconds`")
	f.BoolVar(&o.suite, "suite", false, "check the fixed list of cases")
	f.BoolVar(&o.gain, "gain", false, "with -count: the gain blocks in turn, not the fuzz")
	f.BoolVar(&o.pairs, "pairs", false, "two non-linear blocks in a row: five that are hard at two rates, and -count random ones")
	f.BoolVar(&o.moving, "moving", false, "check, or with -store keep, the cases whose knobs are turned")
	f.BoolVar(&o.own, "own", false, "check, or with -store keep, the cases of decks of one's own")
	f.BoolVar(&o.noise, "noise", false, "with -count: noise ledgers of random chains against injected noise")
	f.BoolVar(&o.events, "events", false, "verdicts on what is known to be heard or not, on the recordings named, or on the shipped ones")
	f.Uint64Var(&o.seed, "seed", 1, "seed of random cases")
	f.IntVar(&o.count, "count", 0, "check so many random cases")
	f.IntVar(&o.jobs, "jobs", 2, "cases to run at a time")
	f.StringVar(&o.store, "store", "", "write reference data for the tests into this `folder`")
	f.StringVar(&o.decks, "decks", "", "run all decks of this `folder` and write what comes of them beside them")
	f.Int64Var(&o.stress, "stress", 0, "run so many samples of hostile input and count failures")
	f.BoolVar(&o.speed, "speed", false, "compare speed at the same accuracy")
	f.BoolVar(&o.deck, "deck", false, "print the deck of -chain and stop")
	if err := f.Parse(args); err != nil {
		return 2
	}
	var qualities []section.Quality
	for _, name := range strings.Split(o.quality, ",") {
		found := false
		for _, q := range section.Qualities() {
			if q.Name == name {
				qualities, found = append(qualities, q), true
			}
		}
		if !found {
			fmt.Fprintf(errs, "no quality %q\n", name)
			return 2
		}
	}
	fail := func(err error) int {
		fmt.Fprintln(errs, err)
		return 1
	}
	if o.stress > 0 {
		if !stress(ctx, o.stress, o.jobs, out) {
			return 1
		}
		return 0
	}
	if o.events {
		ok, err := checkEvents(f.Args(), out)
		if err != nil {
			return fail(err)
		}
		if !ok {
			return 1
		}
		return 0
	}
	if o.noise {
		ok, err := checkNoise(ctx, o.seed, max(1, o.count), o.rate, out)
		if err != nil {
			return fail(err)
		}
		if !ok {
			return 1
		}
		return 0
	}
	var cases []Case
	switch {
	case o.chain != "":
		c, err := o.single()
		if err != nil {
			fmt.Fprintln(errs, err)
			return 2
		}
		if o.deck {
			deck, err := c.Deck(coarsest)
			if err != nil {
				return fail(err)
			}
			fmt.Fprint(out, deck)
			return 0
		}
		cases = []Case{c}
	case o.pairs:
		cases = Pairs(o.seed, o.count)
	case o.count > 0:
		if cases = Random(o.seed, o.count); o.gain {
			cases = gainRandom(o.seed, o.count)
		}
	case o.suite:
		cases = Suite()
	case o.own:
		cases = own()
	}
	version, err := Version(ctx)
	if err != nil {
		return fail(err)
	}
	switch {
	case o.decks != "":
		if err := decks(ctx, o.decks, version, out); err != nil {
			return fail(err)
		}
		return 0
	case o.store != "":
		cases := stored()
		switch {
		case o.moving:
			cases = moving()
		case o.own:
			cases = own()
		}
		if err := store(ctx, o.store, cases, version, out); err != nil {
			return fail(err)
		}
		return 0
	case o.moving:
		if err := checkMoving(ctx, out); err != nil {
			return fail(err)
		}
		return 0
	case o.speed:
		ok, err := speed(ctx, version, out)
		if err != nil {
			return fail(err)
		}
		if !ok {
			return 1
		}
		return 0
	case len(cases) == 0:
		fmt.Fprintln(errs, "nothing to do; want -suite, -pairs, -count, -chain, -store, -stress or -speed")
		return 2
	}
	fmt.Fprintf(out, "%s, step from %.3g µs, halved until two runs are within %v dB, reltol %v; error of the render in %v Hz to %v kHz\n\n",
		version, coarsest.Step*1e6, converged, coarsest.RelTol, bottom, top/1e3)
	start := time.Now()
	results := checkAll(ctx, cases, qualities, o.jobs)
	ok := table(out, results, qualities)
	fmt.Fprintf(out, "\n%d cases in %.0f s\n", len(results), time.Since(start).Seconds())
	if !ok {
		return 1
	}
	return 0
}

// single is the case that the flags describe.
func (o options) single() (Case, error) {
	text, err := os.ReadFile(o.chain)
	if err != nil {
		var shipped error
		if text, shipped = chains.ReadShipped(o.chain); shipped != nil {
			return Case{}, err
		}
	}
	c := Case{Name: o.chain, Text: string(text), Take: o.take, Jack: o.jack, Rate: o.rate, Length: o.length}
	switch {
	case o.tone != "" && o.pluck == "":
		c.Drive, err = parseTones(o.tone)
	case o.pluck != "" && o.tone == "":
		var f, v float64
		f, v, err = parseTone(o.pluck)
		c.Drive = Pluck(f, v)
	default:
		err = fmt.Errorf("want one of -tone and -pluck")
	}
	if err == nil && !(o.length > 2*fade) {
		err = fmt.Errorf("-length %v: want more than %v s", o.length, 2*fade)
	}
	return c, err
}

// checkAll checks cases, so many at a time.
func checkAll(ctx context.Context, cases []Case, qualities []section.Quality, jobs int) []Result {
	results := make([]Result, len(cases))
	slots := make(chan struct{}, max(1, jobs))
	var wait sync.WaitGroup
	for k, c := range cases {
		wait.Add(1)
		slots <- struct{}{}
		go func() {
			defer wait.Done()
			results[k] = c.Check(ctx, qualities)
			<-slots
		}()
	}
	wait.Wait()
	return results
}

// table prints results and says whether every figure holds.
func table(out io.Writer, results []Result, qualities []section.Quality) bool {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "case\treference\tpoint")
	for _, q := range qualities {
		fmt.Fprintf(w, "\t%s\titerations\tdivided\tunconverged", q.Name)
	}
	fmt.Fprintln(w, "\t")
	ok := true
	worst := make([]float64, len(qualities))
	for k := range worst {
		worst[k] = -1000
	}
	for _, r := range results {
		if r.Err != nil {
			fmt.Fprintf(w, "%s\tFAILED: %v\n", r.Name, r.Err)
			ok = false
			continue
		}
		mark := func(bad bool) string {
			if bad {
				ok = false
				return " !"
			}
			return ""
		}
		fmt.Fprintf(w, "%s\t%.1f dB at %.2g µs%s\t%.2g mV%s", r.Name, r.Residual, r.Step*1e6, mark(!(r.Residual <= converged)), 1e3*r.Point, mark(!(r.Point <= samePoint)))
		for k, q := range qualities {
			p := r.Reports[k]
			worst[k] = max(worst[k], r.Errors[k])
			fmt.Fprintf(w, "\t%.1f dB%s\t%.2f, max %d\t%.1f %%\t%d%s", r.Errors[k], mark(!(r.Errors[k] <= wanted[q.Name])),
				float64(p.Evaluations)/float64(max(1, p.Steps)), p.MaxIterations, 100*float64(p.Divided)/float64(max(1, p.Steps)), p.Failures, mark(p.Failures > 0))
		}
		fmt.Fprintln(w, "\t")
	}
	w.Flush()
	for k, q := range qualities {
		fmt.Fprintf(out, "\n%s: worst %.1f dB, wanted %.0f dB", q.Name, worst[k], wanted[q.Name])
	}
	fmt.Fprintln(out)
	return ok
}
