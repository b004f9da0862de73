package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drywire/chains/lesson"
	"drywire/chains/lessons"
	"drywire/chains/report"
	"drywire/cmd/internal/learn"
	"drywire/cmd/internal/page"
	"drywire/cmd/internal/produce"
)

type learnOptions struct {
	name         string
	noOpen, list bool
	port         int
}

func learnCommand(s streams) *cobra.Command {
	var o learnOptions
	cmd := &cobra.Command{
		Use:   "learn [NAME]",
		Short: "Take the next lesson in a browser, and rewire its board yourself",
		Long: `Learn opens a lesson of the course on a page of this machine: predict, listen blind, say what you
heard, see what was measured and why; then the board itself, as drywire listen has it, with a goal
that is judged by measuring it; then a question on another board.

Without a NAME it takes the next lesson. What went wrong comes back before that in a drill of a few
questions, after a day, three days, a week and three weeks, until it has gone well each time; with
it come questions of other lessons in which you are tempted by the same wrong idea. What was
answered is kept on this machine, in one file that you can read and delete: lessons.txt in the
folder drywire of the state folder ($XDG_STATE_HOME, or ~/.local/state). --list prints where you
are, and where that file is.

The page is for this machine alone, and for those who have its address, which is a new one every
time. Ctrl-C ends it. Changes to the board are not kept.`,
		Example: `  drywire learn
  drywire learn loading --no-open
  drywire learn --list`,
		Args: atMostOne("lesson"), ValidArgsFunction: completeLesson,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.name = args[0]
			}
			return runLearn(cmd.Context(), s, o)
		},
	}
	cmd.Flags().BoolVar(&o.list, "list", false, "print the course, and what of it was gone through")
	cmd.Flags().BoolVar(&o.noOpen, "no-open", false, "print the address and open no browser")
	cmd.Flags().IntVar(&o.port, "port", 0, "the `PORT` to listen on; any that is free when there is none given")
	complete(cmd, "port", cobra.NoFileCompletions)
	return cmd
}

func runLearn(ctx context.Context, s streams, o learnOptions) error {
	if err := portIn(o.port); err != nil {
		return err
	}
	course, err := lessons.Course()
	if err != nil {
		return err
	}
	path, err := learn.Path()
	if err != nil {
		return err
	}
	progress, err := learn.Read(path)
	if err != nil {
		return err
	}
	if o.list {
		printCourse(s, course, progress, time.Now())
		return nil
	}
	if o.name == "" {
		if items := progress.Drill(course, time.Now()); len(items) > 0 {
			return serveDrill(ctx, s, o, items, progress)
		}
		if o.name = progress.Next(course); o.name == "" {
			s.printf("You have been through the whole course, and nothing is due to come back. drywire learn NAME takes a\nlesson again; drywire learn --list has them.\n")
			return nil
		}
	}
	l, loader, err := readLesson(s, o.name)
	if err != nil {
		return err
	}
	s.say("drywire: preparing the lesson %q", l.Title)
	p, err := produce.ProveLesson(ctx, loader, l)
	if err != nil {
		return err
	}
	if len(p.Faults) > 0 {
		return fmt.Errorf("lesson %s does not hold:\n  %s", l.Name, strings.Join(p.Faults, "\n  "))
	}
	return serveLesson(ctx, s, o, p, progress)
}

// slip is why a question is asked again, in words.
func slip(it learn.Item) string {
	switch {
	case it.Wrong == nil:
		return fmt.Sprintf("It was asked because “%s” is tempting here as well.", it.Idea)
	case it.Step == "heard":
		take, _, _ := strings.Cut(it.Wrong.Said, ": ")
		if take == "neither" {
			take = "no difference"
		}
		return fmt.Sprintf("The last time, you heard “%s”.", take)
	case it.Idea != "":
		return fmt.Sprintf("The last time, you thought “%s”. Behind that is the idea that %s.", it.Wrong.Said, it.Idea)
	}
	return fmt.Sprintf("The last time, you thought “%s”.", it.Wrong.Said)
}

// serveDrill serves a drill, beside the board of its first question.
func serveDrill(ctx context.Context, s streams, o learnOptions, items []learn.Item, progress *learn.Progress) error {
	s.say("drywire: preparing what comes back")
	d := report.Drill{Version: Version, Hearing: hearing}
	for _, it := range items {
		if it.Step == "heard" {
			b, _, err := produce.LessonBench(ctx, nil, it.Name+".yaml", it.Board)
			if err != nil {
				return err
			}
			if d.Heard, err = b.Hear(ctx, it.Hear); err != nil {
				return err
			}
			d.Rate = int(b.Rate)
		}
		d.Items = append(d.Items, report.DrillItem{Lesson: it.Lesson, Step: it.Step, Slip: slip(it)})
	}
	var text bytes.Buffer
	if err := report.WriteDrill(&text, d); err != nil {
		return err
	}
	of := map[string]learn.Item{}
	served := &page.Lesson{Page: text.Bytes(), Kept: func(id, said string, right bool) error {
		it := of[id]
		return progress.Add(learn.Answer{At: time.Now(), Lesson: it.Name, Step: learn.Again(it.Step), Right: right, Said: said})
	}}
	for k, it := range items {
		of[d.ID(k)] = it
		served.Steps = append(served.Steps, d.ID(k))
	}
	return servePage(ctx, s, o, items[0].Name, items[0].Board.Text, served, progress)
}

// serveLesson serves a lesson beside its board.
func serveLesson(ctx context.Context, s streams, o learnOptions, p *produce.Proved, progress *learn.Progress) error {
	data, err := p.Page(ctx)
	if err != nil {
		return err
	}
	data.Version, data.Live = Version, "./"
	var text bytes.Buffer
	if err := report.WriteLesson(&text, data); err != nil {
		return err
	}
	served := &page.Lesson{Page: text.Bytes(), Steps: learn.Steps, Kept: func(step, said string, right bool) error {
		return progress.Add(learn.Answer{At: time.Now(), Lesson: p.Name, Step: step, Right: right, Said: said})
	}}
	if p.Hands != nil {
		served.Take = p.Hands.Take
		served.Judge = func(ctx context.Context, now *produce.Project, take string) ([]string, error) {
			return judge(ctx, p.Lesson, now, take)
		}
	}
	return servePage(ctx, s, o, p.Name, p.Board.Text, served, progress)
}

// servePage serves a page and a board beside it until the context ends.
func servePage(ctx context.Context, s streams, o learnOptions, name string, text []byte, served *page.Lesson, progress *learn.Progress) error {
	folder, err := os.MkdirTemp("", "drywire-lesson-*") // of mode 0700
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	board := filepath.Join(folder, name+".yaml")
	if err := os.WriteFile(board, text, 0o600); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	b := browser{streams: s, stop: stop, none: o.noOpen}
	defer b.close()
	return page.Serve(ctx, page.Options{
		File: board, Port: o.port, Version: Version, Disk: s.disk, Lesson: served,
		Ready: func(address string) {
			b.open(address+"lesson", fmt.Sprintf("Your answers are kept in %s. Ctrl-C ends it.", progress.Path))
		},
	})
}

// judge measures a take of the board as it stands against the lesson's goal.
func judge(ctx context.Context, l *lesson.Lesson, now *produce.Project, take string) ([]string, error) {
	x, err := now.Beginning(ctx, produce.MostMeasured)
	if err != nil {
		return nil, err
	}
	values, err := lesson.NewBench(now.File, x, now.Dry.Rate, produce.LessonQuality).Values(ctx, l.Hands.Facts, take)
	if err != nil {
		return nil, err
	}
	lines, reached := lesson.Judged(l.Hands.Reach, values)
	if reached {
		return append([]string{"You have reached it."}, lines...), nil
	}
	return append([]string{"Not there yet."}, lines...), nil
}

// printCourse is the course with what was gone through and what comes back.
func printCourse(s streams, course []*lesson.Lesson, p *learn.Progress, now time.Time) {
	back := map[string]learn.Due{}
	for _, d := range p.Reviews() {
		if _, sooner := back[d.Lesson]; !sooner {
			back[d.Lesson] = d
		}
	}
	t := table{header: []string{" no.", "name", "title", " min", ""}}
	for _, l := range course {
		state := ""
		if p.Done(l.Name) {
			state = "gone through"
		}
		if d, ok := back[l.Name]; ok {
			if state = "comes back on " + d.At.Local().Format("2 January"); !d.At.After(now) {
				state = "comes back now"
			}
		}
		t.row(fmt.Sprint(l.Place), l.Name, l.Title, fmt.Sprintf("%g", l.Minutes), state)
	}
	t.print(s.out)
	s.printf("\nIt is kept in %s\n", p.Path)
}
