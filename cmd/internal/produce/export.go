package produce

import (
	"context"
	"io"
	"os"

	"drywire/chains/render"
	"drywire/cmd/internal/files"
	"drywire/samples"
)

// WriteTake renders a take of a project with its recording, as the command render does where
// nothing else is asked of it, and writes it to a path in a folder that is there. The error is of a
// take that is not there, of a render, of the folder or the file, or ctx's.
func WriteTake(ctx context.Context, disk files.System, p *Project, take, path string, progress func(n int)) error {
	t, err := p.Resolved(take)
	if err != nil {
		return err
	}
	dry := p.DryOf(t.Chain)
	renderer, err := render.NewPlan(t.Wiring()).Renderer(t.Ends()...)
	if err != nil {
		return err
	}
	after := renderer.Tail()
	out, name, err := files.IntoFor(disk, path)
	if err != nil {
		return err
	}
	defer out.Abort()
	f, err := out.Create(name)
	if err != nil {
		return err
	}
	wav, err := samples.NewWriter(f, path, samples.Format{Rate: int(p.Dry.Rate), Channels: len(t.Ends()), Bits: 24}, dry.FramesWith(after))
	if err != nil {
		f.Close()
		return err
	}
	defer wav.Abort()
	d, err := Keep(ctx, renderer, dry, after, out, progress, nil)
	if err != nil {
		return err
	}
	defer d.Close()
	if _, err := d.Write(ctx, wav); err != nil {
		return err
	}
	if err := wav.Close(); err != nil {
		return err
	}
	return out.Publish()
}

// WriteReport compares the takes of a project with its recording, and writes the page that report
// writes. The error is Compare's or to's.
func WriteReport(ctx context.Context, disk files.System, p *Project, to io.Writer, words Words, progress func(n int)) error {
	out, err := files.Into(disk, os.TempDir())
	if err != nil {
		return err
	}
	defer out.Abort()
	c, err := Compare(ctx, Job{Project: p, Quality: Quality, Out: out, Progress: progress})
	if err != nil {
		return err
	}
	return c.WriteReport(ctx, to, p, words)
}
