package servicetest

import (
	"cmp"
	"context"

	"github.com/google/uuid"

	"rideout/service"
)

// hook is a webhook and how far it has got.
type hook struct {
	service.Webhook
	progress   service.DeliveryPage // without pages
	deliveries []service.Delivery   // in the order they were made
	gone       bool
}

// HasDelivered notes an attempt as a job would.
func (h *History) HasDelivered(org service.OrgID, id uuid.UUID, d service.Delivery, after service.Standing) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.bookOf(org).hooks[id]
	k.deliveries = append(k.deliveries, d)
	k.progress.Delivered = max(k.progress.Delivered, after.Delivered)
	k.progress.FailingSince, k.progress.NextAttempt = after.FailingSince, after.NextAttempt
}

// Webhook returns service.ErrNotFound for an id that is unknown or another organisation's.
func (h *History) Webhook(_ context.Context, org service.OrgID, id uuid.UUID) (service.Webhook, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.bookOf(org).hooks[id]
	if h.Err != nil || k == nil {
		return service.Webhook{}, cmp.Or(h.Err, service.ErrNotFound)
	}
	return k.Webhook, nil
}

// Webhooks returns a page, newest first.
func (h *History) Webhooks(_ context.Context, org service.OrgID, from service.RecordPlace, limit int) (page service.WebhookPage, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []service.Webhook
	for _, k := range h.bookOf(org).hooks {
		all = append(all, k.Webhook)
	}
	page.Items, page.Next, page.Prev = pageByID(all, from, limit, func(w service.Webhook) uuid.UUID { return w.ID })
	return page, h.Err
}

// Deliveries returns a page of attempts, newest first.
func (h *History) Deliveries(_ context.Context, org service.OrgID, id uuid.UUID, from service.RecordPlace, limit int) (service.DeliveryPage, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.bookOf(org)
	k := b.hooks[id]
	if h.Err != nil || k == nil {
		return service.DeliveryPage{}, cmp.Or(h.Err, service.ErrNotFound)
	}
	page := k.progress
	page.Latest = int64(len(b.events))
	page.Items, page.Next, page.Prev = pageByID(k.deliveries, from, limit, func(d service.Delivery) uuid.UUID { return d.ID })
	return page, nil
}

// Replay puts a webhook back.
func (h *History) Replay(_ context.Context, org service.OrgID, id uuid.UUID, after int64) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.bookOf(org).hooks[id]
	if h.Err != nil || k == nil {
		return cmp.Or(h.Err, service.ErrNotFound)
	}
	k.progress = service.DeliveryPage{Delivered: after}
	h.jobs = append(h.jobs, service.Job{Kind: service.JobDeliver, Org: org, On: []uuid.UUID{id}})
	return nil
}

// TakeRun has nothing to do: what delivers is tested on the store.
func (*History) TakeRun(context.Context, service.OrgID, uuid.UUID, service.RunTerms) (service.Run, error) {
	return service.Run{}, nil
}

// NoteDelivery is of no use without TakeRun.
func (*History) NoteDelivery(context.Context, service.OrgID, uuid.UUID, uuid.UUID, service.Delivery, service.Standing) error {
	return service.ErrLost
}

// EndRun is of no use without TakeRun.
func (*History) EndRun(context.Context, service.OrgID, uuid.UUID, uuid.UUID) error { return nil }

func (r *recorder) Webhook(ctx context.Context, id uuid.UUID) (service.Webhook, error) {
	return r.h.Webhook(ctx, r.org, id)
}

func (r *recorder) CountWebhooks(context.Context) (int, error) {
	b := r.book()
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	return len(b.hooks), nil
}

func (r *recorder) RecordWebhook(_ context.Context, w service.Webhook) error {
	r.hooks = append(r.hooks, hook{Webhook: w})
	return nil
}

func (r *recorder) DropWebhook(_ context.Context, w service.Webhook) error {
	r.hooks = append(r.hooks, hook{Webhook: w, gone: true})
	return nil
}

// keep takes over what a transaction did to webhooks.
func (b *book) keep(hooks []hook) {
	for _, k := range hooks {
		before := b.hooks[k.ID]
		switch {
		case k.gone:
			delete(b.hooks, k.ID)
		case before != nil:
			before.Webhook = k.Webhook
		default:
			if b.hooks == nil {
				b.hooks = map[uuid.UUID]*hook{}
			}
			k.progress.Delivered = int64(len(b.events))
			b.hooks[k.ID] = &k
		}
	}
}
