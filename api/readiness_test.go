package api_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/openapi"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// demoBoard is the demo's fleet as its owner might have kept the book on it: the plans are really computed.
func demoBoard(t *testing.T) (w *world, vessels map[string]string) {
	t.Helper()
	w = newWorld(t)
	w.compute, w.plans.Budget = planner.Compute, time.Minute // tests share a machine
	policy := `{"rope_factor": 1.8, "shroud_factor": 2.2, "marginal_above": 0.9, "design_storm": {"wind_speed_kt": 45, "significant_wave_height_m": 6, "peak_period_s": 10}}`
	if answer := w.do(http.MethodPut, "/v1/policy?valid_from=2025-01-01T00:00:00Z", policy, "If-Match", "*"); answer.StatusCode != http.StatusOK {
		t.Fatalf("policy: %d %s", answer.StatusCode, text(t, answer))
	}
	vessels = map[string]string{}
	gear := map[string]string{} // address by vessel and kind
	for _, v := range []struct{ name, more string }{
		{"skua", ""}, {"tern", ""}, {"puffin", ""}, {"petrel", "knife"}, {"kestrel", "knife light bridle"}, {"gannet", "knife light"},
	} {
		at := w.add("/v1/vessels?valid_from=2025-01-01T00:00:00Z", demoFile(t, "vessels", v.name))
		vessels[v.name] = at
		for _, item := range demoItems(t, v.name, v.more) {
			kind := item["kind"].(string)
			gear[v.name+" "+kind] = w.add(at+"/gear?valid_from=2025-01-01T00:00:00Z", asText(t, item))
			if kind == "knife" || kind == "light" || v.name == "tern" {
				continue
			}
			day := map[string]string{"puffin": "2024-12-20", "petrel": "2025-02-03"}[v.name]
			if day == "" {
				day = "2025-06-14"
			}
			w.add(gear[v.name+" "+kind]+"/inspections", fmt.Sprintf(`{"inspected_at": "%sT09:00:00Z", "inspector": "rigger", "verdict": "fit"}`, day))
		}
		if v.name != "tern" {
			w.add(at+"/drills", `{"held_at": "2025-05-02T09:00:00Z", "kind": "full", "crew_count": 4}`)
		}
	}
	w.add(vessels["tern"]+"/drills", `{"held_at": "2025-05-02T09:00:00Z", "kind": "briefing", "crew_count": 6}`)
	w.add(gear["petrel rode"]+"/inspections", `{"inspected_at": "2025-10-01T09:00:00Z", "inspector": "rigger", "verdict": "repair", "chafed_share": 0.12, "findings": "chafed at the fairlead"}`)
	w.add("/v1/incidents", fmt.Sprintf(`{"vessel_id": %q, "occurred_at": "2025-11-30T04:00:00Z", "kind": "strong_point_failed", "severity": "serious", "what_happened": "The bow cleat lifted."}`, idIn(vessels["puffin"])))
	if answer := w.change(vessels["petrel"], `{"status": "laid_up"}`); answer.StatusCode != http.StatusOK {
		t.Fatalf("lay up: %d %s", answer.StatusCode, text(t, answer))
	}
	for _, p := range []struct{ name, forecast string }{{"petrel", "gale"}, {"kestrel", "storm"}, {"gannet", "storm"}, {"puffin", "storm"}} {
		body := map[string]any{
			"vessel_id": idIn(vessels[p.name]), "intent": "ride_out_storm", "forecast": json.RawMessage(demoFile(t, "forecasts", p.forecast)),
			"assume": map[string]any{"seeds": 2},
		}
		w.plan(t, body, "plan-"+p.name)
	}
	w.pass(time.Hour)
	return w, vessels
}

func demoFile(t *testing.T, folder, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "testdata", "demo", folder, name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// demoItems takes a vessel's set apart into registered items, with things no set has.
func demoItems(t *testing.T, name, more string) (items []map[string]any) {
	t.Helper()
	if name == "skua" {
		return nil // she carries nothing
	}
	var set map[string]json.RawMessage
	if err := json.Unmarshal([]byte(demoFile(t, "gear", name)), &set); err != nil {
		t.Fatal(err)
	}
	for _, kind := range []string{"canopy", "rode", "chain", "trip_line", "float", "bridle", "spare_line"} {
		if figures, ok := set[kind]; ok {
			item := map[string]any{"kind": kind, kind: figures}
			if kind == "rode" && name != "tern" {
				item["first_used_on"] = "2023-04-01"
			}
			items = append(items, item)
		}
	}
	for list, kind := range map[string]string{"shackles": "shackle", "swivels": "swivel"} {
		var figures []json.RawMessage
		if set[list] == nil {
			continue
		}
		if err := json.Unmarshal(set[list], &figures); err != nil {
			t.Fatal(err)
		}
		for _, f := range figures {
			items = append(items, map[string]any{"kind": kind, kind: f})
		}
	}
	for _, kind := range strings.Fields(more) {
		item := map[string]any{"kind": kind}
		if kind == "bridle" {
			item[kind] = map[string]any{"construction": "three_strand", "diameter_mm": 22, "leg_m": 18}
		}
		items = append(items, item)
	}
	slices.SortStableFunc(items, func(a, b map[string]any) int { return strings.Compare(a["kind"].(string), b["kind"].(string)) })
	return items
}

func idIn(address string) string { return address[strings.LastIndex(address, "/")+1:] }

// The demo fleet's board, and one vessel of it for the days of a booking.
func TestGoldenReadiness(t *testing.T) {
	t.Parallel()
	w, vessels := demoBoard(t)
	for _, c := range []struct {
		name, target string
		status       int
	}{
		{"readiness/board", "/v1/readiness", 200},
		{"readiness/not_ready", "/v1/readiness?verdict=not_ready&limit=1", 200},
		{"readiness/booking", vessels["gannet"] + "/readiness?from=2026-06-01T12:00:00Z&to=2026-06-20T12:00:00Z&wind_speed_kt=16&significant_wave_height_m=1.8", 200},
		{"readiness/before_the_book", vessels["gannet"] + "/readiness?valid_at=2024-06-01T12:00:00Z", 404},
		{"readiness/bad_parameters", vessels["gannet"] + "/readiness?valid_at=yesterday&wind_speed_kt=-1&colour=red", 400},
		{"readiness/summary", "/v1/readiness/summary", 200},
		{"readiness/summary_vessels", "/v1/readiness/summary?vessels=true&valid_at=2026-02-01T00:00:00Z", 200},
	} {
		answer := w.do(http.MethodGet, c.target, "")
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
		golden(t, c.name, answer)
	}
}

// Whatever is recorded later, and as of earlier, the same question has the same answer.
func TestReadinessAskedAgainIsTheSameToTheByte(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels?valid_from=2025-01-01T00:00:00Z", ternBody)
	rode := w.add(vessel+"/gear?valid_from=2025-01-01T00:00:00Z", rodeBody)
	w.pass(time.Hour)
	at := url.Values{"valid_at": {"2026-01-12T12:30:00Z"}, "known_at": {"2026-01-12T12:45:00Z"}}
	asked := []string{vessel + "/readiness?" + at.Encode() + "&from=2026-02-01T00:00:00Z&to=2026-03-01T00:00:00Z", "/v1/readiness?" + at.Encode(), "/v1/readiness/summary?vessels=true&" + at.Encode()}
	before := make([]*http.Response, len(asked))
	for i, target := range asked {
		before[i] = w.do(http.MethodGet, target, "")
		text(t, before[i])
	}
	w.pass(time.Hour)
	w.add(rode+"/inspections", inspectionBody)
	w.add(vessel+"/drills", drillBody)
	w.add("/v1/incidents", strings.Replace(incidentBody, `"minor"`, `"serious"`, 1))
	w.change(vessel+"?valid_from=2025-06-01T00:00:00Z", `{"status": "sold"}`)
	w.change(rode, `{"storm_hours": 400}`)
	w.plan(t, map[string]any{"vessel_id": idIn(vessel), "intent": "ride_out_storm", "forecast": json.RawMessage(demoFile(t, "forecasts", "storm"))}, "later")
	for i, target := range asked {
		again := w.do(http.MethodGet, target, "")
		if again.StatusCode != http.StatusOK || text(t, again) != text(t, before[i]) || again.Header.Get("ETag") != before[i].Header.Get("ETag") {
			t.Errorf("%s answers\n%s\nand answered\n%s", target, text(t, again), text(t, before[i]))
		}
		if status := w.do(http.MethodGet, target, "", "If-None-Match", before[i].Header.Get("ETag")).StatusCode; status != http.StatusNotModified {
			t.Errorf("%s with its ETag: status %d, want 304", target, status)
		}
	}
	if now := w.do(http.MethodGet, vessel+"/readiness", ""); text(t, now) == text(t, before[0]) || !strings.Contains(text(t, now), `"vessel_not_in_service"`) {
		t.Errorf("now: got %s, want what was recorded since to count", text(t, now))
	}
}

func TestReadinessOfOthersIsNotFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	for _, c := range []struct{ key, target string }{
		{w.other, vessel + "/readiness"},
		{w.key, "/v1/vessels/00000000-0000-7000-8000-000000000099/readiness"},
		{w.key, "/v1/vessels/tern/readiness"},
	} {
		if status := w.do(http.MethodGet, c.target, "", "Authorization", "Bearer "+c.key).StatusCode; status != http.StatusNotFound {
			t.Errorf("%s: status %d, want 404", c.target, status)
		}
	}
	others := w.do(http.MethodGet, "/v1/readiness", "", "Authorization", "Bearer "+w.other)
	if got := text(t, others); others.StatusCode != http.StatusOK || got != `{"items":[],"next":null,"prev":null}` {
		t.Errorf("another's board: %d %s, want an empty page", others.StatusCode, got)
	}
}

func TestBadParametersOfReadiness(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody) + "/readiness"
	w.pass(time.Hour)
	for target, parameter := range map[string]string{
		vessel + "?from=2026-02-01T00:00:00Z":                                                         "to",
		vessel + "?to=2026-02-01T00:00:00Z":                                                           "from",
		vessel + "?wind_speed_kt=20":                                                                  "from",
		vessel + "?from=2026-02-02T00:00:00Z&to=2026-02-02T00:00:00Z":                                 "to",
		vessel + "?from=2025-02-01T00:00:00Z&to=2025-02-02T00:00:00Z":                                 "to",
		vessel + "?from=2026-02-01&to=2026-02-02T00:00:00Z":                                           "from",
		vessel + "?from=2026-02-01T00:00:00Z&to=2026-02-02T00:00:00Z&wind_speed_kt=NaN":               "wind_speed_kt",
		vessel + "?from=2026-02-01T00:00:00Z&to=2026-02-02T00:00:00Z&significant_wave_height_m=1e400": "significant_wave_height_m",
		vessel + "?from=2026-02-01T00:00:00Z&to=2026-02-02T00:00:00Z&wind_speed_kt=121":               "wind_speed_kt",
		vessel + "?known_at=now":                                                                      "known_at",
		vessel + "?limit=3":                                                                           "limit",
		"/v1/readiness/summary?vessels=2":                                                             "vessels",
		"/v1/readiness?verdict=good":                                                                  "verdict",
		"/v1/readiness?limit=0":                                                                       "limit",
		"/v1/readiness?limit=201":                                                                     "limit",
		"/v1/readiness?cursor=x":                                                                      "cursor",
		"/v1/readiness?from=2026-02-01T00:00:00Z":                                                     "from",
		"/v1/readiness?verdict=ready&verdict=x":                                                       "verdict",
	} {
		answer := w.do(http.MethodGet, target, "")
		p := problem(t, answer)
		if answer.StatusCode != http.StatusBadRequest || len(p.Errors) == 0 || p.Errors[0].Parameter == nil || *p.Errors[0].Parameter != parameter {
			t.Errorf("%s: %d %s, want 400 naming %s", target, answer.StatusCode, text(t, answer), parameter)
		}
	}
}

// The pages of the board hold each vessel once, there and back, whatever the verdict asked for, as of the times of the first.
func TestPagesOfTheBoard(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var all []string
	add := func() { all = append([]string{idIn(w.add("/v1/vessels", ternBody))}, all...) }
	for range 9 {
		add()
	}
	for query, holds := range map[string]bool{"": true, "verdict=not_ready&": true, "verdict=ready&": false} {
		for _, limit := range []int{1, 2, 3, 8, 9, 10, 200} {
			w.pass(time.Minute)
			var want, got, before []string
			if holds {
				want = slices.Clone(all)
			}
			first := fmt.Sprintf("/v1/readiness?%slimit=%d", query, limit)
			page := w.board(first)
			if limit == 3 {
				add() // no later page may show her
			}
			for pages := 0; ; pages++ {
				here := idsOf(page)
				got = append(got, here...)
				if page.Prev != nil {
					if back := idsOf(w.board(first + "&cursor=" + *page.Prev)); !slices.Equal(back, before) {
						t.Errorf("%slimit=%d: back from page %d to %v, want %v", query, limit, pages, back, before)
					}
				}
				if page.Next == nil {
					break
				}
				if pages > len(all) {
					t.Fatalf("%slimit=%d: no end of pages", query, limit)
				}
				before, page = here, w.board(first+"&cursor="+*page.Next)
			}
			if !slices.Equal(got, want) {
				t.Errorf("%slimit=%d: got %v, want %v", query, limit, got, want)
			}
		}
	}
	ready := w.board("/v1/readiness?limit=1")
	if status := w.do(http.MethodGet, "/v1/readiness?limit=1&verdict=ready&cursor="+*ready.Next, "").StatusCode; status != http.StatusBadRequest {
		t.Errorf("a cursor of other filters: status %d, want 400", status)
	}
}

func (w *world) board(target string) openapi.ReadinessPage {
	w.t.Helper()
	answer := w.do(http.MethodGet, target, "")
	var page openapi.ReadinessPage
	if err := json.Unmarshal([]byte(text(w.t, answer)), &page); err != nil || answer.StatusCode != http.StatusOK {
		w.t.Fatalf("%s: status %d, %v", target, answer.StatusCode, err)
	}
	return page
}

func idsOf(page openapi.ReadinessPage) (ids []string) {
	for _, item := range page.Items {
		ids = append(ids, item.Id.String())
	}
	return ids
}

// The rules are the contract's, in the same order and the same words.
func TestRulesAreTheContracts(t *testing.T) {
	t.Parallel()
	property := theContract().Components.Schemas["ReadinessFinding"].Value.Properties["code"].Value
	texts, _ := property.Extensions["x-codes"].(map[string]any)
	words := map[readiness.Severity]string{readiness.Prevents: "Not ready unless so: ", readiness.Reservation: "A reservation unless so: "}
	var codes []any
	for _, r := range readiness.Rules() {
		codes = append(codes, r.Code)
		if want := words[r.Severity] + r.Asks; texts[r.Code] != want {
			t.Errorf("x-codes of %s: %q, want %q", r.Code, texts[r.Code], want)
		}
	}
	if !slices.Equal(property.Enum, codes) {
		t.Errorf("the contract has the codes %v, want %v", property.Enum, codes)
	}
}
