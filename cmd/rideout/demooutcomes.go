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
		there, _, err := geo.Direct(start, quantity.Angle(math.Atan2(east, north)), metres)
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
