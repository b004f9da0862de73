// Package page is the local page on which a chain is rewired while its recording plays: an HTTP
// server on this machine alone, and the page's files.
//
// The document is the chain file's text. Every edit is made by package edit on that text and
// parsed anew; what the page shows is computed from the parsed file by the functions that the
// commands call, and what it plays is a stream of volts that package engine renders. The page
// itself holds no state of the document. The package is not a general server: it serves one folder,
// and of that folder the chain file that was opened and its recording.
//
// What all windows keep is bounded: engine.Budget of sound, and mostKept of texts in each window,
// 512 MiB together.
//
// Start reading at Serve (server.go) for what is let in, then session.go for an edit, then package
// engine for what is heard after it.
package page

import (
	"time"

	"drywire/cmd/internal/files"
)

// Options is what a page is opened with.
type Options struct {
	File string       // path of the chain file
	Port int          // 0: any that is free
	Disk files.System // nil: the system's
	Long bool         // what takes very long is done all the same: see package cost

	Version string // of this program, for the report

	Start string // the address of the page that other boards are opened from; "": there is none

	Lesson *Lesson // nil: none is served beside the board

	// Ready is told once the page can be opened. The address holds the token, so it is not for a
	// command line, which others on this machine can read; a file of the user's own that sends a
	// browser there may be opened.
	Ready func(address string)

	// Unsaved is called at the end with the names of the drafts of windows that had unsaved changes,
	// files beside the chain file. May be nil.
	Unsaved func(names []string)

	now    func() time.Time // for tests
	wait   time.Duration    // likewise, in place of local.WriteWait
	budget int              // likewise, in place of engine.Budget
}

// Bounds on what a page may ask for.
const (
	mostSessions = 32
	mostSeconds  = 120.0            // of a region
	mostFrames   = 120 * 48000      // of a region, at any rate: it bounds the memory
	usualSeconds = 60.0             // of the region that a page begins with
	leastFrames  = 2048             // of a region
	mostStreams  = 4                // of sound, of one session
	mostEvents   = 4                // of events, of one session
	mostUndo     = 200              // steps
	mostKept     = 1 << 20          // bytes of texts that one window keeps to undo
	abandoned    = 60 * time.Second // after which a session without a window is dropped
	heartbeat    = 15 * time.Second
	pollEvery    = 500 * time.Millisecond
)
