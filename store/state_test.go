package store_test

import (
	"context"
	"errors"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store"
	"rideout/store/private"
	"rideout/store/storetest"
)

func TestStateIsToldWithoutAnOrganisation(t *testing.T) {
	t.Parallel()
	address := storetest.URL(t)
	s := storetest.Open(t, address)
	if queues, err := s.Queues(t.Context()); err != nil || len(queues) != 0 {
		t.Errorf("a fresh queue: got %v and %v, want none", queues, err)
	}
	for range 2 {
		org := anOrg(t, s)
		_, _, err := s.Once(t.Context(), org, aClaim(uuid.NewString()), func(ctx context.Context, r service.Recorder) (service.Answer, error) {
			p := aPlan()
			if err := r.RecordPlan(ctx, p); err != nil {
				return service.Answer{}, err
			}
			soon, later := service.Job{Kind: "replan"}, service.Job{Kind: "deliver_webhook", At: time.Now().Add(time.Hour)}
			return service.Answer{PlanID: p.ID, Body: p.Answer}, r.Later(ctx, soon, later)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	queues, err := s.Queues(t.Context())
	if err != nil || len(queues) != 2 {
		t.Fatalf("got %+v and %v, want two queues", queues, err)
	}
	if q := queues[0]; q.Kind != "deliver_webhook" || q.State != "scheduled" || q.Jobs != 2 || q.Oldest != 0 {
		t.Errorf("what is not due: %+v", q)
	}
	if q := queues[1]; q.Kind != "replan" || q.State != "available" || q.Jobs != 2 || q.Oldest < 0 {
		t.Errorf("what is due: %+v", q)
	}
	if _, err := tryAsk(t, address, `SELECT 1 FROM (SELECT pg_stat_force_next_flush()) AS flush`); err != nil {
		t.Fatal(err)
	}
	var entries float64
	for range 100 { // the statistics come when the connections that wrote are idle
		if entries, err = s.LogEntries(t.Context()); err != nil || entries > 0 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil || entries < 2 {
		t.Errorf("entries of the log: got %v and %v, want 2 or more", entries, err)
	}
	if c := s.Connections(); c.Most != 10 || c.InUse != 0 || c.Idle == 0 {
		t.Errorf("connections: %+v", c)
	}
}

// A database that may lose what it confirmed is told from one that does not, whoever turned the setting off.
func TestDurableAsksWhatHolds(t *testing.T) {
	t.Parallel()
	throwaway, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer throwaway.Stop()
	if err := store.Durable(t.Context(), throwaway.URL()); !errors.Is(err, store.ErrNotDurable) || !strings.Contains(err.Error(), "fsync, synchronous_commit") {
		t.Errorf("a throwaway: got %v, want it told by both settings", err)
	}

	dir := placeFor(t)
	kept, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Stop()
	if err := store.Durable(t.Context(), kept.URL()); err != nil {
		t.Errorf("one that keeps: %v", err)
	}
	u, err := url.Parse(kept.URL())
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("synchronous_commit", "off")
	u.RawQuery = q.Encode()
	if err := store.Durable(t.Context(), u.String()); !errors.Is(err, store.ErrNotDurable) {
		t.Errorf("turned off by the address: got %v", err)
	}
	ask(t, kept.URL(), `ALTER DATABASE rideout SET synchronous_commit = off`)
	if err := store.Durable(t.Context(), kept.URL()); !errors.Is(err, store.ErrNotDurable) || strings.Contains(err.Error(), "fsync") {
		t.Errorf("turned off for the database: got %v", err)
	}
	ask(t, kept.URL(), `ALTER DATABASE rideout SET synchronous_commit = local`)
	if err := store.Durable(t.Context(), kept.URL()); err != nil {
		t.Errorf("synchronous_commit local keeps on this machine: %v", err)
	}
}
