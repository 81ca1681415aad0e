package planner

import (
	"context"
	"runtime"
	"sync"
)

// places are what all calculations of the process share, so that no more is computed at once than there are processors. More
// would be done no sooner, and would keep the processors from whoever reads.
var places = bench{free: runtime.GOMAXPROCS(0)}

type behindKey struct{}

// Behind marks calculations that nobody waits for: they give way, between studies, to those that somebody does.
func Behind(ctx context.Context) context.Context { return context.WithValue(ctx, behindKey{}, true) }

// bench hands out places to compute at.
type bench struct {
	mu      sync.Mutex
	free    int
	waiting [2][]chan struct{} // first and last to be served, each in its order
}

// take waits for a place. The caller must call give, unless there is an error.
func (b *bench) take(ctx context.Context) error {
	rank := 0
	if behind, _ := ctx.Value(behindKey{}).(bool); behind {
		rank = 1
	}
	b.mu.Lock()
	if b.free > 0 {
		b.free--
		b.mu.Unlock()
		return nil
	}
	turn := make(chan struct{}, 1)
	b.waiting[rank] = append(b.waiting[rank], turn)
	b.mu.Unlock()
	select {
	case <-turn:
		return nil
	case <-ctx.Done():
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, other := range b.waiting[rank] {
		if other == turn {
			b.waiting[rank] = append(b.waiting[rank][:i], b.waiting[rank][i+1:]...)
			return ctx.Err()
		}
	}
	b.pass() // it came just now
	return ctx.Err()
}

// give gives a place back.
func (b *bench) give() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.pass()
}

// pass hands a place to whoever is next.
func (b *bench) pass() {
	for rank := range b.waiting {
		if line := b.waiting[rank]; len(line) > 0 {
			b.waiting[rank] = line[1:]
			line[0] <- struct{}{}
			return
		}
	}
	b.free++
}
