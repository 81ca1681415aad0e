package store_test

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
)

// foreseeing is the answer of a plan with phases and a sea room, from some past day on.
func (w *twice) foreseeing() []byte {
	w.t.Helper()
	from, err := time.Parse(time.RFC3339, w.past())
	if err != nil {
		w.t.Fatal(err)
	}
	band := func(mid float64) planner.Band { return planner.Band{Low: mid / 2, Mid: mid, High: 2 * mid} }
	until := from.Add(36 * time.Hour)
	p := planner.Plan{
		Phases: []planner.Phase{{
			Name: []string{"gale", "strong_wind"}[w.random.IntN(2)], Spans: []planner.Span{{From: from, Until: until}},
			FatigueShare: band(w.random.Float64()), Loads: planner.Loads{DriftKt: band(1.2), MeanN: band(4000)},
		}},
		Canopy:  planner.CanopyAdvice{Shape: "flat_circular", UsedDiameterM: 5.5},
		SeaRoom: &planner.SeaRoom{Legs: []planner.DriftLeg{{From: from, Hours: 36, SpeedKt: band(1.3), CurrentKt: 0.2, CurrentDeg: 90}}},
	}
	text, err := json.Marshal(p)
	if err != nil {
		w.t.Fatal(err)
	}
	return text
}

// outcome records something of a deployment, or corrects it.
func (w *twice) outcome(pick func(...string) string) {
	w.t.Helper()
	if len(w.known[fleet.KindPlan]) == 0 {
		return
	}
	if len(w.known[fleet.KindDeployment]) == 0 || w.random.IntN(3) == 0 {
		w.add(service.Draft{Kind: fleet.KindDeployment, Under: w.one(fleet.KindPlan)},
			fmt.Sprintf(`{"deployed_at": %q, "gear_ids": [%q, %q]}`, w.past(), w.one(fleet.KindGear), w.one(fleet.KindGear)))
		return
	}
	switch w.random.IntN(4) {
	case 0:
		w.change(fleet.KindDeployment, time.Time{}, pick(`{"gear_ids": null}`, `{"deployed_at": "`+w.past()+`"}`, `{"gear_ids": ["`+w.one(fleet.KindGear).String()+`"]}`))
	case 1, 2:
		w.retrieve()
	case 3:
		w.add(service.Draft{Kind: fleet.KindObservation, Under: w.one(fleet.KindDeployment)},
			`{"observed_at": "`+w.past()+`"`+pick(`, "load_n": 4000, "load_over_min": 20}`, `, "heading_off_wind_deg": 3}`))
	}
}

// retrieve records, or corrects, the retrieval of a deployment.
func (w *twice) retrieve() {
	w.t.Helper()
	w.now = w.now.Add(time.Minute)
	id, begun := w.one(fleet.KindDeployment), w.past()
	from, err := time.Parse(time.RFC3339, begun)
	if err != nil {
		w.t.Fatal(err)
	}
	for i := range w.histories {
		entity := &fleet.Retrieval{BegunAt: from, EndedAt: from.Add(time.Hour), Method: "hauled"}
		_, _, err := w.registers(i).Put(w.t.Context(), w.org, service.Draft{Kind: fleet.KindRetrieval, Under: id, By: "ro_test", Entity: entity}, id, service.Match{Any: true})
		if err != nil {
			w.t.Fatal(err)
		}
	}
}

// everything asks one of the histories for the board, the use of all gear and all outcomes.
func (w *twice) everything(i int, at service.AsOf) string {
	w.t.Helper()
	text := w.board(i, at)
	var outcomes []service.Trial
	var lain any
	err := w.histories[i].View(w.t.Context(), w.org, at.KnownAt, func(ctx context.Context, r service.Reader) (err error) {
		if outcomes, err = r.Trials(ctx, at); err != nil {
			return err
		}
		lain, err = r.Lyings(ctx, w.known[fleet.KindGear], at)
		return err
	})
	if err != nil {
		w.t.Fatal(err)
	}
	for _, v := range []any{append([]service.Trial{}, outcomes...), lain} {
		more, err := json.MarshalIndent(v, "", " ")
		if err != nil {
			w.t.Fatal(err)
		}
		text += "\n" + string(more)
	}
	return text
}
