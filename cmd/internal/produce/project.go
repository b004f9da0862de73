// Package produce is what commands and the listening page have in common between a chain file and
// what comes of it: loading a project, rendering takes to disk, matching them in loudness,
// comparing them, and the report. It prints nothing and names no output file: who calls it says
// where things go. It is apart from the commands so that the page, which the commands open, can
// call it too.
//
// Start reading at Project, then Rendered, then Compare.
package produce

import (
	"context"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	lru "github.com/hashicorp/golang-lru/v2"

	"drywire/chains/board"
	"drywire/chains/cost"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
	"drywire/samples"
)

// Project is a chain file with what it names: its recording and its cabinets' impulse responses,
// loaded. It never changes: an edit makes another.
type Project struct {
	// with what is at the paths of its cabinets; its Recording is the one that is played
	*board.File
	Text *edit.Text            // as it was read
	Dry  *Recording            // nil where none has been looked for
	own  map[string]*Recording // of guitars that have one of their own; as long as Dry is known

	loader *Loader
	mu     sync.Mutex
	takes  map[string]*Take // those that have been asked for
}

// DryOf is the recording that a chain plays: its guitar's own, or the file's.
func (p *Project) DryOf(c *board.Chain) *Recording {
	if r := p.own[c.RecordingOf]; r != nil {
		return r
	}
	return p.Dry
}

// Own is the recordings of the guitars that have one of their own.
func (p *Project) Own() map[string]*Recording { return p.own }

// Dries is the recordings that some chains play, each once.
func (p *Project) Dries(chains ...*board.Chain) (list []*Recording) {
	for _, c := range chains {
		if r := p.DryOf(c); !slices.Contains(list, r) {
			list = append(list, r)
		}
	}
	return list
}

// Beginning is the first seconds of all that is played, in volts, or all there is. The error is
// that of Recording.Voltages.
func (p *Project) Beginning(ctx context.Context, seconds float64) (d experiment.Dry, err error) {
	if d.Volts, err = p.Dry.Beginning(ctx, seconds); err != nil {
		return d, err
	}
	d.Own = map[string][]float64{}
	for guitar, r := range p.own {
		if d.Own[guitar], err = r.Beginning(ctx, seconds); err != nil {
			return d, err
		}
	}
	return d, nil
}

// Take is a take of a project, resolved, with its wiring. It never changes, and takes of two
// projects that say the same are one.
type Take struct {
	*board.Chain
	wire    func() *wiring.Wiring
	tail    func() dsp.Second
	impeded func() ([]wiring.Handover, error)
}

// Quality is that in which takes are wired and sound is made where nobody asks for another.
var Quality = section.Normal

// ImpedancesAt is the frequency, in Hz, of the impedances that Take.Handovers gives.
const ImpedancesAt = 1000

func newTake(c *board.Chain, dry *Recording) *Take {
	wire := sync.OnceValue(func() *wiring.Wiring { return wiring.Of(c, dry.Rate, Quality) })
	return &Take{c, wire,
		sync.OnceValue(func() dsp.Second { return render.NewPlan(wire()).Tail() }),
		sync.OnceValues(func() ([]wiring.Handover, error) { return wiring.Handovers(c, ImpedancesAt) }),
	}
}

// Wiring is the take wired for its recording, once.
func (t *Take) Wiring() *wiring.Wiring { return t.wire() }

// Tail is for how long it sounds on after the recording has ended, computed once.
func (t *Take) Tail() dsp.Second { return t.tail() }

// Impedances is the hand-overs of the take at ImpedancesAt, computed once. The error is that of
// wiring.Handovers.
func (t *Take) Impedances() ([]wiring.Handover, error) { return t.impeded() }

// Resolved is the take of that name, once. The error is that of File.Take. It needs the recording.
func (p *Project) Resolved(name string) (*Take, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if t := p.takes[name]; t != nil {
		return t, nil
	}
	c, err := p.Take(name)
	if err != nil {
		return nil, err
	}
	t := newTake(c, p.Dry)
	p.takes[name] = t
	return t, nil
}

// Estimate is what working with the take asks for.
func (t *Take) Estimate() cost.Estimate { return cost.Of(t.Wiring()) }

// Edited is the project of an edited text. Takes that the edit has not touched keep their wirings.
// The errors are those of Loader.Load.
func (p *Project) Edited(ctx context.Context, text *edit.Text) (*Project, error) {
	n, err := p.loader.Load(ctx, text, true)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for name, old := range p.takes {
		if c, err := n.Take(name); err == nil && n.DryOf(c) == p.DryOf(old.Chain) && c.Same(old.Chain) {
			n.takes[name] = old
		}
	}
	return n, nil
}

// Piped is the name of a recording that comes from standard input.
const Piped = "-"

// A Folder opens the sound files that a chain file in it names. Errors of opening name the path.
type Folder interface {
	// Open opens a file by its path as it is written in the chain file; done closes it.
	Open(path string) (r *samples.Reader, done func(), err error)
	// Text is a small file by its path as it is written in the chain file; what begins it where it
	// has more than most bytes.
	Text(path string, most int64) ([]byte, error)
	// Named opens a file by a path that somebody gives beside the chain file.
	Named(path string) (r *samples.Reader, done func(), err error)
	// Path is a path of the chain file as messages are to have it.
	Path(path string) string
	// Stamp differs where the file at a path of the chain file has been replaced; "" where that
	// cannot be told, and nothing is remembered.
	Stamp(path string) string
	// Near is the name of the file that the path of a missing one is probably a slip of; "" for
	// none.
	Near(path string) string
}

// Nearest is the name among those of a folder that a path is probably a slip of: another ending, or
// a few letters; "" for none.
func Nearest(path string, entries []fs.DirEntry) string {
	base := filepath.Base(filepath.FromSlash(path))
	stem := func(name string) string { return strings.ToLower(strings.TrimSuffix(name, filepath.Ext(name))) }
	var names []string
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() || name == base {
			continue
		}
		if stem(name) == stem(base) && filepath.Ext(name) != ".yaml" {
			return name
		}
		names = append(names, name)
	}
	return file.Nearest(base, names)
}

// Loader loads projects from a folder, and remembers the last recordings and impulse responses that
// it has read. Its methods may be called from several goroutines.
type Loader struct {
	Folder     Folder
	recordings *lru.Cache[string, *Recording]
	cabinets   *lru.Cache[string, *board.Cabinet]
}

// NewLoader loads from that folder.
func NewLoader(folder Folder) *Loader {
	l := &Loader{Folder: folder}
	l.recordings, _ = lru.New[string, *Recording](8) // it fails for sizes under 1 alone
	l.cabinets, _ = lru.New[string, *board.Cabinet](16)
	return l
}

// Open is the project without its recording. An error is file.Faults, each with its place in the
// chain file.
func (l *Loader) Open(text *edit.Text) (*Project, error) {
	f, err := l.withCabinets(text)
	if err != nil {
		return nil, err
	}
	return &Project{File: f, Text: text, loader: l, takes: map[string]*Take{}}, nil
}

// Load is the project with its recording. Where drawn says so, the recording has its waveform, for
// which all of it is read. The errors are those of Open and Project.WithRecording.
func (l *Loader) Load(ctx context.Context, text *edit.Text, drawn bool) (*Project, error) {
	p, err := l.Open(text)
	if err != nil {
		return nil, err
	}
	return p.withRecording(ctx, "", drawn)
}
