package store

import (
	"time"

	"github.com/google/uuid"
)

func orNull(id uuid.UUID) uuid.NullUUID { return uuid.NullUUID{UUID: id, Valid: id != uuid.Nil} }

func orZero(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return *t
}

func orNullTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
