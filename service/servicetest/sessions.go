package servicetest

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

// EndSession ends a session, for good.
func (h *History) EndSession(_ context.Context, org service.OrgID, id uuid.UUID, _ time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.Err == nil {
		h.bookOf(org).ended = append(h.bookOf(org).ended, id)
	}
	return h.Err
}

// SessionEnded tells whether a session was ended.
func (h *History) SessionEnded(_ context.Context, org service.OrgID, id uuid.UUID) (bool, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Contains(h.bookOf(org).ended, id), h.Err
}
