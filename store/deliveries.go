package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const (
	selectDeliveries = `
SELECT id, seq, attempt, at, took_s, outcome, coalesce(status, 0)
FROM webhook_deliveries
WHERE org_id = @org AND webhook_id = @webhook`
	selectProgress = `
SELECT w.delivered, l.seq, w.failing_since, w.next_at
FROM webhooks w
JOIN organisation_log l ON l.org_id = w.org_id
WHERE w.org_id = $1 AND w.id = $2`
)

// Deliveries returns a page of a webhook's attempts, newest first.
func (s *Store) Deliveries(ctx context.Context, org service.OrgID, id uuid.UUID, from service.RecordPlace, limit int) (page service.DeliveryPage, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) (err error) {
		var failing, next *time.Time
		if err := found(ctx, tx.QueryRow(ctx, selectProgress, org, id).Scan(&page.Delivered, &page.Latest, &failing, &next)); err != nil {
			return err
		}
		page.FailingSince, page.NextAttempt = orZero(failing), orZero(next)
		page.Items, page.Next, page.Prev, err = pageByID(ctx, tx, selectDeliveries, pgx.NamedArgs{"org": org, "webhook": id}, from, limit,
			scanDelivery, func(d service.Delivery) uuid.UUID { return d.ID })
		return err
	})
	if err != nil {
		return service.DeliveryPage{}, fmt.Errorf("deliveries: %w", err)
	}
	return page, nil
}

func scanDelivery(row pgx.CollectableRow) (d service.Delivery, err error) {
	var seconds float64
	err = row.Scan(&d.ID, &d.Sequence, &d.Attempt, &d.At, &seconds, &d.Outcome, &d.Status)
	d.Took = time.Duration(seconds * float64(time.Second))
	return d, err
}

const replayWebhook = `
UPDATE webhooks
SET delivered     = @after,
    failures      = 0,
    failing_since = NULL,
    next_at       = NULL,
    waiting_since = CASE state WHEN 'active' THEN now() END,
    lease         = NULL,
    leased_until  = NULL
WHERE org_id = @org AND id = @id
RETURNING state`

// Replay makes the events after a place be sent again. Taking the lease away keeps a job at work from noting its own place over it.
func (s *Store) Replay(ctx context.Context, org service.OrgID, id uuid.UUID, after int64) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		var state service.WebhookState
		if err := found(ctx, tx.QueryRow(ctx, replayWebhook, pgx.NamedArgs{"org": org, "id": id, "after": after}).Scan(&state)); err != nil {
			return err
		}
		if state != service.WebhookActive {
			return nil // it begins there once it is active
		}
		return newRecorder(tx, org).deliverLater(ctx, id)
	})
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	return nil
}

const (
	// shareLog waits for changes that are being recorded and keeps out further ones.
	shareLog = `
SELECT seq
FROM organisation_log
WHERE org_id = $1
FOR SHARE`
	selectRun = `
SELECT delivered, failures, failing_since, greatest(next_at, leased_until)
FROM webhooks
WHERE org_id = $1 AND id = $2`
	selectRunEvents = `
SELECT seq, kind, entity_id, version, recorded_at
FROM changes
WHERE org_id = @org AND seq > @after AND (@kinds::text[] IS NULL OR kind = ANY (@kinds))
ORDER BY seq
LIMIT @limit`
	// Of a webhook that is not sent to the place stays.
	restWebhook = `
UPDATE webhooks
SET delivered     = CASE state WHEN 'active' THEN @latest ELSE delivered END,
    waiting_since = NULL,
    lease         = NULL,
    leased_until  = NULL
WHERE org_id = @org AND id = @id`
	leaseWebhook = `
UPDATE webhooks
SET waiting_since = now(),
    lease         = @lease,
    leased_until  = @until
WHERE org_id = @org AND id = @id`
	waitWebhook = `
UPDATE webhooks
SET waiting_since = now()
WHERE org_id = $1 AND id = $2`
	deleteOldDeliveries = `
DELETE FROM webhook_deliveries
WHERE org_id = $1 AND webhook_id = $2 AND at < $3`
)

// TakeRun gives a job what is to be delivered next, as service.WebhookLog says.
func (s *Store) TakeRun(ctx context.Context, org service.OrgID, id uuid.UUID, t service.RunTerms) (run service.Run, err error) {
	err = s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) (err error) {
		run, err = takeRun(ctx, tx, org, id, t)
		return err
	})
	if err != nil {
		return service.Run{}, fmt.Errorf("take a run: %w", err)
	}
	return run, nil
}

// takeRun holds the log's lock so that a rest it notes is one no change can have overlooked; see recorder.wake.
func takeRun(ctx context.Context, tx pgx.Tx, org service.OrgID, id uuid.UUID, t service.RunTerms) (run service.Run, err error) {
	var latest, delivered int64
	if err := found(ctx, tx.QueryRow(ctx, shareLog, org).Scan(&latest)); err != nil {
		return run, err
	}
	if run.Webhook, err = oneWebhook(ctx, tx, selectWebhook+"\nFOR UPDATE", org, id); err != nil {
		return run, err
	}
	var failing, notBefore *time.Time
	if err := found(ctx, tx.QueryRow(ctx, selectRun, org, id).Scan(&delivered, &run.Failures, &failing, &notBefore)); err != nil {
		return run, err
	}
	run.FailingSince = orZero(failing)
	active := run.Webhook.Wish.State == service.WebhookActive
	if wait := orZero(notBefore).Sub(t.Now); active && wait > 0 {
		run.Wait = wait
		_, err := tx.Exec(ctx, waitWebhook, org, id)
		return run, unavailable(ctx, err)
	}
	if active {
		args := pgx.NamedArgs{"org": org, "after": delivered, "kinds": run.Webhook.Wish.Kinds, "limit": t.Limit}
		rows, err := tx.Query(ctx, selectRunEvents, args)
		if err != nil {
			return run, unavailable(ctx, err)
		}
		if run.Events, err = pgx.CollectRows(rows, scanEvent); err != nil {
			return run, unavailable(ctx, err)
		}
	}
	if len(run.Events) == 0 {
		_, err := tx.Exec(ctx, restWebhook, pgx.NamedArgs{"org": org, "id": id, "latest": latest})
		return run, unavailable(ctx, err)
	}
	if run.Webhook.Secrets, err = secretsOf(ctx, tx, org, id); err != nil {
		return run, err
	}
	if _, err := tx.Exec(ctx, deleteOldDeliveries, org, id, t.Now.Add(-service.DeliveryLife)); err != nil {
		return run, unavailable(ctx, err)
	}
	_, err = tx.Exec(ctx, leaseWebhook, pgx.NamedArgs{"org": org, "id": id, "lease": t.Lease, "until": t.Until})
	return run, unavailable(ctx, err)
}

const (
	// What an attempt says of the failures holds for the version it was made for alone: a changed webhook begins anew.
	progressWebhook = `
UPDATE webhooks
SET delivered     = greatest(delivered, @delivered),
    failures      = CASE version WHEN @version THEN @failures ELSE failures END,
    failing_since = CASE version WHEN @version THEN @failing_since ELSE failing_since END,
    next_at       = CASE version WHEN @version THEN @next_at ELSE next_at END,
    lease         = CASE WHEN version = @version AND @until::timestamptz IS NOT NULL THEN lease END,
    leased_until  = CASE version WHEN @version THEN @until::timestamptz END
WHERE org_id = @org AND id = @id AND lease = @lease
RETURNING version = @version`
	insertDelivery = `
INSERT INTO webhook_deliveries (org_id, webhook_id, id, seq, attempt, at, took_s, outcome, status)
SELECT org_id, id, @delivery, @seq, @attempt, @at, @took_s, @outcome, nullif(@status, 0)
FROM webhooks
WHERE org_id = @org AND id = @id`
)

// NoteDelivery keeps an attempt, as service.WebhookLog says. The attempt is kept even if the webhook was taken from the
// job: it was made. So is that it was delivered, unless the webhook was put back to be sent to again.
func (s *Store) NoteDelivery(ctx context.Context, org service.OrgID, id, lease uuid.UUID, d service.Delivery, after service.Standing) error {
	same := false
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		err := tx.QueryRow(ctx, progressWebhook, pgx.NamedArgs{
			"org": org, "id": id, "lease": lease, "version": after.Version, "delivered": after.Delivered, "failures": after.Failures,
			"failing_since": orNullTime(after.FailingSince), "next_at": orNullTime(after.NextAttempt), "until": orNullTime(after.Until),
		}).Scan(&same)
		if err != nil && !errors.Is(err, pgx.ErrNoRows) {
			return unavailable(ctx, err)
		}
		_, err = tx.Exec(ctx, insertDelivery, pgx.NamedArgs{
			"org": org, "id": id, "delivery": d.ID, "seq": d.Sequence, "attempt": d.Attempt, "at": d.At, "took_s": d.Took.Seconds(),
			"outcome": d.Outcome, "status": d.Status,
		})
		return unavailable(ctx, err)
	})
	if err == nil && !same {
		err = service.ErrLost
	}
	if err != nil {
		return fmt.Errorf("note a delivery: %w", err)
	}
	return nil
}

const endLease = `
UPDATE webhooks
SET lease        = NULL,
    leased_until = NULL
WHERE org_id = $1 AND id = $2 AND lease = $3`

// EndRun gives a webhook back.
func (s *Store) EndRun(ctx context.Context, org service.OrgID, id, lease uuid.UUID) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		_, err := tx.Exec(ctx, endLease, org, id, lease)
		return unavailable(ctx, err)
	})
	if err != nil {
		return fmt.Errorf("end a run: %w", err)
	}
	return nil
}
