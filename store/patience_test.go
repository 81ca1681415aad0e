package store_test

import (
	"context"
	"errors"
	"testing"

	"rideout/service"
	"rideout/store"
	"rideout/store/storetest"
)

// Who finds every connection taken is told so, and is not kept for as long as others like.
func TestNoConnectionComesFree(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	org, plan := anOrg(t, s), aPlan()
	keep(t, s, org, plan)
	var within error
	err = s.Change(t.Context(), org, func(ctx context.Context, _ service.Recorder) error {
		_, within = s.Plan(ctx, org, plan.ID) // a second connection, which there is not
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if !errors.Is(within, service.ErrUnavailable) {
		t.Errorf("got %v, want %v", within, service.ErrUnavailable)
	}
	if _, err := s.Plan(t.Context(), org, plan.ID); err != nil {
		t.Errorf("once it is free: %v", err)
	}
}
