package store_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"rideout/service"
	"rideout/store"
	"rideout/store/jobs"
	"rideout/store/storetest"
)

// selectRiver is everything river's tables are, but the order of their columns.
const selectRiver = `
SELECT concat_ws(' ', c.relname, c.relpersistence, a.attname, format_type(a.atttypid, a.atttypmod), a.attnotnull, lower(pg_get_expr(d.adbin, d.adrelid)))
FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
WHERE c.relkind = 'r' AND c.relname LIKE 'river\_%' AND c.relname <> 'river_migration'
UNION ALL
SELECT concat_ws(' ', conrelid::regclass, conname, pg_get_constraintdef(oid))
FROM pg_constraint
WHERE conrelid::regclass::text LIKE 'river\_%' AND conrelid::regclass::text <> 'river_migration'
UNION ALL
SELECT indexdef
FROM pg_indexes
WHERE tablename LIKE 'river\_%' AND tablename <> 'river_migration'
UNION ALL
SELECT concat_ws(' ', tgrelid::regclass, pg_get_triggerdef(oid))
FROM pg_trigger
WHERE tgrelid::regclass::text LIKE 'river\_%' AND NOT tgisinternal
UNION ALL
SELECT concat_ws(' ', proname, pg_get_function_identity_arguments(oid), provolatile, regexp_replace(prosrc, '\s+', ' ', 'g'))
FROM pg_proc
WHERE proname LIKE 'river\_%'
UNION ALL
SELECT concat_ws(' ', t.typname, e.enumlabel, row_number() OVER (PARTITION BY t.oid ORDER BY e.enumsortorder))
FROM pg_enum e
JOIN pg_type t ON t.oid = e.enumtypid
WHERE t.typname LIKE 'river\_%'
ORDER BY 1`

func TestTablesAreRivers(t *testing.T) {
	t.Parallel()
	theirs := storetest.Empty(t)
	pool, err := pgxpool.New(t.Context(), theirs)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	migrator, err := rivermigrate.New(riverpgxv5.New(pool), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := migrator.Migrate(t.Context(), rivermigrate.DirectionUp, nil); err != nil {
		t.Fatal(err)
	}
	got, want := ask(t, storetest.URL(t), selectRiver), ask(t, theirs, selectRiver)
	for _, line := range got {
		if !slices.Contains(want, line) {
			t.Errorf("ours alone has %s", line)
		}
	}
	for _, line := range want {
		if !slices.Contains(got, line) {
			t.Errorf("river's alone has %s", line)
		}
	}
	if len(want) < 40 {
		t.Errorf("of river's tables %d lines were read", len(want))
	}
}

// noting is a change that notes a job and ends with an error, or without.
func noting(t *testing.T, s *store.Store, org service.OrgID, end error, noted ...service.Job) {
	t.Helper()
	err := s.Change(t.Context(), org, func(ctx context.Context, r service.Recorder) error {
		if err := r.Later(ctx, noted...); err != nil {
			return err
		}
		return end
	})
	if !errors.Is(err, end) {
		t.Fatalf("change: got %v, want %v", err, end)
	}
}

// startWork has jobs done until the test's end.
func startWork(t *testing.T, s *store.Store, workers service.Workers, log io.Writer) *store.Work {
	t.Helper()
	work, err := s.StartWork(t.Context(), jobs.Config{Workers: workers, Log: slog.New(slog.NewTextHandler(log, nil)), Eager: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := work.Stop(time.Minute); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	return work
}

// handing is a worker that hands each job on, and after it answers what is said.
func handing(done chan<- service.Job, say func(service.Job) error) service.Worker {
	return service.Worker{
		Do: func(_ context.Context, j service.Job) error {
			done <- j
			return say(j)
		},
		Pause: func(int) time.Duration { return time.Millisecond },
	}
}

func well(service.Job) error { return nil }

func receive[T any](t *testing.T, from <-chan T) T {
	t.Helper()
	select {
	case v := <-from:
		return v
	case <-time.After(time.Minute):
		t.Fatal("nothing came within a minute")
		panic("unreachable")
	}
}

func TestJobIsDoneAsItWasNotedAndRolledBackOneIsNot(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	job := service.Job{Kind: "look", On: []uuid.UUID{uuid.New(), uuid.New()}, Seq: 7}
	noting(t, s, org, errors.New("taken back"), service.Job{Kind: "look", Seq: 1})
	wantRows(t, url, "river_job", 0)
	noting(t, s, org, nil, job)
	done := make(chan service.Job, 10)
	startWork(t, s, service.Workers{"look": handing(done, well)}, io.Discard)
	got := receive(t, done)
	if got.Kind != job.Kind || got.Org != org || !slices.Equal(got.On, job.On) || got.Seq != job.Seq || !got.At.IsZero() {
		t.Errorf("got %+v, want %+v of %v", got, job, org)
	}
}

func TestJobOfAnotherOrganisationIsNotNoted(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	noting(t, s, org, nil, service.Job{Kind: "look", Org: other})
	if got := ask(t, url, `SELECT args ->> 'org' FROM river_job`); !slices.Equal(got, []string{org.String()}) {
		t.Errorf("got a job of %v, want of %v", got, org)
	}
}

func TestFailedJobIsDoneAgainAndTheQueueIsNotToldWhy(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	noting(t, s, org, nil, service.Job{Kind: "fail"}, service.Job{Kind: "panic"}, service.Job{Kind: "give_up"}, service.Job{Kind: "again"})
	done, log := make(chan service.Job, 100), &lockedBuffer{}
	tries := map[service.JobKind]int{}
	var mu sync.Mutex
	thrice := func(last error) func(service.Job) error {
		return func(j service.Job) error {
			mu.Lock()
			tries[j.Kind]++
			n := tries[j.Kind]
			mu.Unlock()
			if n < 3 {
				return last
			}
			return nil
		}
	}
	startWork(t, s, service.Workers{
		"fail":  handing(done, thrice(errors.New("Kestrel's secret"))),
		"again": handing(done, thrice(service.Again{})),
		"panic": handing(done, func(j service.Job) error {
			if thrice(errors.New("x"))(j) != nil {
				panic("Kestrel's secret")
			}
			return nil
		}),
		"give_up": handing(done, func(service.Job) error { return service.Pointless{Err: errors.New("Kestrel's secret")} }),
	}, log)
	for range 3 + 3 + 3 + 1 {
		receive(t, done)
	}
	ended := []string{"again completed 1", "fail completed 3", "give_up cancelled 1", "panic completed 3"}
	const selectEnded = `SELECT concat_ws(' ', args ->> 'do', state, attempt) FROM river_job ORDER BY 1`
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		got := ask(t, url, selectEnded)
		if slices.Equal(got, ended) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("jobs ended as %q, want %q", got, ended)
		}
	}
	if told := strings.Join(ask(t, url, `SELECT concat_ws(' ', args, errors::text, metadata) FROM river_job`), "\n"); strings.Contains(told, "secret") {
		t.Errorf("the queue was told %s", told)
	}
	if !strings.Contains(log.String(), "Kestrel's secret") {
		t.Errorf("the log does not say why: %s", log)
	}
	select {
	case j := <-done:
		t.Errorf("done once more: %+v", j)
	default:
	}
}

func TestStopWaitsForTheJobAtWorkAndEndsTheOneThatStays(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	begun, finish := make(chan service.Job, 10), make(chan struct{})
	work, err := s.StartWork(t.Context(), jobs.Config{Log: slog.New(slog.DiscardHandler), Eager: true, Workers: service.Workers{
		"slow": {Do: func(_ context.Context, j service.Job) error {
			begun <- j
			<-finish
			return nil
		}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	noting(t, s, org, nil, service.Job{Kind: "slow"})
	receive(t, begun)
	stopped := make(chan error)
	go func() { stopped <- work.Stop(time.Minute) }()
	close(finish)
	if err := receive(t, stopped); err != nil {
		t.Errorf("stop: %v", err)
	}
	if got := ask(t, url, `SELECT state FROM river_job`); !slices.Equal(got, []string{"completed"}) {
		t.Errorf("after a stop with grace: got %v, want the job completed", got)
	}

	stays := service.Workers{"stay": {Do: func(ctx context.Context, j service.Job) error {
		begun <- j
		<-ctx.Done()
		return ctx.Err()
	}}}
	if work, err = s.StartWork(t.Context(), jobs.Config{Log: slog.New(slog.DiscardHandler), Eager: true, Workers: stays}); err != nil {
		t.Fatal(err)
	}
	noting(t, s, org, nil, service.Job{Kind: "stay"})
	receive(t, begun)
	if err := work.Stop(0); err != nil {
		t.Errorf("stop at once: %v", err)
	}
	if got := ask(t, url, `SELECT concat_ws(' ', state, errors IS NULL) FROM river_job WHERE args ->> 'do' = 'stay'`); !slices.Equal(got, []string{"available t"}) {
		t.Errorf("after a stop at once: got %v, want the job there for the next process, without an error", got)
	}
	startWork(t, s, service.Workers{"stay": handing(begun, well)}, io.Discard)
	receive(t, begun)
}

// lockedBuffer is a log that is read while it is written.
type lockedBuffer struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// The service's role is neither owner nor superuser, and what it was granted is enough to note and do jobs, to clear away and to lead.
func TestGrantsAreEnoughForTheQueue(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	noting(t, s, org, nil, service.Job{Kind: "look"}, service.Job{Kind: "look", At: time.Now().Add(time.Hour)})
	done, log := make(chan service.Job, 10), &lockedBuffer{}
	work := startWork(t, s, service.Workers{"look": handing(done, well)}, log)
	receive(t, done)
	for deadline := time.Now().Add(time.Minute); !slices.Equal(ask(t, url, `SELECT name FROM river_leader`), []string{"default"}); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("nobody leads")
		}
	}
	if err := work.Stop(time.Minute); err != nil {
		t.Error(err)
	}
	if said := log.String(); said != "" {
		t.Errorf("the queue complains: %s", said)
	}
}
