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

// boardOf is a world with the fleet the board is drawn of: Auk is ready, Brent has reservations, Curlew and Dunlin are not ready.
type boardOf struct {
	*world
	auk, brent, curlew, dunlin string // addresses
}

func newBoard(t *testing.T) *boardOf {
	t.Helper()
	w := &boardOf{world: newWorld(t)}
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		plan, steps, err := samplePlan(ctx, r)
		plan.Engine = planner.Engine
		plan.Phases[0].WindKt, plan.Phases[0].HsM = 52, 8
		plan.Hardware[0].Part, plan.Hardware[0].Use, plan.Hardware[0].Verdict = "rode", 0.7, "within"
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
	w.add("/v1/incidents", strings.Replace(strings.Replace(incidentBody, "minor", "serious", 1), "{", `{"vessel_id": "`+idAt(w.curlew)+`", `, 1))
	w.dunlin = w.fitted("Dunlin", `"status": "laid_up"`, theSet[6:7], "fit", 0)
	w.planFor(w.dunlin)
	w.pass(time.Hour)
	return w
}

func idAt(address string) string { return address[strings.LastIndex(address, "/")+1:] }

// fitted registers a vessel with gear, all of it inspected, the rode with a verdict of its own.
func (w *boardOf) fitted(name, more string, gear []string, rodesVerdict string, chafed float64) string {
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

func (w *boardOf) drillAndPlan(vessel string) {
	w.t.Helper()
	w.add(vessel+"/drills", strings.Replace(drillBody, "2026-01-03", "2025-09-03", 1))
	w.planFor(vessel)
}

func (w *boardOf) planFor(vessel string) {
	w.t.Helper()
	var body map[string]any
	if err := json.Unmarshal([]byte(exampleBody(w.t)), &body); err != nil {
		w.t.Fatal(err)
	}
	delete(body, "vessel")
	delete(body, "gear")
	body["vessel_id"], body["intent"] = idAt(vessel), "ride_out_storm"
	w.plan(w.t, body, "plan-for-"+idAt(vessel))
}

const booking = "from=2026-06-01T00:00:00Z&to=2026-06-08T00:00:00Z"

func TestGoldenReadiness(t *testing.T) {
	t.Parallel()
	w := newBoard(t)
	for _, c := range []struct {
		name, target string
		status       int
	}{
		{"readiness/board", "/v1/readiness", 200},
		{"readiness/filtered", "/v1/readiness?verdict=ready_with_reservations&limit=1", 200},
		{"readiness/wrong_parameters", "/v1/readiness?verdict=fine&limit=0&valid_at=noon", 400},
		{"vessel_readiness/ready", w.auk + "/readiness", 200},
		{"vessel_readiness/window", w.auk + "/readiness?" + booking + "&wind_speed_kt=22&significant_wave_height_m=4.5", 200},
		{"vessel_readiness/not_yet", w.auk + "/readiness?valid_at=2025-01-01T00:00:00Z", 404},
		{"vessel_readiness/unknown", "/v1/vessels/01945d2c-7c00-7000-8000-000000000099/readiness", 404},
		{"vessel_readiness/wrong_parameters", w.auk + "/readiness?from=june&wind_speed_kt=-1&significant_wave_height_m=high&season=summer", 400},
		{"vessel_readiness/no_from", w.auk + "/readiness?wind_speed_kt=20", 400},
		{"vessel_readiness/no_to", w.auk + "/readiness?from=2026-06-01T00:00:00Z", 400},
		{"vessel_readiness/backward", w.auk + "/readiness?from=2026-06-08T00:00:00Z&to=2026-06-01T00:00:00Z", 400},
		{"vessel_readiness/over", w.auk + "/readiness?from=2025-06-01T00:00:00Z&to=2025-06-08T00:00:00Z", 400},
	} {
		answer := w.do(http.MethodGet, c.target, "")
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
		golden(t, c.name, answer)
	}
}

// What is recorded later, be it of earlier times, changes no answer that was given for the same instants.
func TestReadinessOfThenIsTheSameLater(t *testing.T) {
	t.Parallel()
	w := newBoard(t)
	const then = "?valid_at=2026-01-12T12:30:00Z&known_at=2026-01-12T12:30:00Z"
	var before, tags []string
	targets := []string{"/v1/readiness" + then, w.auk + "/readiness" + then + "&" + booking}
	for _, target := range targets {
		answer := w.do(http.MethodGet, target, "")
		before, tags = append(before, text(t, answer)), append(tags, answer.Header.Get("ETag"))
	}
	w.add("/v1/incidents", strings.Replace(strings.Replace(incidentBody, "minor", "serious", 1), "{", `{"vessel_id": "`+idAt(w.auk)+`", `, 1))
	w.change(w.auk+"?valid_from=2026-01-01T00:00:00Z", `{"status": "sold"}`)
	w.do(http.MethodPut, "/v1/policy?valid_from=2026-01-01T00:00:00Z", `{"inspect_every_months": 1}`, "If-Match", "*")
	w.pass(24 * time.Hour)
	for i, target := range targets {
		if got := text(t, w.do(http.MethodGet, target, "")); got != before[i] {
			t.Errorf("%s later: %s, want %s", target, got, before[i])
		}
		if again := w.do(http.MethodGet, target, "", "If-None-Match", tags[i]); again.StatusCode != http.StatusNotModified {
			t.Errorf("%s, which the caller has: %d, want 304", target, again.StatusCode)
		}
	}
	if got := w.members(w.auk + "/readiness"); got["verdict"] != "not_ready" {
		t.Errorf("now: %v, want not_ready", got["verdict"])
	}
}

// Pages of every length and verdict hold each vessel once, there and on the way back.
func TestBoardPages(t *testing.T) {
	t.Parallel()
	w := newBoard(t)
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

func (w *boardOf) page(list, cursor string) (page boardsPage) {
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
