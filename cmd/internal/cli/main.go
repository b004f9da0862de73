package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"drywire/cmd/internal/files"
)

const nothingWritten = "drywire: interrupted; nothing was written"

// How a run ends that a signal has reached: it has so long to come back by itself, which whatever
// reads or renders does, and then so long is waited for what it is just writing. Both are within
// the second that a person waits before pressing a second time.
const (
	grace   = 350 * time.Millisecond
	writing = 250 * time.Millisecond
	telling = 100 * time.Millisecond // until a full pipe is not waited for
)

// Main is the program: Run with the process's arguments and streams, ended by Ctrl-C, SIGTERM or
// SIGHUP within a second wherever it is.
//
// What takes long and could not know of a signal is arithmetic without an end to wait for: an
// operating point, the modes of a large circuit in somebody else's library, a response at hundreds
// of frequencies. In place of an argument through all of that, which would end it no sooner than
// its longest step, the process leaves: the work goes on until it is gone, and can change nothing
// any more (files.Run). A second signal ends the process without any of that.
func Main() int {
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	disk := files.NewRun(files.Disk{})
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, os.Args[1:], streams{in: os.Stdin, out: os.Stdout, err: os.Stderr, disk: disk})
	}()
	select {
	case c := <-code:
		if err := os.Stdout.Close(); err != nil && c == done { // a file system may tell only now
			fmt.Fprintf(os.Stderr, "drywire: %v\n", files.Named("standard output", err))
			return failed
		}
		return c
	case s := <-signals:
		signal.Stop(signals)
		cancel()
		return ended(code, disk, os.Stderr, 128+int(s.(syscall.Signal)))
	}
}

// ended waits a little for a run whose context has ended, and then ends it. by is the exit code of
// the signal.
func ended(code <-chan int, disk *files.Run, stderr io.Writer, by int) int {
	select {
	case c := <-code:
		if c == interrupted {
			return by
		}
		return c
	case <-time.After(grace):
	}
	words := nothingWritten
	switch wrote, ok := disk.End(writing); {
	case !ok:
		words = "drywire: interrupted while it wrote; the next run that reads or writes there will finish it"
	case wrote:
		words = "drywire: interrupted; what it had written stays"
	}
	told := make(chan struct{})
	go func() {
		fmt.Fprintln(stderr, words)
		close(told)
	}()
	select {
	case <-told:
	case <-time.After(telling):
	}
	return by
}
