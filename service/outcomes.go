package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service/calibration"
	"rideout/service/fleet"
	"rideout/service/planner"
)

// Outcomes is what was observed at sea beside what the plans had for those hours, newest observation first: the pairs that
// Calibration learns from, and why others are none.
type Outcomes struct {
	Pairs []Pair
	Left  []Unpaired // most frequent first
}

// Pair is a LearntPair with what a person asks of it.
type Pair struct {
	LearntPair
	VesselName string
	ObservedAt time.Time
	WindKt     *float64     // observed; nil: not noted
	Band       planner.Band // about Predicted: where nine in ten would be observed if the plan were right
}

// Inside tells whether what was observed lies in the band.
func (p Pair) Inside() bool { return p.Band.Low <= p.Observed && p.Observed <= p.Band.High }

// Unpaired is a reason for which observations are left out.
type Unpaired struct {
	Why string
	N   int
}

// ofNine is how many standard deviations hold nine in ten.
const ofNine = 1.645

// Outcomes sets what was observed beside what was planned, as of two times.
func (r *Registers) Outcomes(ctx context.Context, org OrgID, at AsOf) (o Outcomes, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		trials, err := reader.Trials(ctx, at)
		if err != nil {
			return err
		}
		pairs, left := paired(trials)
		o.Left = countedWhys(left)
		o.Pairs, err = describedPairs(ctx, reader, at, pairs, trials)
		return err
	})
	return o, at, sortedFor(fleet.KindObservation, err)
}

// describedPairs adds to each pair what its trial and its vessel say.
func describedPairs(ctx context.Context, reader Reader, at AsOf, pairs []LearntPair, trials []Trial) ([]Pair, error) {
	of := map[uuid.UUID]Trial{}
	for _, t := range trials {
		of[t.ID] = t
	}
	names := map[uuid.UUID]string{}
	var list []Pair
	for _, p := range pairs {
		name, known := names[p.VesselID]
		if !known {
			var err error
			if name, err = vesselName(ctx, reader, p.VesselID, at); err != nil {
				return nil, err
			}
			names[p.VesselID] = name
		}
		spread := math.Exp(ofNine * p.Share)
		t := of[p.ObservationID]
		list = append(list, Pair{
			LearntPair: p, VesselName: name, ObservedAt: t.Observation.ObservedAt, WindKt: t.Observation.WindSpeedKt,
			Band: planner.Band{Low: p.Predicted / spread, Mid: p.Predicted, High: p.Predicted * spread},
		})
	}
	slices.SortStableFunc(list, func(a, b Pair) int { return b.ObservedAt.Compare(a.ObservedAt) })
	return list, nil
}

// vesselName is hers as of a time; of one not registered then, none.
func vesselName(ctx context.Context, reader Reader, id uuid.UUID, at AsOf) (string, error) {
	v, err := reader.InForce(ctx, fleet.KindVessel, id, at)
	if errors.Is(err, ErrNotFound) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	var vessel fleet.Vessel
	if err := json.Unmarshal(v.Body, &vessel); err != nil {
		return "", fmt.Errorf("read vessel %s: %w", id, err)
	}
	return vessel.Name, nil
}

func countedWhys(left []LeftOut) (list []Unpaired) {
	for _, l := range left {
		i := slices.IndexFunc(list, func(u Unpaired) bool { return u.Why == l.Why })
		if i < 0 {
			i, list = len(list), append(list, Unpaired{Why: l.Why})
		}
		list[i].N++
	}
	slices.SortStableFunc(list, func(a, b Unpaired) int { return b.N - a.N })
	return list
}

// Drifts tells whether the pair is of a drift, in kt; else it is of a mean load, in N.
func (p Pair) Drifts() bool { return p.Kind == calibration.Drift }
