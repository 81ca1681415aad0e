package service

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
	"time"
)

// leftOver is the part of a budget that is left to stop and to answer, so that one refused is told within it.
const leftOver = 10

// gate lets so many calculations run, and twice as many wait. The zero
// value is ready.
type gate struct {
	once    sync.Once
	running chan struct{}
	within  chan struct{} // running or waiting
	usual   atomic.Int64  // how long calculations took of late, in ns
	refused atomic.Int64
}

// took notes how long a calculation took, the last counting for a quarter, and the first for all.
func (g *gate) took(d time.Duration) {
	before := g.usual.Load()
	if before == 0 {
		before = int64(d)
	}
	g.usual.Store(before + (int64(d)-before)/4) // of two at once one may be lost
}

// patience is how long it is worth waiting for a place within a budget: what it leaves beside a calculation's usual time. A
// quarter is always left to wait, so that a slow hour does not shut out what comes after it.
func (g *gate) patience(budget time.Duration) time.Duration {
	return max(budget-time.Duration(g.usual.Load()), budget/4)
}

// Places tells how many calculations run, how many wait for a place, and how many were refused one since the start.
func (p *Plans) Places() (running, waiting int, refused int64) {
	p.gate.open(p.AtOnce)
	return p.gate.state()
}

func (g *gate) state() (running, waiting int, refused int64) {
	running = len(g.running)
	return running, max(0, len(g.within)-running), g.refused.Load()
}

// open makes so many places; 0: one for each processor.
func (g *gate) open(n int) {
	g.once.Do(func() {
		if n == 0 {
			n = runtime.GOMAXPROCS(0)
		}
		g.running, g.within = make(chan struct{}, n), make(chan struct{}, 3*n)
	})
}

// wait is how long one who comes after so many is likely to wait for a place, those at work being halfway.
func (g *gate) wait(after int) time.Duration {
	places := cap(g.running)
	if after < places {
		return 0
	}
	return time.Duration(g.usual.Load()) * time.Duration(2*(after-places)+1) / time.Duration(2*places)
}

// enter takes a place, waiting at most patience for it, and not at all where that is likely to be in vain. The caller must
// call leave.
func (g *gate) enter(ctx context.Context, patience time.Duration) (leave func(), err error) {
	select {
	case g.within <- struct{}{}:
	default:
		g.refused.Add(1)
		return nil, &Error{Kind: KindBusy, Message: "all places for calculations are taken"}
	}
	if g.wait(len(g.within)-1) > patience {
		<-g.within
		g.refused.Add(1)
		return nil, &Error{Kind: KindBusy, Message: "no place for a calculation is likely to come free in time"}
	}
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case g.running <- struct{}{}:
		return func() { <-g.running; <-g.within }, nil
	case <-timer.C:
		g.refused.Add(1)
		err = &Error{Kind: KindBusy, Message: "no place for a calculation came free in time"}
	case <-ctx.Done():
		err = context.Cause(ctx)
	}
	<-g.within
	return nil, err
}
