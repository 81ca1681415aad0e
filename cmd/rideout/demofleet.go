package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"path"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/testdata/demo"
)

// demoSince is from when on the demo's vessels and gear are registered: before all of its forecasts.
var demoSince = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// mostDemoVessels is more than the scenario has.
const mostDemoVessels = 200

// registerFleet registers those of the scenario's vessels that are not there, each with her gear, and returns
// all by the names of their files.
func registerFleet(ctx context.Context, registers *service.Registers, org service.OrgID, wanted []demoPlan, progress func(string)) (map[string]uuid.UUID, error) {
	page, _, err := registers.List(ctx, org, service.RecordQuery{Kind: fleet.KindVessel, Limit: mostDemoVessels})
	if err != nil {
		return nil, err
	}
	there := map[string]uuid.UUID{}
	for _, v := range page.Items {
		var vessel fleet.Vessel
		if err := json.Unmarshal(v.Body, &vessel); err != nil {
			return nil, fmt.Errorf("read vessel %s: %w", v.ID, err)
		}
		there[vessel.Name] = v.ID
	}
	ids := map[string]uuid.UUID{}
	for _, w := range wanted {
		if _, done := ids[w.vessel]; done {
			continue
		}
		id, known := there[w.request.Vessel.Name]
		if !known {
			progress("registering " + w.request.Vessel.Name)
			if id, err = registerVessel(ctx, registers, org, w); err != nil {
				return nil, fmt.Errorf("register %s: %w", w.vessel, err)
			}
		}
		ids[w.vessel] = id
	}
	return ids, nil
}

func registerVessel(ctx context.Context, registers *service.Registers, org service.OrgID, w demoPlan) (uuid.UUID, error) {
	text, err := demo.FS.ReadFile(path.Join("vessels", w.vessel+".json"))
	if err != nil {
		return uuid.Nil, err
	}
	vessel := &fleet.Vessel{}
	if err := json.Unmarshal(text, vessel); err != nil {
		return uuid.Nil, err
	}
	id, err := record(ctx, registers, org, "demo-vessel-"+w.vessel, fleet.KindVessel, uuid.Nil, vessel)
	if err != nil || w.gear == "" {
		return id, err
	}
	items, err := gearItems(w.gear, id)
	if err != nil {
		return id, err
	}
	for i, item := range items {
		if _, err := record(ctx, registers, org, fmt.Sprintf("demo-gear-%s-%d", w.vessel, i), fleet.KindGear, id, item); err != nil {
			return id, err
		}
	}
	return id, nil
}

// gearItems takes a set apart into the items of the register.
func gearItems(name string, vessel uuid.UUID) ([]*fleet.GearItem, error) {
	text, err := demo.FS.ReadFile(path.Join("gear", name+".json"))
	if err != nil {
		return nil, err
	}
	var set fleet.Set
	if err := json.Unmarshal(text, &set); err != nil {
		return nil, err
	}
	var items []*fleet.GearItem
	add := func(given bool, item fleet.GearItem) {
		if given {
			item.VesselID = &vessel
			items = append(items, &item)
		}
	}
	add(set.Canopy != nil, fleet.GearItem{Kind: "canopy", Canopy: set.Canopy})
	add(set.Rode != nil, fleet.GearItem{Kind: "rode", Rode: set.Rode})
	for _, s := range set.Shackles {
		add(true, fleet.GearItem{Kind: "shackle", Shackle: &s})
	}
	for _, s := range set.Swivels {
		add(true, fleet.GearItem{Kind: "swivel", Swivel: &s})
	}
	add(set.Chain != nil, fleet.GearItem{Kind: "chain", Chain: set.Chain})
	add(set.TripLine != nil, fleet.GearItem{Kind: "trip_line", TripLine: set.TripLine})
	add(set.Float != nil, fleet.GearItem{Kind: "float", Float: set.Float})
	add(set.Bridle != nil, fleet.GearItem{Kind: "bridle", Bridle: set.Bridle})
	add(set.SpareLine != nil, fleet.GearItem{Kind: "spare_line", SpareLine: set.SpareLine})
	add(set.ChafeGear, fleet.GearItem{Kind: "chafe_gear"})
	return slices.Clip(items), nil
}

// record records one thing of the demo and returns its id.
func record(ctx context.Context, registers *service.Registers, org service.OrgID, key string, kind fleet.Kind, within uuid.UUID, e fleet.Entity) (uuid.UUID, error) {
	e.Settle()
	if problems := e.Check(time.Now()); len(problems) > 0 {
		return uuid.Nil, fmt.Errorf("%s: %s %s", key, problems[0].Pointer, problems[0].Message)
	}
	attributes, err := json.Marshal(e)
	if err != nil {
		return uuid.Nil, err
	}
	sum := sha256.Sum256(attributes)
	claim := service.Claim{Key: key, Route: "demo " + string(kind), RequestSHA256: hex.EncodeToString(sum[:])}
	answer, _, err := registers.Add(ctx, org, claim, service.Draft{Kind: kind, Within: within, ValidFrom: demoSince, By: "demo", Entity: e})
	if err != nil {
		return uuid.Nil, err
	}
	var made struct{ ID uuid.UUID }
	return made.ID, json.Unmarshal(answer.Body, &made)
}
