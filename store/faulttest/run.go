package faulttest

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"
)

// Fault is what is broken while clients ask, and the bug that the checker must find.
type Fault struct {
	Name    string
	Options Options
	Mix     Mix
	Do      func(context.Context, *World) error // runs under load; what it broke it mends
	Short   bool                                // is in the short mix

	Bug     string                              // in words
	Swaps   []Swap                              // that put the bug in
	Plant   func(context.Context, *World) error // puts it in, in a world that stands
	BadMix  *Mix                                // clients with a bug
	BadDo   func(context.Context, *World) error // in the place of Do, where the bug is found sooner than the fault is tried
	Handle  []Swap                              // what the fault itself needs in the binary
	Root    bool                                // may do it alone
	Prepare func(context.Context, *World) error // before the load, bug or not

	// Alone is a fault that needs no load: it makes its own world.
	Alone func(ctx context.Context, log io.Writer, dir, binary string) (Result, error)
}

// usualPool is how many connections the service takes when nothing is said.
const usualPool = 10

// Run sets a fault upon a world of its own.
func Run(ctx context.Context, log io.Writer, dir, binary string, f Fault, withBug bool) (r Result, err error) {
	r.Fault = f.Name
	o, mix := f.Options, f.Mix
	o.Binary = binary
	if mix.Clients == 0 {
		mix.Clients = 8
	}
	if withBug && f.BadMix != nil {
		mix = *f.BadMix
	}
	var swaps []Swap
	if swaps = append(swaps, f.Handle...); withBug {
		swaps = append(swaps, f.Swaps...)
	}
	if len(swaps) > 0 {
		name := fmt.Sprintf("%s-%v", strings.ReplaceAll(f.Name, " ", "-"), withBug)
		if o.Binary, err = Build(ctx, dir, name, swaps...); err != nil {
			return r, err
		}
		defer os.Remove(o.Binary)
	}
	if f.Alone != nil {
		r, err = f.Alone(ctx, log, dir, o.Binary)
		r.Fault = f.Name
		return r, err
	}
	w, err := NewWorld(ctx, log, o)
	if err != nil {
		return r, fmt.Errorf("%s: %w", f.Name, err)
	}
	defer w.Close()
	if f.Prepare != nil {
		if err := f.Prepare(ctx, w); err != nil {
			return r, fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	if withBug && f.Plant != nil {
		if err := f.Plant(ctx, w); err != nil {
			return r, fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	before, err := w.holds(ctx)
	if err != nil {
		return r, err
	}
	w.beginWatch(ctx)
	stop := w.load(ctx, mix)
	do := f.Do
	if withBug && f.BadDo != nil {
		do = f.BadDo
	}
	err = do(ctx, w)
	stop()
	w.front.set(weather{}) // what a control did to the lines is over, too
	w.line.set(weather{})
	if err != nil {
		if !withBug {
			return r, fmt.Errorf("%s: %w", f.Name, err)
		}
		w.wrong("%v", err)
	}
	if w.house.hasEnded() { // and can be asked nothing more
		w.watch.stop()
		r.Tried, r.Acknowledged = w.journal.count()
		r.Wrongs = append(w.wrongs, fmt.Sprintf("the service ended by itself: %v: %s", w.house.wait(0), w.house.tail()))
		return r, nil
	}
	if r, err = w.check(ctx); err != nil {
		return r, fmt.Errorf("%s: %w", f.Name, err)
	}
	w.mu.Lock()
	w.wrongs = nil
	w.mu.Unlock()
	pool := o.Connections
	if pool == 0 {
		pool = usualPool
	}
	w.checkHolds(ctx, before, pool)
	r.Fault, r.Wrongs = f.Name, append(r.Wrongs, w.wrongs...)
	w.journal.mu.Lock()
	defer w.journal.mu.Unlock()
	w.say("%d tries, by status %v, %d without an answer; slowest %v", w.journal.attempts, w.journal.statuses, w.journal.cut, r.Slowest.Round(time.Millisecond))
	return r, nil
}

// Table prints results.
func Table(out io.Writer, results []Result) {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "fault\ttried\tacknowledged\tlost\tduplicated\tslowest answer\ttime\tverdict\tcontrol")
	for _, r := range results {
		verdict := "holds"
		if !r.Sound() {
			verdict = "FAILS"
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%.1f s\t%.0f s\t%s\t%s\n", r.Fault, r.Tried, r.Acknowledged, r.Lost, r.Duplicate, r.Slowest.Seconds(), r.Took.Seconds(), verdict, r.Control)
	}
	t.Flush()
	for _, r := range results {
		for i, wrong := range r.Wrongs {
			if i == most {
				fmt.Fprintf(out, "%s: and %d more\n", r.Fault, len(r.Wrongs)-most)
				break
			}
			fmt.Fprintf(out, "%s: %s\n", r.Fault, wrong)
		}
	}
}
