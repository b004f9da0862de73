package engine

import (
	"context"

	"drywire/chains/because"
	"drywire/chains/board"
	"drywire/chains/sweep"
	"drywire/chains/why"
	"drywire/cmd/internal/produce"
)

// Because says why b sounds other than a, which it calls A, in the loudest moment of a region.
// The error is ErrBusy, the recording's or ctx's, or of a render.
// Respects is what they differ in, as Verdict has found it.
func (e *Engine) Because(ctx context.Context, r Region, f *board.File, a, b board.Take, respects []string) (*because.Because, error) {
	l, leave, err := e.enter(ctx, r, listening{bytes: because.MomentMemory})
	if err != nil {
		return nil, err
	}
	defer leave()
	done, err := e.queue.turn(ctx, exactSound)
	if err != nil {
		return nil, err
	}
	defer done()
	return because.NewMoment(l.dry(), l.rate()).Between(ctx, f, a, b, "A", respects)
}

// askMemory is how many bytes of signals are remembered for a complaint.
const askMemory = 96 << 20

// Why answers a complaint about a take of a file on a region. Every variant that it simulates waits
// for its turn, so that what is played comes first. Progress is told how many are done, of how
// many. The errors are those of Because, and of a take that the file does not have.
func (e *Engine) Why(ctx context.Context, r Region, f *board.File, take string, c *why.Complaint, progress func(done, total int)) (*why.Answer, error) {
	l, leave, err := e.enter(ctx, r, listening{bytes: askMemory})
	if err != nil {
		return nil, err
	}
	defer leave()
	return why.Ask(ctx, why.Question{
		File: f, Take: take, Complaint: c, Recording: l.dry(), Rate: l.rate(), Fixes: why.UsualFixes, Progress: progress, Memory: askMemory,
		Turn: func(ctx context.Context) (func(), error) { return e.queue.turn(ctx, exactSound) },
	})
}

// Goal looks for what reaches a goal on a region; it waits for its turns as Why does. The error is
// of a render, of the context, or of what does not fit into memory. The errors
// are those of Because.
func (e *Engine) Goal(ctx context.Context, r Region, f *board.File, g *why.Goal, progress func(done, total int)) (*why.Reached, error) {
	l, leave, err := e.enter(ctx, r, listening{bytes: askMemory})
	if err != nil {
		return nil, err
	}
	defer leave()
	return why.Reach(ctx, why.GoalQuestion{Goal: g, Question: why.Question{
		File: f, Recording: l.dry(), Rate: l.rate(), Fixes: why.UsualFixes, Progress: progress, Memory: askMemory,
		Turn: func(ctx context.Context) (func(), error) { return e.queue.turn(ctx, exactSound) },
	}})
}

// Sweep turns a knob of a take over its travel on a region; it waits for its turns as Why does. The
// errors are those of Because, and of a take, block or knob that the file does not have.
func (e *Engine) Sweep(ctx context.Context, r Region, f *board.File, take, block, knob string, progress func(done, total int)) (*sweep.Answer, error) {
	l, leave, err := e.enter(ctx, r, listening{bytes: askMemory})
	if err != nil {
		return nil, err
	}
	defer leave()
	return sweep.Ask(ctx, sweep.Question{
		File: f, Takes: []string{take}, Block: block, Knob: knob, Recording: l.dry(), Rate: l.rate(), Quality: produce.Quality, Progress: progress, Memory: askMemory,
		Turn: func(ctx context.Context) (func(), error) { return e.queue.turn(ctx, exactSound) },
	})
}
