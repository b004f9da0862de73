package engine

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"drywire/chains/render"
)

// visit listens to three things, two of which others listen to as well, and computes meanwhile.
func visit(ctx context.Context, t *testing.T, a *admission, store *render.Store, random *rand.Rand, k int) error {
	leave, err := a.listen(ctx, map[any]int{random.IntN(9): 150, "own": 50, fmt.Sprint(k): random.IntN(200)})
	if err != nil {
		return err
	}
	defer leave()
	done, err := a.compute(ctx, 1+random.IntN(700))
	if errors.As(err, new(TooMuch)) {
		return nil
	}
	if err != nil {
		return err
	}
	defer done()
	store.Keep("", random.Int(), nil, random.IntN(500))
	a.mu.Lock()
	defer a.mu.Unlock()
	if aside, kept := a.listening+a.computing, store.Used(); aside+kept > budget {
		t.Errorf("%d bytes are set aside and %d kept, of %d", aside, kept, budget)
	}
	return nil
}

const budget = 1000

// Who listens and what computes keep to one budget, with what is kept, and nobody waits for ever:
// hundreds come and go at random, each one that listens also computes, and all of them end.
func TestAdmission(t *testing.T) {
	store := render.NewStore(budget)
	a := newAdmission(budget, store)
	var all sync.WaitGroup
	for k := range 100 {
		all.Go(func() {
			random := rand.New(rand.NewPCG(7, uint64(k)))
			for range 20 {
				long := time.Minute
				if random.IntN(3) == 0 { // some do not stay
					long = time.Duration(1+random.IntN(40)) * time.Millisecond
				}
				ctx, stop := context.WithTimeout(context.Background(), long)
				if err := visit(ctx, t, a, store, random, k); err != nil && (!errors.Is(err, context.DeadlineExceeded) || long == time.Minute) {
					t.Error(err)
				}
				stop()
			}
		})
	}
	all.Wait()
	if a.used() != 0 || len(a.held) != 0 {
		t.Errorf("%d bytes are set aside for nobody, %d held", a.used(), len(a.held))
	}
	if err := errors.Join(tooMuch(a.listen(t.Context(), map[any]int{"x": 501})), tooMuch(a.compute(t.Context(), 1001))); err != nil {
		t.Error(err)
	}
	store.Keep("", "all", nil, budget)
	if store.Used() != budget {
		t.Errorf("%d bytes can be kept again, want %d", store.Used(), budget)
	}
}

func tooMuch(_ func(), err error) error {
	if errors.As(err, new(TooMuch)) {
		return nil
	}
	return fmt.Errorf("more than there is: %v", err)
}

// What computes in more than the half that is sure is let in once it has been told that there is
// room, whoever comes to listen meanwhile: they would wait for each other for ever.
func TestAdmissionKeepsItsWord(t *testing.T) {
	a := newAdmission(budget, render.NewStore(budget))
	leave, err := a.listen(t.Context(), map[any]int{"a": 400})
	if err != nil {
		t.Fatal(err)
	}
	defer leave()
	done, err := a.compute(t.Context(), 300)
	if err != nil {
		t.Fatal(err)
	}
	large := make(chan error)
	go func() {
		done, err := a.compute(t.Context(), 600)
		if err == nil {
			defer done()
		}
		large <- err
	}()
	for waiting := 0; waiting == 0; { // until it waits
		a.mu.Lock()
		waiting = len(a.waiting[1])
		a.mu.Unlock()
	}
	come := make(chan error)
	go func() {
		_, err := a.listen(t.Context(), map[any]int{"b": 100})
		come <- err
	}()
	for waiting := 0; waiting == 0; {
		select {
		case <-come:
			t.Fatal("one more listens, and what waits to compute has no room")
		default:
		}
		a.mu.Lock()
		waiting = len(a.waiting[0])
		a.mu.Unlock()
	}
	done()
	for range 2 {
		select {
		case err := <-large:
			if err != nil {
				t.Fatal(err)
			}
		case err := <-come:
			if err != nil {
				t.Fatal(err)
			}
		case <-time.After(10 * time.Second):
			t.Fatal("they wait for each other")
		}
	}
}
