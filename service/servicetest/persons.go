package servicetest

import (
	"context"
	"maps"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

// Texts gives what is written about people, that of this transaction included.
func (r *recorder) Texts(_ context.Context, commitments []string) (map[string]service.PersonalText, error) {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	texts := map[string]service.PersonalText{}
	for _, c := range commitments {
		if t, ok := r.h.bookOf(r.org).texts[c]; ok {
			texts[c] = t
		}
		if t, ok := r.texts[c]; ok {
			texts[c] = t
		}
	}
	return texts, nil
}

// KeepText keeps what is written about a person, when the transaction ends well.
func (r *recorder) KeepText(_ context.Context, t service.PersonalText) error {
	if r.texts == nil {
		r.texts = map[string]service.PersonalText{}
	}
	r.texts[t.Commitment] = t
	return nil
}

// Erase erases what is written about a person, when the transaction ends well.
func (r *recorder) Erase(_ context.Context, person uuid.UUID, at time.Time) (before time.Time, erased int, err error) {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	err = service.ErrNotFound
	for c, t := range r.h.bookOf(r.org).texts {
		if t.PersonID != person {
			continue
		}
		err = nil
		if t.ErasedAt.After(before) {
			before = t.ErasedAt
		}
		if t.ErasedAt.IsZero() {
			_ = r.KeepText(context.Background(), service.PersonalText{Commitment: c, PersonID: person, RecordedAt: t.RecordedAt, ErasedAt: at})
			erased++
		}
	}
	return before, erased, err
}

// keepTexts keeps what a transaction wrote about people.
func (b *book) keepTexts(r *recorder) {
	if b.texts == nil {
		b.texts = map[string]service.PersonalText{}
	}
	maps.Copy(b.texts, r.texts)
}
