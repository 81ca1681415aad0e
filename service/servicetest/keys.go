package servicetest

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

type hashedKey struct {
	service.KeyRecord
	hash []byte
}

// KeyByHash returns service.ErrNotFound for an unknown or revoked key.
func (h *History) KeyByHash(_ context.Context, hash []byte) (service.OrgID, service.KeyRecord, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for org, b := range h.books {
		for _, k := range b.keys {
			if h.Err == nil && bytes.Equal(k.hash, hash) && k.RevokedAt.IsZero() {
				return org, k.KeyRecord, nil
			}
		}
	}
	return service.OrgID{}, service.KeyRecord{}, cmp.Or(h.Err, service.ErrNotFound)
}

// KeyUsed notes the use of a key, at most once a minute.
func (h *History) KeyUsed(_ context.Context, org service.OrgID, id uuid.UUID, name string, at time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.bookOf(org)
	for i := range b.keys {
		if k := &b.keys[i]; k.ID == id && !k.LastUsedAt.After(at.Add(-time.Minute)) {
			k.LastUsedAt, k.Name = at, cmp.Or(k.Name, name)
		}
	}
	return h.Err
}

// keysNow gives what there is with what the transaction has made of it.
func (r *recorder) keysNow() []hashedKey {
	r.h.mu.Lock()
	all := slices.Clone(r.h.bookOf(r.org).keys)
	r.h.mu.Unlock()
	for _, change := range r.keyChanges {
		all = change(all)
	}
	return all
}

func (r *recorder) Key(_ context.Context, id uuid.UUID) (service.KeyRecord, error) {
	for _, k := range r.keysNow() {
		if k.ID == id {
			return k.KeyRecord, nil
		}
	}
	return service.KeyRecord{}, service.ErrNotFound
}

func (r *recorder) Keys(_ context.Context, from service.RecordPlace, limit int) (service.KeyPage, error) {
	var all []service.KeyRecord
	for _, k := range r.keysNow() {
		all = append(all, k.KeyRecord)
	}
	var page service.KeyPage
	page.Items, page.Next, page.Prev = pageByID(all, from, limit, func(k service.KeyRecord) uuid.UUID { return k.ID })
	return page, nil
}

func (r *recorder) AnotherAdmin(_ context.Context, besides uuid.UUID, after time.Time) (bool, error) {
	return slices.ContainsFunc(r.keysNow(), func(k hashedKey) bool {
		return k.ID != besides && slices.Contains(k.Scopes, service.ScopeAdmin) && !k.Ended(after)
	}), nil
}

func (r *recorder) AddKey(_ context.Context, k service.KeyRecord, hash []byte) error {
	r.keyChanges = append(r.keyChanges, func(all []hashedKey) []hashedKey { return append(all, hashedKey{k, hash}) })
	return nil
}

func (r *recorder) EndKey(_ context.Context, k service.KeyRecord) error {
	r.keyChanges = append(r.keyChanges, func(all []hashedKey) []hashedKey {
		for i := range all {
			if all[i].ID == k.ID {
				all[i].Version, all[i].ExpiresAt, all[i].RevokedAt = k.Version, k.ExpiresAt, k.RevokedAt
			}
		}
		return all
	})
	return nil
}
