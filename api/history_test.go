package api_test

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

// history keeps plans in memory.
type history struct {
	mu      sync.Mutex
	plans   []ownedPlan
	answers map[string]claimed
	err     error // what Once, Plan and Plans return, if set
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

func (h *history) Once(ctx context.Context, org service.OrgID, claim service.Claim, work func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	at := org.String() + claim.Route + claim.Key
	h.mu.Lock()
	before, known := h.answers[at]
	switch {
	case h.err != nil:
		h.mu.Unlock()
		return service.Answer{}, false, h.err
	case known && before.request != claim.RequestSHA256:
		h.mu.Unlock()
		return service.Answer{}, false, service.ErrKeyReused
	case known && !before.done:
		h.mu.Unlock()
		return service.Answer{}, false, service.ErrInFlight
	case known:
		h.mu.Unlock()
		return before.answer, true, nil
	}
	h.answers[at] = claimed{request: claim.RequestSHA256}
	h.mu.Unlock()

	recorded := &recorder{}
	answer, err := work(ctx, recorded)
	h.mu.Lock()
	defer h.mu.Unlock()
	if err != nil {
		delete(h.answers, at)
		return service.Answer{}, false, err
	}
	for _, p := range recorded.plans {
		h.plans = append(h.plans, ownedPlan{org, p})
	}
	h.answers[at] = claimed{claim.RequestSHA256, true, answer}
	return answer, false, nil
}

type recorder struct{ plans []service.PlanRecord }

func (r *recorder) RecordPlan(_ context.Context, p service.PlanRecord) error {
	r.plans = append(r.plans, p)
	return nil
}

func (h *history) stored() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.plans)
}

func (h *history) Plan(_ context.Context, org service.OrgID, id uuid.UUID) (service.PlanRecord, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, p := range h.plans {
		if h.err == nil && p.org == org && p.ID == id {
			return p.PlanRecord, nil
		}
	}
	return service.PlanRecord{}, cmp.Or(h.err, service.ErrNotFound)
}

// Plans pages as the interface says: newest first, by (created_at, id).
func (h *history) Plans(_ context.Context, org service.OrgID, f service.PlanFilter, from service.Place, limit int) (service.PlanPage, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []service.PlanSummary
	for _, p := range h.plans {
		if p.org == org && (f.VesselName == "" || f.VesselName == p.VesselName) && (f.Intent == "" || f.Intent == p.Intent) &&
			(f.InputSHA256 == "" || f.InputSHA256 == p.InputSHA256) && !p.CreatedAt.Before(f.CreatedFrom) &&
			(f.CreatedBefore.IsZero() || p.CreatedAt.Before(f.CreatedBefore)) {
			all = append(all, service.PlanSummary{ID: p.ID, CreatedAt: p.CreatedAt, VesselName: p.VesselName, Intent: p.Intent, Engine: p.Engine, InputSHA256: p.InputSHA256, PeakN: p.PeakN, PayOutM: p.PayOutM})
		}
	}
	older := func(at time.Time, id uuid.UUID, than service.Place) int {
		return cmp.Or(than.CreatedAt.Compare(at), bytes.Compare(than.ID[:], id[:]))
	}
	slices.SortFunc(all, func(a, b service.PlanSummary) int {
		return older(a.CreatedAt, a.ID, service.Place{CreatedAt: b.CreatedAt, ID: b.ID})
	})
	begin, end := 0, len(all)
	if from.ID != uuid.Nil {
		cut, _ := slices.BinarySearchFunc(all, from, func(s service.PlanSummary, p service.Place) int { return older(s.CreatedAt, s.ID, p) })
		if from.Backward {
			end = cut
		} else {
			begin = cut + 1
		}
	}
	if from.Backward {
		begin = max(0, end-limit)
	} else {
		end = min(end, begin+limit)
	}
	page := service.PlanPage{Items: all[begin:end]}
	if end < len(all) && end > begin {
		page.Next = &service.Place{CreatedAt: all[end-1].CreatedAt, ID: all[end-1].ID}
	}
	if begin > 0 && end > begin {
		page.Prev = &service.Place{CreatedAt: all[begin].CreatedAt, ID: all[begin].ID, Backward: true}
	}
	return page, h.err
}
