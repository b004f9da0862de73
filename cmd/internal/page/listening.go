package page

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/local"
)

// listening is a blind test under way between the two sides of a window.
type listening struct {
	test   *experiment.ListeningTest
	sounds [2]engine.Key // of the sides when it began
	takes  [2]board.Take
	region [2]int64
	begun  time.Time
}

const mostTests = 8 // of one session

// keys identifies what the two sides sound like on a region. The lock is held.
func (n *session) keys(region [2]int64) [2]engine.Key {
	var keys [2]engine.Key
	for k := range letters {
		keys[k] = engine.KeyOf(n.doc.chain(k), n.doc.DryOf(n.doc.chain(k).Chain), region[0], region[1])
	}
	return keys
}

// testStart begins a test.
func (s *server) testStart(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string   `json:"session"`
		Seed    uint64   `json:"seed"`
		Region  [2]int64 `json:"region"`
		Trials  int      `json:"trials"` // that are planned; 0 for the usual number
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if err := checkRegion(n.doc.Dry, q.Region); err != nil {
		return err
	}
	if q.Seed == 0 {
		var b [8]byte
		rand.Read(b[:])                                   // never fails
		q.Seed = 1 + binary.LittleEndian.Uint64(b[:])>>12 // which JSON readers keep whole
	}
	l := &listening{test: experiment.NewListeningTest(q.Seed), sounds: n.keys(q.Region), region: q.Region, begun: s.now()}
	if l.sounds[0] == l.sounds[1] {
		return local.Refuse(http.StatusUnprocessableEntity, "A and B are the same, so there is nothing to tell apart")
	}
	if q.Trials != 0 {
		if err := l.test.Plan(q.Trials); err != nil {
			return err
		}
	}
	for k := range letters {
		l.takes[k] = n.doc.take(k)
		if l.takes[k].Order == nil {
			l.takes[k].Order, l.takes[k].Split = n.doc.Order, n.doc.Split
		}
	}
	if len(n.tests) >= mostTests {
		for id, old := range n.tests { // the oldest has been left
			oldest := true
			for _, other := range n.tests {
				oldest = oldest && !other.begun.Before(old.begun)
			}
			if oldest {
				delete(n.tests, id)
				break
			}
		}
	}
	id := newID()
	n.tests[id] = l
	local.Answer(w, http.StatusOK, map[string]any{"test": id, "seed": q.Seed, "trial": l.test.Trial(), "x": l.test.X()})
	return nil
}

// testAnswer takes an answer and begins the next trial.
func (s *server) testAnswer(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string              `json:"session"`
		Test    string              `json:"test"`
		Trial   int                 `json:"trial"`
		Answer  experiment.Stimulus `json:"answer"`
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	l, err := n.test(q.Test)
	if err != nil {
		return err
	}
	if q.Trial != l.test.Trial() {
		return local.Refuse(http.StatusConflict, "this was an answer to trial %d, and it is trial %d now", q.Trial, l.test.Trial())
	}
	if n.keys(l.region) != l.sounds {
		return local.Refuse(http.StatusConflict, "A or B has changed since the test began; begin a new one")
	}
	if err := l.test.Answer(q.Answer); err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, map[string]any{"trial": l.test.Trial(), "x": l.test.X(), "stop": l.test.Stop()})
	return nil
}

// test finds a test. The lock is held.
func (n *session) test(id string) (*listening, error) {
	if l := n.tests[id]; l != nil {
		return l, nil
	}
	return nil, local.Refuse(http.StatusNotFound, "no such test: it is over")
}

// kept is what is written beside the chain file.
type kept struct {
	Drywire   int                        `json:"drywire_listening"` // version of this format
	File      string                     `json:"file"`
	Begun     string                     `json:"begun"`
	Recording string                     `json:"recording"`
	Region    [2]int64                   `json:"region"` // frames
	Rate      int                        `json:"rate_hz"`
	A         heardTake                  `json:"a"`
	B         heardTake                  `json:"b"`
	Result    experiment.ListeningResult `json:"result"`
}

// heardTake is a take that was listened to.
type heardTake struct {
	Take   string            `json:"take"`
	Guitar string            `json:"guitar,omitempty"`
	Order  []string          `json:"order"`
	Split  *board.SplitOrder `json:"split,omitempty"`
	Preset string            `json:"preset,omitempty"`
	Loops  []board.Loop      `json:"loops,omitempty"` // of the take's own
	Toggle []int             `json:"toggle,omitempty"`
	Set    []string          `json:"set,omitempty"`
	Off    []string          `json:"off,omitempty"`
	On     []string          `json:"on,omitempty"`
}

// testFinish ends a test, tells how it came out and writes it beside the chain file.
func (s *server) testFinish(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string `json:"session"`
		Test    string `json:"test"`
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	l, err := n.test(q.Test)
	if err != nil {
		return err
	}
	result := l.test.Result()
	file := ""
	if result.Trials > 0 {
		if file, err = s.keep(n, l, result); err != nil {
			return err
		}
	}
	delete(n.tests, q.Test)
	local.Answer(w, http.StatusOK, map[string]any{
		"trials": result.Trials, "correct": result.Correct, "p": result.PValue, "p_bound": result.PBound, "d_prime": result.DPrime,
		"d_prime_low": result.DPrimeLow, "d_prime_high": result.DPrimeHigh, "told_apart": result.ToldApart, "sentence": result.Advice, "file": file, "seed": result.Seed,
	})
	return nil
}

// keep writes a result into a new file: CHAIN.listening-DATE-TIME.json.
func (s *server) keep(n *session, l *listening, result experiment.ListeningResult) (string, error) {
	k := kept{
		Drywire: 1, File: s.name, Begun: l.begun.UTC().Format(time.RFC3339), Recording: n.doc.Dry.Title, Region: l.region, Rate: int(n.doc.Dry.Rate),
		A: heardOf(l.takes[0]), B: heardOf(l.takes[1]), Result: result,
	}
	text, err := json.MarshalIndent(k, "", "  ")
	if err != nil {
		return "", err
	}
	plainName := strings.TrimSuffix(s.name, filepath.Ext(s.name)) + ".listening-" + l.begun.UTC().Format("20060102-150405")
	s.saving.Lock()
	defer s.saving.Unlock()
	for k := 1; ; k++ {
		name := plainName + ".json"
		if k > 1 {
			name = fmt.Sprintf("%s-%d.json", plainName, k)
		}
		err := s.writeNew(name, append(text, '\n'))
		if !errors.Is(err, fs.ErrExist) {
			return name, err
		}
	}
}

// writeNew writes a file of the folder that is not there yet.
func (s *server) writeNew(name string, text []byte) error {
	out, err := files.Into(s.options.Disk, s.root.Name())
	if err != nil {
		return err
	}
	defer out.Abort()
	out.Fresh(name)
	if err := out.Text(name, text); err != nil {
		return err
	}
	return out.Publish()
}

func heardOf(t board.Take) heardTake {
	h := heardTake{Take: t.Name, Guitar: t.Guitar, Order: t.Order, Split: t.Split, Preset: t.Preset, Loops: t.Loops, Toggle: t.Toggle, Off: t.Off, On: t.On}
	for _, s := range t.Set {
		h.Set = append(h.Set, s.Target+": "+s.Text)
	}
	return h
}
