package servicetest

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
)

// ownedForecast is an organisation's forecast and its vessels, by name.
type ownedForecast struct {
	org service.OrgID
	service.AreaForecast
	replans []service.Replan
}

// Afloat gives who lies to a canopy or has a plan that runs.
func (r *recorder) Afloat(_ context.Context, at service.AsOf, by time.Time) ([]service.Afloat, error) {
	found := map[uuid.UUID]service.Afloat{}
	r.plansAfloat(at, by, found)
	if err := r.lying(at, found); err != nil {
		return nil, err
	}
	var afloat []service.Afloat
	for id, v := range found {
		vessel, ok := inForce(r.all(fleet.KindVessel), id, at)
		if !ok {
			vessel, _ = inForce(r.all(fleet.KindVessel), id, service.AsOf{ValidAt: time.Unix(1<<40, 0), KnownAt: at.KnownAt})
		}
		var named struct{ Name string }
		if err := json.Unmarshal(vessel.Body, &named); err != nil {
			return nil, err
		}
		if v.FixedBy != "" {
			v.VesselName = named.Name
			afloat = append(afloat, v)
		}
	}
	slices.SortFunc(afloat, func(a, b service.Afloat) int {
		return cmp.Or(cmp.Compare(a.VesselName, b.VesselName), bytes.Compare(a.VesselID[:], b.VesselID[:]))
	})
	return afloat, nil
}

func (r *recorder) plansAfloat(at service.AsOf, by time.Time, found map[uuid.UUID]service.Afloat) {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	for _, p := range r.h.plans { // in the order they were recorded
		if p.org != r.org || p.VesselID == uuid.Nil || p.Position == nil || p.Ends.Before(at.ValidAt) {
			continue
		}
		delete(found, p.VesselID)
		if !p.Begins.After(by) {
			found[p.VesselID] = service.Afloat{VesselID: p.VesselID, PlanID: p.ID, Position: *p.Position, FixedAt: p.Begins, FixedBy: "plan"}
		}
	}
}

// lying puts those who lie to a canopy in the place of what their plans say.
func (r *recorder) lying(at service.AsOf, found map[uuid.UUID]service.Afloat) error {
	page, err := r.Records(context.Background(), service.RecordQuery{Kind: fleet.KindDeployment, AsOf: at, Limit: 1 << 20})
	if err != nil {
		return err
	}
	slices.SortFunc(page.Items, func(a, b service.Version) int {
		return cmp.Or(a.ValidFrom.Compare(b.ValidFrom), bytes.Compare(a.ID[:], b.ID[:]))
	})
	for _, v := range page.Items {
		if _, back := inForce(r.all(fleet.KindRetrieval), v.ID, at); back || v.VesselID == uuid.Nil {
			continue
		}
		lies := service.Afloat{VesselID: v.VesselID, PlanID: v.Under, DeploymentID: v.ID}
		if err := r.fix(&lies, v, at); err != nil {
			return err
		}
		found[v.VesselID] = lies
	}
	return nil
}

// fix finds where she was reported last.
func (r *recorder) fix(lies *service.Afloat, v service.Version, at service.AsOf) error {
	if p, err := r.h.Plan(context.Background(), r.org, v.Under); err == nil && p.Position != nil && p.VesselID != uuid.Nil {
		lies.Position, lies.FixedAt, lies.FixedBy = *p.Position, p.Begins, "plan"
	}
	var d fleet.Deployment
	if err := json.Unmarshal(v.Body, &d); err != nil {
		return err
	}
	if d.RodeOutM != nil {
		lies.RodeOutM = *d.RodeOutM
	}
	if d.Position != nil {
		lies.Position, lies.FixedAt, lies.FixedBy = *d.Position, v.ValidFrom, "deployment"
	}
	seen, err := r.Records(context.Background(), service.RecordQuery{Kind: fleet.KindObservation, Under: v.ID, AsOf: at, Limit: 1 << 20})
	if err != nil {
		return err
	}
	for _, s := range seen.Items {
		var o fleet.Observation
		if err := json.Unmarshal(s.Body, &o); err != nil {
			return err
		}
		if f := o.ToFix; f != nil && (lies.FixedBy != "observation" || f.Time.After(lies.FixedAt)) {
			lies.FixedAt, lies.FixedBy = f.Time, "observation"
			lies.Position.LatitudeDeg, lies.Position.LongitudeDeg = f.LatitudeDeg, f.LongitudeDeg
		}
	}
	return nil
}

// RecordForecast records a forecast and whom to plan for.
func (r *recorder) RecordForecast(_ context.Context, f service.AreaForecast, vessels []service.Afloat) error {
	kept := ownedForecast{org: r.org, AreaForecast: f}
	for _, v := range vessels {
		kept.replans = append(kept.replans, service.Replan{Afloat: v})
	}
	r.forecasts = append(r.forecasts, kept)
	return nil
}

// Replanned records what became of a vessel, once.
func (r *recorder) Replanned(_ context.Context, forecast uuid.UUID, p service.Replan) error {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	for i := range r.h.forecasts {
		f := r.h.forecasts[i]
		at := slices.IndexFunc(f.replans, func(q service.Replan) bool { return q.VesselID == p.VesselID && q.DoneAt.IsZero() })
		if f.org == r.org && f.ID == forecast && at >= 0 {
			r.replans = append(r.replans, func() { r.h.forecasts[i].replans[at] = p })
			return nil
		}
	}
	return service.ErrNotFound
}

// AreaForecast returns service.ErrNotFound for an id that is unknown or another organisation's.
func (h *History) AreaForecast(_ context.Context, org service.OrgID, id uuid.UUID) (service.AreaForecast, []service.Replan, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, f := range h.forecasts {
		if h.Err == nil && f.org == org && f.ID == id {
			return f.AreaForecast, slices.Clone(f.replans), nil
		}
	}
	return service.AreaForecast{}, nil, cmp.Or(h.Err, service.ErrNotFound)
}

// AreaForecasts pages as the interface says.
func (h *History) AreaForecasts(_ context.Context, org service.OrgID, from service.RecordPlace, limit int) (page service.ForecastPage, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []service.ForecastHead
	for _, f := range h.forecasts {
		if f.org != org {
			continue
		}
		head := service.ForecastHead{AreaForecast: f.AreaForecast}
		for _, r := range f.replans {
			head.Progress.Count(r)
		}
		all = append(all, head)
	}
	page.Items, page.Next, page.Prev = pageByID(all, from, limit, func(f service.ForecastHead) uuid.UUID { return f.ID })
	return page, h.Err
}
