package faulttest

import (
	"context"
	"time"
)

// pileUp holds what every change needs, so that all wait until their statements' time is over, and then takes locks in the opposite order
// of the service's, so that one of the two is ended as deadlocked.
func pileUp(ctx context.Context, w *World) error {
	sleep(ctx, time.Second)
	if err := w.postgres.exec(ctx, `BEGIN`, `LOCK TABLE changes IN ACCESS EXCLUSIVE MODE`, `SELECT pg_sleep(8)`, `ROLLBACK`); err != nil {
		return err
	}
	for range 5 {
		sleep(ctx, 300*time.Millisecond)
		// Either may be the one that is ended; for us it does not matter.
		_ = w.postgres.exec(ctx, `SET deadlock_timeout = '5s'`, `BEGIN`, `LOCK TABLE changes IN ACCESS EXCLUSIVE MODE`, `SELECT pg_sleep(0.3)`,
			`UPDATE organisation_log SET known_until = known_until`, `ROLLBACK`)
	}
	return nil
}
