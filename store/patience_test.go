package store_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"rideout/service"
	"rideout/service/planner"
	"rideout/store"
	"rideout/store/storetest"
)

// Who finds every connection taken is told so, and is not kept for as long as others like.
func TestNoConnectionComesFree(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1, StatementTimeout: 2 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	org, plan := anOrg(t, s), aPlan()
	keep(t, s, org, plan)
	reads := map[string]func(context.Context) error{
		"transaction": func(ctx context.Context) error { _, err := s.Plan(ctx, org, plan.ID); return err },
		"pipeline":    func(ctx context.Context) error { _, err := s.PlanAnswer(ctx, org, plan.ID); return err },
	}
	err = s.Change(t.Context(), org, func(ctx context.Context, _ service.Recorder) error {
		var at sync.WaitGroup
		defer at.Wait()
		for name, read := range reads {
			at.Go(func() {
				begun := time.Now()
				if err := read(ctx); !errors.Is(err, service.ErrUnavailable) { // a second connection, which there is not
					t.Errorf("%s: got %v, want %v", name, err, service.ErrUnavailable)
				}
				if took, once := time.Since(begun), 8*time.Second; took > once*3/2 { // 4 s for a connection, 2 s and the limit for the statement
					t.Errorf("%s: told after %v, want %v at most: it was waited for more than once", name, took, once)
				}
			})
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if _, err := s.Plan(t.Context(), org, plan.ID); err != nil {
		t.Errorf("once it is free: %v", err)
	}
}

// A calculation runs within a transaction. With a budget below what the database waits for it says itself that it is too slow;
// above, its connection is lost, and the queue would try it again for ever.
func TestSlowCalculationSaysSoItself(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, WorkTimeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	w := newWaters(t, s, anOrg(t, s))
	vessel := w.vessel("Tern")
	order := service.PlanOrder{VesselID: vessel, Request: planner.Request{
		Intent: planner.RideOutStorm, Position: &planner.Position{LatitudeDeg: 61, LongitudeDeg: -6}, Forecast: planner.Forecast{Steps: []planner.Step{{Time: six, WindMS: 20}}},
	}}
	for _, test := range []struct {
		budget, takes time.Duration
		want          service.Kind
	}{
		{500 * time.Millisecond, time.Minute, service.KindTooSlow},
		{time.Minute, 2 * time.Second, service.KindUnavailable},
	} {
		w.plans.Budget = test.budget
		w.plans.Compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			select {
			case <-ctx.Done():
				return planner.Plan{}, nil, ctx.Err()
			case <-time.After(test.takes):
				return w.compute(ctx, r)
			}
		}
		_, _, err := w.plans.Create(t.Context(), w.org, aClaim(test.budget.String()), order)
		if refused := (*service.Error)(nil); !errors.As(err, &refused) || refused.Kind != test.want {
			t.Errorf("budget %v: got %v, want %v", test.budget, err, test.want)
		}
		if _, err := w.plans.List(t.Context(), w.org, service.PlanFilter{}, service.Place{}, 1); err != nil {
			t.Errorf("budget %v: afterwards: %v", test.budget, err)
		}
	}
}
