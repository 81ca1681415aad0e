package main

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
)

// demoSeas is how many seas the history's plans are computed on: few, because there are many plans and somebody waits.
const demoSeas = 2

func (a *author) writePlans() error {
	for _, p := range a.history.Plans {
		name, vessel := p.Name, p.Vessel
		var order service.PlanOrder
		if p.Scenario != "" {
			wanted, known := a.plans[p.Scenario]
			if !known {
				return fmt.Errorf("history.json: the scenario has no plan %s", p.Scenario)
			}
			name, vessel, order.Request = p.Scenario, wanted.vessel, wanted.request
			order.Request.Gear = nil // what is registered
		} else {
			order.Request = a.request(p.Weather, name, p.Recorded.Add(24*time.Hour), p.Position)
		}
		if err := a.plan(p.Recorded, name, vessel, order); err != nil {
			return err
		}
	}
	return nil
}

func (a *author) request(weather, name string, begins time.Time, at [2]float64) planner.Request {
	r := planner.Request{
		Intent: planner.RideOutStorm, Position: &planner.Position{LatitudeDeg: at[0], LongitudeDeg: at[1]},
		Forecast: weatherOf(weather, name, begins), Assume: planner.Assume{Seeds: new(demoSeas)},
	}
	if weather == "strong_wind" {
		r.Intent = planner.RepairOrRest
	}
	return r
}

// plan has a plan made for a vessel.
func (a *author) plan(at time.Time, name, vessel string, order service.PlanOrder) error {
	hers, err := a.called(vessel)
	if err != nil {
		return err
	}
	id, err := a.name(fleet.KindPlan, name, at)
	if err != nil {
		return err
	}
	order.VesselID, order.By = hers, "skipper"
	a.acts = append(a.acts, demoAct{
		at: at, tell: a.names[vessel],
		is: func(ctx context.Context, h *historian) (bool, error) {
			_, err := h.plans.Get(ctx, h.org, id)
			if isNotFound(err) {
				return false, nil
			}
			return err == nil, err
		},
		do: func(ctx context.Context, h *historian) error {
			h.next = id
			_, _, err := h.plans.Create(ctx, h.org, claimOf(id, []byte(name)), order)
			if err != nil {
				return fmt.Errorf("plan %s: %w", name, withFields(err))
			}
			return nil
		},
	})
	return nil
}

// writeLays writes each lay's plan, if it has none, and what was done and seen under it.
func (a *author) writeLays() error {
	for _, l := range a.history.Lays {
		planName := l.Plan
		if planName == "" {
			planName = l.Name + " planned"
			order := service.PlanOrder{Request: a.request(l.Weather, l.Name, l.Begins, l.Position)}
			for _, x := range a.rigged(l.Vessel, l.Begins) {
				if x.item.Rode != nil { // all of it: the curve is not what these plans are for
					order.Request.RodeTried = []float64{x.item.Rode.LengthM}
				}
			}
			if err := a.plan(l.Begins.Add(-5*time.Hour), planName, l.Vessel, order); err != nil {
				return err
			}
		}
		plan, err := a.called(planName)
		if err != nil {
			return err
		}
		a.ids["plan of "+l.Name] = plan
		if err := a.lie(l, plan); err != nil {
			return err
		}
	}
	return nil
}

// lie writes deployment, observations and retrieval.
func (a *author) lie(l historyLay, plan uuid.UUID) error {
	chance := chanceOf("lay " + l.Name)
	deployed := l.Begins.Add(time.Duration(60+chance.IntN(40)) * time.Minute)
	begun := deployed.Add(time.Duration(l.Hours * float64(time.Hour)))
	ended := begun.Add(time.Duration(25+chance.IntN(35)) * time.Minute)
	if l.Back == "cut_away" {
		ended = begun.Add(time.Minute)
	}
	late := 0
	recorded := func(happened time.Time) time.Time { // what is logged late comes in one after the other
		if l.Logged.IsZero() {
			return happened
		}
		late++
		return l.Logged.Add(time.Duration(late) * 4 * time.Minute)
	}
	at := recorded(deployed.Add(20 * time.Minute))
	id, err := a.name(fleet.KindDeployment, l.Name, at)
	if err != nil {
		return err
	}
	d := &fleet.Deployment{DeployedAt: deployed, Position: &planner.Position{LatitudeDeg: l.Position[0], LongitudeDeg: l.Position[1]}, Note: l.Note}
	for _, x := range a.rigged(l.Vessel, deployed) {
		switch {
		case x.item.Canopy != nil:
			d.Canopy, d.GearIDs = x.item.Canopy, append(d.GearIDs, x.id)
		case x.item.Rode != nil:
			out := x.item.Rode.LengthM
			if l.RodeOutM > 0 {
				out = l.RodeOutM
			}
			d.RodeOutM, d.GearIDs = &out, append(d.GearIDs, x.id)
		}
	}
	if d.Canopy == nil {
		return fmt.Errorf("history.json: %s: she had no canopy", l.Name)
	}
	a.acts = append(a.acts, addUnder(at, "skipper", fleet.KindDeployment, id, plan, d))
	for i, seen := range []struct{ from, to float64 }{{1, 2.4}, {4.5, 7.5}} { // hours after deploying
		from, to := deployed.Add(inHours(seen.from)), deployed.Add(inHours(seen.to))
		a.observe(look{
			historyLay: l, deployment: id, plan: plan, name: fmt.Sprintf("%s seen %d", l.Name, i+1), canopy: *d.Canopy,
			deployed: deployed, from: from, to: to, recorded: recorded(to.Add(8 * time.Minute)), wild: i == 1 && l.Wild != "",
		})
	}
	back := &fleet.Retrieval{BegunAt: begun, EndedAt: ended, Method: l.Back, TripLineUsed: l.Back == "trip_line", Damage: l.Damage}
	a.acts = append(a.acts, putRetrieval(recorded(ended.Add(40*time.Minute)), id, back))
	return nil
}

func inHours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func putRetrieval(at time.Time, deployment uuid.UUID, r *fleet.Retrieval) demoAct {
	return demoAct{at: at, is: hasVersion(fleet.KindRetrieval, deployment, 1), do: func(ctx context.Context, h *historian) error {
		if err := checked(r, h.now); err != nil {
			return fmt.Errorf("retrieval: %w", err)
		}
		d := service.Draft{Kind: fleet.KindRetrieval, Under: deployment, By: "skipper", Entity: r}
		_, _, err := h.registers.Put(ctx, h.org, d, deployment, service.Match{Any: true})
		return err
	}}
}
