package servicetest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
)

// Holders gives the vessels that ever had an MMSI.
func (h *History) Holders(_ context.Context, mmsi string) (holders []service.Holder, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for org, b := range h.books {
		for _, v := range b.versions {
			var vessel fleet.Vessel
			holder := service.Holder{Org: org, Vessel: v.ID}
			if v.Kind == fleet.KindVessel && json.Unmarshal(v.Body, &vessel) == nil && vessel.MMSI == mmsi && !slices.Contains(holders, holder) {
				holders = append(holders, holder)
			}
		}
	}
	return holders, h.Err
}

// Lent gives a history that shows one vessel and her plans.
func (h *History) Lent(holder service.Holder) service.History { return &lent{h, holder} }

type lent struct {
	*History
	holder service.Holder
}

var errLent = errors.New("a vessel that is lent is read only, and of her own organisation")

func (l *lent) Once(context.Context, service.OrgID, service.Claim, func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	return service.Answer{}, false, errLent
}

func (l *lent) Change(context.Context, service.OrgID, func(context.Context, service.Recorder) error) error {
	return errLent
}

func (l *lent) Plan(ctx context.Context, org service.OrgID, id uuid.UUID) (service.PlanRecord, error) {
	p, err := l.History.Plan(ctx, org, id)
	if err == nil && (org != l.holder.Org || p.VesselID != l.holder.Vessel) {
		return service.PlanRecord{}, service.ErrNotFound
	}
	return p, err
}

func (l *lent) PlanAnswer(context.Context, service.OrgID, uuid.UUID) ([]byte, error) {
	return nil, errLent
}

func (l *lent) PlanSHA256(context.Context, service.OrgID, uuid.UUID) (string, error) {
	return "", errLent
}

func (l *lent) Plans(ctx context.Context, org service.OrgID, f service.PlanFilter, from service.Place, limit int) (service.PlanPage, error) {
	if org != l.holder.Org || f.VesselID != l.holder.Vessel {
		return service.PlanPage{}, errLent
	}
	return l.History.Plans(ctx, org, f, from, limit)
}

func (l *lent) View(ctx context.Context, org service.OrgID, knownAt time.Time, read func(context.Context, service.Reader) error) error {
	if org != l.holder.Org || !knownAt.IsZero() {
		return errLent
	}
	return l.History.View(ctx, org, knownAt, func(ctx context.Context, reader service.Reader) error {
		return read(ctx, lentReader{reader, l.holder.Vessel})
	})
}

// lentReader reads the versions of one vessel.
type lentReader struct {
	service.Reader
	vessel uuid.UUID
}

func (r lentReader) InForce(ctx context.Context, kind fleet.Kind, id uuid.UUID, at service.AsOf) (service.Version, error) {
	if kind != fleet.KindVessel || id != r.vessel {
		return service.Version{}, service.ErrNotFound
	}
	return r.Reader.InForce(ctx, kind, id, at)
}

// Both does work in one transaction of two organisations.
func (h *History) Both(ctx context.Context, a, b service.OrgID, claim *service.Claim, work func(ctx context.Context, a, b service.Side) (service.Answer, error)) (service.Answer, bool, error) {
	do := func() (answer service.Answer, err error) {
		of := map[service.OrgID]*recorder{a: {h: h, org: a}, b: {h: h, org: b}}
		first, second := of[a], of[b]
		if bytes.Compare(b[:], a[:]) < 0 {
			first, second = second, first
		}
		first.hold()
		defer first.end()
		second.hold()
		defer second.end()
		if answer, err = work(ctx, side{of[a]}, side{of[b]}); err != nil {
			return answer, err
		}
		return answer, h.commit(first, second)
	}
	if claim == nil {
		answer, err := do()
		return answer, false, err
	}
	return h.once(a, *claim, do)
}

type side struct{ *recorder }

// Name makes an organisation's name of its id's first byte.
func (s side) Name() string { return "organisation " + s.org.String()[:2] }
