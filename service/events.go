package service

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// Event is one change of an organisation, as it is told. Its sequence is the change's own: from 1, without gaps, and
// one with a greater number is never seen before one with a smaller.
type Event struct {
	Sequence int64
	Kind     fleet.Kind
	EntityID uuid.UUID
	Version  int
	At       time.Time // when it was recorded
}

// EventPage is events in order, and what there is around them.
type EventPage struct {
	Items  []Event
	Oldest int64 // the first that is told still; Latest + 1: none is
	Latest int64 // the last there is; 0: none
}

// EventLog tells changes.
type EventLog interface {
	// Events returns at most limit events with a sequence greater than after, in order, all of them seen at one moment.
	// Oldest is the first recorded at since or later. It returns ErrNotFound for an unknown organisation.
	Events(ctx context.Context, org OrgID, after int64, since time.Time, limit int) (EventPage, error)
	// Watch gives a channel that has something to take when there may be new changes. It may wake for nothing, and once
	// for many. The caller must call stop.
	Watch(org OrgID) (wake <-chan struct{}, stop func())
}

// EventLife is how long an event is told.
const EventLife = 90 * 24 * time.Hour

// mostBehind is how many events a stream makes up for. Reading the lists anew is cheaper than more.
const mostBehind = 10_000

// Events is the use cases on what happened. All fields must be set. It is safe for concurrent use.
type Events struct {
	Log   EventLog
	Clock func() time.Time
}

// ResyncError tells a reader that events between its place and the log's are not to be had. It must read the lists
// anew and go on from After.
type ResyncError struct {
	After   int64 // the last event there is
	Message string
}

func (e *ResyncError) Error() string { return "resync: " + e.Message }

// List returns the events after a place; nil is the first that is told still. It returns a *ResyncError for a place
// before that or after the last.
func (e *Events) List(ctx context.Context, org OrgID, after *int64, limit int) (EventPage, error) {
	from := int64(0)
	if after != nil {
		from = *after
	}
	since := e.Clock().Add(-EventLife)
	page, err := e.Log.Events(ctx, org, from, since, limit)
	if err == nil && after == nil && from+1 < page.Oldest {
		from = page.Oldest - 1
		page, err = e.Log.Events(ctx, org, from, since, limit)
	}
	switch {
	case err != nil:
		return EventPage{}, sorted(err)
	case from > page.Latest:
		return EventPage{}, &ResyncError{page.Latest, fmt.Sprintf("is after the last event there is, %d", page.Latest)}
	case from+1 < page.Oldest:
		return EventPage{}, &ResyncError{page.Latest, fmt.Sprintf("is before the events of the last 90 days, which follow %d", page.Oldest-1)}
	}
	return page, nil
}

// Follow is List for a stream: it returns a *ResyncError, too, where there is too much to make up for.
func (e *Events) Follow(ctx context.Context, org OrgID, after int64, limit int) (EventPage, error) {
	page, err := e.List(ctx, org, &after, limit)
	if err == nil && page.Latest-after > mostBehind {
		return EventPage{}, &ResyncError{page.Latest, fmt.Sprintf("is %d events behind, and a stream makes up for %d", page.Latest-after, mostBehind)}
	}
	return page, err
}

// Latest returns the sequence of the last event there is, from where on a reader that knows the lists may follow.
func (e *Events) Latest(ctx context.Context, org OrgID) (int64, error) {
	page, err := e.Log.Events(ctx, org, 0, e.Clock(), 1)
	return page.Latest, sorted(err)
}

// Watch is EventLog's.
func (e *Events) Watch(org OrgID) (wake <-chan struct{}, stop func()) { return e.Log.Watch(org) }
