package servicetest

import (
	"context"
	"encoding/json"
	"slices"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
)

// Lyings gives the deployments in force that name pieces of gear.
func (r *recorder) Lyings(ctx context.Context, gear []uuid.UUID, at service.AsOf) (map[uuid.UUID][]fleet.Lying, error) {
	lain := map[uuid.UUID][]fleet.Lying{}
	for _, v := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindDeployment, AsOf: at}) {
		var d fleet.Deployment
		if err := json.Unmarshal(v.Body, &d); err != nil {
			return nil, err
		}
		plan, err := r.h.Plan(ctx, r.org, v.Under)
		if err != nil {
			return nil, err
		}
		wear, _, err := service.Foresees(plan)
		if err != nil {
			return nil, err
		}
		l := fleet.Lying{DeploymentID: v.ID, PlanID: v.Under, VesselID: v.VesselID, From: d.DeployedAt, Wear: wear}
		if back, err := r.InForce(ctx, fleet.KindRetrieval, v.ID, at); err == nil {
			var retrieval fleet.Retrieval
			if err := json.Unmarshal(back.Body, &retrieval); err != nil {
				return nil, err
			}
			l.Until = &retrieval.EndedAt
		}
		for _, id := range gear {
			if slices.Contains(d.GearIDs, id) {
				lain[id] = append(lain[id], l)
			}
		}
	}
	return lain, nil
}

// Trials gives the observations in force of a drift or a load, with what the plans foresaw.
func (r *recorder) Trials(ctx context.Context, at service.AsOf) (outcomes []service.Trial, err error) {
	for _, v := range r.oldestFirst(ctx, service.RecordQuery{Kind: fleet.KindObservation, AsOf: at}) {
		o := service.Trial{ID: v.ID, DeploymentID: v.Under}
		if err := json.Unmarshal(v.Body, &o.Observation); err != nil {
			return nil, err
		}
		d, err := r.InForce(ctx, fleet.KindDeployment, v.Under, at)
		if err != nil || o.Observation.Drift == nil && o.Observation.LoadN == nil {
			continue
		}
		o.PlanID, o.VesselID = d.Under, d.VesselID
		if err := json.Unmarshal(d.Body, &o.Deployment); err != nil {
			return nil, err
		}
		plan, err := r.h.Plan(ctx, r.org, d.Under)
		if err != nil {
			return nil, err
		}
		_, foreseen, err := service.Foresees(plan)
		if err != nil {
			return nil, err
		}
		o.Foreseen = &foreseen
		outcomes = append(outcomes, o)
	}
	return outcomes, nil
}
