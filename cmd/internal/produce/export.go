package produce

import (
	"context"
	"io"
	"os"
	"path/filepath"

	"drywire/chains/render"
	"drywire/samples"
)

// WriteTake renders a take of a project with its recording, as the command render does where nothing else is asked of it, and writes it to a path in
// a folder that is there.
func WriteTake(ctx context.Context, p *Project, take, path string) (err error) {
	t, err := p.Resolved(take)
	if err != nil {
		return err
	}
	renderer, err := render.NewPlan(t.Wiring()).Renderer(t.Ends()...)
	if err != nil {
		return err
	}
	after := renderer.Tail()
	wav, err := samples.CreateFor(path, samples.Format{Rate: int(p.Dry.Rate), Channels: len(t.Ends()), Bits: 24}, p.Dry.FramesWith(after))
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			wav.Abort()
		}
	}()
	d, err := Keep(ctx, renderer, p.Dry, after, filepath.Dir(path), nil, nil)
	if err != nil {
		return err
	}
	defer d.Close()
	if _, err := d.Write(ctx, wav); err != nil {
		return err
	}
	return wav.Close()
}

// WriteReport compares the takes of a project with its recording, and writes the page that report writes.
func WriteReport(ctx context.Context, p *Project, to io.Writer, words Words) error {
	folder, err := os.MkdirTemp("", "drywire-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	c, err := Compare(ctx, Job{Project: p, Quality: Quality, Folder: folder})
	if err != nil {
		return err
	}
	return c.WriteReport(to, p, words)
}
