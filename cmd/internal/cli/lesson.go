package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/class"
	"drywire/chains/lesson"
	"drywire/chains/lessons"
	"drywire/chains/report"
	"drywire/cmd/internal/produce"
)

type lessonOptions struct {
	name, out, boards, from, take string
}

func lessonCommand(s streams) *cobra.Command {
	var o lessonOptions
	cmd := &cobra.Command{
		Use:   "lesson NAME -o OUT.html",
		Short: "Make one page that teaches by asking first, then playing, then measuring",
		Long: `Lesson proves a lesson and writes it as one HTML page, which any browser opens from the disk, in
front of a class or at home: a question and a prediction, which is kept; two takes that are played
blind, at one loudness; what was heard, which is kept as well; then what was measured, why, what it
does not show, and a question on another board. The page has the sounds in it, at draft quality and
as FLAC of 16 bits. It has a large view for a projector, works by keyboard alone, and prints as a
worksheet with an answer sheet.

NAME is a lesson that comes with the program (drywire lesson list has them), or the path of one of
your own, whose keys chains/lessons/lesson.schema.json has. Every number that it states is simulated
first; a lesson that states a false one is refused.

--from makes a lesson of a chain file of yours: which block clips first, which change hisses more,
which of three changes nobody would hear, which block makes most of the noise, and two takes to tell
apart. The right answer differs from the wrong ones by 3 dB at least, or by 20 % of the noise; two
takes count as different only where a listener tells them apart with a probability of 90 % at the
clearest moment, and as alike only where that is 10 % at most. With -o NAME.yaml the lesson is
written as text, for you to edit.

Without -o, every number is printed with what was measured and the command that gives it; --boards
writes the chain files for those commands.`,
		Example: `  drywire lesson levels -o levels.html
  drywire lesson levels --boards boards
  drywire lesson --from my-board.yaml -o my-lesson.html`,
		Args: func(cmd *cobra.Command, args []string) error {
			if o.from != "" {
				return noArguments(cmd, args)
			}
			return oneArgument("lesson")(cmd, args)
		}, ValidArgsFunction: completeLesson,
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.from != "" {
				return runLessonFrom(cmd.Context(), s, o)
			}
			o.name = args[0]
			return runLesson(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the HTML `FILE` to write")
	cmd.Flags().StringVar(&o.boards, "boards", "", "write the chain files of the lesson into this `FOLDER`")
	cmd.Flags().StringVar(&o.from, "from", "", "make the lesson of this chain `FILE`")
	cmd.Flags().StringVar(&o.take, "take", "", "with --from, the `NAME` of a take; the first when there is none given")
	cmd.AddCommand(lessonListCommand(s), lessonMergeCommand(s))
	return cmd
}

func completeLesson(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return lessons.Names(), cobra.ShellCompDirectiveDefault
}

// readLesson is a lesson that ships, by its name, or one in a file, with what opens its recordings.
func readLesson(s streams, name string) (*lesson.Lesson, *produce.Loader, error) {
	if !strings.ContainsAny(name, `/\.`) {
		l, err := lessons.Find(name)
		if err != nil {
			return nil, nil, misuse{unknown("lesson", name, lessons.Names(), "drywire lesson list has them; a file of your own has its ending, like my-lesson.yaml")}
		}
		return l, nil, nil
	}
	src, err := s.read.Text(name, mostRead)
	if err != nil {
		return nil, nil, err
	}
	l, err := lesson.Parse(name, src)
	return l, produce.NewLoader(disk{filepath.Dir(name), s.read}), err
}

func runLesson(ctx context.Context, s streams, o lessonOptions) error {
	if ext := strings.ToLower(filepath.Ext(o.out)); o.out != "" && ext != ".html" && ext != ".htm" {
		return misusef("lesson writes a page, whose name ends in .html, not %q", o.out)
	}
	l, loader, err := readLesson(s, o.name)
	if err != nil {
		return err
	}
	return putLesson(ctx, s, o, l, loader)
}

// runLessonFrom makes a lesson of a board, and writes it as text or as a page.
func runLessonFrom(ctx context.Context, s streams, o lessonOptions) error {
	text, d, err := openChainFile(s, o.from)
	if err != nil {
		return err
	}
	loader := produce.NewLoader(d)
	made, err := produce.LessonFrom(ctx, loader, text, o.take)
	if err != nil {
		return err
	}
	switch ext := strings.ToLower(filepath.Ext(o.out)); ext {
	case ".yaml", ".yml":
		if err := writeFiles(s.disk, map[string][]byte{o.out: made}, s.read, o.from); err != nil {
			return err
		}
		s.printf("Wrote %s. Next:\n  drywire lesson %s\n", o.out, shell(o.out))
		return nil
	case "", ".html", ".htm":
	default:
		return misusef("--from writes a lesson whose name ends in .yaml or .html, not %q", o.out)
	}
	l, err := lesson.Parse(strings.TrimSuffix(filepath.Base(text.Name), filepath.Ext(text.Name))+"-lesson.yaml", made)
	if err != nil {
		return fmt.Errorf("a mistake in the program: the lesson that was made cannot be read: %w", err)
	}
	o.name = o.from
	return putLesson(ctx, s, o, l, loader)
}

// putLesson proves a lesson and writes its page, or prints its numbers.
func putLesson(ctx context.Context, s streams, o lessonOptions, l *lesson.Lesson, loader *produce.Loader) error {
	p, err := produce.ProveLesson(ctx, loader, l)
	if err != nil {
		return err
	}
	if len(p.Faults) > 0 {
		return fmt.Errorf("lesson %s does not hold:\n  %s", l.Name, strings.Join(p.Faults, "\n  "))
	}
	if o.boards != "" {
		if err := writeFiles(s.disk, map[string][]byte{
			filepath.Join(o.boards, l.Name+".yaml"):          l.Board.Preferring(l.Facts),
			filepath.Join(o.boards, l.Name+"-transfer.yaml"): l.Transfer.Board.Preferring(l.Transfer.Facts),
		}, s.read, o.name); err != nil {
			return err
		}
	}
	if o.out == "" {
		printNumbers(s, p)
		return nil
	}
	page, err := p.Page(ctx)
	if err != nil {
		return err
	}
	page.Version = Version
	var text bytes.Buffer
	if err := report.WriteLesson(&text, page); err != nil {
		return err
	}
	out, name, err := openFor(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	if err := out.text(name, text.Bytes(), o.name); err != nil {
		return err
	}
	if err := s.read.Unchanged(); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	s.printf("Wrote %s: %q, %.0f minutes, %.1f MB. Open it in a browser.\n", o.out, l.Title, l.Minutes, float64(text.Len())/1e6)
	return nil
}

// printNumbers is every number of a lesson, with the command that gives it.
func printNumbers(s streams, p *produce.Proved) {
	s.printf("%s\n\n", p.Title)
	was := ""
	for _, part := range []struct {
		values []lesson.Value
		file   string
	}{{p.Values, p.Name + ".yaml"}, {p.Other, p.Name + "-transfer.yaml"}} {
		for _, v := range part.values {
			by := v.Command(part.file)
			if v.Measure == "" {
				by = fmt.Sprintf("%s less %s", v.Less[0], v.Less[1])
			}
			if by != was {
				s.printf("%s\n", by)
			}
			was = by
			s.printf("  %-18s stated %-14s measured %s\n", clip(v.Name, 18), v.Text, v.Says())
		}
	}
	s.printf("\n")
	right := "no difference"
	if p.Hear.Right != lesson.Neither {
		right = p.Hear.Takes[p.Hear.Right]
	}
	paragraph(s.out, "Blind: ", fmt.Sprintf("%q against %q. The answer: %s. Chance of telling them apart at the clearest moment: %s %%.", p.Hear.Takes[0], p.Hear.Takes[1], right, chance(p)), width)
}

func chance(p *produce.Proved) string {
	f := p.Heard.Pair.Hearing.Highest
	f.Value *= 100
	return f.Text(0)
}

func lessonListCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the course, lesson by lesson",
		Long:    "List is the course: every lesson, how long it takes, and which it builds on.",
		Example: "  drywire lesson list",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			course, err := lessons.Course()
			if err != nil {
				return err
			}
			t := table{header: []string{" no.", "name", "title", " min", "builds on"}}
			place := map[string]string{}
			for _, l := range course {
				place[l.Name] = fmt.Sprint(l.Place)
				var after []string
				for _, name := range l.After {
					after = append(after, place[name])
				}
				t.row(place[l.Name], l.Name, l.Title, fmt.Sprintf("%g", l.Minutes), strings.Join(after, ", "))
			}
			t.print(s.out)
			return nil
		},
	}
}

func lessonMergeCommand(s streams) *cobra.Command {
	var out string
	var json bool
	cmd := &cobra.Command{
		Use:   "merge ANSWERS...",
		Short: "Show what a class believed before a lesson and after it",
		Long: `Merge reads the answers that pages of lessons give to be pasted, any number in a file, and prints
for every lesson how many had which belief before it and after it, how many heard what there was to
hear, and the gain: of the share that was wrong before, how much is right after. --output draws it.

--json prints one list of objects in place of the tables: lesson, listeners, beliefs: belief,
right, before, after; answered (before, after), heard, heard_right, gain, saw.`,
		Example: `  drywire lesson merge class.txt
  drywire lesson merge answers/*.txt -o class.svg`,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return misusef("merge needs files with answers, like this:\n  drywire lesson merge class.txt")
			}
			return runLessonMerge(s, args, out, json)
		},
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "draw it into this SVG `FILE`")
	cmd.Flags().BoolVar(&json, "json", false, "print one list of objects in place of the tables")
	return cmd
}

func runLessonMerge(s streams, paths []string, out string, json bool) error {
	if out != "" && !strings.EqualFold(filepath.Ext(out), ".svg") {
		return misusef("--output writes a file whose name ends in .svg, not %q", out)
	}
	var all []class.Answers
	for _, path := range paths {
		src, err := s.read.Text(path, mostRead)
		if err != nil {
			if errors.Is(err, fs.ErrNotExist) {
				if near := nearFile(path); near != "" {
					return fmt.Errorf("%w; did you mean %q?", err, near)
				}
			}
			return err
		}
		answers, err := class.ParseAnswers(path, src)
		if err != nil {
			return err
		}
		all = append(all, answers...)
	}
	classes := class.Merge(all)
	if json {
		if err := s.object(classes); err != nil {
			return err
		}
	} else {
		printClasses(s, classes)
	}
	if out == "" {
		return nil
	}
	return writeFiles(s.disk, map[string][]byte{out: class.Picture(classes)}, s.read, paths...)
}

func printClasses(s streams, classes []class.Class) {
	for k, c := range classes {
		if k > 0 {
			s.printf("\n")
		}
		s.printf("%s: %s\n", c.Lesson, plural(c.Count, "listener", "listeners"))
		t := table{header: []string{"belief", "", " before", " after"}}
		for _, b := range c.Beliefs {
			right := ""
			if b.Right {
				right = "right"
			}
			t.row(clip(b.Belief, 60), right, fmt.Sprintf("%d of %d", b.Before, c.Asked[0]), fmt.Sprintf("%d of %d", b.After, c.Asked[1]))
		}
		t.print(s.out)
		if c.Hearing > 0 {
			s.printf("Heard what there was to hear: %d of %d\n", c.Heard, c.Hearing)
		}
		if c.Gain != nil {
			s.printf("Gain: %.0f %% of those who were wrong before\n", 100**c.Gain)
		}
	}
}
