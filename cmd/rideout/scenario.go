package main

import (
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
	claim   service.Claim
	request planner.Request
	vessel  string // name of the file
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
		plans = append(plans, demoPlan{claim, request, wanted.Vessel})
	}
	return s.Organisation, plans, nil
}

// demoVessel is a vessel of the demo and the plans kept for her, oldest first.
type demoVessel struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	PlanIDs []string `json:"plan_ids"`
}

// vesselsOf gives the scenario's vessels and plans by the ids they have in every demo.
func vesselsOf(wanted []demoPlan, ids map[string]uuid.UUID) (vessels []demoVessel) {
	at := map[string]int{}
	for _, w := range wanted {
		i, known := at[w.vessel]
		if !known {
			i = len(vessels)
			at[w.vessel], vessels = i, append(vessels, demoVessel{ID: ids[w.vessel].String(), Name: w.request.Vessel.Name})
		}
		vessels[i].PlanIDs = append(vessels[i].PlanIDs, ids[w.claim.Key].String())
	}
	return vessels
}
