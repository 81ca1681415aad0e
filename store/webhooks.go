package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/store/jobs"
)

const (
	webhookColumns = `id, version, url, kinds, state, body, body_sha256`
	selectWebhook  = `
SELECT ` + webhookColumns + `
FROM webhooks
WHERE org_id = $1 AND id = $2`
	selectWebhookSecrets = `
SELECT sealed, made_at, until
FROM webhook_secrets
WHERE org_id = $1 AND webhook_id = $2
ORDER BY made_at DESC`
)

// Webhook returns service.ErrNotFound for an id that is unknown or another organisation's.
func (s *Store) Webhook(ctx context.Context, org service.OrgID, id uuid.UUID) (hook service.Webhook, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) (err error) {
		hook, err = oneWebhook(ctx, tx, selectWebhook, org, id)
		return err
	})
	if err != nil {
		return service.Webhook{}, fmt.Errorf("webhook: %w", err)
	}
	return hook, nil
}

func oneWebhook(ctx context.Context, tx pgx.Tx, sql string, org service.OrgID, id uuid.UUID) (service.Webhook, error) {
	rows, err := tx.Query(ctx, sql, org, id)
	if err != nil {
		return service.Webhook{}, unavailable(ctx, err)
	}
	hook, err := pgx.CollectExactlyOneRow(rows, scanWebhook)
	return hook, found(ctx, err)
}

func scanWebhook(row pgx.CollectableRow) (h service.Webhook, err error) {
	var url, state string
	var kinds []string
	if err := row.Scan(&h.ID, &h.Version, &url, &kinds, &state, &h.Body, &h.BodySHA256); err != nil {
		return h, err
	}
	h.Wish, h.By, err = service.ReadWebhookBody(h.Body)
	h.Wish.URL, h.Wish.Kinds, h.Wish.State = url, kinds, service.WebhookState(state)
	return h, err
}

// Webhooks returns a page of at most limit, newest first.
func (s *Store) Webhooks(ctx context.Context, org service.OrgID, from service.RecordPlace, limit int) (page service.WebhookPage, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		page.Items, page.Next, page.Prev, err = pageByID(ctx, tx, `SELECT `+webhookColumns+` FROM webhooks WHERE org_id = @org`,
			pgx.NamedArgs{"org": org}, from, limit, scanWebhook, func(h service.Webhook) uuid.UUID { return h.ID })
		return err
	})
	if err != nil {
		return service.WebhookPage{}, fmt.Errorf("webhooks: %w", err)
	}
	return page, nil
}

// Webhook reads one for a change.
func (r *recorder) Webhook(ctx context.Context, id uuid.UUID) (service.Webhook, error) {
	hook, err := oneWebhook(ctx, r.tx, selectWebhook+"\nFOR UPDATE", r.org, id)
	if err != nil {
		return service.Webhook{}, err
	}
	hook.Secrets, err = secretsOf(ctx, r.tx, r.org, id)
	return hook, err
}

func secretsOf(ctx context.Context, tx pgx.Tx, org service.OrgID, id uuid.UUID) ([]service.SealedSecret, error) {
	rows, err := tx.Query(ctx, selectWebhookSecrets, org, id)
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	secrets, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (secret service.SealedSecret, err error) {
		var until *time.Time
		err = row.Scan(&secret.Sealed, &secret.MadeAt, &until)
		secret.Until = orZero(until)
		return secret, err
	})
	return secrets, unavailable(ctx, err)
}

// CountWebhooks counts the organisation's.
func (r *recorder) CountWebhooks(ctx context.Context) (n int, err error) {
	return n, unavailable(ctx, r.tx.QueryRow(ctx, `SELECT count(*) FROM webhooks WHERE org_id = $1`, r.org).Scan(&n))
}

const (
	// A new webhook begins with the change that makes it. Of one that is changed the pauses end: it is tried at once.
	upsertWebhook = `
INSERT INTO webhooks (org_id, id, version, url, kinds, state, body, body_sha256, delivered)
VALUES (@org, @id, @version, @url, @kinds, @state, @body, @body_sha256, @seq - 1)
ON CONFLICT (org_id, id) DO UPDATE
SET version       = excluded.version,
    url           = excluded.url,
    kinds         = excluded.kinds,
    state         = excluded.state,
    body          = excluded.body,
    body_sha256   = excluded.body_sha256,
    failures      = 0,
    failing_since = NULL,
    next_at       = NULL,
    waiting_since = NULL`
	deleteSecrets = `
DELETE FROM webhook_secrets
WHERE org_id = $1 AND webhook_id = $2`
	insertSecret = `
INSERT INTO webhook_secrets (org_id, webhook_id, made_at, until, sealed)
VALUES (@org, @webhook, @made_at, @until, @sealed)`
)

// RecordWebhook records a version and notes the change.
func (r *recorder) RecordWebhook(ctx context.Context, h service.Webhook) error {
	batch := &pgx.Batch{}
	batch.Queue(upsertWebhook, pgx.NamedArgs{
		"org": r.org, "id": h.ID, "version": h.Version, "url": h.Wish.URL, "kinds": h.Wish.Kinds, "state": h.Wish.State,
		"body": h.Body, "body_sha256": h.BodySHA256, "seq": r.stamp.Seq,
	})
	batch.Queue(deleteSecrets, r.org, h.ID)
	for _, s := range h.Secrets {
		batch.Queue(insertSecret, pgx.NamedArgs{"org": r.org, "webhook": h.ID, "made_at": s.MadeAt, "until": orNullTime(s.Until), "sealed": s.Sealed})
	}
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("record webhook: %w", unavailable(ctx, err))
	}
	if err := r.note(ctx, service.KindWebhook, h.ID, h.Version, h.BodySHA256, h.By); err != nil {
		return fmt.Errorf("record webhook: %w", err)
	}
	// This one too, which was not there or not active when the turn came.
	batch = &pgx.Batch{}
	r.wake(batch)
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("record webhook: %w", unavailable(ctx, err))
	}
	return nil
}

// DropWebhook forgets a webhook and notes the change.
func (r *recorder) DropWebhook(ctx context.Context, h service.Webhook) error {
	batch := &pgx.Batch{}
	batch.Queue(deleteSecrets, r.org, h.ID)
	batch.Queue(`DELETE FROM webhook_deliveries WHERE org_id = $1 AND webhook_id = $2`, r.org, h.ID)
	batch.Queue(`DELETE FROM webhooks WHERE org_id = $1 AND id = $2`, r.org, h.ID)
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("drop webhook: %w", unavailable(ctx, err))
	}
	if err := r.note(ctx, service.KindWebhook, h.ID, h.Version, h.BodySHA256, h.By); err != nil {
		return fmt.Errorf("drop webhook: %w", err)
	}
	return nil
}

// A job once noted comes, whatever happens in between; one that has been missing for longer than any pause is noted anew.
const wakeWebhooks = `
UPDATE webhooks
SET waiting_since = now()
WHERE org_id = $1 AND state = 'active' AND (waiting_since IS NULL OR waiting_since < now() - interval '3 days')
RETURNING id`

// wake has a job noted for each webhook that has none coming, in the transaction of the change that it is to tell. It is asked
// for with the turn, in the same round trip.
//
// A job that finds nothing more to tell says so under the lock of the organisation's log, which every change holds. So a
// change that still saw it coming is one it saw itself, and any later one notes another.
func (r *recorder) wake(batch *pgx.Batch) {
	batch.Queue(wakeWebhooks, r.org).Query(func(rows pgx.Rows) error {
		ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
		ids = slices.DeleteFunc(ids, func(id uuid.UUID) bool { return slices.Contains(r.woken, id) })
		r.woken = append(r.woken, ids...)
		if len(ids) > 0 {
			r.tx.then(func(ctx context.Context) error { return r.deliverLater(ctx, ids...) })
		}
		return err
	})
}

func (r *recorder) deliverLater(ctx context.Context, ids ...uuid.UUID) error {
	noted := make([]service.Job, len(ids))
	for i, id := range ids {
		noted[i] = service.Job{Kind: service.JobDeliver, Org: r.org, On: []uuid.UUID{id}}
	}
	return unavailable(ctx, jobs.Insert(ctx, r.tx, noted...))
}
