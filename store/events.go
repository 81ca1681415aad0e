package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const (
	selectEvents = `
SELECT seq, kind, entity_id, version, recorded_at
FROM changes
WHERE org_id = @org AND seq > @after
ORDER BY seq
LIMIT @limit`
	// The log's row and the changes are committed together, so what one statement reads of both agrees.
	selectEventSpan = `
SELECT seq, coalesce((
    SELECT c.seq
    FROM changes c
    WHERE c.org_id = l.org_id AND c.recorded_at >= $2
    ORDER BY c.recorded_at, c.seq
    LIMIT 1), l.seq + 1)
FROM organisation_log l
WHERE l.org_id = $1`
)

// Events reads changes as events, as service.EventLog says. A change takes its number under the lock of the
// organisation's log, which is held until it can be seen, so whoever sees a number sees all before it.
func (s *Store) Events(ctx context.Context, org service.OrgID, after int64, since time.Time, limit int) (page service.EventPage, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		rows, err := tx.Query(ctx, selectEvents, pgx.NamedArgs{"org": org, "after": after, "limit": limit})
		if err != nil {
			return unavailable(ctx, err)
		}
		page.Items, err = pgx.CollectRows(rows, scanEvent)
		if err != nil {
			return unavailable(ctx, err)
		}
		return found(ctx, tx.QueryRow(ctx, selectEventSpan, org, since).Scan(&page.Latest, &page.Oldest))
	})
	if err != nil {
		return service.EventPage{}, fmt.Errorf("events: %w", err)
	}
	return page, nil
}

func scanEvent(row pgx.CollectableRow) (e service.Event, err error) {
	err = row.Scan(&e.Sequence, &e.Kind, &e.EntityID, &e.Version, &e.At)
	return e, err
}
