package planner

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
)

func TestPlacesGoFirstToWhomSomebodyWaitsFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bench{free: 1}
		var order []string
		wait := func(ctx context.Context, name string) {
			go func() {
				if err := b.take(ctx); err != nil {
					t.Error(name, err)
				}
				order = append(order, name)
				b.give()
			}()
			synctest.Wait()
		}
		if err := b.take(t.Context()); err != nil {
			t.Fatal(err)
		}
		wait(Behind(t.Context()), "behind 1")
		wait(t.Context(), "first 1")
		wait(Behind(t.Context()), "behind 2")
		wait(t.Context(), "first 2")
		b.give()
		synctest.Wait()
		if want := []string{"first 1", "first 2", "behind 1", "behind 2"}; !slices.Equal(order, want) {
			t.Errorf("served %v, want %v", order, want)
		}
		if b.free != 1 {
			t.Errorf("%d places are free, want 1", b.free)
		}
	})
}

func TestWhoGoesAwayTakesNoPlaceAlong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bench{free: 1}
		if err := b.take(t.Context()); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		gone := make(chan error)
		go func() { gone <- b.take(ctx) }()
		synctest.Wait()
		cancel()
		if err := <-gone; !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want that it was cancelled", err)
		}
		b.give()
		if b.free != 1 || len(b.waiting[0]) != 0 {
			t.Errorf("%d places are free and %d wait, want 1 and 0", b.free, len(b.waiting[0]))
		}
	})
}
