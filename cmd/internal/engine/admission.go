package engine

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"drywire/chains/render"
)

// admission controls the memory beside the cache: of listeners (a region and the sounds on it) and
// of computations. Together they stay within the budget, and the cache shrinks for them. Listeners
// wait for computations and never the other way round: listeners get half of the budget at most, so
// computations always have the other half.
type admission struct {
	budget int
	store  *render.Store

	mu        sync.Mutex
	held      map[any]holding // what is listened to: however many listen, it is there once
	listening int             // bytes
	computing int             // bytes
	waiting   [2][]*applicant // to listen, and to compute; who came first is let in first
}

type holding struct{ bytes, holders int }

// applicant is a listener or computation that waits for memory.
type applicant struct {
	fits  func() bool // with the lock held
	take  func()      // likewise
	bytes int         // that it computes in; 0 to listen
	in    chan struct{}
}

func newAdmission(budget int, store *render.Store) *admission {
	return &admission{budget: budget, store: store, held: map[any]holding{}}
}

// used is how many bytes are set aside.
func (a *admission) used() int {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.listening + a.computing
}

// TooMuch is the error of what takes more memory than there is for it, in bytes.
type TooMuch struct{ Bytes, Most int }

// Error implements error.
func (e TooMuch) Error() string {
	return fmt.Sprintf("a region as long as this takes %d MB here, and there are %d: choose a shorter one", (e.Bytes+1<<20-1)>>20, e.Most>>20)
}

// listen waits until there is room for what is listened to, so many bytes under each key; leave
// must be called.
func (a *admission) listen(ctx context.Context, needs map[any]int) (leave func(), err error) {
	all := 0
	for _, n := range needs {
		all += n
	}
	if most := a.budget / 2; all > most {
		return nil, TooMuch{all, most}
	}
	more := func() int {
		n := 0
		for key, bytes := range needs {
			if a.held[key].holders == 0 {
				n += bytes
			}
		}
		return n
	}
	p := &applicant{fits: func() bool {
		n := more()
		// who waits to compute was promised that there would be room
		return n == 0 || a.listening+n <= a.budget/2 && a.listening+n+max(a.computing, a.promised()) <= a.budget
	}, take: func() {
		n := more()
		a.listening += n
		a.store.SetAside(n)
		for key, bytes := range needs {
			h := a.held[key]
			if h.holders++; h.holders == 1 {
				h.bytes = bytes
			}
			a.held[key] = h
		}
	}}
	return a.enter(ctx, 0, p, func() {
		for key := range needs {
			h := a.held[key]
			if h.holders--; h.holders > 0 {
				a.held[key] = h
				continue
			}
			delete(a.held, key)
			a.listening -= h.bytes
			a.store.SetAside(-h.bytes)
		}
	})
}

// compute waits until there is room for a computation of so many bytes; done must be called. What
// takes more than a half of the budget is let in where there is as much just then.
func (a *admission) compute(ctx context.Context, bytes int) (done func(), err error) {
	p := &applicant{
		fits:  func() bool { return a.listening+a.computing+bytes <= a.budget },
		take:  func() { a.computing += bytes; a.store.SetAside(bytes) },
		bytes: bytes,
	}
	return a.enter(ctx, 1, p, func() { a.computing -= bytes; a.store.SetAside(-bytes) })
}

// promised is the largest size among the computations that wait. The lock is held.
func (a *admission) promised() int {
	most := 0
	for _, p := range a.waiting[1] {
		most = max(most, p.bytes)
	}
	return most
}

// enter waits for its turn in one of the two queues, and until it fits.
func (a *admission) enter(ctx context.Context, door int, p *applicant, give func()) (leave func(), err error) {
	a.mu.Lock()
	if len(a.waiting[door]) >= mostWaiting {
		a.mu.Unlock()
		return nil, ErrBusy
	}
	if most := max(a.budget/2, a.budget-a.listening); p.bytes > most {
		a.mu.Unlock()
		return nil, TooMuch{p.bytes, most}
	}
	p.in = make(chan struct{})
	a.waiting[door] = append(a.waiting[door], p)
	a.next()
	a.mu.Unlock()
	leave = sync.OnceFunc(func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		give()
		a.next()
	})
	select {
	case <-p.in:
		return leave, nil
	case <-ctx.Done():
	}
	a.mu.Lock()
	if at := slices.Index(a.waiting[door], p); at >= 0 {
		a.waiting[door] = slices.Delete(a.waiting[door], at, at+1)
		a.next()
		a.mu.Unlock()
		return nil, ctx.Err()
	}
	a.mu.Unlock()
	leave() // it was let in just now
	return nil, ctx.Err()
}

// next admits what fits. The lock is held.
func (a *admission) next() {
	for door := len(a.waiting) - 1; door >= 0; door-- { // what computes first: others wait for it
		for len(a.waiting[door]) > 0 && a.waiting[door][0].fits() {
			p := a.waiting[door][0]
			a.waiting[door] = a.waiting[door][1:]
			p.take()
			close(p.in)
		}
	}
}
