// Package page is the local page on which a chain is rewired while its recording plays: an HTTP server on this machine alone, and the page's files.
//
// The document is the chain file's text. Every edit is made by package chains on that text and parsed anew; what the page shows is worked out
// from the parsed file by the functions that the commands call, and what it plays is a stream of volts that this package renders. The page itself
// holds no truth. The package is not a general server: it serves one folder, and of that folder the chain file that was opened and its recording.
//
// Start reading at Serve (server.go) for what is let in, then session.go for an edit, then sound.go for what is heard after it.
package page

import (
	"context"
	"time"

	"drywire/cmd/internal/files"
	"drywire/samples"
)

// Options is what a page is opened with.
type Options struct {
	File string       // path of the chain file
	Port int          // 0: any that is free
	Disk files.System // nil: the system's

	// What the commands do, for the page to offer: a take's file for listening and the report of a text, each written to a path. nil: not offered.
	WAV    func(ctx context.Context, doc Document, take, path string) error
	Report func(ctx context.Context, doc Document, path string) error

	Ready func(address string) // told once the page can be opened

	now  func() time.Time // for tests
	wait time.Duration    // likewise, in place of writeWait
}

// Document is a chain file's text as a window has it, and how its recording is opened: from the folder of the file that was opened and no other.
type Document struct {
	Name   string // of the file
	Text   []byte
	Folder string
	Open   func(path string) (r *samples.Reader, done func(), err error)
}

// Bounds on what a page may ask for.
const (
	mostSessions = 32
	mostBody     = 64 << 10         // bytes of a request
	mostSeconds  = 120.0            // of a region
	mostFrames   = 120 * 48000      // of a region, at any rate: it bounds the memory
	usualSeconds = 60.0             // of the region that a page begins with
	leastFrames  = 2048             // of a region
	mostStreams  = 4                // of sound, of one session
	mostEvents   = 4                // of events, of one session
	mostUndo     = 200              // steps
	abandoned    = 60 * time.Second // after which a session without a window is dropped
	writeWait    = 10 * time.Second // for a listener that does not read
	heartbeat    = 15 * time.Second
	pollEvery    = 500 * time.Millisecond
)
