package engine

import (
	"context"
	"errors"
	"runtime"
	"sync"
)

// ErrBusy is the answer to one request too many.
var ErrBusy = errors.New("this machine is busy with other windows; try again in a moment")

// What a turn at rendering is for, most urgent first.
const (
	firstSound = iota // the first sound after an edit
	moreSound         // what follows it
	exactSound        // what takes its place in the end
	urgencies
)

// queue shares the processors out: so many renders at a time, the urgent before the others, and one
// processor kept free of what is not urgent where there are two or more.
type queue struct {
	most, mostExact int

	mu      sync.Mutex
	running int
	exacts  int
	waiting [urgencies][]chan struct{}
	count   int
}

// mostWaiting is how many may wait for their turn.
const mostWaiting = 128

func newQueue() *queue {
	n := runtime.GOMAXPROCS(0)
	return &queue{most: n, mostExact: max(1, n-1)}
}

// turn waits until it is this one's turn; done must be called when it has had it. ErrBusy when too
// many wait already.
func (q *queue) turn(ctx context.Context, urgency int) (done func(), err error) {
	q.mu.Lock()
	if q.count >= mostWaiting {
		q.mu.Unlock()
		return nil, ErrBusy
	}
	ready := make(chan struct{})
	q.waiting[urgency] = append(q.waiting[urgency], ready)
	q.count++
	q.next()
	q.mu.Unlock()
	release := sync.OnceFunc(func() {
		q.mu.Lock()
		defer q.mu.Unlock()
		q.running--
		if urgency == exactSound {
			q.exacts--
		}
		q.next()
	})
	select {
	case <-ready:
		return release, nil
	case <-ctx.Done():
	}
	q.mu.Lock()
	for k, c := range q.waiting[urgency] {
		if c == ready {
			q.waiting[urgency] = append(q.waiting[urgency][:k:k], q.waiting[urgency][k+1:]...)
			q.count--
			q.mu.Unlock()
			return nil, ctx.Err()
		}
	}
	q.mu.Unlock()
	release() // it was this one's turn just now
	return nil, ctx.Err()
}

// may reports whether one more of that urgency may run. While exact sound waits and none is at
// work, a processor is kept for it from all but first sounds, so that many previews do not put it
// off for ever.
func (q *queue) may(urgency int) bool {
	switch {
	case urgency == exactSound:
		return q.running < q.most && q.exacts < q.mostExact
	case urgency == moreSound && q.exacts == 0 && len(q.waiting[exactSound]) > 0:
		return q.running < max(1, q.most-1)
	}
	return q.running < q.most
}

// next lets in who may come in. The lock is held.
func (q *queue) next() {
	for u := range q.waiting {
		for len(q.waiting[u]) > 0 && q.may(u) {
			close(q.waiting[u][0])
			q.waiting[u] = q.waiting[u][1:]
			q.count--
			q.running++
			if u == exactSound {
				q.exacts++
			}
		}
	}
}
