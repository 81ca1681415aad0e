package faulttest

import (
	"context"
	"errors"
	"net/http"
	"time"
)

// pileUp holds what every change needs, so that all wait until their statements' time is over.
func pileUp(ctx context.Context, w *World) error {
	sleep(ctx, time.Second)
	if err := w.postgres.exec(ctx, `BEGIN`, `LOCK TABLE changes IN ACCESS EXCLUSIVE MODE`, `SELECT pg_sleep(8)`, `ROLLBACK`); err != nil {
		return err
	}
	sleep(ctx, time.Second)
	w.journal.mu.Lock()
	defer w.journal.mu.Unlock()
	if w.journal.statuses[http.StatusServiceUnavailable] == 0 {
		return errors.New("nobody waited for longer than a statement may take")
	}
	return nil
}

const countDeadlocks = `
SELECT deadlocks
FROM pg_stat_database
WHERE datname = current_database()`

// deadlocks takes locks in the opposite order of the service's, again and again, so that one of the two is ended.
func deadlocks(ctx context.Context, w *World) error {
	for range 8 {
		sleep(ctx, 200*time.Millisecond)
		// We wait for longer before we look, so that the service is the one that is ended, if it waits as well.
		_ = w.postgres.exec(ctx, `SET deadlock_timeout = '5s'`, `BEGIN`, `LOCK TABLE changes IN ACCESS EXCLUSIVE MODE`, `SELECT pg_sleep(0.3)`,
			`UPDATE organisation_log SET known_until = known_until`, `ROLLBACK`)
	}
	sleep(ctx, 2*time.Second) // until it is counted
	conn, err := w.postgres.connect(ctx)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var ended int
	if err := conn.QueryRow(ctx, countDeadlocks).Scan(&ended); err != nil {
		return err
	}
	w.say("%d deadlocks", ended)
	if ended == 0 {
		return errors.New("there was no deadlock")
	}
	return nil
}
