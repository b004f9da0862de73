package produce

import (
	"context"
	"fmt"

	"drywire/chains/edit"
	"drywire/chains/lesson"
	"drywire/chains/lessons"
	"drywire/chains/report"
	"drywire/dsp/section"
	"drywire/samples"
)

// LessonQuality is that in which lessons are proved and their takes played.
var LessonQuality = section.Draft

// LessonBench is a lesson's board, or that of its transfer question, with the whole recording that
// it names. A nil loader is for lessons that ship, whose boards name nothing that does not. The
// errors are those of edit.ReadWith, Loader.Load and Project.Beginning.
func LessonBench(ctx context.Context, loader *Loader, name string, b lesson.Board) (*lesson.Bench, *Project, error) {
	if loader == nil {
		loader = NewLoader(nowhere{})
	}
	text, err := edit.ReadWith(name, b.Text, Decks(loader.Folder))
	if err != nil {
		return nil, nil, err
	}
	p, err := loader.Load(ctx, text, false)
	if err != nil {
		return nil, nil, err
	}
	x, err := p.Beginning(ctx, MostMeasured)
	if err != nil {
		return nil, nil, err
	}
	return lesson.NewBench(p.File, x, p.Dry.Rate, LessonQuality), p, nil
}

// Proved is a lesson with what its simulation found.
type Proved struct {
	*lesson.Lesson
	*lesson.Proof
	OwnBoard, OtherBoard *Project // the boards of the lesson and of its transfer question
	Bench                *lesson.Bench
}

// ProveLesson simulates a lesson: every number that it states, its right answers, and whether its
// two takes are told apart. What does not hold is in Faults. The error is that of LessonBench or of
// a render.
func ProveLesson(ctx context.Context, loader *Loader, l *lesson.Lesson) (*Proved, error) {
	own, project, err := LessonBench(ctx, loader, l.Name+".yaml", l.Board)
	if err != nil {
		return nil, err
	}
	transfer, other, err := LessonBench(ctx, loader, l.Name+"-transfer.yaml", l.Transfer.Board)
	if err != nil {
		return nil, fmt.Errorf("transfer: %w", err)
	}
	proof, err := lesson.Prove(ctx, l, own, transfer)
	if err != nil {
		return nil, err
	}
	return &Proved{l, proof, project, other, own}, nil
}

// LessonFrom makes the text of a lesson from a board, by what the simulation finds there. The
// errors are those of lesson.With, LessonBench and lesson.From.
func LessonFrom(ctx context.Context, loader *Loader, text *edit.Text, take string) ([]byte, error) {
	if take == "" {
		take = text.File.Takes[0].Name
	}
	with, err := lesson.With(text, take)
	if err != nil {
		return nil, err
	}
	b, _, err := LessonBench(ctx, loader, text.Name, lesson.Board{Text: with.Text.Source})
	if err != nil {
		return nil, err
	}
	title := text.File.Title
	if title == "" {
		title = text.Name
	}
	return lesson.From(ctx, title, with, b)
}

// Page is a proved lesson as a page. What it measures for the ladders, it renders again. The error
// is of a render.
func (p *Proved) Page(ctx context.Context) (report.Lesson, error) {
	page := report.Lesson{Lesson: p.Lesson, Proof: p.Proof, Rate: int(p.Bench.Rate), Hearing: Hearing}
	for _, name := range p.After {
		if before, err := lessons.Find(name); err == nil {
			page.Builds = append(page.Builds, before.Title)
		} else {
			page.Builds = append(page.Builds, name) // of somebody else's course
		}
	}
	seen := map[string]bool{}
	for _, look := range p.Look {
		if seen[look.Take] {
			continue
		}
		seen[look.Take] = true
		m, err := p.Bench.Measures(ctx, look.Take)
		if err != nil {
			return page, err
		}
		page.Measures = append(page.Measures, m)
	}
	return page, nil
}

// nowhere is the folder of lessons that ship: it holds no file.
type nowhere struct{}

func (nowhere) Open(path string) (*samples.Reader, func(), error) {
	return nil, nil, fmt.Errorf("%s: a lesson that ships has no files of its own", path)
}
func (nowhere) Text(path string, _ int64) ([]byte, error) {
	return nil, fmt.Errorf("%s: a lesson that ships has no files of its own", path)
}
func (n nowhere) Named(path string) (*samples.Reader, func(), error) { return n.Open(path) }
func (nowhere) Path(path string) string                              { return path }
func (nowhere) Stamp(string) string                                  { return "" }
func (nowhere) Near(string) string                                   { return "" }
