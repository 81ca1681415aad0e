package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// InForce returns the plan in force of a registered vessel: the last one made for her to ride out a storm, or
// else the last one made for her.
func (p *Plans) InForce(ctx context.Context, org OrgID, vessel uuid.UUID) (PlanRecord, error) {
	for _, intent := range []planner.Intent{planner.RideOutStorm, ""} {
		page, err := p.History.Plans(ctx, org, PlanFilter{VesselID: vessel, Intent: intent}, Place{}, 1)
		if err != nil {
			return PlanRecord{}, sorted(err)
		}
		if len(page.Items) > 0 {
			return p.Get(ctx, org, page.Items[0].ID)
		}
	}
	return PlanRecord{}, &Error{Kind: KindNotFound, Message: "there is no plan for a vessel with this id"}
}

// StormPlan returns the plan in force of a vessel in short.
func (p *Plans) StormPlan(ctx context.Context, org OrgID, vessel uuid.UUID) (planner.StormPlan, error) {
	record, err := p.InForce(ctx, org, vessel)
	if err != nil {
		return planner.StormPlan{}, err
	}
	plan, req, err := record.open()
	return planner.InShort(plan, req), err
}

// Whereabouts is where a vessel would be, and the plan it is reckoned from.
type Whereabouts struct {
	PlanID     uuid.UUID `json:"plan_id"`
	VesselName string    `json:"vessel_name"`
	planner.Whereabouts
	Limits   string   `json:"limits"`
	Cautions []string `json:"cautions"`
}

// Whereabouts returns where a vessel would be at an instant by her plan in force; the zero time is now.
func (p *Plans) Whereabouts(ctx context.Context, org OrgID, vessel uuid.UUID, at time.Time) (Whereabouts, error) {
	record, err := p.InForce(ctx, org, vessel)
	if err != nil {
		return Whereabouts{}, err
	}
	plan, req, err := record.open()
	if err != nil {
		return Whereabouts{}, err
	}
	if plan.SeaRoom == nil || req.Position == nil {
		return Whereabouts{}, &Error{Kind: KindNotFound, Message: "the vessel's plan in force was made without a position or a direction of the wind, so no drift is known"}
	}
	where, err := planner.WhereAt(req, *plan.SeaRoom, orTime(at, p.Clock()).UTC().Truncate(time.Second))
	if out := (*quantity.RangeError)(nil); errors.As(err, &out) {
		return Whereabouts{}, &Error{Kind: KindNotFound, Message: "the model of the drift does not cover where the vessel is: " + out.Error(), Err: err}
	} else if err != nil {
		return Whereabouts{}, outsideForecast(err)
	}
	return Whereabouts{PlanID: record.ID, VesselName: record.VesselName, Whereabouts: where, Limits: plan.SeaRoom.Limits, Cautions: plan.Cautions}, nil
}

// Changes says what changed between two plans of a vessel.
func (p *Plans) Changes(ctx context.Context, org OrgID, from, to uuid.UUID) (planner.Changes, error) {
	var plans [2]planner.Plan
	var records [2]PlanRecord
	for i, id := range []uuid.UUID{from, to} {
		record, err := p.Get(ctx, org, id)
		if err != nil {
			return planner.Changes{}, err
		}
		if plans[i], _, err = record.open(); err != nil {
			return planner.Changes{}, err
		}
		records[i] = record
	}
	if records[0].VesselID != records[1].VesselID || records[0].VesselName != records[1].VesselName {
		return planner.Changes{}, &ParameterError{Name: "from", Message: "is a plan for another vessel", Fix: "send the id of an earlier plan for the same vessel"}
	}
	return planner.Compare(plans[0], plans[1]), nil
}

// open reads a kept plan and the request it was made from.
func (r PlanRecord) open() (plan planner.Plan, req planner.Request, err error) {
	if err = json.Unmarshal(r.Answer, &plan); err != nil {
		return plan, req, fmt.Errorf("read plan %s: %w", r.ID, err)
	}
	if err = json.Unmarshal(r.Inputs, &req); err != nil {
		return plan, req, fmt.Errorf("read the inputs of plan %s: %w", r.ID, err)
	}
	return plan, req, nil
}

// outsideForecast turns what is wrong with the instant into an error of the parameter.
func outsideForecast(err error) error {
	var invalid *planner.InvalidError
	if !errors.As(err, &invalid) {
		return err
	}
	p := invalid.Problems[0]
	return &ParameterError{Name: "at", Message: p.Message, Fix: p.Fix}
}
