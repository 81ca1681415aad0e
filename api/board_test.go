package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/planner"
)

// theSet is a whole set of gear, each piece as it is registered.
var theSet = []string{
	`{"kind": "canopy", "name": "storm canopy", "canopy": {"shape": "flat_circular", "diameter_m": 5.5}}`,
	rodeBody,
	`{"kind": "shackle", "shackle": {"body_mm": 16}}`,
	`{"kind": "trip_line", "trip_line": {"length_m": 30}}`,
	`{"kind": "float", "float": {"buoyancy_n": 300}}`,
	`{"kind": "bridle", "bridle": {"construction": "three_strand", "diameter_mm": 22, "leg_m": 20}}`,
	`{"kind": "knife"}`,
	`{"kind": "light"}`,
}

// mixed is a world with the fleet the board is drawn of: Auk is ready, Brent has reservations, Curlew and Dunlin are not ready.
type mixed struct {
	*world
	auk, brent, curlew, dunlin string // addresses
}

func newMixed(t *testing.T) *mixed {
	t.Helper()
	w := &mixed{world: newWorld(t)}
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		plan, steps, err := samplePlan(ctx, r)
		plan.Engine = planner.Engine
		plan.Phases[0].WindKt, plan.Phases[0].HsM = 52, 8
		plan.Hardware[0].Part, plan.Hardware[0].Use, plan.Hardware[0].Verdict = "rode", 0.7, "within"
		plan.Hardware[0].CapacityN = 2 * plan.Phases[0].Loads.PeakN.High
		if strings.HasPrefix(r.Vessel.Name, "Dunlin") {
			plan.Phases[0].WindKt, plan.Phases[0].HsM = 38, 5.5
		}
		return plan, steps, err
	}
	w.auk = w.fitted("Auk", `"design_category": "B"`, theSet, "fit", 0.02)
	w.drillAndPlan(w.auk)
	w.brent = w.fitted("Brent", `"design_category": "A"`, slices.DeleteFunc(slices.Clone(theSet), func(item string) bool {
		return strings.Contains(item, `"bridle"`) || strings.Contains(item, `"light"`)
	}), "watch", 0.05)
	w.drillAndPlan(w.brent)
	w.curlew = w.fitted("Curlew", `"design_category": "A"`, theSet[:2], "retire", 0.2)
	w.add("/v1/incidents", strings.Replace(strings.Replace(incidentBody, "minor", "serious", 1), "{", `{"vessel_id": "`+idIn(w.curlew)+`", `, 1))
	w.dunlin = w.fitted("Dunlin", `"status": "laid_up"`, theSet[6:7], "fit", 0)
	w.planFor(w.dunlin)
	w.pass(time.Hour)
	return w
}

// fitted registers a vessel with gear, all of it inspected, the rode with a verdict of its own.
func (w *mixed) fitted(name, more string, gear []string, rodesVerdict string, chafed float64) string {
	w.t.Helper()
	vessel := w.add("/v1/vessels", strings.Replace(strings.Replace(ternBody, "Tern", name, 1), "{", "{"+more+", ", 1))
	for _, item := range gear {
		at := w.add(vessel+"/gear", item)
		verdict, share := "fit", ""
		if item == rodeBody {
			verdict, share = rodesVerdict, fmt.Sprintf(`, "chafed_share": %g`, chafed)
		}
		w.add(at+"/inspections", `{"inspected_at": "2025-06-01T09:00:00Z", "inspector": "mate", "verdict": "`+verdict+`"`+share+`}`)
	}
	return vessel
}

func (w *mixed) drillAndPlan(vessel string) {
	w.t.Helper()
	w.add(vessel+"/drills", strings.Replace(drillBody, "2026-01-03", "2025-09-03", 1))
	w.planFor(vessel)
}

func (w *mixed) planFor(vessel string) {
	w.t.Helper()
	var body map[string]any
	if err := json.Unmarshal([]byte(exampleBody(w.t)), &body); err != nil {
		w.t.Fatal(err)
	}
	delete(body, "vessel")
	delete(body, "gear")
	body["vessel_id"], body["intent"] = idIn(vessel), "ride_out_storm"
	w.plan(w.t, body, "plan-for-"+idIn(vessel))
}

func TestGoldenReservations(t *testing.T) {
	t.Parallel()
	golden(t, "readiness/reservations", newMixed(t).do(http.MethodGet, "/v1/readiness?verdict=ready_with_reservations", ""))
}

// Pages of every length and verdict hold each vessel once, there and on the way back.
func TestPagesOfAMixedBoard(t *testing.T) {
	t.Parallel()
	w := newMixed(t)
	for verdict, want := range map[string][]string{
		"":                        {w.dunlin, w.curlew, w.brent, w.auk},
		"ready":                   {w.auk},
		"ready_with_reservations": {w.brent},
		"not_ready":               {w.dunlin, w.curlew},
	} {
		for limit := 1; limit <= 5; limit++ {
			list := fmt.Sprintf("/v1/readiness?limit=%d", limit)
			if verdict != "" {
				list += "&verdict=" + verdict
			}
			page := w.page(list, "")
			var there []string
			for there = page.vessels; page.Next != nil; there = append(there, page.vessels...) {
				page = w.page(list, *page.Next)
			}
			if !slices.Equal(there, want) {
				t.Errorf("%s: got %v, want %v", list, there, want)
			}
			back := page.vessels
			for page.Prev != nil {
				page = w.page(list, *page.Prev)
				back = slices.Concat(page.vessels, back)
			}
			if !slices.Equal(back, want) {
				t.Errorf("%s, back: got %v, want %v", list, back, want)
			}
		}
	}
	for _, cursor := range []string{"x", *w.page("/v1/readiness?limit=1&verdict=not_ready", "").Next} {
		if answer := w.do(http.MethodGet, "/v1/readiness?limit=1&cursor="+cursor, ""); answer.StatusCode != http.StatusBadRequest {
			t.Errorf("a cursor of no such list: %d, want 400", answer.StatusCode)
		}
	}
}

// boardsPage is a page as far as paging goes.
type boardsPage struct {
	Items      []struct{ ID string }
	Next, Prev *string

	vessels []string // addresses
}

func (w *mixed) page(list, cursor string) (page boardsPage) {
	w.t.Helper()
	if cursor != "" {
		list += "&cursor=" + cursor
	}
	if err := json.Unmarshal([]byte(text(w.t, w.do(http.MethodGet, list, ""))), &page); err != nil {
		w.t.Fatal(err)
	}
	for _, item := range page.Items {
		page.vessels = append(page.vessels, "/v1/vessels/"+item.ID)
	}
	return page
}
