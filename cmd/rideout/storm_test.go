package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	judged "rideout/service/readiness"
	"rideout/store/jobs"
)

// testdata/demo/STORM.md tells one storm from its forecast to what it taught, by calls to the API on a Postgres that holds the demo's
// past up to that morning. Clock and ids are the story's, so that its answers are the same each time. What the crew sees at
// sea is invented as in the demo: what the plan foresaw, times what is true of vessel and canopy there.
func TestStorm(t *testing.T) {
	t.Parallel()
	s, ids := newStorm(t)
	told := s.tell(ids)
	heldPage(t, "testdata/demo/STORM.md", told)
}

// stormBegins is when the story does: all of the demo's past that was recorded before is there.
var stormBegins = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)

// storm is a service with a clock that the story sets.
type storm struct {
	t     *testing.T
	store service.History
	org   service.OrgID
	api   *api.API
	key   string
	at    atomic.Pointer[time.Time]
	named atomic.Int64
}

func (s *storm) clock() time.Time { return *s.at.Load() }

func (s *storm) newID() uuid.UUID {
	return idAt(s.clock(), fmt.Sprintf("storm %d", s.named.Add(1)))
}

func newStorm(t *testing.T) (*storm, map[string]uuid.UUID) {
	t.Helper()
	ctx := t.Context()
	log := slog.New(slog.DiscardHandler)
	d, err := openDatabase(ctx, config{DataDir: dataDir(t)}, log, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.close(); err != nil {
			t.Error(err)
		}
	})
	acts, ids := storyOf(t)
	acts = slices.DeleteFunc(acts, func(a demoAct) bool { return !a.at.Before(stormBegins) })
	org, err := d.store.AddOrganisation(ctx, "Hamna Charter")
	if err != nil {
		t.Fatal(err)
	}
	past := plansOf(d.store, 10*time.Minute)
	past.Compute = computedOnce
	if err := newHistorian(org, registersOf(d.store), past).catchUp(ctx, acts, func(string) {}); err != nil {
		t.Fatal(err)
	}

	s := &storm{t: t, store: d.store, org: org}
	s.at.Store(&stormBegins)
	plans, forecasts, registers, keys := plansOf(d.store, 10*time.Minute), forecastsOf(d.store), registersOf(d.store), keysOf(d.store)
	forecasts.Plans.Budget = 10 * time.Minute
	plans.Clock, plans.NewID = s.clock, s.newID
	forecasts.Clock, forecasts.NewID, forecasts.Plans.Clock, forecasts.Plans.NewID = s.clock, s.newID, s.clock, s.newID
	registers.Clock, registers.NewID = s.clock, s.newID
	keys.Clock = s.clock
	events, webhooks := eventsOf(d.store), &service.Webhooks{}
	made, _, err := keys.Create(ctx, org, operator(), ownClaim(), service.KeyDraft{Label: "storm", Scopes: service.EverydayScopes()})
	if err != nil {
		t.Fatal(err)
	}
	s.key = made.Key.Reveal()
	work, err := d.store.StartWork(ctx, jobs.Config{Log: log, Workers: service.Workers{
		service.JobReplan: {Do: forecasts.Replan, Limit: 20 * time.Minute, AtOnce: 1},
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := work.Stop(time.Minute); err != nil {
			t.Error(err)
		}
	})
	s.api, err = api.New(api.Config{
		Plans: plans, Registers: registers, Events: events, Emergency: emergencyOf(d.store), Forecasts: forecasts, Webhooks: webhooks,
		Keys: keys, Witness: &service.Witness{Log: d.store, Clock: s.clock}, Keyring: d.store, Sessions: d.store, Ping: d.store.Ping,
		Cautions: planner.Cautions, Log: log, Clock: s.clock,
	})
	if err != nil {
		t.Fatal(err)
	}
	return s, ids
}

// on sets the clock.
func (s *storm) on(day, hour, minute int) time.Time {
	at := time.Date(2026, 1, day, hour, minute, 0, 0, time.UTC)
	s.at.Store(&at)
	return at
}

// ask makes a call and decodes its answer into a value, unless that is nil. It returns the body.
func (s *storm) ask(want int, method, path, sent string, into any, header ...string) []byte {
	s.t.Helper()
	r := httptest.NewRequestWithContext(context.WithoutCancel(s.t.Context()), method, path, bytes.NewBufferString(sent))
	r.Header.Set("Authorization", "Bearer "+s.key)
	if sent != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if method == http.MethodPost {
		r.Header.Set("Idempotency-Key", fmt.Sprintf("storm-%d", s.clock().Unix()))
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	s.api.ServeHTTP(w, r)
	if w.Code != want {
		s.t.Fatalf("%s %s: got %d, want %d: %s", method, path, w.Code, want, w.Body)
	}
	if into != nil {
		if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
			s.t.Fatalf("%s %s: %v: %s", method, path, err, w.Body)
		}
	}
	return w.Body.Bytes()
}

const (
	stormOrder = `{
  "vessel_id": "%s",
  "intent": "ride_out_storm",
  "position": {"latitude_deg": 61.2, "longitude_deg": -6.4},
  "wish": {"heading_off_wind_deg": 30, "drift_at_most_kt": 1.5},
  "crew": [{"name": "Ase", "role": "skipper"}, {"name": "Jon", "role": "helm"}, {"name": "Marit", "role": "foredeck"}, {"name": "Oli", "role": "line_tender"}],
  "forecast": {
    "issued_at": "2026-01-12T12:00:00Z", "source": "noon forecast",
    "steps": [
      {"time": "2026-01-12T18:00:00Z", "wind_speed_kt": 45, "gust_kt": 58, "wind_from_deg": 240, "significant_wave_height_m": 6.0, "peak_period_s": 10.0, "wave_from_deg": 245, "current_kt": 0.6, "current_toward_deg": 30},
      {"time": "2026-01-13T00:00:00Z", "wind_speed_kt": 40, "gust_kt": 51, "wind_from_deg": 265, "significant_wave_height_m": 5.6, "peak_period_s": 10.5, "wave_from_deg": 250, "current_kt": 0.5, "current_toward_deg": 210},
      {"time": "2026-01-13T06:00:00Z", "wind_speed_kt": 32, "wind_from_deg": 285, "significant_wave_height_m": 4.4, "peak_period_s": 10.0, "wave_from_deg": 265},
      {"time": "2026-01-13T12:00:00Z", "wind_speed_kt": 18, "wind_from_deg": 300, "significant_wave_height_m": 2.4, "peak_period_s": 9.0, "wave_from_deg": 280},
      {"time": "2026-01-13T18:00:00Z", "wind_speed_kt": 12, "wind_from_deg": 310, "significant_wave_height_m": 1.8, "peak_period_s": 8.5, "wave_from_deg": 290}
    ]
  }
}`
	stormArea = `{
  "area": {"type": "Polygon", "coordinates": [[[-9, 60], [-4, 60], [-4, 63], [-9, 63], [-9, 60]]]},
  "forecast": {
    "issued_at": "2026-01-12T20:30:00Z", "source": "evening forecast, the low deeper and slower",
    "steps": [
      {"time": "2026-01-12T21:00:00Z", "wind_speed_kt": 50, "gust_kt": 64, "wind_from_deg": 250, "significant_wave_height_m": 7.0, "peak_period_s": 10.5, "wave_from_deg": 245},
      {"time": "2026-01-13T03:00:00Z", "wind_speed_kt": 44, "gust_kt": 57, "wind_from_deg": 270, "significant_wave_height_m": 6.4, "peak_period_s": 10.5, "wave_from_deg": 255},
      {"time": "2026-01-13T09:00:00Z", "wind_speed_kt": 30, "wind_from_deg": 285, "significant_wave_height_m": 4.4, "peak_period_s": 10.0, "wave_from_deg": 265},
      {"time": "2026-01-13T13:00:00Z", "wind_speed_kt": 17, "wind_from_deg": 300, "significant_wave_height_m": 2.3, "peak_period_s": 9.0, "wave_from_deg": 280},
      {"time": "2026-01-13T19:00:00Z", "wind_speed_kt": 11, "wind_from_deg": 310, "significant_wave_height_m": 1.6, "peak_period_s": 8.5, "wave_from_deg": 290}
    ]
  }
}`
)

// tell makes the calls in order and returns what the page quotes.
func (s *storm) tell(ids map[string]uuid.UUID) map[string]string {
	t, kestrel, b := s.t, ids["kestrel"], map[string]string{}
	vessel := "/v1/vessels/" + kestrel.String()

	s.on(12, 12, 10)
	var before judged.Report
	s.ask(http.StatusOK, http.MethodGet, vessel+"/readiness", "", &before)
	b["ready before"] = findingsOf(before)
	var learnt service.Learning
	s.ask(http.StatusOK, http.MethodGet, "/v1/calibration?vessel_id="+kestrel.String(), "", &learnt)

	s.on(12, 12, 20)
	order := fmt.Sprintf(stormOrder, kestrel)
	var plan planner.Plan
	s.ask(http.StatusCreated, http.MethodPost, "/v1/plans", order, &plan)
	b["order"] = fenced("json", order)
	quotePlan(b, plan)
	b["sheet"] = fenced("text", string(s.ask(http.StatusOK, http.MethodGet, "/v1/plans/"+plan.ID+"/sheet", "", nil, "Accept", "text/plain")))

	s.on(12, 15, 50)
	rode, canopy := ids["kestrel/rode-2"], ids["kestrel/canopy"]
	deployed := pretty(t, map[string]any{
		"deployed_at": "2026-01-12T15:20:00Z", "position": map[string]any{"latitude_deg": 61.2, "longitude_deg": -6.4}, "rode_out_m": plan.Rode.PayOutM,
		"canopy": map[string]any{"shape": "flat_circular", "diameter_m": 5.5}, "gear_ids": []uuid.UUID{rode, canopy},
	})
	var deployment struct{ ID uuid.UUID }
	s.ask(http.StatusCreated, http.MethodPost, "/v1/plans/"+plan.ID+"/deployments", deployed, &deployment)
	b["deployed"] = fenced("json", deployed)

	seas := watcher{storm: s, plan: plan.ID, deployment: deployment.ID}
	s.on(12, 20, 10)
	b["seen first"] = seas.observe("first", time.Date(2026, 1, 12, 18, 30, 0, 0, time.UTC), time.Date(2026, 1, 12, 20, 0, 0, 0, time.UTC))

	s.on(12, 20, 15)
	var there planner.Whereabouts
	s.ask(http.StatusOK, http.MethodGet, vessel+"/drift?at=2026-01-13T06:00:00Z", "", &there)
	b["where"] = whereOf(there)

	s.on(12, 20, 45)
	var report service.ForecastReport
	s.ask(http.StatusCreated, http.MethodPost, "/v1/forecasts", stormArea, &report)
	b["new forecast"] = fenced("json", stormArea)
	report = s.planned(report.ID)
	hers := report.Vessels[0]
	b["outlook"] = outlookOf(hers)
	again := hers.PlanID.String()
	var changes planner.Changes
	s.ask(http.StatusOK, http.MethodGet, "/v1/plans/"+again+"/changes?from="+plan.ID, "", &changes)
	b["changes"] = changesOf(changes)
	var second planner.Plan
	s.ask(http.StatusOK, http.MethodGet, "/v1/plans/"+again, "", &second)
	b["second loads"], b["second hours"] = loadsOf(second), hoursOf(second)
	b["storm plan"] = fenced("text", string(s.ask(http.StatusOK, http.MethodGet, vessel+"/storm-plan", "", nil, "Accept", "text/plain")))

	s.on(12, 21, 5)
	b["eased"] = s.ease("/v1/deployments/"+deployment.ID.String(), plan.Rode.PayOutM, second.Rode.PayOutM)

	s.on(13, 5, 10)
	b["seen second"] = seas.observe("second", time.Date(2026, 1, 13, 2, 0, 0, 0, time.UTC), time.Date(2026, 1, 13, 5, 0, 0, 0, time.UTC))

	s.on(13, 16, 0)
	retrieved := pretty(t, map[string]any{"begun_at": "2026-01-13T14:30:00Z", "ended_at": "2026-01-13T15:20:00Z", "method": "trip_line", "trip_line_used": true})
	s.ask(http.StatusCreated, http.MethodPut, "/v1/deployments/"+deployment.ID.String()+"/retrieval", retrieved, nil)
	b["retrieved"] = fenced("json", retrieved)

	s.on(13, 17, 0)
	var rodeUse, canopyUse service.GearUse
	s.ask(http.StatusOK, http.MethodGet, "/v1/gear/"+rode.String()+"/use", "", &rodeUse)
	s.ask(http.StatusOK, http.MethodGet, "/v1/gear/"+canopy.String()+"/use", "", &canopyUse)
	b["use"] = usesOf(rodeUse, canopyUse)
	var taught service.Learning
	s.ask(http.StatusOK, http.MethodGet, "/v1/calibration?vessel_id="+kestrel.String(), "", &taught)
	b["learnt"] = learntOf(kestrel, learnt, taught)
	b["pairs"] = pairsOf(deployment.ID, taught)
	var next planner.Plan
	s.ask(http.StatusOK, http.MethodPost, "/v1/calculations", order, &next)
	b["effect"] = effectOf(next)
	var after judged.Report
	s.ask(http.StatusOK, http.MethodGet, vessel+"/readiness", "", &after)
	b["ready after"] = findingsOf(after)
	return b
}

// ease corrects how much rode is out, where the new plan asks for more.
func (s *storm) ease(deployment string, outM, wantedM float64) string {
	s.t.Helper()
	if wantedM <= outM {
		return fmt.Sprintf("%.0f m are out, and the new plan asks for %.0f m: nothing is to be done.", outM, wantedM)
	}
	change := pretty(s.t, map[string]any{"rode_out_m": wantedM, "note": fmt.Sprintf("Eased from %.0f m before the wind rose.", outM)})
	s.ask(http.StatusOK, http.MethodPatch, deployment, change, nil, "If-Match", "*", "Content-Type", "application/merge-patch+json")
	return "Before the wind forbids work forward the crew eases more rode out, and says so, `PATCH /v1/deployments/{id}`:\n\n" + fenced("json", change)
}

// planned waits until every vessel has been planned anew.
func (s *storm) planned(id uuid.UUID) (report service.ForecastReport) {
	s.t.Helper()
	for range 6000 {
		s.ask(http.StatusOK, http.MethodGet, service.ForecastPath(id), "", &report)
		if report.Progress.Ended {
			if report.Progress.Done != 1 {
				s.t.Fatalf("planned anew: %+v", report.Progress)
			}
			return report
		}
		time.Sleep(100 * time.Millisecond)
	}
	s.t.Fatal("nobody was planned anew")
	return report
}

// watcher sees what the crew would.
type watcher struct {
	*storm
	plan       string
	deployment uuid.UUID
}

// observe records what is seen between two times, and returns what was sent and what was made of it.
func (w watcher) observe(name string, from, to time.Time) string {
	w.t.Helper()
	kept, err := w.store.Plan(w.t.Context(), w.org, uuid.MustParse(w.plan))
	if err != nil {
		w.t.Fatal(err)
	}
	seen, err := look{
		historyLay: historyLay{Vessel: "kestrel", Position: [2]float64{61.2, -6.4}, LoadCell: true}, name: "storm " + name,
		canopy: fleet.Canopy{Shape: "flat_circular", DiameterM: 5.5}, deployed: time.Date(2026, 1, 12, 15, 20, 0, 0, time.UTC), from: from, to: to,
	}.seen(kept)
	if err != nil {
		w.t.Fatal(err)
	}
	seen.Drift = nil // worked out from the fixes by who is told
	text, err := json.Marshal(seen)
	var sent map[string]any
	if err := errors.Join(err, json.Unmarshal(text, &sent)); err != nil {
		w.t.Fatal(err)
	}
	delete(sent, "deployment_id")
	body := pretty(w.t, sent)
	var recorded fleet.Observation
	w.ask(http.StatusCreated, http.MethodPost, "/v1/deployments/"+w.deployment.String()+"/observations", body, &recorded)
	return fenced("json", body) + fmt.Sprintf("\n\nOf the two fixes the service makes %.2f kt over the ground, toward %.0f°.", recorded.Drift.SpeedKt, recorded.Drift.TowardDeg)
}

func pretty(t *testing.T, v any) string {
	t.Helper()
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
