// Package servicetest is a History in memory, for tests. It does what package store does, by walking over everything.
package servicetest

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

// History keeps plans and the book in memory. The zero value is empty and ready.
type History struct {
	mu      sync.Mutex
	plans   []ownedPlan
	answers map[string]claimed
	books   map[service.OrgID]*book
	jobs    []service.Job

	forecasts []ownedForecast

	// Err is what every method returns, if set; CommitErr is what only a transaction does that would record.
	Err, CommitErr error
}

type ownedPlan struct {
	org service.OrgID
	service.PlanRecord
}

type claimed struct {
	request string
	done    bool
	answer  service.Answer
}

// Once does work at most once for a claim. Unlike a store's, a claim never runs out.
func (h *History) Once(ctx context.Context, org service.OrgID, claim service.Claim, work func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	return h.once(org, claim, func() (answer service.Answer, err error) {
		err = h.Change(ctx, org, func(ctx context.Context, rec service.Recorder) (err error) {
			answer, err = work(ctx, rec)
			return err
		})
		return answer, err
	})
}

func (h *History) once(org service.OrgID, claim service.Claim, work func() (service.Answer, error)) (service.Answer, bool, error) {
	at := org.String() + claim.Key
	request := claim.Route + " " + claim.RequestSHA256
	h.mu.Lock()
	before, known := h.answers[at]
	switch {
	case h.Err != nil:
		h.mu.Unlock()
		return service.Answer{}, false, h.Err
	case known && before.request != request:
		h.mu.Unlock()
		return service.Answer{}, false, service.ErrKeyReused
	case known && !before.done:
		h.mu.Unlock()
		return service.Answer{}, false, service.ErrInFlight
	case known:
		h.mu.Unlock()
		return before.answer, true, nil
	}
	if h.answers == nil {
		h.answers = map[string]claimed{}
	}
	h.answers[at] = claimed{request: request}
	h.mu.Unlock()

	answer, err := work()
	h.mu.Lock()
	defer h.mu.Unlock()
	if err != nil {
		delete(h.answers, at)
		return service.Answer{}, false, err
	}
	h.answers[at] = claimed{request, true, answer}
	return answer, false, nil
}

// Stored counts the plans.
func (h *History) Stored() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.plans)
}

// Jobs gives what was noted for later.
func (h *History) Jobs() []service.Job {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.jobs)
}

// Plan returns service.ErrNotFound for an id that is unknown or another organisation's.
func (h *History) Plan(_ context.Context, org service.OrgID, id uuid.UUID) (service.PlanRecord, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, p := range h.plans {
		if h.Err == nil && p.org == org && p.ID == id {
			return p.PlanRecord, nil
		}
	}
	return service.PlanRecord{}, cmp.Or(h.Err, service.ErrNotFound)
}

// PlanAnswer is the Answer of Plan.
func (h *History) PlanAnswer(ctx context.Context, org service.OrgID, id uuid.UUID) ([]byte, error) {
	p, err := h.Plan(ctx, org, id)
	return p.Answer, err
}

// PlanSHA256 is its hash.
func (h *History) PlanSHA256(ctx context.Context, org service.OrgID, id uuid.UUID) (string, error) {
	p, err := h.Plan(ctx, org, id)
	return hexSHA256(p.Answer), err
}

// Plans pages as the interface says: newest first, by (created_at, id).
func (h *History) Plans(_ context.Context, org service.OrgID, f service.PlanFilter, from service.Place, limit int) (service.PlanPage, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []service.PlanSummary
	for _, p := range h.plans {
		if p.org == org && (f.VesselName == "" || f.VesselName == p.VesselName) && (f.Intent == "" || f.Intent == p.Intent) &&
			(f.VesselID == uuid.Nil || f.VesselID == p.VesselID) &&
			(f.InputSHA256 == "" || f.InputSHA256 == p.InputSHA256) && !p.CreatedAt.Before(f.CreatedFrom) &&
			(f.CreatedBefore.IsZero() || p.CreatedAt.Before(f.CreatedBefore)) {
			all = append(all, service.PlanSummary{
				ID: p.ID, CreatedAt: p.CreatedAt, VesselName: p.VesselName, Intent: p.Intent, Engine: p.Engine, InputSHA256: p.InputSHA256,
				PeakN: p.PeakN, PayOutM: p.PayOutM, VesselID: p.VesselID, Supersedes: p.Supersedes,
			})
		}
	}
	older := func(at time.Time, id uuid.UUID, than service.Place) int {
		return cmp.Or(than.CreatedAt.Compare(at), bytes.Compare(than.ID[:], id[:]))
	}
	slices.SortFunc(all, func(a, b service.PlanSummary) int {
		return older(a.CreatedAt, a.ID, service.Place{CreatedAt: b.CreatedAt, ID: b.ID})
	})
	begin, end := span(all, from.ID != uuid.Nil, from.Backward, limit, func(s service.PlanSummary) int { return older(s.CreatedAt, s.ID, from) })
	page := service.PlanPage{Items: all[begin:end]}
	if end < len(all) && end > begin {
		page.Next = &service.Place{CreatedAt: all[end-1].CreatedAt, ID: all[end-1].ID}
	}
	if begin > 0 && end > begin {
		page.Prev = &service.Place{CreatedAt: all[begin].CreatedAt, ID: all[begin].ID, Backward: true}
	}
	return page, h.Err
}

// span gives the begin and end of a page. The order tells whether an item comes before the place, is at it or comes after.
func span[T any](all []T, given, backward bool, limit int, order func(T) int) (begin, end int) {
	end = len(all)
	if given {
		cut, _ := slices.BinarySearchFunc(all, struct{}{}, func(item T, _ struct{}) int { return order(item) })
		if backward {
			end = cut
		} else {
			begin = cut + 1
		}
	}
	if backward {
		return max(0, end-limit), end
	}
	return begin, min(end, begin+limit)
}

// pageByID gives a page of what is named by ids, newest first, and the places of those beside it.
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
