package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
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
				return fmt.Errorf("plan %s: %w", name, told(err))
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
		if err := fit(r, h.now); err != nil {
			return fmt.Errorf("retrieval: %w", err)
		}
		d := service.Draft{Kind: fleet.KindRetrieval, Under: deployment, By: "skipper", Entity: r}
		_, _, err := h.registers.Put(ctx, h.org, d, deployment, service.Match{Any: true})
		return err
	}}
}

// look is one observation to come: between two times of a lay.
type look struct {
	historyLay
	deployment, plan             uuid.UUID
	name                         string
	canopy                       fleet.Canopy
	deployed, from, to, recorded time.Time
	wild                         bool
}

func (a *author) observe(l look) {
	id := idAt(l.recorded, l.name)
	a.acts = append(a.acts, demoAct{at: l.recorded, is: hasVersion(fleet.KindObservation, id, 1), do: func(ctx context.Context, h *historian) error {
		kept, err := h.plans.Get(ctx, h.org, l.plan)
		if err != nil {
			return err
		}
		seen, err := l.seen(kept)
		if err != nil {
			return fmt.Errorf("%s: %w", l.name, err)
		}
		return h.add(ctx, id, service.Draft{Kind: fleet.KindObservation, Under: l.deployment, By: "skipper", Entity: seen})
	}})
}

// How far the demo's vessels and canopies are from what the theory has them, and its observations from what is: one standard
// deviation of the share. It is what calibration has to find out.
const (
	trueSpread = 0.12
	seenSpread = 0.06
)

func trueFactor(of string) float64 { return math.Exp(trueSpread * chanceOf("true "+of).NormFloat64()) }

// seen is what the crew would have seen: what the plan foresaw, times what is true of vessel and canopy, with noise.
func (l look) seen(kept service.PlanRecord) (*fleet.Observation, error) {
	_, foreseen, err := service.Foresees(kept)
	if err != nil {
		return nil, err
	}
	var plan service.KeptPlan
	if err := json.Unmarshal(kept.Answer, &plan); err != nil {
		return nil, err
	}
	if plan.SeaRoom == nil {
		return nil, fmt.Errorf("plan %s has no sea room", kept.ID)
	}
	chance := chanceOf("seen " + l.name)
	push, drag := trueFactor("push "+l.Vessel), trueFactor(fmt.Sprintf("drag %s %g", l.canopy.Shape, l.canopy.DiameterM))
	factor := math.Sqrt(push/drag) * math.Exp(seenSpread*chance.NormFloat64())
	if l.wild {
		factor *= 2.6
	}
	begin, err := drifted(l.Position, plan.SeaRoom.Legs, l.deployed, l.from, math.Sqrt(push/drag))
	if err != nil {
		return nil, err
	}
	end, err := drifted(begin, plan.SeaRoom.Legs, l.from, l.to, factor)
	if err != nil {
		return nil, err
	}
	o := &fleet.Observation{ObservedAt: l.to, FromFix: fixAt(l.from, begin), ToFix: fixAt(l.to, end)}
	if l.wild {
		o.Note = l.Wild
	}
	for _, h := range foreseen.Hours {
		if l.to.Before(h.From) || !l.to.Before(h.Until()) {
			continue
		}
		o.WindSpeedKt = new(math.Round(h.WindKt * math.Exp(0.04*chance.NormFloat64())))
		if l.LoadCell {
			o.LoadN = new(10 * math.Round(h.MeanN*push*math.Exp(seenSpread*chance.NormFloat64())/10))
			o.LoadOverMin = new(20.0)
		}
	}
	return o, nil
}

// drifted follows the legs of a plan from one time to another, the way through the water times a factor.
func drifted(at [2]float64, legs []planner.DriftLeg, from, to time.Time, factor float64) ([2]float64, error) {
	for _, leg := range legs {
		begin, end := leg.From, leg.From.Add(inHours(leg.Hours))
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		hours := end.Sub(begin).Hours()
		if hours <= 0 {
			continue
		}
		sin, cos := math.Sincos(quantity.Degrees(leg.TowardDeg).Radians())
		sinC, cosC := math.Sincos(quantity.Degrees(leg.CurrentDeg).Radians())
		through := leg.SpeedKt.Mid * factor
		east, north := through*sin+leg.CurrentKt*sinC, through*cos+leg.CurrentKt*cosC
		start, err := geo.At(at[0], at[1])
		if err != nil {
			return at, err
		}
		metres := quantity.MetresPerSecond(math.Hypot(east, north)) * hours * 3600
		there, _, err := geo.Direct(start, quantity.Degrees(math.Atan2(east, north)*180/math.Pi), metres)
		if err != nil {
			return at, err
		}
		at = [2]float64{there.Latitude.Degrees(), there.Longitude.Degrees()}
	}
	return at, nil
}

// fixAt is a position as a receiver shows it.
func fixAt(t time.Time, at [2]float64) *fleet.Fix {
	round := func(deg float64) float64 { return math.Round(1e4*deg) / 1e4 }
	return &fleet.Fix{Time: t, LatitudeDeg: round(at[0]), LongitudeDeg: round(at[1])}
}
