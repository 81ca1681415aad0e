package service

import (
	"context"
	"time"

	"github.com/google/uuid"
)

// Sessions knows which sessions on the board were ended before they were too old.
type Sessions interface {
	// EndSession ends one; from until on it may be forgotten.
	EndSession(ctx context.Context, org OrgID, id uuid.UUID, until time.Time) error
	// SessionEnded tells whether one was ended.
	SessionEnded(ctx context.Context, org OrgID, id uuid.UUID) (bool, error)
}
