package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/store"
	"rideout/testdata/demo"
)

// patternVessels are vessels of the demo that have gear. The fleets are multiples of them.
var patternVessels = []string{"gannet", "kestrel", "petrel", "puffin", "tern"}

// patternAt is when the pattern is recorded: before anything else.
var patternAt = begin.AddDate(0, -1, 0)

// pattern records a few vessels through the use cases, as callers would, each with her gear, an inspection of each piece
// but knife and light, a drill, an incident, a plan that the engine computes, and a deployment by it.
type pattern struct {
	org       service.OrgID
	registers *service.Registers
	plans     *service.Plans
	now       time.Time
}

func newPattern(ctx context.Context, s *store.Store) (*pattern, error) {
	org, err := s.AddOrganisation(ctx, patternName)
	if err != nil {
		return nil, err
	}
	p := &pattern{org: org, now: patternAt}
	clock := func() time.Time { p.now = p.now.Add(time.Second); return p.now }
	newID := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	p.registers = &service.Registers{History: s, Clock: clock, NewID: newID}
	p.plans = &service.Plans{History: s, Clock: clock, NewID: newID, Compute: planner.Compute, Budget: time.Minute}
	return p, nil
}

const patternName = "pattern"

func (p *pattern) record(ctx context.Context) error {
	for _, name := range patternVessels {
		if err := p.vessel(ctx, name); err != nil {
			return fmt.Errorf("pattern of %s: %w", name, err)
		}
	}
	return nil
}

func (p *pattern) vessel(ctx context.Context, name string) error {
	files := map[string]json.RawMessage{}
	for _, folder := range []string{"vessels", "gear"} {
		text, err := demo.FS.ReadFile(path.Join(folder, name+".json"))
		if err != nil {
			return err
		}
		files[folder] = text
	}
	vessel := &fleet.Vessel{}
	if err := json.Unmarshal(files["vessels"], vessel); err != nil {
		return err
	}
	id, err := p.add(ctx, service.Draft{Kind: fleet.KindVessel}, vessel)
	if err != nil {
		return err
	}
	var set fleet.Set
	if err := json.Unmarshal(files["gear"], &set); err != nil {
		return err
	}
	var deployed []uuid.UUID
	for _, item := range items(set) {
		item.VesselID, item.Serial = &id, name+" "+item.Kind
		piece, err := p.add(ctx, service.Draft{Kind: fleet.KindGear, Within: id}, &item)
		if err != nil {
			return err
		}
		if item.Kind == "rode" || item.Kind == "canopy" {
			deployed = append(deployed, piece)
		}
		if item.Kind == "knife" || item.Kind == "light" {
			continue
		}
		inspection := &fleet.Inspection{InspectedAt: patternAt, Inspector: "mate", Verdict: "fit", Findings: "Washed, dried, every seam and splice looked at in daylight."}
		if item.Kind == "rode" {
			inspection.ChafedShare = new(0.01)
		}
		if _, err := p.add(ctx, service.Draft{Kind: fleet.KindInspection, Under: piece}, inspection); err != nil {
			return err
		}
	}
	if _, err := p.add(ctx, service.Draft{Kind: fleet.KindDrill, Under: id}, &fleet.Drill{HeldAt: patternAt, Kind: "full", CrewCount: 4}); err != nil {
		return err
	}
	incident := &fleet.Incident{VesselID: &id, OccurredAt: patternAt, Kind: "other", Severity: "minor", Happened: "The float went under the bow and came up to port.", Learned: "Pay out from the leeward side."}
	if _, err := p.add(ctx, service.Draft{Kind: fleet.KindIncident}, incident); err != nil {
		return err
	}
	plan, err := p.plan(ctx, id, files["vessels"])
	if err != nil {
		return err
	}
	return p.deployment(ctx, plan, deployed)
}

// deployment follows a plan for half an hour.
func (p *pattern) deployment(ctx context.Context, plan uuid.UUID, gear []uuid.UUID) error {
	id, err := p.add(ctx, service.Draft{Kind: fleet.KindDeployment, Under: plan}, &fleet.Deployment{DeployedAt: p.now.Add(-time.Hour), GearIDs: gear})
	if err != nil {
		return err
	}
	retrieval := &fleet.Retrieval{BegunAt: p.now.Add(-40 * time.Minute), EndedAt: p.now.Add(-30 * time.Minute), Method: "trip_line", TripLineUsed: true}
	_, _, err = p.registers.Put(ctx, p.org, service.Draft{Kind: fleet.KindRetrieval, Under: id, By: "bench", Entity: retrieval}, id, service.Match{})
	return err
}

// items takes a set apart, and adds what is asked for aboard beside it.
func items(set fleet.Set) []fleet.GearItem {
	list := []fleet.GearItem{{Kind: "knife"}, {Kind: "light"}, {Kind: "canopy", Canopy: set.Canopy}, {Kind: "rode", Rode: set.Rode, FirstUsedOn: "2021-04-01"}}
	if len(set.Shackles) > 0 {
		list = append(list, fleet.GearItem{Kind: "shackle", Shackle: &set.Shackles[0]})
	}
	if set.TripLine == nil {
		set.TripLine = &fleet.TripLine{LengthM: 30}
	}
	if set.Float == nil {
		set.Float = &fleet.Float{BuoyancyN: 300}
	}
	if set.Bridle == nil {
		set.Bridle = &fleet.Bridle{Construction: "three_strand", DiameterMM: 22, LegM: 12}
	}
	return append(list, fleet.GearItem{Kind: "trip_line", TripLine: set.TripLine}, fleet.GearItem{Kind: "float", Float: set.Float}, fleet.GearItem{Kind: "bridle", Bridle: set.Bridle})
}

func (p *pattern) add(ctx context.Context, d service.Draft, e fleet.Entity) (uuid.UUID, error) {
	e.Settle()
	if problems := e.Check(p.now); len(problems) > 0 {
		return uuid.Nil, fmt.Errorf("%s: %s %s", d.Kind, problems[0].Pointer, problems[0].Message)
	}
	d.Entity, d.By = e, "bench"
	answer, _, err := p.registers.Add(ctx, p.org, p.claim(), d)
	if err != nil {
		return uuid.Nil, fmt.Errorf("%s: %w", d.Kind, err)
	}
	var made struct{ ID uuid.UUID }
	return made.ID, json.Unmarshal(answer.Body, &made)
}

func (p *pattern) claim() service.Claim {
	return service.Claim{Key: uuid.NewString(), Route: "bench", RequestSHA256: fmt.Sprintf("%064x", 0)}
}

func (p *pattern) plan(ctx context.Context, id uuid.UUID, vessel json.RawMessage) (uuid.UUID, error) {
	forecast, err := demo.FS.ReadFile("forecasts/storm.json")
	if err != nil {
		return uuid.Nil, err
	}
	sent, err := json.Marshal(map[string]any{
		"vessel": vessel, "forecast": json.RawMessage(forecast), "intent": planner.RideOutStorm,
		"position": map[string]float64{"latitude_deg": 61.2, "longitude_deg": -6.4},
	})
	if err != nil {
		return uuid.Nil, err
	}
	request, err := api.DecodePlan(sent)
	if err != nil {
		return uuid.Nil, err
	}
	answer, _, err := p.plans.Create(ctx, p.org, p.claim(), service.PlanOrder{Request: request, VesselID: id, By: "bench"})
	return answer.PlanID, err
}
