package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// PlanOrder is a plan asked for. A vessel is either in the request or named; gear that is not sent for a named
// vessel is what is registered as fitted to her.
type PlanOrder struct {
	Request    planner.Request
	VesselID   uuid.UUID // uuid.Nil: Request.Vessel was sent
	Supersedes uuid.UUID // uuid.Nil: none
	By         string
}

// mostFitted is how many pieces of gear a vessel's plan takes into account.
const mostFitted = 200

// resolve fills in from the book what the order names. It returns the request whole and checked, and the times that
// outcomes were looked at as of.
func (p *Plans) resolve(ctx context.Context, reader Reader, org OrgID, o PlanOrder) (req planner.Request, lookedAt AsOf, err error) {
	req = o.Request
	until, err := reader.KnownUntil(ctx)
	if err != nil {
		return req, lookedAt, err
	}
	now := p.Clock().UTC().Truncate(time.Microsecond)
	if now.Before(until) { // another process's clock is ahead
		now = until
	}
	lookedAt = AsOf{ValidAt: now, KnownAt: until}
	at := AsOf{ValidAt: moment(req.Forecast, now), KnownAt: until}
	if o.VesselID != uuid.Nil {
		vessel, valid, err := vesselAt(ctx, reader, o.VesselID, at, now)
		if err != nil {
			return req, lookedAt, err
		}
		at.ValidAt, req.Vessel = valid, vessel.Planned()
		if req.Gear == nil {
			if req.Gear, err = fitted(ctx, reader, o.VesselID, at); err != nil {
				return req, lookedAt, err
			}
		}
	}
	if err := p.govern(ctx, reader, org, o, &req, at, lookedAt); err != nil {
		return req, lookedAt, err
	}
	if err := checkSuperseded(ctx, reader, o, req.Vessel.Name); err != nil {
		return req, lookedAt, err
	}
	return req, lookedAt, validate(req)
}

// govern puts in the policy in force, unless it is the default, and of a registered vessel what outcomes known by now teach.
func (p *Plans) govern(ctx context.Context, reader Reader, org OrgID, o PlanOrder, req *planner.Request, at, lookedAt AsOf) error {
	own := fleet.DefaultPolicy()
	policy, err := reader.InForce(ctx, fleet.KindPolicy, org, at)
	switch {
	case err == nil:
		if err := json.Unmarshal(policy.Body, &own); err != nil {
			return fmt.Errorf("read policy: %w", err)
		}
		planned := own.Planned()
		req.Policy = &planned
	case !errors.Is(err, ErrNotFound):
		return err
	}
	if o.VesselID == uuid.Nil {
		return nil
	}
	learnt, err := p.learner.learn(ctx, reader, lookedAt)
	if err != nil {
		return err
	}
	req.Calibration = learnt.forPlan(o.VesselID, *req, own)
	return nil
}

// moment is when the plan begins: the first step of a forecast to come or wholly past, now where it has begun.
func moment(f planner.Forecast, now time.Time) time.Time {
	first, last := f.Steps[0].Time, f.Steps[len(f.Steps)-1].Time
	if first.Before(now) && !last.Before(now) {
		first = now
	}
	return first.UTC().Truncate(time.Microsecond)
}

// vesselAt reads a vessel as of a time, or as of now where she was not registered yet: old forecasts are planned for
// to compare.
func vesselAt(ctx context.Context, reader Reader, id uuid.UUID, at AsOf, now time.Time) (v fleet.Vessel, valid time.Time, err error) {
	version, err := reader.InForce(ctx, fleet.KindVessel, id, at)
	if errors.Is(err, ErrNotFound) {
		at.ValidAt = now
		version, err = reader.InForce(ctx, fleet.KindVessel, id, at)
	}
	switch {
	case errors.Is(err, ErrNotFound):
		field := FieldError{Pointer: "/vessel_id", Message: "there is no vessel with this id", Fix: "send the id of a vessel of your organisation, or send vessel"}
		return v, valid, &Error{Kind: KindNotReferable, Message: "the vessel is not registered", Fields: []FieldError{field}}
	case err != nil:
		return v, valid, err
	}
	return v, at.ValidAt, json.Unmarshal(version.Body, &v)
}

// fitted gives the set registered as fitted to a vessel; nil: none.
func fitted(ctx context.Context, reader Reader, vessel uuid.UUID, at AsOf) (*planner.Gear, error) {
	page, err := reader.Records(ctx, RecordQuery{Kind: fleet.KindGear, VesselID: vessel, AsOf: at, Limit: mostFitted})
	if err != nil {
		return nil, err
	}
	var items []fleet.GearItem
	var ids []uuid.UUID
	chafed := map[uuid.UUID]float64{}
	for i := len(page.Items) - 1; i >= 0; i-- { // in the order they were registered
		var item fleet.GearItem
		if err := json.Unmarshal(page.Items[i].Body, &item); err != nil {
			return nil, fmt.Errorf("read gear item: %w", err)
		}
		if !item.InUse(at.ValidAt) {
			continue
		}
		items, ids = append(items, item), append(ids, page.Items[i].ID)
		if item.Rode != nil {
			if err := lastChafe(ctx, reader, page.Items[i].ID, at, chafed); err != nil {
				return nil, err
			}
		}
	}
	if len(items) == 0 {
		return nil, nil
	}
	set, problems := fleet.SetOf(items, ids, chafed, at.ValidAt)
	if len(problems) > 0 {
		e := &Error{Kind: KindNotReferable, Message: "what is registered as fitted is not one set"}
		for _, p := range problems {
			e.Fields = append(e.Fields, FieldError(p))
		}
		return nil, e
	}
	return set.Planned(), nil
}

// lastChafe notes the chafe measured last on an item.
func lastChafe(ctx context.Context, reader Reader, item uuid.UUID, at AsOf, chafed map[uuid.UUID]float64) error {
	page, err := reader.Records(ctx, RecordQuery{Kind: fleet.KindInspection, Under: item, AsOf: at, Limit: mostFitted})
	if err != nil {
		return err
	}
	var last time.Time
	for _, v := range page.Items {
		var found fleet.Inspection
		if err := json.Unmarshal(v.Body, &found); err != nil {
			return fmt.Errorf("read inspection: %w", err)
		}
		if found.ChafedShare != nil && found.InspectedAt.After(last) {
			last, chafed[item] = found.InspectedAt, *found.ChafedShare
		}
	}
	return nil
}

// checkSuperseded demands that the plan superseded is one of the same vessel. Where one of the two names a registered
// vessel and the other does not, the vessel's name decides.
func checkSuperseded(ctx context.Context, reader Reader, o PlanOrder, vesselName string) error {
	if o.Supersedes == uuid.Nil {
		return nil
	}
	wrong := func(message string) error {
		field := FieldError{Pointer: "/supersedes", Message: message, Fix: "send the id of an earlier plan for the same vessel, or leave it out"}
		return &Error{Kind: KindNotReferable, Message: "the plan to supersede does not fit", Fields: []FieldError{field}}
	}
	old, err := reader.PlanHead(ctx, o.Supersedes)
	switch {
	case errors.Is(err, ErrNotFound):
		return wrong("there is no plan with this id")
	case err != nil:
		return err
	case old.VesselID != uuid.Nil && o.VesselID != uuid.Nil && old.VesselID != o.VesselID,
		(old.VesselID == uuid.Nil || o.VesselID == uuid.Nil) && !strings.EqualFold(old.VesselName, vesselName):
		return wrong("is a plan for another vessel")
	}
	return nil
}
