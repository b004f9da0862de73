package engine

import (
	"context"
	"errors"
	"testing"
	"time"
)

// TestQueue holds that the urgent come first, that exact sound leaves a processor free, and that
// one too many is turned away.
func TestQueue(t *testing.T) {
	q := &queue{most: 2, mostExact: 1}
	ctx, cancel := context.WithCancel(context.Background())
	exact, err := q.turn(ctx, exactSound)
	if err != nil {
		t.Fatal(err)
	}
	more, err := q.turn(ctx, moreSound)
	if err != nil {
		t.Fatal(err)
	}
	got := make(chan int, 4)
	for _, u := range []int{exactSound, moreSound, firstSound} {
		go func() {
			if done, err := q.turn(ctx, u); err == nil {
				got <- u
				done()
			}
		}()
		for waiting := 0; waiting == 0; { // until it waits
			q.mu.Lock()
			waiting = len(q.waiting[u])
			q.mu.Unlock()
		}
	}
	more() // a second exact sound has to wait for the first
	for _, want := range []int{firstSound, moreSound} {
		if u := <-got; u != want {
			t.Errorf("urgency %d came before %d", u, want)
		}
	}
	select {
	case u := <-got:
		t.Errorf("urgency %d came beside an exact sound that is at work", u)
	case <-time.After(20 * time.Millisecond):
	}
	exact()
	if u := <-got; u != exactSound {
		t.Errorf("urgency %d came; want the exact sound", u)
	}
	full := &queue{most: 0}
	for range mostWaiting {
		go full.turn(ctx, moreSound)
	}
	for n := 0; n < mostWaiting; {
		full.mu.Lock()
		n = full.count
		full.mu.Unlock()
	}
	if _, err := full.turn(ctx, firstSound); !errors.Is(err, ErrBusy) {
		t.Errorf("one too many: %v", err)
	}
	cancel()
}
