package api_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/planner"
)

// The world's other key is a rescue service's; the vessel is of the organisation of the first.

const distress = `{"mmsi": "231000000", "reason": "Distress alert of 12:04 UTC, no answer on channel 16", "duration_h": 2}`

// asRescue is do for the rescue service.
func (w *world) asRescue(method, target, body string, headers ...string) *http.Response {
	w.t.Helper()
	return w.do(method, target, body, append([]string{"Authorization", "Bearer " + w.other}, headers...)...)
}

// lent opens an access to the vessel and gives its address.
func (w *world) lent(key string) string {
	w.t.Helper()
	answer := w.asRescue(http.MethodPost, "/v1/emergency-access", distress, "Idempotency-Key", key)
	if answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("open: %d %s", answer.StatusCode, text(w.t, answer))
	}
	return answer.Header.Get("Location")
}

// told lists the types of an organisation's events.
func (w *world) told(org service.OrgID) (types []string) {
	w.t.Helper()
	page, err := w.history.Events(w.t.Context(), org, 0, time.Time{}, 1000)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, e := range page.Items {
		types = append(types, service.EventType(e.Kind, e.Version))
	}
	return types
}

var (
	owner  = uuid.UUID{1}
	rescue = uuid.UUID{2}
)

func TestEmergencyAccess(t *testing.T) {
	t.Parallel()
	w, vessel, plan := registered(t)
	if got := w.asRescue(http.MethodGet, vessel+"/storm-plan", ""); got.StatusCode != http.StatusNotFound {
		t.Errorf("without an access: %d, want 404", got.StatusCode)
	}
	opened := w.asRescue(http.MethodPost, "/v1/emergency-access", distress, "Idempotency-Key", "one")
	golden(t, "emergency/opened", opened)
	again := w.asRescue(http.MethodPost, "/v1/emergency-access", distress, "Idempotency-Key", "one")
	if again.StatusCode != http.StatusCreated || again.Header.Get("Idempotency-Replayed") != "true" || text(t, again) != text(t, opened) {
		t.Errorf("the same again: %d %s", again.StatusCode, text(t, again))
	}
	access := opened.Header.Get("Location")

	var short planner.StormPlan
	answer := w.asRescue(http.MethodGet, access+"/storm-plan", "")
	if err := json.Unmarshal([]byte(text(t, answer)), &short); err != nil || !strings.HasSuffix(plan, short.PlanID) || short.CallSign != "RDHM" {
		t.Errorf("storm plan: %d %+v, error %v", answer.StatusCode, short, err)
	}
	letters := w.asRescue(http.MethodGet, access+"/storm-plan", "", "Accept", "text/plain")
	if body := text(t, letters); len(body) > 1200 || !strings.Contains(body, "KESTREL OF HAMNA") {
		t.Errorf("as text, %d bytes: %s", len(body), body)
	}
	if got := w.asRescue(http.MethodGet, access+"/drift?at=2026-01-13T06:00:00Z", ""); got.StatusCode != http.StatusOK || !strings.Contains(text(t, got), `"containment"`) {
		t.Errorf("drift: %d %s", got.StatusCode, text(t, got))
	}
	if got, own := w.asRescue(http.MethodGet, access+"/vessel", ""), w.do(http.MethodGet, vessel, ""); text(t, got) != text(t, own) {
		t.Errorf("particulars: %d %s, the owner reads %s", got.StatusCode, text(t, got), text(t, own))
	}
	if got := w.asRescue(http.MethodGet, access+"/drift?at=2027-01-13T06:00:00Z", ""); got.StatusCode != http.StatusBadRequest {
		t.Errorf("drift beyond the forecast: %d, want 400", got.StatusCode)
	}
	for _, address := range []string{vessel, vessel + "/gear", vessel + "/storm-plan", plan} {
		if got := w.asRescue(http.MethodGet, address, ""); got.StatusCode != http.StatusNotFound {
			t.Errorf("%s beside the access: %d, want 404", address, got.StatusCode)
		}
	}

	read := "rideout.emergency_read.created"
	if got, want := w.told(rescue), []string{"rideout.emergency_access.created", read, read, read, read, read}; !slices.Equal(got, want) {
		t.Errorf("the rescue service's events: got %v, want %v", got, want)
	}
	if got, want := w.told(owner), []string{"rideout.vessel.created", "rideout.plan.created", "rideout.emergency_access.created", read, read, read, read, read}; !slices.Equal(got, want) {
		t.Errorf("the owner's events: got %v, want %v", got, want)
	}
	events := w.do(http.MethodGet, "/v1/events?after=2&limit=1", "")
	if !strings.Contains(text(t, events), access) {
		t.Errorf("the owner's event does not lead to the access: %s", text(t, events))
	}

	golden(t, "emergency/ended", w.asRescue(http.MethodDelete, access, ""))
	ended := w.asRescue(http.MethodGet, access+"/storm-plan", "")
	if p := problem(t, ended); ended.StatusCode != http.StatusGone || p.Code != "access_ended" {
		t.Errorf("after the end: %d %+v", ended.StatusCode, p)
	}
	golden(t, "emergency/review_due", w.do(http.MethodGet, "/v1/emergency-access?review=due", ""))
	golden(t, "emergency/reviewed", w.do(http.MethodPut, access+"/review", `{"words": "Justified: she had activated her beacon."}`))
	if got := w.do(http.MethodPut, access+"/review", `{"words": "Justified: she had activated her beacon."}`); got.StatusCode != http.StatusOK {
		t.Errorf("the same review again: %d", got.StatusCode)
	}
	if got := w.do(http.MethodPut, access+"/review", `{"words": "On second thoughts."}`); got.StatusCode != http.StatusConflict || problem(t, got).Code != "conflict" {
		t.Errorf("another review: %d, want 409", got.StatusCode)
	}
	if got := text(t, w.do(http.MethodGet, "/v1/emergency-access?review=due", "")); got != `{"items":[],"next":null,"prev":null}` {
		t.Errorf("reviews due at the end: %s", got)
	}
}

func TestEmergencyAccessAsEachSideReadsIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := `{"name": "Tern of Hamna", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000, "mmsi": "231000000"}`
	if got := w.do(http.MethodPost, "/v1/vessels", vessel, "Idempotency-Key", "vessel"); got.StatusCode != http.StatusCreated {
		t.Fatalf("register: %d %s", got.StatusCode, text(t, got))
	}
	access := w.lent("one")
	w.pass(time.Minute)
	if got := w.asRescue(http.MethodGet, access+"/vessel", ""); got.StatusCode != http.StatusOK {
		t.Errorf("particulars: %d", got.StatusCode)
	}
	w.pass(time.Minute)
	if got := w.asRescue(http.MethodGet, access+"/storm-plan", ""); got.StatusCode != http.StatusNotFound {
		t.Errorf("a storm plan there is not: %d", got.StatusCode)
	}
	w.pass(2 * time.Hour)
	golden(t, "emergency/asking", w.asRescue(http.MethodGet, access, ""))
	if got := w.do(http.MethodPut, access+"/review", `{"words": "Justified: she had activated her beacon."}`); got.StatusCode != http.StatusOK {
		t.Errorf("review: %d %s", got.StatusCode, text(t, got))
	}
	golden(t, "emergency/owner", w.do(http.MethodGet, access, ""))
	golden(t, "emergency/note", w.do(http.MethodGet, "/v1/events?after=1", ""))
}

func TestEmergencyAccessExpires(t *testing.T) {
	t.Parallel()
	w, _, _ := registered(t)
	access := w.lent("one")
	w.pass(2*time.Hour - time.Second)
	if got := w.asRescue(http.MethodGet, access+"/vessel", ""); got.StatusCode != http.StatusOK {
		t.Errorf("a second before: %d", got.StatusCode)
	}
	w.pass(time.Second)
	for _, what := range []string{"/vessel", "/storm-plan", "/drift"} {
		if got := w.asRescue(http.MethodGet, access+what, ""); got.StatusCode != http.StatusGone {
			t.Errorf("%s when it has expired: %d, want 410", what, got.StatusCode)
		}
	}
	if got := text(t, w.do(http.MethodGet, access, "")); !strings.Contains(got, `"state":"expired"`) {
		t.Errorf("the access: %s", got)
	}
	if got := w.do(http.MethodGet, "/v1/emergency-access?limit=1", ""); got.StatusCode != http.StatusOK {
		t.Errorf("the list: %d", got.StatusCode)
	}
}

func TestEmergencyAccessIsOneSides(t *testing.T) {
	t.Parallel()
	w, _, _ := registered(t)
	access := w.lent("one")
	for what, answer := range map[string]*http.Response{
		"the owner reads through it":      w.do(http.MethodGet, access+"/storm-plan", ""),
		"the owner ends it":               w.do(http.MethodDelete, access, ""),
		"the rescue service reviews":      w.asRescue(http.MethodPut, access+"/review", `{"words": "all well"}`),
		"an access there is not":          w.asRescue(http.MethodGet, "/v1/emergency-access/01945d2c-7c00-7000-8000-000000000099/storm-plan", ""),
		"an access there is not, ended":   w.asRescue(http.MethodDelete, "/v1/emergency-access/01945d2c-7c00-7000-8000-000000000099", ""),
		"an access there is not, as such": w.asRescue(http.MethodGet, "/v1/emergency-access/01945d2c-7c00-7000-8000-000000000099", ""),
	} {
		if answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d, want 404", what, answer.StatusCode)
		}
	}
	if got := w.do(http.MethodPut, access+"/review", `{"words": "all well"}`); got.StatusCode != http.StatusConflict {
		t.Errorf("a review of an open access: %d, want 409", got.StatusCode)
	}
}

func TestEmergencyAccessIsRefused(t *testing.T) {
	t.Parallel()
	w, _, _ := registered(t)
	for what, c := range map[string]struct {
		body     string
		status   int
		pointers []string
	}{
		"no reason":            {`{"mmsi": "231000000"}`, http.StatusBadRequest, []string{"/reason"}},
		"too short a reason":   {`{"mmsi": "231000000", "reason": "because"}`, http.StatusBadRequest, []string{"/reason"}},
		"a reason of spaces":   {`{"mmsi": "231000000", "reason": "            "}`, http.StatusBadRequest, []string{"/reason"}},
		"too long a reason":    {`{"mmsi": "231000000", "reason": "` + strings.Repeat("a", 501) + `"}`, http.StatusBadRequest, []string{"/reason"}},
		"more than four hours": {strings.Replace(distress, `"duration_h": 2`, `"duration_h": 4.01`, 1), http.StatusBadRequest, []string{"/duration_h"}},
		"no time at all":       {strings.Replace(distress, `"duration_h": 2`, `"duration_h": 0`, 1), http.StatusBadRequest, []string{"/duration_h"}},
		"no MMSI":              {`{"reason": "red flares sighted"}`, http.StatusBadRequest, []string{"/mmsi"}},
		"a coast station":      {strings.Replace(distress, "231000000", "002310000", 1), http.StatusBadRequest, []string{"/mmsi"}},
		"a vessel's id":        {`{"vessel_id": "01945d2c-7c00-7000-8000-000000000099", "reason": "red flares sighted"}`, http.StatusBadRequest, []string{"/mmsi", "/vessel_id"}},
		"nobody's MMSI":        {strings.Replace(distress, "231000000", "231999999", 1), http.StatusNotFound, nil},
	} {
		for range 2 { // the same again has the same answer
			answer := w.asRescue(http.MethodPost, "/v1/emergency-access", c.body, "Idempotency-Key", strings.ReplaceAll(what, " ", "-"))
			var got []string
			for _, e := range problem(t, answer).Errors {
				got = append(got, *e.Pointer)
			}
			if answer.StatusCode != c.status || !slices.Equal(got, c.pointers) {
				t.Errorf("%s: %d %v, want %d %v", what, answer.StatusCode, got, c.status, c.pointers)
			}
		}
	}
	own := w.do(http.MethodPost, "/v1/emergency-access", distress, "Idempotency-Key", "own")
	if p := problem(t, own); own.StatusCode != http.StatusUnprocessableEntity || p.Code != "wrong_reference" {
		t.Errorf("one's own vessel: %d %+v", own.StatusCode, p)
	}
	if got := w.asRescue(http.MethodPost, "/v1/emergency-access", distress, "Idempotency-Key", ""); got.StatusCode != http.StatusBadRequest {
		t.Errorf("without an Idempotency-Key: %d, want 400", got.StatusCode)
	}
	if got, want := w.told(rescue), []string{"rideout.emergency_search.created"}; !slices.Equal(got, want) {
		t.Errorf("the rescue service's events: got %v, want %v", got, want)
	}
	if got, want := w.told(owner), []string{"rideout.vessel.created", "rideout.plan.created"}; !slices.Equal(got, want) {
		t.Errorf("the owner's events: got %v, want %v", got, want)
	}
}

func TestEmergencyAccessAsksForItsScope(t *testing.T) {
	t.Parallel()
	w, _, _ := registered(t)
	access := w.lent("one")
	made := w.asRescue(http.MethodPost, "/v1/keys", `{"label": "dashboard", "scopes": ["plans:read", "audit:read", "admin"]}`, "Idempotency-Key", "dashboard")
	var key struct{ Key string }
	if err := json.Unmarshal([]byte(text(t, made)), &key); err != nil || key.Key == "" {
		t.Fatalf("make a key: %d %s", made.StatusCode, text(t, made))
	}
	before := w.told(rescue)
	with := []string{"Authorization", "Bearer " + key.Key, "Idempotency-Key", "two"}
	for _, target := range []string{access + "/storm-plan", access + "/drift", access + "/vessel"} {
		if got := w.do(http.MethodGet, target, "", with...); got.StatusCode != http.StatusForbidden {
			t.Errorf("%s without rescue:emergency: %d, want 403", target, got.StatusCode)
		}
	}
	for what, got := range map[string]*http.Response{
		"open": w.do(http.MethodPost, "/v1/emergency-access", distress, with...), "end": w.do(http.MethodDelete, access, "", with...),
	} {
		if got.StatusCode != http.StatusForbidden {
			t.Errorf("%s without rescue:emergency: %d, want 403", what, got.StatusCode)
		}
	}
	if got := w.told(rescue); !slices.Equal(got, before) {
		t.Errorf("what was refused was noted: %v, before %v", got, before)
	}
	if got := w.do(http.MethodGet, access, "", with...); got.StatusCode != http.StatusOK {
		t.Errorf("the access by audit:read: %d", got.StatusCode)
	}
}

// atFirstByte is a client that looks when the first byte of an answer reaches it.
type atFirstByte struct {
	*httptest.ResponseRecorder
	look func()
}

func (a *atFirstByte) WriteHeader(status int) {
	if a.look != nil {
		a.look()
		a.look = nil
	}
	a.ResponseRecorder.WriteHeader(status)
}

func TestReadIsNotedBeforeItsFirstByte(t *testing.T) {
	t.Parallel()
	w, _, _ := registered(t)
	access := w.lent("one")
	noted := func() bool {
		read := "rideout.emergency_read.created"
		return slices.Contains(w.told(rescue), read) && slices.Contains(w.told(owner), read)
	}
	if noted() {
		t.Fatal("noted before it was read")
	}
	w.history.CommitErr = service.ErrOutcomeUnknown
	if got := w.asRescue(http.MethodGet, access+"/storm-plan", ""); got.StatusCode != http.StatusServiceUnavailable || strings.Contains(text(t, got), "pay_out") {
		t.Errorf("with a store that fails at the end: %d %s, want 503 and no plan", got.StatusCode, text(t, got))
	}
	w.history.CommitErr = nil
	looked := false
	client := &atFirstByte{httptest.NewRecorder(), func() {
		if looked = true; !noted() {
			t.Error("the answer leaves before both sides have noted it")
		}
	}}
	w.api.ServeHTTP(client, w.request(http.MethodGet, access+"/storm-plan", "", "Authorization", "Bearer "+w.other))
	if client.Code != http.StatusOK || !looked {
		t.Errorf("read: %d, looked %v", client.Code, looked)
	}
}
