package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// Dossier is all that is shown of one vessel, as of one pair of times.
type Dossier struct {
	ID          uuid.UUID
	Vessel      fleet.Vessel
	Report      readiness.Report
	Gear        []readiness.Gear // in the order it was registered, retired or not
	Drills      []Noted[fleet.Drill]
	Incidents   []Noted[fleet.Incident]
	Deployments []Use
	Storm       *StormInForce // nil: no plan to ride out a storm was made for her as registered
	More        bool          // of drills, deployments or incidents there are older ones
}

// Noted is a thing of the book with what the book notes of it.
type Noted[T any] struct {
	ID         uuid.UUID
	Version    int
	RecordedAt time.Time
	By         string
	Is         T
}

// Use is one deployment and what came of it.
type Use struct {
	Noted[fleet.Deployment]
	Retrieval    *fleet.Retrieval // nil: not noted
	Observations int
	DriftKt      *float64 // the greatest observed; nil: none
	LoadN        *float64
}

// StormInForce is the plan a vessel is judged by, in short.
type StormInForce struct {
	Facts readiness.Plan
	Short planner.StormPlan
}

// Of each a dossier holds so many, and of a deployment so many observations are read.
const (
	mostShown    = 20
	mostObserved = 100
)

// Dossier reads what there is of a vessel, and judges her, for some days ahead too if days is not 0.
func (r *Registers) Dossier(ctx context.Context, org OrgID, id uuid.UUID, at AsOf, days int) (d Dossier, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		d, err = dossier(ctx, reader, org, id, at, days)
		return err
	})
	if err == nil && d.Storm != nil { // after the view: its connection is given back
		err = r.openStorm(ctx, org, d.Storm)
	}
	return d, at, sortedFor(fleet.KindVessel, err)
}

func dossier(ctx context.Context, reader Reader, org OrgID, id uuid.UUID, at AsOf, days int) (Dossier, error) {
	d := Dossier{ID: id}
	version, err := reader.InForce(ctx, fleet.KindVessel, id, at)
	if err != nil {
		return d, err
	}
	if err := json.Unmarshal(version.Body, &d.Vessel); err != nil {
		return d, fmt.Errorf("read vessel %s: %w", id, err)
	}
	policy, err := policyAt(ctx, reader, org, at)
	if err != nil {
		return d, err
	}
	states, err := reader.States(ctx, []Version{version}, at, policy.DesignStorm)
	if err != nil {
		return d, err
	}
	d.Report = readiness.Judge(states[0], policy, readiness.As(at), BoardQuery{Days: days, AsOf: at}.window())
	d.Gear = states[0].Gear
	if plan := states[0].Plan; plan != nil {
		d.Storm = &StormInForce{Facts: *plan}
	}
	hers := func(kind fleet.Kind) RecordQuery {
		return RecordQuery{Kind: kind, VesselID: id, AsOf: at, Limit: mostShown}
	}
	var more [3]bool
	if d.Drills, more[0], err = notedOf[fleet.Drill](ctx, reader, hers(fleet.KindDrill)); err != nil {
		return d, err
	}
	if d.Incidents, more[1], err = notedOf[fleet.Incident](ctx, reader, hers(fleet.KindIncident)); err != nil {
		return d, err
	}
	d.Deployments, more[2], err = usesOf(ctx, reader, hers(fleet.KindDeployment))
	d.More = more[0] || more[1] || more[2]
	return d, err
}

// notedOf reads a page of one kind and tells whether there is more.
func notedOf[T any](ctx context.Context, reader Reader, q RecordQuery) (list []Noted[T], more bool, err error) {
	page, err := reader.Records(ctx, q)
	if err != nil {
		return nil, false, err
	}
	list, err = readNoted[T](page.Items)
	return list, page.Next != nil, err
}

func readNoted[T any](versions []Version) (list []Noted[T], err error) {
	for _, v := range versions {
		n := Noted[T]{ID: v.ID, Version: v.Version, RecordedAt: v.RecordedAt, By: v.By}
		if err := json.Unmarshal(v.Body, &n.Is); err != nil {
			return nil, fmt.Errorf("read %s %s: %w", v.Kind, v.ID, err)
		}
		list = append(list, n)
	}
	return list, nil
}

func usesOf(ctx context.Context, reader Reader, q RecordQuery) ([]Use, bool, error) {
	deployments, more, err := notedOf[fleet.Deployment](ctx, reader, q)
	uses := make([]Use, len(deployments))
	for i, n := range deployments {
		uses[i].Noted = n
		if err := uses[i].follow(ctx, reader, q.AsOf); err != nil {
			return nil, false, err
		}
	}
	return uses, more, err
}

// follow reads what was observed and how it ended.
func (u *Use) follow(ctx context.Context, reader Reader, at AsOf) error {
	seen, _, err := notedOf[fleet.Observation](ctx, reader, RecordQuery{Kind: fleet.KindObservation, Under: u.ID, AsOf: at, Limit: mostObserved})
	if err != nil {
		return err
	}
	u.Observations = len(seen)
	for _, o := range seen {
		if o.Is.Drift != nil {
			u.DriftKt = greater(u.DriftKt, &o.Is.Drift.SpeedKt)
		}
		u.LoadN = greater(u.LoadN, o.Is.LoadN)
	}
	v, err := reader.InForce(ctx, fleet.KindRetrieval, u.ID, at)
	switch {
	case errors.Is(err, ErrNotFound):
		return nil
	case err != nil:
		return err
	}
	u.Retrieval = &fleet.Retrieval{}
	return json.Unmarshal(v.Body, u.Retrieval)
}

func greater(a, b *float64) *float64 {
	if a == nil || b != nil && *b > *a {
		return b
	}
	return a
}

// openStorm reads the plan a vessel is judged by.
func (r *Registers) openStorm(ctx context.Context, org OrgID, s *StormInForce) error {
	record, err := r.History.Plan(ctx, org, s.Facts.ID)
	if err != nil {
		return err
	}
	plan, req, err := record.open()
	s.Short = planner.InShort(plan, req)
	return err
}
