package api_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rideout/openapi"
)

const (
	ternBody = `{"name": "Tern of Hamna", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000, "imo": "9074729", "mmsi": "231000000", "home_port": "Hamna"}`
	rodeBody = `{"kind": "rode", "name": "storm rode", "serial": "R-17", "first_used_on": "2024-01-12", "place": "bow locker",
		"rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183, "terminations": ["thimbled_splice"]}}`
	inspectionBody = `{"inspected_at": "2026-01-10T09:00:00+01:00", "inspector": "mate", "findings": "glazed at the thimble", "chafed_share": 0.05, "verdict": "watch",
		"photographs": [{"link": "https://pictures.example/1.jpg", "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}]}`
	drillBody       = `{"held_at": "2026-01-03T10:00:00Z", "kind": "deployment", "crew_count": 4, "duration_min": 40}`
	deploymentBody  = `{"deployed_at": "2026-01-11T20:00:00Z", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}, "rode_out_m": 150, "canopy": {"shape": "flat_circular", "diameter_m": 5.5}}`
	observationBody = `{"observed_at": "2026-01-11T22:00:00Z", "load_n": 9000, "heading_deg": 250,
		"from_fix": {"time": "2026-01-11T21:00:00Z", "latitude_deg": 61.2, "longitude_deg": -6.4}, "to_fix": {"time": "2026-01-11T22:00:00Z", "latitude_deg": 61.21, "longitude_deg": -6.38}}`
	retrievalBody = `{"begun_at": "2026-01-12T08:00:00Z", "ended_at": "2026-01-12T08:40:00Z", "method": "trip_line", "trip_line_used": true, "damage": "one panel torn"}`
	incidentBody  = `{"occurred_at": "2026-01-11T23:00:00Z", "kind": "rode_chafed", "severity": "minor", "what_happened": "It chafed at the fairlead.", "what_was_learned": "Chafe gear first."}`
)

// add posts a thing of the book and gives its address.
func (w *world) add(path, body string, headers ...string) string {
	w.t.Helper()
	w.added++
	answer := w.do(http.MethodPost, path, body, append([]string{"Idempotency-Key", fmt.Sprintf("added-%d", w.added)}, headers...)...)
	if answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("POST %s: status %d: %s", path, answer.StatusCode, text(w.t, answer))
	}
	return answer.Header.Get("Location")
}

// change patches a thing from the version that is read now.
func (w *world) change(at, patch string) *http.Response {
	w.t.Helper()
	address, query, asked := strings.Cut(at, "?valid_from=")
	read := address
	if asked {
		read += "?valid_at=" + query
	}
	tag := w.do(http.MethodGet, read, "").Header.Get("ETag")
	return w.do(http.MethodPatch, at, patch, "If-Match", tag, "Content-Type", "application/merge-patch+json")
}

func (w *world) members(target string) map[string]any {
	w.t.Helper()
	answer := w.do(http.MethodGet, target, "")
	if answer.StatusCode != http.StatusOK {
		w.t.Fatalf("GET %s: status %d: %s", target, answer.StatusCode, text(w.t, answer))
	}
	var members map[string]any
	if err := json.Unmarshal([]byte(text(w.t, answer)), &members); err != nil {
		w.t.Fatal(err)
	}
	return members
}

// Each route of the book, as it answers when all is well, and how it refuses.
func TestGoldenBook(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	gear := w.add(vessel+"/gear", rodeBody)
	inspection := w.add(gear+"/inspections", inspectionBody)
	drill := w.add(vessel+"/drills", drillBody)
	plan := w.create("a")
	deployment := w.add(plan+"/deployments", deploymentBody)
	observation := w.add(deployment+"/observations", observationBody)
	incident := w.add("/v1/incidents", incidentBody)
	patch := []string{"Content-Type", "application/merge-patch+json"}
	for _, c := range []struct {
		name, method, target, body string
		headers                    []string
		status                     int
	}{
		{"vessels/created", http.MethodPost, "/v1/vessels", ternBody, []string{"Idempotency-Key", "b"}, 201},
		{"vessels/no_idempotency_key", http.MethodPost, "/v1/vessels", ternBody, nil, 400},
		{"vessels/invalid", http.MethodPost, "/v1/vessels", `{"name": "T", "hull": "workboat", "loa_m": 12, "beam_m": 40, "imo": "9074728", "id": "x"}`, []string{"Idempotency-Key", "c"}, 400},
		{"vessels/list", http.MethodGet, "/v1/vessels?limit=1", "", nil, 200},
		{"vessel/ok", http.MethodGet, vessel, "", nil, 200},
		{"vessel/not_yet", http.MethodGet, vessel + "?valid_at=2025-01-01T00:00:00Z", "", nil, 404},
		{"vessel/unmatched", http.MethodPatch, vessel, `{"status": "sold"}`, patch, 428},
		{"vessel/stale", http.MethodPatch, vessel, `{"status": "sold"}`, append(patch, "If-Match", `"x"`), 412},
		{"vessel/changed", http.MethodPatch, vessel, `{"status": "sold", "home_port": null}`, append(patch, "If-Match", "*"), 200},
		{"vessel/valid_from_too_far", http.MethodPatch, vessel + "?valid_from=2030-01-01T00:00:00Z", `{}`, append(patch, "If-Match", "*"), 400},
		{"gear/list", http.MethodGet, vessel + "/gear", "", nil, 200},
		{"gear/ok", http.MethodGet, gear, "", nil, 200},
		{"gear/no_such_vessel", http.MethodPatch, gear, `{"vessel_id": "00000000-0000-7000-8000-000000000099"}`, append(patch, "If-Match", "*"), 422},
		{"gear/retired", http.MethodPatch, gear, `{"retired_at": "2026-01-11T00:00:00Z", "retired_why": "chafed"}`, append(patch, "If-Match", "*"), 200},
		{"inspections/list", http.MethodGet, gear + "/inspections", "", nil, 200},
		{"inspection/ok", http.MethodGet, inspection, "", nil, 200},
		{"inspection/changed", http.MethodPatch, inspection, `{"verdict": "retire"}`, append(patch, "If-Match", "*"), 200},
		{"drills/list", http.MethodGet, vessel + "/drills", "", nil, 200},
		{"drill/ok", http.MethodGet, drill, "", nil, 200},
		{"drill/changed", http.MethodPatch, drill, `{"crew_count": 5}`, append(patch, "If-Match", "*"), 200},
		{"policy/default", http.MethodGet, "/v1/policy", "", nil, 200},
		{"policy/unmatched", http.MethodPut, "/v1/policy", `{"rope_factor": 4}`, nil, 428},
		{"policy/set", http.MethodPut, "/v1/policy", `{"rope_factor": 4}`, []string{"If-Match", "*"}, 200},
		{"deployments/list", http.MethodGet, plan + "/deployments", "", nil, 200},
		{"deployment/ok", http.MethodGet, deployment, "", nil, 200},
		{"deployment/changed", http.MethodPatch, deployment, `{"rode_out_m": 160}`, append(patch, "If-Match", "*"), 200},
		{"observations/list", http.MethodGet, deployment + "/observations", "", nil, 200},
		{"observation/ok", http.MethodGet, observation, "", nil, 200},
		{"observation/changed", http.MethodPatch, observation, `{"from_fix": {"latitude_deg": 61.19}}`, append(patch, "If-Match", "*"), 200},
		{"retrieval/none", http.MethodGet, deployment + "/retrieval", "", nil, 404},
		{"retrieval/created", http.MethodPut, deployment + "/retrieval", retrievalBody, nil, 201},
		{"retrieval/unmatched", http.MethodPut, deployment + "/retrieval", retrievalBody, nil, 428},
		{"retrieval/changed", http.MethodPut, deployment + "/retrieval", retrievalBody, []string{"If-Match", "*"}, 200},
		{"retrieval/ok", http.MethodGet, deployment + "/retrieval", "", nil, 200},
		{"incidents/list", http.MethodGet, "/v1/incidents", "", nil, 200},
		{"incident/ok", http.MethodGet, incident, "", nil, 200},
		{"incident/changed", http.MethodPatch, incident, `{"severity": "serious"}`, append(patch, "If-Match", "*"), 200},
	} {
		answer := w.do(c.method, c.target, c.body, c.headers...)
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
		golden(t, c.name, answer)
	}
}

func TestChangesAskTheVersionTheyStartFrom(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	first := w.do(http.MethodGet, vessel, "")
	tag := first.Header.Get("ETag")
	send := func(match string) *http.Response {
		return w.do(http.MethodPatch, vessel, `{"note": "seen"}`, "If-Match", match, "Content-Type", "application/merge-patch+json")
	}
	for _, match := range []string{`"x"`, "W/" + tag, tag[:len(tag)-2] + `"`, `"", "y"`} {
		if got := send(match).StatusCode; got != http.StatusPreconditionFailed {
			t.Errorf("If-Match %s: %d, want 412", match, got)
		}
	}
	w.pass(time.Minute)
	done := send(`"x", ` + strings.TrimSuffix(tag, `"`) + `-gzip"`) // as it is tagged when it is coded
	if done.StatusCode != http.StatusOK || done.Header.Get("ETag") != w.do(http.MethodGet, vessel, "").Header.Get("ETag") {
		t.Fatalf("with the version's tag: %d, ETag %s; want 200 and that of what is read now", done.StatusCode, done.Header.Get("ETag"))
	}
	if got := send(tag).StatusCode; got != http.StatusPreconditionFailed {
		t.Errorf("the same tag again: %d, want 412", got)
	}
	if got := text(t, w.do(http.MethodGet, vessel+"?known_at=2026-01-12T12:00:30Z", "")); got != text(t, first) {
		t.Errorf("as known before: %s, want the first version to the byte", got)
	}
	if again := w.do(http.MethodGet, vessel+"?known_at=2026-01-12T12:00:30Z", "", "If-None-Match", tag); again.StatusCode != http.StatusNotModified {
		t.Errorf("as known before, which the caller has: %d, want 304", again.StatusCode)
	}
	if got := w.do(http.MethodPatch, vessel, `{"note": "x"}`, "If-Match", "*").StatusCode; got != http.StatusUnsupportedMediaType {
		t.Errorf("a patch as application/json: %d, want 415", got)
	}
}

func TestFiftyChangesOfOneVersion(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	tag := w.do(http.MethodGet, vessel, "").Header.Get("ETag")
	var mu sync.Mutex
	count := map[int]int{}
	var all sync.WaitGroup
	for i := range 50 {
		all.Go(func() {
			recorder := httptest.NewRecorder()
			w.api.ServeHTTP(recorder, w.request(http.MethodPatch, vessel, fmt.Sprintf(`{"note": "change %d"}`, i), "If-Match", tag, "Content-Type", "application/merge-patch+json"))
			mu.Lock()
			defer mu.Unlock()
			count[recorder.Code]++
		})
	}
	all.Wait()
	if count[http.StatusOK] != 1 || count[http.StatusPreconditionFailed] != 49 {
		t.Errorf("answers %v, want 1 times 200 and 49 times 412", count)
	}
}

func TestAddingTwiceAddsOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel, other := w.add("/v1/vessels", ternBody), w.add("/v1/vessels", ternBody, "Idempotency-Key", "other")
	post := func(path string) *http.Response {
		return w.do(http.MethodPost, path, rodeBody, "Idempotency-Key", "k")
	}
	first := post(vessel + "/gear")
	w.pass(time.Hour)
	again := post(vessel + "/gear")
	if again.StatusCode != http.StatusCreated || again.Header.Get("Idempotency-Replayed") != "true" || text(t, again) != text(t, first) || again.Header.Get("Location") != first.Header.Get("Location") {
		t.Errorf("repeat: %d, replayed %q, at %s; want 201, true and the first answer", again.StatusCode, again.Header.Get("Idempotency-Replayed"), again.Header.Get("Location"))
	}
	for _, path := range []string{other + "/gear", vessel + "/gear?valid_from=2026-01-01T00:00:00Z"} {
		if got := post(path); got.StatusCode != http.StatusUnprocessableEntity || problem(t, got).Code != "key_reused" {
			t.Errorf("the same key and body for %s: %d, want 422 key_reused", path, got.StatusCode)
		}
	}
}

// A deployment that was told late holds from when it was; a correction takes its whole place, and what was told first can
// still be read.
func TestDeploymentToldLateAndCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	plan := w.create("a")
	deployment := w.add(plan+"/deployments", deploymentBody)
	told := w.members(deployment)
	if told["valid_from"] != "2026-01-11T20:00:00Z" || told["deployed_at"] != "2026-01-11T20:00:00Z" || told["recorded_at"] == told["valid_from"] {
		t.Errorf("told late: %v, want it to hold from when it was", told)
	}
	w.pass(time.Hour)
	if answer := w.change(deployment, `{"deployed_at": "2026-01-11T19:00:00Z"}`); answer.StatusCode != http.StatusOK {
		t.Fatalf("correct: %d: %s", answer.StatusCode, text(t, answer))
	}
	for query, want := range map[string]string{
		"":                               "2026-01-11T19:00:00Z",
		"?valid_at=2026-01-11T20:00:00Z": "2026-01-11T19:00:00Z",
		"?known_at=2026-01-12T12:30:00Z": "2026-01-11T20:00:00Z",
	} {
		if got := w.members(deployment + query)["deployed_at"]; got != want {
			t.Errorf("%q: deployed at %v, want %s", query, got, want)
		}
	}
}

func TestAnswersSayTheirTimes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody, "X-Request-Id", "a")
	w.pass(time.Hour)
	answer := w.do(http.MethodGet, vessel, "")
	known := answer.Header.Get("Known-At")
	if answer.Header.Get("Valid-At") != "2026-01-12T13:00:00Z" || known != "2026-01-12T12:00:00Z" {
		t.Errorf("Valid-At %q, Known-At %q; want now, and the last change", answer.Header.Get("Valid-At"), known)
	}
	w.change(vessel, `{"status": "sold"}`)
	if got := text(t, w.do(http.MethodGet, vessel+"?known_at="+known, "")); got != text(t, answer) {
		t.Errorf("asked again as of %s: %s, want %s", known, got, text(t, answer))
	}
	for _, query := range []string{"valid_at=yesterday", "known_at=2026-02-30T00:00:00Z", "valid_at=", "as_of=2026-01-01T00:00:00Z", "valid_at=9999-12-31T23:59:59-23:59", "valid_at=0001-01-01T00:00:00%2B14:00"} {
		if got := w.do(http.MethodGet, vessel+"?"+query, "").StatusCode; got != http.StatusBadRequest {
			t.Errorf("%s: %d, want 400", query, got)
		}
	}
	for zone, want := range map[string]int{"2026-01-12T12:59:59%2B01:00": 404, "2026-01-12T13:00:00%2B01:00": 200, "2026-01-12T06:15:00-05:45": 200, "2026-01-12T12:00:00Z": 200} {
		if got := w.do(http.MethodGet, vessel+"?valid_at="+zone, "").StatusCode; got != want {
			t.Errorf("valid at %s: %d, want %d", zone, got, want)
		}
	}
}

// All pages of a list are as of the times of the first, whatever is recorded meanwhile.
func TestPagesOfTheBookAreOfOneTime(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var made []string
	for range 5 {
		made = append(made, w.add("/v1/vessels", ternBody))
		w.pass(time.Minute)
	}
	slices.Reverse(made)
	var got []string
	target, pages := "/v1/vessels?limit=2", 0
	for ; target != ""; pages++ {
		answer := w.do(http.MethodGet, target, "")
		var page struct {
			Items []struct{ Links map[string]string }
			Next  *string
		}
		if err := json.Unmarshal([]byte(text(t, answer)), &page); err != nil {
			t.Fatal(err)
		}
		for _, item := range page.Items {
			got = append(got, item.Links["self"])
		}
		if target = ""; page.Next != nil {
			target = strings.TrimPrefix(strings.Split(answer.Header.Get("Link"), ">")[0], "<")
		}
		w.pass(time.Minute)
		w.add("/v1/vessels", ternBody)
	}
	if pages != 3 || !slices.Equal(got, made) {
		t.Errorf("%d pages with %v, want 3 with %v", pages, got, made)
	}
	first := w.members("/v1/vessels?limit=2")
	for _, query := range []string{"cursor=x", "cursor=" + first["next"].(string) + "&valid_at=2026-01-12T12:00:00Z", "limit=0", "limit=201", "name=Tern"} {
		if answer := w.do(http.MethodGet, "/v1/vessels?"+query, ""); answer.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %d, want 400", query, answer.StatusCode)
		}
	}
	if answer := w.do(http.MethodGet, "/v1/incidents?cursor="+first["next"].(string), ""); answer.StatusCode != http.StatusBadRequest {
		t.Errorf("a cursor of another list: %d, want 400", answer.StatusCode)
	}
}

func TestForeignAndUnknownIDsAreNotFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	gear := w.add(vessel+"/gear", rodeBody)
	deployment := w.add(w.create("a")+"/deployments", deploymentBody)
	theirs := []string{"Authorization", "Bearer " + w.other}
	for _, target := range []string{vessel, vessel + "/gear", vessel + "/drills", gear, gear + "/inspections", deployment, deployment + "/observations", deployment + "/retrieval"} {
		if got := w.do(http.MethodGet, target, "", theirs...).StatusCode; got != http.StatusNotFound {
			t.Errorf("GET %s by another organisation: %d, want 404", target, got)
		}
	}
	for target, body := range map[string]string{
		vessel + "/gear": rodeBody, vessel + "/drills": drillBody, gear + "/inspections": inspectionBody, deployment + "/observations": observationBody,
		"/v1/plans/00000000-0000-7000-8000-000000000001/deployments": deploymentBody,
	} {
		if got := w.do(http.MethodPost, target, body, append(theirs, "Idempotency-Key", "k")...).StatusCode; got != http.StatusNotFound {
			t.Errorf("POST %s by another organisation: %d, want 404", target, got)
		}
	}
	if got := w.do(http.MethodPut, deployment+"/retrieval", retrievalBody, theirs...).StatusCode; got != http.StatusNotFound {
		t.Errorf("PUT of a retrieval by another organisation: %d, want 404", got)
	}
	if got := text(t, w.do(http.MethodGet, "/v1/vessels", "", theirs...)); got != `{"items":[],"next":null,"prev":null}` {
		t.Errorf("another organisation's vessels: %s, want none", got)
	}
}

// Bodies that are wrong, and the pointers that must be named; none is kept.
func TestBadBodiesOfTheBook(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	gear := w.add(vessel+"/gear", rodeBody)
	deployment := w.add(w.create("a")+"/deployments", deploymentBody)
	plan := "/v1/plans/00000000-0000-7000-8000-000000000001"
	for i, c := range []struct {
		path, body string
		pointers   []string
	}{
		{"/v1/vessels", ` `, []string{""}},
		{"/v1/vessels", `[]`, []string{""}},
		{"/v1/vessels", `{"name": "T", "name": "U"}`, []string{"/beam_m", "/displacement_kg", "/draught_m", "/hull", "/loa_m", "/name"}},
		{"/v1/vessels", strings.Replace(ternBody, `"loa_m": 12`, `"loa_m": NaN`, 1), []string{"/loa_m"}},
		{"/v1/vessels", strings.Replace(ternBody, `"loa_m": 12`, `"loa_m": 0`, 1), []string{"/loa_m"}},
		{"/v1/vessels", strings.Replace(ternBody, `"beam_m": 4`, `"beam_m": 13`, 1), []string{"/beam_m"}},
		{"/v1/vessels", strings.Replace(ternBody, `9074729`, `9074728`, 1), []string{"/imo"}},
		{"/v1/vessels", strings.Replace(strings.Replace(ternBody, `231000000`, `970000000`, 1), `"loa_m": 12`, `"loa_m": -1`, 1), []string{"/loa_m", "/mmsi"}},
		{"/v1/vessels", strings.Replace(ternBody, `"home_port"`, `"port"`, 1), []string{"/port"}},
		{"/v1/vessels", strings.Replace(ternBody, `"home_port"`, `"version": 3, "home_port"`, 1), []string{"/version"}},
		{vessel + "/gear", `{"kind": "anchor"}`, []string{"/kind"}},
		{vessel + "/gear", `{"kind": "canopy", "rode": {"construction": "wire"}, "first_used_on": "2023-02-29"}`, []string{"/canopy", "/first_used_on", "/rode/construction", "/rode/diameter_mm", "/rode/length_m"}},
		{vessel + "/gear", `{"kind": "knife", "vessel_id": "00000000-0000-7000-8000-000000000099"}`, []string{"/vessel_id"}},
		{gear + "/inspections", `{"inspected_at": "2026-01-13T00:00:00Z", "inspector": "mate", "verdict": "fine", "chafed_share": 1.5}`, []string{"/chafed_share", "/inspected_at", "/verdict"}},
		{gear + "/inspections", strings.Replace(inspectionBody, "https://", "", 1), []string{"/photographs/0/link"}},
		{vessel + "/drills", `{"held_at": "yesterday", "kind": "full", "crew_count": 2.5}`, []string{"/crew_count", "/held_at"}},
		{plan + "/deployments", `{"deployed_at": "2026-01-11T20:00:00Z", "plan_id": "00000000-0000-7000-8000-000000000001", "rode_out_m": 0}`, []string{"/plan_id", "/rode_out_m"}},
		{deployment + "/observations", `{"observed_at": "2026-01-11T20:00:00Z"}`, []string{""}},
		{deployment + "/observations", `{"observed_at": "2026-01-11T20:00:00Z", "drift": {"speed_kt": 1, "toward_deg": 1, "distance_m": 1}, "load_n": 1}`, []string{"/drift"}},
		{"/v1/incidents", `{"occurred_at": "2026-01-11T20:00:00Z", "kind": "injury", "severity": "near_miss", "what_happened": ""}`, []string{"/injured", "/what_happened"}},
	} {
		answer := w.do(http.MethodPost, c.path, c.body, "Idempotency-Key", fmt.Sprint("k", i))
		named := pointersOf(problem(t, answer))
		if answer.StatusCode != http.StatusBadRequest || !slices.Equal(named, c.pointers) {
			t.Errorf("%s %s: %d naming %q, want 400 naming %q", c.path, c.body, answer.StatusCode, named, c.pointers)
		}
	}
	for patch, pointers := range map[string][]string{
		`{"loa_m": null}`: {"/loa_m"}, `{"id": "x", "colour": 1}`: {"/colour", "/id"}, `{"loa_m": 1e400}`: {"/loa_m"}, `[]`: {""}, ``: {""}, `{"imo": "9074728", "beam_m": "4"}`: {"/beam_m", "/imo"},
	} {
		answer := w.do(http.MethodPatch, vessel, patch, "If-Match", "*", "Content-Type", "application/merge-patch+json")
		if named := pointersOf(problem(t, answer)); answer.StatusCode != http.StatusBadRequest || !slices.Equal(named, pointers) {
			t.Errorf("patch %s: %d naming %q, want 400 naming %q", patch, answer.StatusCode, named, pointers)
		}
	}
	if got := w.members(vessel)["version"]; got != 1.0 {
		t.Errorf("version %v after what was refused, want 1", got)
	}
}

func pointersOf(p openapi.Problem) (pointers []string) {
	for _, f := range p.Errors {
		if f.Pointer != nil {
			pointers = append(pointers, *f.Pointer)
		}
	}
	slices.Sort(pointers)
	return pointers
}
