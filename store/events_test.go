package store_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/storetest"
)

// reader follows an organisation's events as a caller does, and notes what it saw.
type reader struct {
	events service.Events
	org    service.OrgID
	at     int64
	seen   []int64
}

func newReader(s *store.Store, org service.OrgID) *reader {
	return &reader{events: service.Events{Log: s, Clock: time.Now}, org: org}
}

func (r *reader) poll(ctx context.Context) error {
	page, err := r.events.List(ctx, r.org, &r.at, 200)
	if err != nil {
		return err
	}
	for _, e := range page.Items {
		r.at, r.seen = e.Sequence, append(r.seen, e.Sequence)
	}
	return nil
}

// wantAll demands every number from 1 to n, each once and in order.
func (r *reader) wantAll(t *testing.T, n int) {
	t.Helper()
	if len(r.seen) != n {
		t.Errorf("saw %d events, want %d", len(r.seen), n)
	}
	for i, seq := range r.seen {
		if seq != int64(i+1) {
			t.Fatalf("event %d of those seen is %d, want %d", i, seq, i+1)
		}
	}
}

// aChange records a version of a vessel of its own; before and after run around the taking of its turn.
func aChange(ctx context.Context, s *store.Store, org service.OrgID, before, after func()) error {
	return s.Change(ctx, org, func(ctx context.Context, r service.Recorder) error {
		before()
		stamp, err := r.Turn(ctx, time.Now)
		if err != nil {
			return err
		}
		after()
		return r.Record(ctx, service.Version{
			Kind: fleet.KindVessel, ID: uuid.New(), Version: 1, Seq: stamp.Seq, RecordedAt: stamp.RecordedAt, ValidFrom: stamp.RecordedAt,
			By: "ro_test", Body: []byte(`{}`), BodySHA256: strings.Repeat("ab", 32),
		})
	})
}

func nothing() {}

// In each round two transactions begin in one order and commit in the other, while a reader polls: the first does
// not take its turn before the second has committed or, every other time, the second waits for the turn of the first. The order
// in time of all else is left to chance. The entries of the log are in the same order, and their tree is whole.
func TestNoEventIsMissedWhenTransactionsCommitInInverseOrder(t *testing.T) {
	t.Parallel()
	const rounds = 10_000
	s := storetest.New(t)
	org := anOrg(t, s)
	r := newReader(s, org)
	var finished atomic.Bool
	reading := make(chan error, 1)
	go func() {
		for {
			last := finished.Load()
			if err := r.poll(t.Context()); err != nil || last {
				reading <- err
				return
			}
		}
	}()
	for round := range rounds {
		begun, committed, ended := make(chan struct{}), make(chan struct{}), make(chan error, 1)
		go func() {
			wait := func() { close(begun); <-committed }
			if round%2 == 1 {
				wait = func() { close(begun) }
			}
			ended <- aChange(t.Context(), s, org, wait, func() { time.Sleep(time.Duration(rand.IntN(100)) * time.Microsecond) })
		}()
		<-begun
		if err := aChange(t.Context(), s, org, nothing, nothing); err != nil {
			t.Fatal(err)
		}
		close(committed)
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
	}
	finished.Store(true)
	if err := <-reading; err != nil {
		t.Fatal(err)
	}
	r.wantAll(t, 2*rounds)
	w, _ := aWitness(t, s)
	if report := export(t, w, org).verified(t, org, signed(t, w, org)); !report.Sound() || report.Proven != 2*rounds {
		t.Errorf("the log of them: %+v", report)
	}
}

// The same rounds on numbers of a plain sequence, which this reader does miss: the test above can fail.
func TestSequenceWouldMissWhatCommitsInInverseOrder(t *testing.T) {
	t.Parallel()
	url := storetest.Empty(t)
	ask(t, url, `CREATE TABLE naive (seq bigserial)`)
	var two [2]*pgx.Conn
	for i := range two {
		conn, err := pgx.Connect(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(context.WithoutCancel(t.Context()))
		two[i] = conn
	}
	at, seen := "0", 0
	poll := func() {
		for _, seq := range ask(t, url, `SELECT seq::text FROM naive WHERE seq > $1::bigint ORDER BY seq`, at) {
			at, seen = seq, seen+1
		}
	}
	const rounds = 20
	for range rounds {
		for _, conn := range two {
			if _, err := conn.Exec(t.Context(), `BEGIN; INSERT INTO naive DEFAULT VALUES`); err != nil {
				t.Fatal(err)
			}
		}
		for i := range two {
			if _, err := two[1-i].Exec(t.Context(), `COMMIT`); err != nil {
				t.Fatal(err)
			}
			poll()
		}
	}
	if seen != rounds {
		t.Errorf("saw %d of %d, want that half is missed", seen, 2*rounds)
	}
}

func TestEventsOfNinetyDaysAreTold(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org := anOrg(t, s)
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	for _, ago := range []time.Duration{100, 95, 89, 1} {
		p := aPlan()
		p.CreatedAt = now.Add(-ago * 24 * time.Hour)
		keep(t, s, org, p)
	}
	events := service.Events{Log: s, Clock: func() time.Time { return now }}
	at := func(n int64) *int64 { return &n }
	for _, c := range []struct {
		after *int64
		want  []int64 // nil: resync
	}{
		{nil, []int64{3, 4}},
		{at(0), nil},
		{at(1), nil},
		{at(2), []int64{3, 4}},
		{at(3), []int64{4}},
		{at(4), []int64{}},
		{at(5), nil},
	} {
		page, err := events.List(t.Context(), org, c.after, 10)
		var resync *service.ResyncError
		if errors.As(err, &resync) != (c.want == nil) || (err != nil && resync == nil) || (resync != nil && resync.After != 4) {
			t.Errorf("after %v: got %v, want %v", c.after, err, c.want)
			continue
		}
		got := []int64{}
		for _, e := range page.Items {
			got = append(got, e.Sequence)
		}
		if c.want != nil && (!slices.Equal(got, c.want) || page.Oldest != 3 || page.Latest != 4) {
			t.Errorf("after %v: got %v of %d to %d, want %v of 3 to 4", c.after, got, page.Oldest, page.Latest, c.want)
		}
	}
	if latest, err := events.Latest(t.Context(), org); err != nil || latest != 4 {
		t.Errorf("latest: got %d, error %v, want 4", latest, err)
	}
	events.Clock = func() time.Time { return now.Add(2 * service.EventLife) }
	if page, err := events.List(t.Context(), org, nil, 10); err != nil || len(page.Items) != 0 || page.Oldest != 5 {
		t.Errorf("when all is old: got %+v, error %v, want nothing, and 5 to come", page, err)
	}
	other := anOrg(t, s)
	if page, err := events.List(t.Context(), other, nil, 10); err != nil || len(page.Items) != 0 || page.Latest != 0 {
		t.Errorf("another organisation: got %+v, error %v, want nothing", page, err)
	}
}

func TestWatchWakes(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	ours, stop := s.Watch(org)
	defer stop()
	theirs, stopTheirs := s.Watch(other)
	defer stopTheirs()
	await := func(what string) {
		t.Helper()
		select {
		case <-ours:
		case <-time.After(10 * time.Second):
			t.Fatalf("%s: not woken within 10 s", what)
		}
	}
	await("at the beginning")
	<-theirs
	keep(t, s, org, aPlan())
	await("a plan of ours")
	select {
	case <-theirs:
		t.Error("another organisation is woken by a plan of ours")
	default:
	}
	breakSessions(t, url)
	await("the connection is lost")
	keep(t, s, org, aPlan())
	await("a plan after that")
}
