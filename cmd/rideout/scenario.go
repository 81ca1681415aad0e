package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"path"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/service"
	"rideout/service/planner"
	"rideout/testdata/demo"
)

// scenario is the demo's fleet and the plans made for it. Names are those of files.
type scenario struct {
	Organisation string `json:"organisation"`
	Plans        []struct {
		Claim    string          `json:"claim"` // Idempotency-Key, so that a second start makes nothing twice
		Vessel   string          `json:"vessel"`
		Gear     string          `json:"gear"`
		Forecast string          `json:"forecast"`
		Intent   planner.Intent  `json:"intent"`
		Position json.RawMessage `json:"position"`
		Wish     json.RawMessage `json:"wish"`
		Crew     json.RawMessage `json:"crew"`
	} `json:"plans"`
}

// demoPlan is one plan to make.
type demoPlan struct {
	claim        service.Claim
	request      planner.Request
	vessel, gear string // names of files
}

// readScenario composes the bodies a caller would send and decodes them as the API would.
func readScenario() (organisation string, plans []demoPlan, err error) {
	text, err := demo.FS.ReadFile("scenario.json")
	if err != nil {
		return "", nil, err
	}
	var s scenario
	if err := json.Unmarshal(text, &s); err != nil {
		return "", nil, fmt.Errorf("scenario.json: %w", err)
	}
	for _, wanted := range s.Plans {
		b := body{Intent: wanted.Intent, Position: wanted.Position, Wish: wanted.Wish, Crew: wanted.Crew}
		for _, part := range []struct {
			folder, name string
			into         *json.RawMessage
		}{{"vessels", wanted.Vessel, &b.Vessel}, {"gear", wanted.Gear, &b.Gear}, {"forecasts", wanted.Forecast, &b.Forecast}} {
			if part.name == "" {
				continue // no gear: one is recommended
			}
			if *part.into, err = demo.FS.ReadFile(path.Join(part.folder, part.name+".json")); err != nil {
				return "", nil, err
			}
		}
		sent, err := json.Marshal(b)
		if err != nil {
			return "", nil, fmt.Errorf("%s: %w", wanted.Claim, err)
		}
		request, err := api.DecodePlan(sent)
		if err != nil {
			return "", nil, fmt.Errorf("%s: %w", wanted.Claim, err)
		}
		sum := sha256.Sum256(sent)
		claim := service.Claim{Key: wanted.Claim, Route: "POST /v1/plans", RequestSHA256: hex.EncodeToString(sum[:])}
		plans = append(plans, demoPlan{claim, request, wanted.Vessel, wanted.Gear})
	}
	return s.Organisation, plans, nil
}

// demoVessel is a vessel of the demo and the plans kept for her, oldest first.
type demoVessel struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	PlanIDs []string `json:"plan_ids"`
}

// load makes those of the plans that are not there, in order, and returns all by vessel.
func load(ctx context.Context, plans *service.Plans, org service.OrgID, fleet map[string]uuid.UUID, wanted []demoPlan, progress func(string)) ([]demoVessel, error) {
	var vessels []demoVessel
	at := map[string]int{}
	for _, w := range wanted {
		id, err := keptOrMade(ctx, plans, org, fleet[w.vessel], w, progress)
		if err != nil {
			return nil, fmt.Errorf("load %s: %w", w.claim.Key, err)
		}
		name := w.request.Vessel.Name
		i, known := at[name]
		if !known {
			i = len(vessels)
			at[name], vessels = i, append(vessels, demoVessel{ID: fleet[w.vessel].String(), Name: name})
		}
		vessels[i].PlanIDs = append(vessels[i].PlanIDs, id)
	}
	return vessels, nil
}

// keptOrMade looks for the plan before it claims it, because a claim is forgotten after 7 days. The scenario has one
// plan for each vessel and intent.
func keptOrMade(ctx context.Context, plans *service.Plans, org service.OrgID, vessel uuid.UUID, w demoPlan, progress func(string)) (string, error) {
	page, err := plans.List(ctx, org, service.PlanFilter{VesselID: vessel, Intent: w.request.Intent}, service.Place{Backward: true}, 1)
	if err != nil {
		return "", err
	}
	if len(page.Items) > 0 {
		return page.Items[0].ID.String(), nil
	}
	progress(fmt.Sprintf("planning for %s (%s)", w.request.Vessel.Name, w.request.Intent))
	order := service.PlanOrder{Request: w.request, VesselID: vessel, By: "demo"}
	order.Request.Gear = nil // what is registered
	answer, _, err := plans.Create(ctx, org, w.claim, order)
	return answer.PlanID.String(), err
}
