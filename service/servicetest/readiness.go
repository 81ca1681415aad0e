package servicetest

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// States gives what is recorded of vessels.
func (r *recorder) States(ctx context.Context, vessels []service.Version, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	states := make([]readiness.State, len(vessels))
	for i, v := range vessels {
		s := readiness.State{ID: v.ID, Since: v.ValidFrom, FirstSeen: r.firstSeen(fleet.KindVessel, v.ID, at)}
		if err := json.Unmarshal(v.Body, &s.Vessel); err != nil {
			return nil, err
		}
		for _, item := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindGear, VesselID: v.ID, AsOf: at}) {
			g := readiness.Gear{ID: item.ID, Since: item.ValidFrom, FirstSeen: r.firstSeen(fleet.KindGear, item.ID, at)}
			g.Item = &fleet.GearItem{}
			if err := json.Unmarshal(item.Body, g.Item); err != nil {
				return nil, err
			}
			r.lastInspections(ctx, &g, at)
			if g.Item.Kind == "rode" || g.Item.Kind == "canopy" {
				lain, err := r.Lyings(ctx, []uuid.UUID{item.ID}, at)
				if err != nil {
					return nil, err
				}
				g.Lain = lain[item.ID]
			}
			s.Gear = append(s.Gear, g)
		}
		for _, held := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindDrill, Under: v.ID, AsOf: at}) {
			var d fleet.Drill
			if err := json.Unmarshal(held.Body, &d); err != nil {
				return nil, err
			}
			if !slices.Contains(readiness.NoDrill, d.Kind) && (s.Drill == nil || !d.HeldAt.Before(s.Drill.At)) {
				s.Drill = &readiness.Drill{ID: held.ID, At: d.HeldAt}
			}
		}
		for _, note := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindIncident, VesselID: v.ID, AsOf: at}) {
			incident := readiness.Incident{ID: note.ID}
			if err := json.Unmarshal(note.Body, &incident.Incident); err != nil {
				return nil, err
			}
			s.Incidents = append(s.Incidents, incident)
		}
		s.Plan = r.stormPlan(v.ID, at, storm)
		states[i] = s
	}
	return states, nil
}

// FleetStates gives what is recorded of all vessels.
func (r *recorder) FleetStates(ctx context.Context, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	return r.States(ctx, r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindVessel, AsOf: at}), at, storm)
}

// oldestFirst gives the whole list in the order of ids.
func (r *recorder) oldestFirst(ctx context.Context, q service.RecordQuery) []service.Version {
	q.Limit = 1 << 20
	page, _ := r.Records(ctx, q)
	list := slices.Clone(page.Items)
	slices.Reverse(list)
	return list
}

func (r *recorder) firstSeen(kind fleet.Kind, id uuid.UUID, at service.AsOf) (first time.Time) {
	for _, v := range r.all(kind) {
		seen := v.ID == id && !v.RecordedAt.After(at.KnownAt) && !v.ValidFrom.After(at.ValidAt)
		if seen && (first.IsZero() || v.ValidFrom.Before(first)) {
			first = v.ValidFrom
		}
	}
	return first
}

func (r *recorder) lastInspections(ctx context.Context, g *readiness.Gear, at service.AsOf) {
	for _, v := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindInspection, Under: g.ID, AsOf: at}) {
		var i fleet.Inspection
		if err := json.Unmarshal(v.Body, &i); err != nil {
			continue
		}
		if g.Inspection == nil || !i.InspectedAt.Before(g.Inspection.At) {
			g.Inspection = &readiness.Inspection{ID: v.ID, At: i.InspectedAt, Verdict: i.Verdict}
		}
		if i.ChafedShare != nil && (g.Chafe == nil || !i.InspectedAt.Before(g.Chafe.At)) {
			g.Chafe = &readiness.Chafe{InspectionID: v.ID, At: i.InspectedAt, Share: *i.ChafedShare}
		}
	}
}

func (r *recorder) stormPlan(vessel uuid.UUID, at service.AsOf, storm fleet.DesignStorm) *readiness.Plan {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	until := at.KnownAt
	if at.ValidAt.Before(until) {
		until = at.ValidAt
	}
	windKt, hsM := readiness.Reaches(storm)
	var best *readiness.Plan
	rank := func(p *readiness.Plan) int {
		switch {
		case p == nil:
			return 0
		case p.SupersededAt != nil && !(p.WindKt >= windKt && p.HsM >= hsM):
			return 1
		case p.SupersededAt != nil:
			return 2
		case !(p.WindKt >= windKt && p.HsM >= hsM):
			return 3
		}
		return 4
	}
	for _, kept := range r.h.plans {
		if kept.org != r.org || kept.VesselID != vessel || kept.Intent != planner.RideOutStorm || kept.CreatedAt.After(until) {
			continue
		}
		p := kept.Facts
		p.ID, p.MadeAt, p.Intent, p.Engine = kept.ID, kept.CreatedAt, kept.Intent, kept.Engine
		for _, other := range r.h.plans {
			if other.org == r.org && other.Supersedes == kept.ID && !other.CreatedAt.After(until) && (p.SupersededAt == nil || other.CreatedAt.Before(*p.SupersededAt)) {
				taken := other.CreatedAt
				p.SupersededAt = &taken
			}
		}
		if rank(&p) > rank(best) || rank(&p) == rank(best) && !p.MadeAt.Before(best.MadeAt) {
			best = &p
		}
	}
	return best
}
