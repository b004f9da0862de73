// Package parallel spreads work that needs no order over the processor's cores.
package parallel

import (
	"runtime"
	"sync"
)

// For calls f for every number from 0 to n-1, on all cores, and returns when all calls have. Each
// call should write only what is its own.
func For(n int, f func(k int)) {
	var all sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		all.Go(func() {
			for k := w; k < n; k += workers {
				f(k)
			}
		})
	}
	all.Wait()
}
