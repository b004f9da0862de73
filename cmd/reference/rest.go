package main

import (
	"context"
	"io"
)

func stress(ctx context.Context, n int64, out io.Writer) bool                       { return true }
func store(ctx context.Context, dir, version string, jobs int, out io.Writer) error { return nil }
func speed(ctx context.Context, version string, out io.Writer) (bool, error)        { return true, nil }
