package faulttest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"syscall"
	"time"
)

// Faults lists what is tried, in order.
func Faults() []Fault {
	return []Fault{
		{
			Name: "Postgres killed", Short: true,
			Do: times(2, killPostgres), BadDo: times(1, killPostgres),
			Bug: "synchronous_commit = off", Plant: func(ctx context.Context, w *World) error {
				err := w.postgres.exec(ctx, `ALTER SYSTEM SET synchronous_commit = off`, `ALTER SYSTEM SET wal_writer_delay = '10s'`,
					`ALTER SYSTEM SET wal_writer_flush_after = '1GB'`, `ALTER SYSTEM SET wal_buffers = '64MB'`) // so that much is not written yet
				if err != nil {
					return err
				}
				w.postgres.stop()
				return errors.Join(w.postgres.start(ctx), w.house.ready(ctx, time.Minute))
			},
		},
		{
			Name: "one backend killed",
			Do:   times(3, killBackend), BadDo: times(1, killBackend),
			Bug: "some COMMITs are answered and not done", Plant: lie,
		},
		{
			Name: "service killed", Short: true, Mix: Mix{Clients: 8, Plans: true},
			Do: times(4, func(ctx context.Context, w *World) error {
				sleep(ctx, time.Second)
				w.house.kill()
				return w.house.start(ctx)
			}),
			Bug: "claims are forgotten", Plant: forgetClaims,
		},
		{
			Name: "service killed at each step", Mix: Mix{Clients: 8, Plans: true},
			Do: killAtEachStep, BadDo: times(3, killBeforeCommit),
			Bug: "answers come before COMMIT", Swaps: []Swap{{"store/store.go", `	defer release()
	defer rollback(ctx, tx) // after a commit it does nothing
	if err := fn(tx); err != nil {
		return err
	}
	if access == pgx.ReadOnly {
		return nil // what was read is read; rolling back is as good
	}
	if err := tx.flush(ctx); err != nil {
		return unavailable(ctx, err)
	}
	return commit(ctx, tx)
`, `	if err := fn(tx); err != nil || access == pgx.ReadOnly {
		rollback(ctx, tx)
		release()
		return err
	}
	if err := tx.flush(ctx); err != nil {
		rollback(ctx, tx)
		release()
		return unavailable(ctx, err)
	}
	if os.Args[1] != "serve" { // that makes what is there before the load
		defer release()
		return commit(ctx, tx)
	}
	go func() {
		defer release()
		time.Sleep(200 * time.Millisecond)
		_ = commit(context.WithoutCancel(ctx), tx)
	}()
	return nil
`}, {"store/store.go", "\t\"net\"\n", "\t\"net\"\n\t\"os\"\n"}},
		},
		{
			Name: "answer to COMMIT lost", Short: true,
			Do:  loseCommits,
			Bug: "clients repeat under a new key", BadMix: &Mix{Clients: 8, Forgetful: true},
		},
		{
			Name: "SIGTERM, 20 times", Mix: Mix{Clients: 8, Plans: true, Seas: true},
			Do: times(20, terminate), BadDo: times(3, terminate),
			Bug: "no grace", Plant: func(ctx context.Context, w *World) error {
				w.house.environment = append(w.house.environment, "RIDEOUT_GRACE=1ms")
				w.house.kill()
				return w.house.start(ctx)
			},
		},
		{
			Name: "pool of 4, 500 clients", Options: Options{Connections: 4}, Mix: Mix{Clients: 500},
			Do:  wait(10 * time.Second),
			Bug: "answers come late", Plant: front(weather{late: mostAnswer + time.Second}), BadMix: &Mix{Clients: 4},
		},
		{
			Name: "slow readers and headers",
			Do:   slowClients,
			Bug:  "connections are not given up", Swaps: []Swap{{"api/server.go", "ReadHeaderTimeout: 5 * time.Second,", ""}, {"api/server.go", "time.Minute,     //", "time.Hour, //"}},
		},
		{
			Name: "database 100 ms away",
			Do:   weatherFor(weather{delay: 100 * time.Millisecond}, 12*time.Second),
			Bug:  "a record is changed later", Plant: whileRunning(10*time.Second, `SET session_replication_role = replica`,
				`UPDATE records SET body = (replace(body::text, 'Chafe gear first.', 'Nothing.'))::json WHERE kind = 'incident'`),
		},
		{
			Name: "database stalls",
			Do:   stall(25 * time.Second), BadDo: stall(8 * time.Second),
			Bug: "/readyz always says yes", Plant: front(weather{sayReady: true}),
		},
		{
			Name: "connections reset",
			Do: times(15, func(ctx context.Context, w *World) error {
				sleep(ctx, 300*time.Millisecond)
				w.line.reset()
				return nil
			}),
			Bug: "rows are put into another organisation", Plant: whileRunning(3*time.Second, `SET session_replication_role = replica`,
				`ALTER TABLE records DROP CONSTRAINT records_change_key`,
				`UPDATE records r SET org_id = (SELECT o.id FROM organisations o WHERE o.id <> r.org_id) WHERE kind = 'vessel' AND seq % 3 = 0`),
		},
		{
			Name: "locks pile up",
			Do:   pileUp,
			Bug:  "a change is taken out of the log", Plant: whileRunning(5*time.Second, `SET session_replication_role = replica`,
				`DELETE FROM changes WHERE seq = 7`),
		},
		{
			Name: "deadlocks",
			Do:   deadlocks,
			Bug:  "what was rolled back is told", Plant: front(weather{otherTold: true}),
		},
		{
			Name: "disk full", Options: Options{SmallDisk: true}, Root: true,
			Do: fillDisk, BadDo: wait(4 * time.Second),
			Bug: "some COMMITs are answered and not done", Plant: lie,
		},
		{
			Name: "clock jumps", Options: Options{OwnClock: true}, Handle: clockHandle,
			Do: jump(jumps), BadDo: jump(jumps[:3]),
			Bug: "times may run backward", Swaps: []Swap{{"store/records.go", "if !at.After(r.until) {", "if false {"}},
		},
		{
			Name: "migration killed", Alone: killMigrations,
			Bug: "a migration and its note are not one transaction", Swaps: []Swap{{"store/migrate.go", "&atomic{Driver: driver, files: files})", "driver)"}},
		},
		{
			Name: "standby promoted",
			Do:   standbyTakesOver,
			Bug:  "the standby is behind", Plant: func(_ context.Context, w *World) error { w.behind = true; return nil },
		},
		{
			Name: "bad webhook receivers", Options: Options{Webhooks: true}, Mix: Mix{Clients: 1}, // told of no more than one webhook can be
			Do:  badReceivers,
			Bug: "redirects are followed", Swaps: []Swap{{"api/courier/courier.go", "return http.ErrUseLastResponse", "return nil"}},
		},
		{
			Name: "256 MB of memory", Mix: Mix{Clients: 60, Plans: true, Seas: true}, Root: true,
			Prepare: squeeze(256 << 20), Do: wait(8 * time.Second),
			Bug: "20 MB", Plant: func(ctx context.Context, w *World) error {
				if err := squeeze(20<<20)(ctx, w); err != nil {
					w.wrong("%v", err)
				}
				return nil
			},
		},
		{
			Name: "engine panics, and is no number", Mix: Mix{Clients: 8, Plans: true, Failing: true}, Handle: engineHandle,
			Do:  wait(8 * time.Second),
			Bug: "places for calculations are not given back", Swaps: []Swap{{"service/publish.go", "	defer leave()\n	return work(", "	_ = leave\n	return work("}},
		},
	}
}

// loseCommits loses the answer to every fifth COMMIT.
func loseCommits(ctx context.Context, w *World) error {
	w.line.set(weather{dropCommit: 0.2})
	sleep(ctx, 5*time.Second)
	w.line.set(weather{})
	w.line.mu.Lock()
	defer w.line.mu.Unlock()
	if w.line.commits < 10 {
		return fmt.Errorf("the line saw %d COMMITs: are they sent otherwise now?", w.line.commits)
	}
	return nil
}

// lie has one COMMIT of five answered by the line, which rolls back instead.
func lie(_ context.Context, w *World) error {
	w.line.set(weather{lieCommit: 0.2})
	return nil
}

// times repeats.
func times(n int, do func(context.Context, *World) error) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		for range n {
			if err := errors.Join(do(ctx, w), ctx.Err()); err != nil {
				return err
			}
		}
		sleep(ctx, time.Second) // and a while in which all is well
		return nil
	}
}

func wait(d time.Duration) func(context.Context, *World) error {
	return func(ctx context.Context, _ *World) error { sleep(ctx, d); return nil }
}

// weatherFor has the line to the database in a weather for a while.
func weatherFor(bad weather, d time.Duration) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		w.line.set(bad)
		sleep(ctx, d)
		w.line.set(weather{})
		return nil
	}
}

// front has clients ask by a line of ours that has a weather.
func front(bad weather) func(context.Context, *World) error {
	return func(_ context.Context, w *World) error {
		w.fronted = true
		w.front.set(bad)
		return nil
	}
}

// whileRunning runs statements some time later, beside the load.
func whileRunning(after time.Duration, statements ...string) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		go func() {
			sleep(ctx, after)
			if err := w.postgres.exec(ctx, statements...); err != nil {
				w.say("the bug could not be put in: %v", err)
			}
		}()
		return nil
	}
}

func forgetClaims(ctx context.Context, w *World) error {
	return w.postgres.exec(ctx, `CREATE FUNCTION forget() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'`,
		`CREATE TRIGGER forget BEFORE INSERT ON idempotency_claims FOR EACH ROW EXECUTE FUNCTION forget()`)
}

func killPostgres(ctx context.Context, w *World) error {
	sleep(ctx, 2*time.Second)
	return w.down(func() error { return w.postgres.killAndStart(ctx, 4*time.Second) })
}

func stall(d time.Duration) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		sleep(ctx, time.Second)
		return w.down(func() error { return weatherFor(weather{stall: true}, d)(ctx, w) })
	}
}

const selectBackend = `
SELECT pid
FROM pg_stat_activity
WHERE application_name = 'rideout'
ORDER BY state = 'idle', backend_start
LIMIT 1`

// killBackend kills a process of Postgres that serves us, at work if there is one. Postgres then ends all sessions and recovers.
func killBackend(ctx context.Context, w *World) error {
	sleep(ctx, 2*time.Second)
	conn, err := w.postgres.connect(ctx)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var pid int
	if err := conn.QueryRow(ctx, selectBackend).Scan(&pid); err != nil {
		return fmt.Errorf("find a backend: %w", err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, `SELECT pg_sleep(30)`); err == nil { // which ends when Postgres has seen it
		return errors.New("postgres does not end the other sessions")
	}
	for range 600 { // until it has recovered
		if again, err := w.postgres.connect(ctx); err == nil {
			return again.Close(ctx)
		}
		sleep(ctx, 100*time.Millisecond)
	}
	return errors.New("postgres does not recover")
}

// leastSteps is fewer than any change has messages to the database.
const leastSteps = 6

// killAtEachStep kills the service before COMMIT, when COMMIT is done and not answered yet, before BEGIN, before the next message, and so on,
// until no transaction is so long.
func killAtEachStep(ctx context.Context, w *World) (err error) {
	step, killed := beforeCommit, true
	for ; killed && err == nil; step++ {
		killed, err = w.killAtStep(ctx, step)
	}
	w.say("no transaction has more than %d messages", step-1)
	if err == nil && step < leastSteps {
		return fmt.Errorf("the service was killed at %d steps, want %d or more", step, leastSteps)
	}
	return err
}

func killBeforeCommit(ctx context.Context, w *World) error {
	sleep(ctx, time.Second) // until changes are answered
	_, err := w.killAtStep(ctx, beforeCommit)
	return err
}

// killAtStep kills the service before a message and starts it anew, unless there is no such message for a while.
func (w *World) killAtStep(ctx context.Context, step int) (bool, error) {
	killed := make(chan struct{})
	w.line.set(weather{step: step, kill: sync.OnceFunc(func() { w.house.kill(); close(killed) })})
	defer w.line.set(weather{})
	select {
	case <-killed:
		w.line.set(weather{})
		return true, w.house.start(ctx)
	case <-ctx.Done():
		return false, ctx.Err()
	case <-time.After(5 * time.Second):
		return false, nil
	}
}

// terminate ends the service as a service manager does: what is at work is answered, and the exit code is 0.
func terminate(ctx context.Context, w *World) error {
	sleep(ctx, 500*time.Millisecond)
	w.journal.mu.Lock()
	before := w.journal.cut
	w.journal.mu.Unlock()
	w.house.signal(syscall.SIGTERM)
	if err := w.house.wait(15 * time.Second); err != nil {
		w.wrong("ended by SIGTERM: %v: %s", err, w.house.tail())
		w.house.kill()
	}
	w.journal.mu.Lock()
	cut, how := w.journal.cut-before, w.journal.lastCut
	w.journal.mu.Unlock()
	if cut > 0 {
		w.wrong("%d requests were cut when the service ended: %v", cut, how)
	}
	return w.house.start(ctx)
}
