package render

import (
	"math"
	"slices"
	"sync"

	"github.com/hashicorp/golang-lru/v2/simplelru"
)

// Store is a cache of computed values with a budget in bytes; the least recently used goes first.
// Several Memos may share one, and other values derived from their signals may be kept beside them,
// under keys of their own. Each value has a tag, like the recording that it was computed from, by
// which all of them are dropped together. Its methods may be called from several goroutines.
type Store struct {
	mu     sync.Mutex
	budget int
	used   int
	aside  int // bytes of the budget that are not for keeping
	memos  int // that there have been
	done   int64
	kept   *simplelru.LRU[any, kept]
}

type kept struct {
	of    string
	value any
	bytes int
}

// NewStore is an empty store with a budget in bytes; where nothing is set aside, what was kept last
// stays even where it alone is more.
func NewStore(budget int) *Store {
	s := &Store{budget: budget}
	// it fails for sizes under 1 alone
	s.kept, _ = simplelru.NewLRU(math.MaxInt, func(_ any, k kept) { s.used -= k.bytes })
	return s
}

// Get is the value under a key, which becomes the most recently used.
func (s *Store) Get(key any) (value any, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	k, ok := s.kept.Get(key)
	return k.value, ok
}

// Keep puts a value of that many bytes under a key, in the place of what was there, tagged with of.
func (s *Store) Keep(of string, key, value any, bytes int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kept.Remove(key)
	s.kept.Add(key, kept{of, value, bytes})
	s.used += bytes
	s.shrink()
}

// shrink evicts the least recently used until the budget is kept. The lock is held.
func (s *Store) shrink() {
	for s.used+s.aside > s.budget && (s.kept.Len() > 1 || s.aside > 0 && s.kept.Len() > 0) {
		s.kept.RemoveOldest()
	}
}

// SetAside reserves bytes of the budget for what is being computed; a negative number releases
// them.
func (s *Store) SetAside(bytes int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.aside += bytes
	s.shrink()
}

// Drop removes all values with that tag.
func (s *Store) Drop(of string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, key := range s.kept.Keys() {
		if k, _ := s.kept.Peek(key); k.of == of {
			s.kept.Remove(key)
		}
	}
}

// Holds reports whether anything is kept that is of something.
func (s *Store) Holds(of string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.ContainsFunc(s.kept.Values(), func(k kept) bool { return k.of == of })
}

// Used is how many bytes are kept.
func (s *Store) Used() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.used
}

// Computed is how many outputs of sections and stages all Memos of the store have computed so far.
func (s *Store) Computed() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.done
}
