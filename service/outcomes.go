package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// Pair is one thing observed at sea beside what the plan followed said of it for that hour.
type Pair struct {
	DeploymentID, ObservationID, PlanID, VesselID uuid.UUID
	VesselName                                    string
	ObservedAt                                    time.Time
	Phase                                         string // of the plan
	ForecastKt                                    float64
	WindKt                                        *float64 // observed; nil: not noted
	Drift                                         *Matched // kt
	Load                                          *Matched // N, the mean
}

// Matched is an observed figure and the plan's band of it.
type Matched struct {
	Predicted planner.Band
	Observed  float64
}

// Inside tells whether the observed figure lies in the plan's band.
func (m Matched) Inside() bool {
	return m.Predicted.Low <= m.Observed && m.Observed <= m.Predicted.High
}

// PairPage is the pairs of one page of deployments, newest deployment first. Unmatched counts observations of drift or load
// at a time for which their plan has no phase.
type PairPage struct {
	Pairs       []Pair
	Deployments int
	Unmatched   int
	Next, Prev  *RecordPlace
}

// mostObserved is how many observations of one deployment are read.
const mostObserved = 100

// Pairs sets what was observed beside what was planned.
func (r *Registers) Pairs(ctx context.Context, org OrgID, at AsOf, from RecordPlace, limit int) (page PairPage, _ AsOf, err error) {
	at = r.asked(at)
	var deployments []Noted[fleet.Deployment]
	seen := map[uuid.UUID][]Noted[fleet.Observation]{}
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		records, err := reader.Records(ctx, RecordQuery{Kind: fleet.KindDeployment, AsOf: at, From: from, Limit: limit})
		if err != nil {
			return err
		}
		page.Next, page.Prev, page.Deployments = records.Next, records.Prev, len(records.Items)
		if deployments, err = readNoted[fleet.Deployment](records.Items); err != nil {
			return err
		}
		for _, d := range deployments {
			q := RecordQuery{Kind: fleet.KindObservation, Under: d.ID, AsOf: at, Limit: mostObserved}
			if seen[d.ID], _, err = notedOf[fleet.Observation](ctx, reader, q); err != nil {
				return err
			}
		}
		return nil
	})
	for i := 0; err == nil && i < len(deployments); i++ {
		err = r.pair(ctx, org, &page, deployments[i], seen[deployments[i].ID])
	}
	return page, at, sortedFor(fleet.KindDeployment, err)
}

// pair adds the pairs of one deployment.
func (r *Registers) pair(ctx context.Context, org OrgID, page *PairPage, d Noted[fleet.Deployment], seen []Noted[fleet.Observation]) error {
	if len(seen) == 0 {
		return nil
	}
	record, err := r.History.Plan(ctx, org, d.Is.PlanID)
	if errors.Is(err, ErrNotFound) {
		return fmt.Errorf("read the plan of deployment %s: %w", d.ID, err)
	}
	if err != nil {
		return err
	}
	plan, _, err := record.open()
	if err != nil {
		return err
	}
	for _, o := range seen {
		if o.Is.Drift == nil && o.Is.LoadN == nil {
			continue
		}
		phase := phaseAt(plan, o.Is.ObservedAt)
		if phase == nil {
			page.Unmatched++
			continue
		}
		p := Pair{
			DeploymentID: d.ID, ObservationID: o.ID, PlanID: record.ID, VesselID: d.Is.Vessel(), VesselName: record.VesselName,
			ObservedAt: o.Is.ObservedAt, Phase: phase.Name, ForecastKt: phase.WindKt, WindKt: o.Is.WindSpeedKt,
		}
		if o.Is.Drift != nil {
			p.Drift = &Matched{phase.Loads.DriftKt, o.Is.Drift.SpeedKt}
		}
		if o.Is.LoadN != nil {
			p.Load = &Matched{phase.Loads.MeanN, *o.Is.LoadN}
		}
		page.Pairs = append(page.Pairs, p)
	}
	return nil
}

// phaseAt is the phase of a plan at an instant; nil: its forecast does not reach there.
func phaseAt(p planner.Plan, at time.Time) *planner.Phase {
	for i, phase := range p.Phases {
		for _, span := range phase.Spans {
			if !at.Before(span.From) && !at.After(span.Until) {
				return &p.Phases[i]
			}
		}
	}
	return nil
}
