package pipeline

import "sync"

// gate lets a number of goroutines pass at a time. All jobs of a run share one, so
// that the number of workers is that of the run, not of each job.
type gate chan struct{}

func newGate(workers int) gate { return make(gate, max(1, workers)) }

// each calls f for 0 ≤ i < n, as many at once as the gate lets pass, and
// returns the error of the lowest i. After an error no more are begun; since they
// are begun in order, the lowest is found all the same.
func each(n int, g gate, f func(i int) error) error {
	errs := make([]error, n)
	var wg sync.WaitGroup
	var mu sync.Mutex
	next, failed := 0, false
	take := func() (int, bool) {
		mu.Lock()
		defer mu.Unlock()
		if failed || next == n {
			return 0, false
		}
		next++
		return next - 1, true
	}
	for range min(cap(g), n) {
		wg.Go(func() {
			for {
				g <- struct{}{}
				i, ok := take()
				if ok {
					errs[i] = f(i)
				}
				<-g
				if !ok {
					return
				}
				if errs[i] != nil {
					mu.Lock()
					failed = true
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
