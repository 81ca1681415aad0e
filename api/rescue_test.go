package api_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"rideout/service/planner"
)

// registered is a world with a vessel and, for her, a plan that was really computed. It returns the addresses of both.
func registered(t *testing.T) (w *world, vessel, plan string) {
	t.Helper()
	w = newWorld(t)
	w.compute, w.plans.Budget = planner.Compute, time.Minute // tests share a machine
	var body map[string]any
	if err := json.Unmarshal([]byte(exampleBody(t)), &body); err != nil {
		t.Fatal(err)
	}
	particulars := body["vessel"].(map[string]any)
	particulars["call_sign"], particulars["mmsi"] = "RDHM", "231000000"
	answer := w.do(http.MethodPost, "/v1/vessels", asText(t, particulars), "Idempotency-Key", "vessel")
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("register: %d %s", answer.StatusCode, text(t, answer))
	}
	var made struct{ ID string }
	if err := json.Unmarshal([]byte(text(t, answer)), &made); err != nil {
		t.Fatal(err)
	}
	delete(body, "vessel")
	body["vessel_id"], body["assume"], body["rode_lengths_m"] = made.ID, map[string]any{"seeds": 2}, []float64{120, 183}
	return w, "/v1/vessels/" + made.ID, w.plan(t, body, "first")
}

// plan keeps a plan and returns its address.
func (w *world) plan(t testing.TB, body map[string]any, key string) string {
	t.Helper()
	answer := w.do(http.MethodPost, "/v1/plans", asText(t, body), "Idempotency-Key", key)
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("plan: %d %s", answer.StatusCode, text(t, answer))
	}
	return answer.Header.Get("Location")
}

func asText(t testing.TB, value any) string {
	t.Helper()
	b, err := json.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestStormPlanInForce(t *testing.T) {
	t.Parallel()
	w, vessel, plan := registered(t)
	answer := w.do(http.MethodGet, vessel+"/storm-plan", "")
	var short planner.StormPlan
	if err := json.Unmarshal([]byte(text(t, answer)), &short); err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(plan, short.PlanID) || short.CallSign != "RDHM" || len(short.PayOut) == 0 || short.SeaRoom == nil {
		t.Errorf("storm plan %+v", short)
	}
	letters := w.do(http.MethodGet, vessel+"/storm-plan", "", "Accept", "text/plain")
	if kind := letters.Header.Get("Content-Type"); !strings.HasPrefix(kind, "text/plain") {
		t.Errorf("as text: %s", kind)
	}
	body := text(t, letters)
	if len(body) > 1200 || !strings.Contains(body, "KESTREL OF HAMNA") || !strings.Contains(body, "61-12.0N 006-24.0W") {
		t.Errorf("as text, %d bytes: %s", len(body), body)
	}
	again := w.do(http.MethodGet, vessel+"/storm-plan", "", "If-None-Match", answer.Header.Get("ETag"))
	if again.StatusCode != http.StatusNotModified {
		t.Errorf("the same again: %d", again.StatusCode)
	}
}

func TestWhereabouts(t *testing.T) {
	t.Parallel()
	w, vessel, _ := registered(t)
	var where struct {
		planner.Whereabouts
		Limits   string
		Cautions []string
	}
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, vessel+"/drift?at=2026-01-13T06:00:00Z", ""))), &where); err != nil {
		t.Fatal(err)
	}
	if where.HoursFromStart != 12 || len(where.Containment) != 3 || where.Adrift == nil || where.Limits == "" || len(where.Cautions) == 0 {
		t.Errorf("whereabouts %+v", where)
	}
	beyond := w.do(http.MethodGet, vessel+"/drift?at=2027-01-13T06:00:00Z", "")
	if p := problem(t, beyond); beyond.StatusCode != http.StatusBadRequest || len(p.Errors) == 0 {
		t.Errorf("beyond the forecast: %d %+v", beyond.StatusCode, p)
	}
	if answer := w.do(http.MethodGet, "/v1/vessels/01945d2c-7c00-7000-8000-000000000099/drift", ""); answer.StatusCode != http.StatusNotFound {
		t.Errorf("an unknown vessel: %d", answer.StatusCode)
	}
}

// Near a pole the drift is not reckoned, whatever made the plan: that is nothing the service failed in.
func TestNoDriftIsKnownNearAPole(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	body := exampleWith(t, named(vessel)[:len(named(vessel))-1]+`, "position": {"latitude_deg": -89, "longitude_deg": 0}}`, "vessel")
	w.add("/v1/plans", body)
	answer := w.do(http.MethodGet, vessel+"/drift?at=2026-01-12T12:10:00Z", "")
	if p := problem(t, answer); answer.StatusCode != http.StatusNotFound || !strings.Contains(p.Detail, "-88..88") {
		t.Errorf("%d %s, want 404 and the latitudes covered", answer.StatusCode, text(t, answer))
	}
}

func TestPlanChanges(t *testing.T) {
	t.Parallel()
	w, vessel, first := registered(t)
	var body map[string]any
	if err := json.Unmarshal([]byte(exampleBody(t)), &body); err != nil {
		t.Fatal(err)
	}
	delete(body, "vessel")
	body["vessel_id"], body["assume"], body["rode_lengths_m"] = strings.TrimPrefix(vessel, "/v1/vessels/"), map[string]any{"seeds": 2}, []float64{120, 183}
	body["supersedes"] = strings.TrimPrefix(first, "/v1/plans/")
	body["forecast"].(map[string]any)["steps"].([]any)[0].(map[string]any)["wind_speed_kt"] = 53
	second := w.plan(t, body, "second")
	answer := w.do(http.MethodGet, second+"/changes?from="+strings.TrimPrefix(first, "/v1/plans/"), "")
	var changes planner.Changes
	if err := json.Unmarshal([]byte(text(t, answer)), &changes); err != nil {
		t.Fatal(err)
	}
	if len(changes.Changes) == 0 || !strings.Contains(changes.Summary, "ask more") {
		t.Errorf("changes %+v", changes)
	}
	if answer := w.do(http.MethodGet, second+"/changes?from=01945d2c-7c00-7000-8000-000000000099", ""); answer.StatusCode != http.StatusNotFound {
		t.Errorf("from an unknown plan: %d", answer.StatusCode)
	}
}
