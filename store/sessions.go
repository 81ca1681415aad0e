package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const (
	insertEndedSession = `
INSERT INTO ended_sessions (org_id, id, until)
VALUES (@org, @id, @until)
ON CONFLICT DO NOTHING`
	sweepEndedSessions = `
DELETE FROM ended_sessions
WHERE org_id = @org AND until < now()`
	selectEndedSession = `
SELECT EXISTS (SELECT FROM ended_sessions WHERE org_id = $1 AND id = $2)`
)

// EndSession notes that a session was ended, and forgets those of the organisation that are too old by now.
func (s *Store) EndSession(ctx context.Context, org service.OrgID, id uuid.UUID, until time.Time) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		for _, sql := range []string{sweepEndedSessions, insertEndedSession} {
			if _, err := tx.Exec(ctx, sql, pgx.NamedArgs{"org": org, "id": id, "until": until}); err != nil {
				return unavailable(ctx, err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("end a session: %w", err)
	}
	return nil
}

// SessionEnded tells whether a session was ended.
func (s *Store) SessionEnded(ctx context.Context, org service.OrgID, id uuid.UUID) (ended bool, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		return unavailable(ctx, tx.QueryRow(ctx, selectEndedSession, org, id).Scan(&ended))
	})
	if err != nil {
		return false, fmt.Errorf("look up a session: %w", err)
	}
	return ended, nil
}
