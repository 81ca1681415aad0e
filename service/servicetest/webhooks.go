package servicetest

import (
	"bytes"
	"context"
	"slices"

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
		return service.Webhook{}, orNotFound(h.Err)
	}
	return k.Webhook, nil
}

func orNotFound(err error) error {
	if err != nil {
		return err
	}
	return service.ErrNotFound
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
		return service.DeliveryPage{}, orNotFound(h.Err)
	}
	page := k.progress
	page.Latest = int64(len(b.events))
	page.Items, page.Next, page.Prev = pageByID(k.deliveries, from, limit, func(d service.Delivery) uuid.UUID { return d.ID })
	return page, nil
}

func pageByID[T any](all []T, from service.RecordPlace, limit int, idOf func(T) uuid.UUID) (items []T, next, prev *service.RecordPlace) {
	older := func(id, than uuid.UUID) int { return bytes.Compare(than[:], id[:]) }
	all = slices.Clone(all)
	slices.SortFunc(all, func(a, b T) int { return older(idOf(a), idOf(b)) })
	begin, end := span(all, from.ID != uuid.Nil, from.Backward, limit, func(v T) int { return older(idOf(v), from.ID) })
	if end < len(all) && end > begin {
		next = &service.RecordPlace{ID: idOf(all[end-1])}
	}
	if begin > 0 && end > begin {
		prev = &service.RecordPlace{ID: idOf(all[begin]), Backward: true}
	}
	return all[begin:end], next, prev
}

// Replay puts a webhook back.
func (h *History) Replay(_ context.Context, org service.OrgID, id uuid.UUID, after int64) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.bookOf(org).hooks[id]
	if h.Err != nil || k == nil {
		return orNotFound(h.Err)
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
