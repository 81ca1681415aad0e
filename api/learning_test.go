package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"rideout/openapi"
	"rideout/service/planner"
)

// outlook is a computation whose plans have a strong wind from noon and a gale from 18:00 to the next noon, and a drift.
func outlook(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	plan, steps, err := samplePlan(ctx, r)
	if err != nil {
		return plan, steps, err
	}
	begin := noon.AddDate(0, 0, -3)
	eve, end := begin.Add(6*time.Hour), begin.Add(24*time.Hour)
	band := func(mid float64) planner.Band { return planner.Band{Low: mid / 2, Mid: mid, High: 2 * mid} }
	windy, gale := plan.Phases[0], plan.Phases[0]
	windy.Name, windy.Spans, windy.FatigueShare = "strong_wind", []planner.Span{{From: begin, Until: eve}}, band(0.006)
	gale.Name, gale.Spans, gale.FatigueShare = "gale", []planner.Span{{From: eve, Until: end}}, band(0.18)
	windy.Loads.DriftKt, windy.Loads.MeanN, gale.Loads.DriftKt, gale.Loads.MeanN = band(1), band(2500), band(1.5), band(5600)
	plan.Phases = []planner.Phase{windy, gale}
	plan.Canopy.Shape, plan.Canopy.UsedDiameterM = "flat_circular", 5.5
	plan.SeaRoom.Legs = []planner.DriftLeg{
		{From: begin, Hours: 6, TowardDeg: 60, SpeedKt: band(1)}, {From: eve, Hours: 18, TowardDeg: 60, SpeedKt: band(1.5)},
	}
	return plan, steps, nil
}

// borne is a world with a vessel, her canopy and rode, and a plan in whose weather she lay to them.
func borne(t *testing.T) (w *world, vessel, canopy, rode, plan string) {
	t.Helper()
	w = newWorld(t)
	w.compute = outlook
	vessel = w.add("/v1/vessels?valid_from=2026-01-01T00:00:00Z", ternBody)
	canopy = w.add(vessel+"/gear?valid_from=2026-01-01T00:00:00Z", theSet[0])
	rode = w.add(vessel+"/gear?valid_from=2026-01-01T00:00:00Z", strings.Replace(rodeBody, "{", `{"storm_hours": 20, "fatigue_share": 0.05, `, 1))
	body := map[string]any{}
	if err := json.Unmarshal([]byte(exampleWith(t, named(vessel), "vessel", "gear", "assume")), &body); err != nil {
		t.Fatal(err)
	}
	plan = w.plan(t, body, "outlook")
	return w, vessel, canopy, rode, plan
}

func (w *world) use(target string) (u openapi.GearUse) {
	w.t.Helper()
	answer := w.do(http.MethodGet, target, "")
	if err := json.Unmarshal([]byte(text(w.t, answer)), &u); err != nil || answer.StatusCode != http.StatusOK {
		w.t.Fatalf("GET %s: %d, %v", target, answer.StatusCode, err)
	}
	return u
}

// asKnown is the query of what was known at the present of the world.
func (w *world) asKnown() string {
	at := w.clock().UTC().Format(time.RFC3339Nano)
	return "?valid_at=" + at + "&known_at=" + at
}

// A deployment logged late counts from then on, a corrected one as corrected, and as known before nothing changes.
func TestUseAddsUpFromDeployments(t *testing.T) {
	t.Parallel()
	w, vessel, canopy, rode, plan := borne(t)
	w.pass(time.Hour)
	before := w.asKnown()
	untouched := text(t, w.do(http.MethodGet, rode+"/use"+before, ""))
	if u := w.use(rode + "/use"); u.StormHours != 20 || len(u.Deployments) != 0 || u.FatigueShare.Mid != 0.05 {
		t.Errorf("before any deployment: %+v", u)
	}

	w.pass(time.Hour)
	deployment := w.add(plan+"/deployments", fmt.Sprintf(`{"deployed_at": "2026-01-09T14:00:00Z", "gear_ids": [%q, %q]}`, idIn(canopy), idIn(rode)))
	// To the end of the forecast: 4 h of strong wind at 0.001 an hour, 18 h of gale at 0.01.
	if u := w.use(rode + "/use"); u.StormHours != 38 || u.Deployments[0].Retrieved || !closeTo(u.FatigueShare.Mid, 0.05+4*0.001+18*0.01) {
		t.Errorf("not retrieved: %+v", u)
	}
	w.do(http.MethodPut, deployment+"/retrieval", `{"begun_at": "2026-01-10T07:00:00Z", "ended_at": "2026-01-10T08:00:00Z", "method": "hauled", "trip_line_used": false}`)
	golden(t, "gear_use/rode", w.do(http.MethodGet, rode+"/use", ""))
	golden(t, "gear_use/canopy", w.do(http.MethodGet, canopy+"/use", ""))
	golden(t, "gear_use/none", w.do(http.MethodGet, "/v1/gear/00000000-0000-7000-8000-000000000099/use", ""))
	w.pass(time.Hour)
	logged := w.asKnown()
	retrieved := text(t, w.do(http.MethodGet, rode+"/use"+logged, ""))

	// She deployed two hours later than was written, and it was another rode.
	w.pass(time.Hour)
	if answer := w.change(deployment, `{"deployed_at": "2026-01-09T16:00:00Z"}`); answer.StatusCode != http.StatusOK {
		t.Fatalf("correct: %d %s", answer.StatusCode, text(t, answer))
	}
	if u := w.use(rode + "/use"); u.Hours != 16 || u.StormHours != 34 || !closeTo(u.FatigueShare.Mid, 0.05+2*0.001+14*0.01) {
		t.Errorf("corrected: %+v", u)
	}
	if answer := w.change(deployment, fmt.Sprintf(`{"gear_ids": [%q]}`, idIn(canopy))); answer.StatusCode != http.StatusOK {
		t.Fatalf("correct: %d %s", answer.StatusCode, text(t, answer))
	}
	if u := w.use(rode + "/use"); u.StormHours != 20 || len(u.Deployments) != 0 {
		t.Errorf("another rode: %+v", u)
	}
	if u := w.use(canopy + "/use"); u.StormHours != 14 {
		t.Errorf("the canopy: %+v", u)
	}
	for at, want := range map[string]string{before: untouched, logged: retrieved} {
		if got := text(t, w.do(http.MethodGet, rode+"/use"+at, "")); got != want {
			t.Errorf("as of %s: got %s, was %s", at, got, want)
		}
	}
	if answer := w.do(http.MethodGet, vessel+"/readiness", ""); strings.Contains(text(t, answer), "used_up") {
		t.Error("the limits are not reached, and readiness says so")
	}
}

func closeTo(got, want float64) bool { return got-want < 1e-9 && want-got < 1e-9 }

// The policy's limits retire what deployments wore out: from the end of the one that reached them, and as known before no.
func TestPolicyRetiresWhatDeploymentsWoreOut(t *testing.T) {
	t.Parallel()
	w, vessel, canopy, rode, plan := borne(t)
	policy := `{"rode_retired_after_storm_hours": 30, "rode_retired_at_fatigue_share": 0.15, "canopy_retired_after_storm_hours": 14}`
	if answer := w.do(http.MethodPut, "/v1/policy?valid_from=2026-01-01T00:00:00Z", policy, "If-Match", "*"); answer.StatusCode != http.StatusOK {
		t.Fatal(text(t, answer))
	}
	w.pass(time.Hour)
	before := w.asKnown()
	w.pass(time.Hour)
	deployment := w.add(plan+"/deployments", fmt.Sprintf(`{"deployed_at": "2026-01-09T14:00:00Z", "gear_ids": [%q, %q]}`, idIn(canopy), idIn(rode)))
	w.do(http.MethodPut, deployment+"/retrieval", `{"begun_at": "2026-01-10T07:00:00Z", "ended_at": "2026-01-10T08:00:00Z", "method": "hauled", "trip_line_used": false}`)
	codes := func(query string) map[string]openapi.ReadinessFinding {
		t.Helper()
		var report openapi.ReadinessReport
		if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, vessel+"/readiness"+query, ""))), &report); err != nil {
			t.Fatal(err)
		}
		found := map[string]openapi.ReadinessFinding{}
		for _, f := range report.Findings {
			found[string(f.Code)] = f
		}
		return found
	}
	now, then := codes(""), codes(before)
	for code, says := range map[string]string{"rode_used_up": "has borne 34 hours of storm", "rode_fatigued": "has used up 19.4 % of its life", "canopy_used_up": "retires a canopy after 14"} {
		f, is := now[code]
		if _, was := then[code]; !is || was {
			t.Errorf("%s: found now %v, as known before %v; want true and false", code, is, was)
			continue
		}
		if !strings.Contains(f.Text, says) || f.Since == nil || !f.Since.Equal(time.Date(2026, 1, 10, 8, 0, 0, 0, time.UTC)) {
			t.Errorf("%s: %q since %v, want %q since the retrieval", code, f.Text, f.Since, says)
		}
	}
}

// What is learnt is shown with what it rests on, as known at a time, and a plan points to it.
func TestCalibrationIsShown(t *testing.T) {
	t.Parallel()
	w, vessel, _, _, plan := borne(t)
	other := w.add("/v1/vessels?valid_from=2026-01-01T00:00:00Z", strings.Replace(ternBody, "Tern", "Auk", 1))
	deployment := w.add(plan+"/deployments", `{"deployed_at": "2026-01-09T14:00:00Z"}`)
	for i := range 4 {
		from := noon.AddDate(0, 0, -3).Add(time.Duration(i) * 5 * time.Hour)
		w.add(deployment+"/observations", fmt.Sprintf(`{"observed_at": %q, "load_n": %d, "load_over_min": 20,
			"from_fix": {"time": %q, "latitude_deg": 61, "longitude_deg": -7}, "to_fix": {"time": %q, "latitude_deg": 61.02, "longitude_deg": -7}}`,
			from.Add(time.Hour).Format(time.RFC3339), 3000+900*i, from.Format(time.RFC3339), from.Add(time.Hour).Format(time.RFC3339)))
	}
	w.add(deployment+"/observations", `{"observed_at": "2026-01-09T16:00:00Z", "load_n": 31000, "load_over_min": 20}`) // wild
	w.add(deployment+"/observations", `{"observed_at": "2026-01-09T17:00:00Z", "load_n": 3100}`)                       // a single reading
	w.pass(time.Hour)
	known := w.asKnown()
	shown := w.do(http.MethodGet, "/v1/calibration"+known, "")
	kept := text(t, shown)
	var l openapi.Learning
	if err := json.Unmarshal([]byte(kept), &l); err != nil {
		t.Fatal(err)
	}
	if l.Outcomes != 9 || len(l.Outliers) != 1 || len(l.LeftOut) != 1 || len(l.Vessels) != 1 || len(l.Observations) != 9 {
		t.Errorf("%d outcomes, outliers %+v, left out %+v", l.Outcomes, l.Outliers, l.LeftOut)
	}
	golden(t, "calibration/fleet", w.do(http.MethodGet, "/v1/calibration"+known, ""))
	golden(t, "calibration/none", w.do(http.MethodGet, "/v1/calibration?vessel_id=00000000-0000-7000-8000-000000000099", ""))
	var hers openapi.Learning
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/calibration"+known+"&vessel_id="+idIn(other), ""))), &hers); err != nil {
		t.Fatal(err)
	}
	if hers.Outcomes != 9 || len(hers.Vessels)+len(hers.Observations)+len(hers.Outliers) > 0 {
		t.Errorf("of a vessel without outcomes: %d, %d vessels, %d pairs, %d outliers", hers.Outcomes, len(hers.Vessels), len(hers.Observations), len(hers.Outliers))
	}

	// A plan made now has these factors, and its link shows what they rest on when more is known.
	var given *planner.Calibration
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		given = r.Calibration
		return outlook(ctx, r)
	}
	body := map[string]any{}
	if err := json.Unmarshal([]byte(exampleWith(t, named(vessel), "vessel", "gear", "assume")), &body); err != nil {
		t.Fatal(err)
	}
	members := w.members(w.plan(t, body, "learnt"))
	link := members["links"].(map[string]any)["calibration"].(string)
	if given == nil || given.Apply || given.Outcomes != 9 || given.Windage.Mid != float64(l.Vessels[0].WindageFactor.Mid) || len(given.Outliers) != 1 {
		t.Fatalf("the plan was given %+v", given)
	}
	w.pass(time.Hour)
	w.add(deployment+"/observations", `{"observed_at": "2026-01-09T18:30:00Z", "load_n": 6000, "load_over_min": 20}`)
	var then openapi.Learning
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, link, ""))), &then); err != nil {
		t.Fatal(err)
	}
	if then.Outcomes != 9 || then.Vessels[0].WindageFactor != l.Vessels[0].WindageFactor {
		t.Errorf("by the plan's link: %d outcomes, %+v; want 9 and %+v", then.Outcomes, then.Vessels, l.Vessels)
	}
	if again := text(t, w.do(http.MethodGet, "/v1/calibration"+known, "")); again != kept {
		t.Error("asked again as known before, other bytes came")
	}
	// The policy switches it on.
	if answer := w.do(http.MethodPut, "/v1/policy?valid_from=2026-01-01T00:00:00Z", `{"use_calibration": true}`, "If-Match", "*"); answer.StatusCode != http.StatusOK {
		t.Fatal(text(t, answer))
	}
	w.plan(t, body, "used")
	if !given.Apply || given.Outcomes != 10 {
		t.Errorf("policy on: the plan was given %+v", given)
	}
	w.create("sent")
	if given != nil {
		t.Errorf("a vessel that was sent: the plan was given %+v", given)
	}
}

func TestLoadOverMinutesNeedsALoad(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	deployment := w.add(w.create("a")+"/deployments", deploymentBody)
	answer := w.do(http.MethodPost, deployment+"/observations", `{"observed_at": "2026-01-11T22:00:00Z", "load_over_min": 20, "note": "x"}`, "Idempotency-Key", "o")
	if answer.StatusCode != http.StatusBadRequest || !strings.Contains(text(t, answer), "/load_n") {
		t.Errorf("status %d: %s", answer.StatusCode, text(t, answer))
	}
}
