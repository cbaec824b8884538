package desk

import "context"

// ordered has several workers do work for 0 to n-1 and takes what comes of it in
// that order. No more than twice as many results as workers are held. It ends
// with the context or the first error of take, and does not wait for work that
// is under way then.
func ordered[T any](ctx context.Context, workers, n int, work func(i int) T, take func(T) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	type job struct {
		i    int
		done chan T
	}
	jobs, pending := make(chan job), make(chan chan T, workers)
	go func() {
		defer close(jobs)
		for i := 0; i < n; i++ {
			one := job{i, make(chan T, 1)}
			select {
			case pending <- one.done:
			case <-ctx.Done():
				return
			}
			select {
			case jobs <- one:
			case <-ctx.Done():
				return
			}
		}
	}()
	for range min(workers, n) {
		go func() {
			for one := range jobs {
				if ctx.Err() != nil {
					return
				}
				one.done <- work(one.i)
			}
		}()
	}
	for range n {
		var one chan T
		select {
		case one = <-pending:
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case result := <-one:
			if ctx.Err() != nil {
				return ctx.Err() // it may be cut short
			}
			if err := take(result); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil // all of it is done, whatever has been asked for since
}
