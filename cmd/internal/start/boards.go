package start

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/template"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/page"
	"drywire/dsp"
	"drywire/dsp/circuit/deck"
)

// mostRemembered is how many boards are remembered, mostShown how many files of a folder are shown.
const (
	mostRemembered = 20
	mostShown      = 200
	mostText       = 1 << 20 // bytes of a chain file whose title is looked up
)

// remembered is the paths of the boards that were opened last, the latest first.
func remembered(disk files.System, state string) []string {
	text, err := files.Read(disk, filepath.Join(state, "boards.txt"), mostText)
	if err != nil {
		return nil // it is no more than a convenience
	}
	var list []string
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); filepath.IsAbs(line) {
			list = append(list, line)
		}
	}
	return list
}

// remember puts a path first in the list.
func remember(disk files.System, state, path string) error {
	list := append([]string{path}, slices.DeleteFunc(remembered(disk, state), func(p string) bool { return p == path })...)
	if strings.ContainsAny(path, "\r\n") {
		return nil // the list has a line each
	}
	list = list[:min(len(list), mostRemembered)]
	if err := os.MkdirAll(state, 0o700); err != nil {
		return err
	}
	out, err := files.Into(disk, state)
	if err != nil {
		return err
	}
	defer out.Abort()
	text := "# The boards that were opened last (drywire start), a path in each line. Delete lines, or all of it.\n" + strings.Join(list, "\n") + "\n"
	if err := out.Text("boards.txt", []byte(text)); err != nil {
		return err
	}
	return out.Publish()
}

// entry is a board or a question as the page lists it.
type entry struct {
	Path  string `json:"path,omitempty"` // of a board
	Name  string `json:"name"`
	Title string `json:"title"`
	Takes int    `json:"takes"`

	blocks int
}

// described is an entry for a chain file's text; ok is false where it is none. decks reads those of
// its own, nil where it can have none.
func described(name string, text []byte, decks file.Decks) (e entry, ok bool) {
	f, err := file.ParseWith(name, text, decks)
	if err != nil {
		return entry{}, false
	}
	return entry{Name: name, Title: f.Title, Takes: len(f.Takes), blocks: len(f.Blocks)}, true
}

// decks reads those that a board in a folder names within it, as the page that opens it will.
func (s *server) decks(folder string) file.Decks {
	return func(path string) (*blocks.Kind, error) {
		clean := filepath.FromSlash(path)
		if !filepath.IsLocal(clean) {
			return nil, fmt.Errorf("%s is not in the folder of its chain file", path)
		}
		src, err := files.Read(s.options.Disk, filepath.Join(folder, clean), deck.MaxSize+1)
		if err != nil {
			return nil, err
		}
		d, err := deck.Read(path, src)
		if err != nil {
			return nil, err
		}
		return blocks.Circuit(d)
	}
}

// listed is the boards that were opened last and those that lie in the folder.
func (s *server) listed() []entry {
	list := []entry{}
	add := func(path string) {
		if slices.ContainsFunc(list, func(e entry) bool { return e.Path == path }) {
			return
		}
		text, err := files.Read(s.options.Disk, path, mostText)
		if err != nil {
			return
		}
		if e, ok := described(filepath.Base(path), text, s.decks(filepath.Dir(path))); ok {
			e.Path = path
			list = append(list, e)
		}
	}
	for _, path := range remembered(s.options.Disk, s.options.State) {
		add(path)
	}
	for _, name := range s.inFolder(".yaml") {
		add(filepath.Join(s.options.Folder, name))
	}
	return list
}

// inFolder is the files of the folder whose names end so.
func (s *server) inFolder(ends ...string) []string {
	names := []string{}
	entries, err := s.options.Disk.ReadDir(s.options.Folder)
	if err != nil {
		return names // it is made when something is written
	}
	for _, e := range entries {
		if e.Type().IsRegular() && !strings.HasPrefix(e.Name(), ".") && slices.Contains(ends, strings.ToLower(filepath.Ext(e.Name()))) && len(names) < mostShown {
			names = append(names, e.Name())
		}
	}
	return names
}

// choices is everything that the page shows.
func (s *server) choices(w http.ResponseWriter, r *http.Request) error {
	if err := local.Question(r, &struct{}{}); err != nil {
		return err
	}
	var questions []entry
	for _, name := range chains.Shipped() {
		text, err := chains.ReadShipped(name)
		if err != nil {
			return err
		}
		if e, ok := described(name, text, nil); ok {
			questions = append(questions, e)
		}
	}
	slices.SortStableFunc(questions, func(a, b entry) int { return a.blocks - b.blocks }) // the plain ones first
	local.Answer(w, http.StatusOK, map[string]any{
		"folder": s.options.Folder, "questions": questions, "boards": s.listed(), "pedals": template.Pedals(), "most": template.MostPedals,
		"pickups": board.PickupNames(), "recordings": s.inFolder(inputs.SoundEnds...),
	})
	return nil
}

// question opens a question that comes with the program, as a file in the folder: the one that is
// there under its name, since it may have been worked on, or a new one.
func (s *server) question(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Name string `json:"name"`
	}
	if err := local.Question(r, &q); err != nil {
		return err
	}
	text, err := chains.ReadShipped(q.Name)
	if err != nil {
		return local.Refuse(http.StatusNotFound, "%v", err)
	}
	path := filepath.Join(s.options.Folder, strings.TrimSuffix(q.Name, ".yaml")+".yaml")
	if err := s.write(path, text); err != nil && !errors.Is(err, fs.ErrExist) {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	return s.show(w, path)
}

// write writes a file that may not be there yet.
func (s *server) write(path string, text []byte) error {
	if err := os.MkdirAll(s.options.Folder, 0o777); err != nil {
		return err
	}
	out, name, err := files.IntoFor(s.options.Disk, path)
	if err != nil {
		return err
	}
	defer out.Abort()
	if err := out.Text(name, text); err != nil {
		return err
	}
	out.Fresh(name)
	return out.Publish()
}

// board opens a board that the page lists, and no other file.
func (s *server) board(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Path string `json:"path"`
	}
	if err := local.Question(r, &q); err != nil {
		return err
	}
	if !slices.ContainsFunc(s.listed(), func(e entry) bool { return e.Path == q.Path }) {
		return local.Refuse(http.StatusNotFound, "%s is not in the list any more", q.Path)
	}
	return s.show(w, q.Path)
}

// answers is what the form sends.
type answers struct {
	Name      string   `json:"name"` // of the file, without its end
	Title     string   `json:"title"`
	Recording string   `json:"recording"`
	Peak      float64  `json:"peak"` // V
	Pickup    string   `json:"pickup"`
	Cable     float64  `json:"cable"` // m
	Pedals    []string `json:"pedals"`
	Amplifier bool     `json:"amplifier"`
	Supply    string   `json:"supply"`
}

// build writes the chain file of a board and opens it.
func (s *server) build(w http.ResponseWriter, r *http.Request) error {
	var q answers
	if err := local.Question(r, &q); err != nil {
		return err
	}
	name, err := fileName(q.Name)
	if err != nil {
		return local.Refuse(http.StatusBadRequest, "%v", err)
	}
	text, err := s.text(q)
	if err != nil {
		return local.Refuse(http.StatusBadRequest, "%v", err)
	}
	path := filepath.Join(s.options.Folder, name)
	err = s.write(path, text)
	if errors.Is(err, fs.ErrExist) {
		return local.Refuse(http.StatusConflict, "%s is there already: give the board another name", name)
	}
	if err != nil {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	return s.show(w, path)
}

// text is the chain file of the answers.
func (s *server) text(q answers) ([]byte, error) {
	switch {
	case !slices.Contains(board.PickupNames(), q.Pickup):
		return nil, fmt.Errorf("no pickup %q", q.Pickup)
	case !(q.Cable >= 0.1 && q.Cable <= 30):
		return nil, fmt.Errorf("a cable of %g m: 0.1 to 30 m", q.Cable)
	case q.Recording != "" && !slices.Contains(s.inFolder(inputs.SoundEnds...), q.Recording):
		return nil, fmt.Errorf("%s is not in %s", q.Recording, s.options.Folder)
	case q.Recording != "" && !(q.Peak >= 0.01 && q.Peak <= 5):
		return nil, fmt.Errorf("a peak of %g V: 10 mV to 5 V", q.Peak)
	}
	text, err := template.Board(template.Answers{
		Title: q.Title, Recording: q.Recording, Peak: dsp.Volt(q.Peak), Pickup: q.Pickup, Cable: dsp.Metre(q.Cable), Pedals: q.Pedals, Amplifier: q.Amplifier, Supply: q.Supply,
	})
	if err != nil {
		return nil, err
	}
	if _, err := file.Parse(q.Name, text); err != nil {
		return nil, err
	}
	return text, nil
}

// fileName is a file's name for a board's: what a person typed, without what no file system takes.
func fileName(name string) (string, error) {
	name = strings.TrimSuffix(strings.TrimSpace(name), ".yaml")
	var b strings.Builder
	for _, c := range strings.ToLower(name) {
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	clean := strings.TrimSuffix(b.String(), "-")
	if clean == "" || len(clean) > 80 {
		return "", errors.New("give the board a name of letters and numbers")
	}
	return clean + ".yaml", nil
}

// recording puts a recording that was dropped onto the page into the folder, once it has been read
// as one; a file of that name that is there stays.
func (s *server) recording(w http.ResponseWriter, r *http.Request) error {
	// a folder that is asked for is made
	if err := os.MkdirAll(s.options.Folder, 0o777); err != nil {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	return page.Bring(s.options.Disk, s.options.Folder, w, r)
}
