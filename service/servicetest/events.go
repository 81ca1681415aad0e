package servicetest

import (
	"context"
	"slices"
	"time"

	"rideout/service"
	"rideout/service/fleet"
)

// tell notes what a transaction recorded, enters it in the log, and wakes whoever watches.
func (b *book) tell(r *recorder) {
	for _, p := range r.plans {
		b.planned(r.org, p)
	}
	for _, f := range r.forecasts {
		b.happened(r.org, service.Event{Kind: fleet.KindForecast, EntityID: f.ID, Version: 1, At: f.RecordedAt}, slices.Concat(f.Area, []byte{'\n'}, f.Sent), f.By)
	}
	for _, v := range r.versions {
		b.happened(r.org, service.Event{Kind: v.Kind, EntityID: v.ID, Version: v.Version, At: v.RecordedAt}, v.Body, v.By)
	}
	for _, k := range r.hooks {
		b.happened(r.org, service.Event{Kind: service.KindWebhook, EntityID: k.ID, Version: k.Version, At: r.stamp.RecordedAt}, k.Body, k.By)
	}
	for c := range b.watchers {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// Events reads what was told. Here plans come before the rest of their transaction.
func (h *History) Events(_ context.Context, org service.OrgID, after int64, since time.Time, limit int) (service.EventPage, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.bookOf(org)
	page := service.EventPage{Latest: int64(len(b.events)), Oldest: int64(len(b.events)) + 1}
	for i := len(b.events) - 1; i >= 0 && !b.events[i].At.Before(since); i-- {
		page.Oldest = b.events[i].Sequence
	}
	if after < page.Latest {
		page.Items = b.events[after:min(page.Latest, after+int64(limit))]
	}
	return page, h.Err
}

// Watch wakes for an organisation's changes.
func (h *History) Watch(org service.OrgID) (wake <-chan struct{}, stop func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b, c := h.bookOf(org), make(chan struct{}, 1)
	if b.watchers == nil {
		b.watchers = map[chan struct{}]bool{}
	}
	b.watchers[c] = true
	return c, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(b.watchers, c)
	}
}
