package api_test

import (
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"rideout/api"
	"rideout/openapi"
	"rideout/service"
)

func contextFor(t testing.TB, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(t.Context(), d)
}

func withoutMember(t testing.TB, body, name string) string {
	t.Helper()
	var members map[string]any
	if err := json.Unmarshal([]byte(body), &members); err != nil {
		t.Fatal(err)
	}
	delete(members, name)
	return asText(t, members)
}

// A route that the contract has not, or has otherwise, or that names no scope, is not served: no API is made.
func TestRoutesAreTheContracts(t *testing.T) {
	t.Parallel()
	routes := newWorld(t).api.Routes()
	if err := api.Agree(routes, theContract()); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func([]api.Route) []api.Route{
		"one is missing":       func(all []api.Route) []api.Route { return all[1:] },
		"one is twice":         func(all []api.Route) []api.Route { return append(all, all[0]) },
		"one is not contained": func(all []api.Route) []api.Route { all[0].Path = "/v1/all"; return all },
		"without a scope":      func(all []api.Route) []api.Route { all[0].Scope = ""; return all },
		"another scope":        func(all []api.Route) []api.Route { all[0].Scope = service.ScopeAdmin; return all },
		"no scope there is":    func(all []api.Route) []api.Route { all[0].Scope = "everything"; return all },
		"open":                 func(all []api.Route) []api.Route { all[0].Scope = "none"; return all },
	} {
		if err := api.Agree(change(slices.Clone(routes)), theContract()); err == nil {
			t.Errorf("%s: they agree", name)
		}
	}
	for name, change := range map[string]func(*openapi3.Operation){
		"the contract names no scope":     func(op *openapi3.Operation) { delete(op.Extensions, "x-scope") },
		"the contract opens it":           func(op *openapi3.Operation) { op.Security = &openapi3.SecurityRequirements{} },
		"the contract names another":      func(op *openapi3.Operation) { op.Extensions["x-scope"] = "admin" },
		"the contract's is no scope":      func(op *openapi3.Operation) { op.Extensions["x-scope"] = "fleet:read" },
		"the contract's scope is no text": func(op *openapi3.Operation) { op.Extensions["x-scope"] = 1 },
	} {
		doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
		if err != nil {
			t.Fatal(err)
		}
		change(doc.Paths.Value("/v1/plans").Get)
		if err := api.Agree(routes, doc); err == nil {
			t.Errorf("%s: they agree", name)
		}
	}
}

// The contract lists the scopes there are.
func TestScopesAreTheContracts(t *testing.T) {
	t.Parallel()
	var listed []service.Scope
	for _, s := range theContract().Components.Schemas["Scope"].Value.Enum {
		listed = append(listed, service.Scope(s.(string)))
	}
	if want := service.AllScopes(); !slices.Equal(slices.Sorted(slices.Values(listed)), slices.Sorted(slices.Values(want))) {
		t.Errorf("the contract lists %v, want %v", listed, want)
	}
}

// Every operation of the contract with a key of each scope alone: the one with the scope it names passes, the others are
// told which one they lack, and nothing is recorded for them.
func TestOnlyTheScopeOfTheContractPasses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ids := w.things()
	keys := map[service.Scope]string{}
	for _, s := range service.AllScopes() {
		keys[s] = w.issue(uuid.UUID{1}, s).Reveal()
	}
	tried := 0
	for path, item := range theContract().Paths.Map() {
		for method, op := range item.Operations() {
			named, _ := op.Extensions["x-scope"].(string)
			if named == "none" {
				continue
			}
			for scope, key := range keys {
				before := w.recorded()
				tried++
				answer := w.serve(w.call(method, path, ids, "Authorization", "Bearer "+key))
				switch {
				case string(scope) == named && answer.StatusCode >= 300:
					t.Errorf("%s %s with %s: %d %s, want it to pass", method, path, scope, answer.StatusCode, text(t, answer))
				case string(scope) != named:
					if p := problem(t, answer); answer.StatusCode != http.StatusForbidden || p.Code != "forbidden" || !strings.Contains(p.Detail, "the scope "+named+",") {
						t.Errorf("%s %s with %s: %d %s, want 403 that names %s", method, path, scope, answer.StatusCode, text(t, answer), named)
					}
					if after := w.recorded(); after != before {
						t.Errorf("%s %s with %s: %d changes were recorded", method, path, scope, after-before)
					}
				}
			}
			w.renew(ids)
		}
	}
	if want := 8 * 50; tried < want {
		t.Errorf("%d were tried, want %d or more", tried, want)
	}
}

// recorded counts the changes of the world's organisation.
func (w *world) recorded() int64 {
	w.t.Helper()
	page, err := w.history.Events(w.t.Context(), uuid.UUID{1}, 0, time.Time{}, 1)
	if err != nil {
		w.t.Fatal(err)
	}
	return page.Latest
}

// HEAD goes with GET, and asks for the same.
func TestHeadAsksForTheScopeToo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	key := w.issue(uuid.UUID{1}, service.ScopePlansRead).Reveal()
	for path, want := range map[string]int{"/v1/plans": 200, "/v1/keys": 403, "/v1/events": 403, "/v1/events/stream": 403} {
		recorder := httptest.NewRecorder()
		w.api.ServeHTTP(recorder, w.request(http.MethodHead, path, "", "Authorization", "Bearer "+key))
		if recorder.Code != want {
			t.Errorf("HEAD %s: %d, want %d", path, recorder.Code, want)
		}
	}
}

// Every operation with an id of another organisation: not found, as an id there is not, and nothing is changed.
func TestForeignIDsAreNotFound(t *testing.T) {
	t.Parallel()
	w, _, url := newStoredWorld(t)
	ids := w.things()
	unknown := map[string]string{}
	for word := range ids {
		unknown[word] = uuid.NewString()
	}
	before := everyRow(t, url)
	tried := 0
	for path, item := range theContract().Paths.Map() {
		if !strings.Contains(path, "{id}") {
			continue
		}
		for method := range item.Operations() {
			tried++
			foreign := w.serve(w.call(method, path, ids, "Authorization", "Bearer "+w.other))
			none := w.serve(w.call(method, path, unknown, "Authorization", "Bearer "+w.other))
			p, q := problem(t, foreign), problem(t, none)
			p.RequestId, q.RequestId = "", ""
			if foreign.StatusCode != http.StatusNotFound || asText(t, p) != asText(t, q) {
				t.Errorf("%s %s with another's id: %d %v, with an unknown one %v; want 404 and no difference", method, path, foreign.StatusCode, p, q)
			}
		}
	}
	// A thing of another's that a body names is not there either.
	for path, body := range map[string]string{
		"/v1/incidents": strings.Replace(incidentBody, "{", `{"vessel_id": "`+ids["vessels"]+`", `, 1),
		"/v1/plans":     withoutMember(t, strings.Replace(exampleBody(t), "{", `{"vessel_id": "`+ids["vessels"]+`", `, 1), "vessel"),
	} {
		if answer := w.do(http.MethodPost, path, body, "Idempotency-Key", "foreign", "Authorization", "Bearer "+w.other); answer.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("POST %s that names another's vessel: %d %s, want 422", path, answer.StatusCode, text(t, answer))
		}
	}
	if after := everyRow(t, url); !maps.EqualFunc(after, before, slices.Equal) {
		for table := range before {
			if !slices.Equal(after[table], before[table]) {
				t.Errorf("%s was changed", table)
			}
		}
	}
	// And what was asked for is there for its own.
	for path, item := range theContract().Paths.Map() {
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			if item.GetOperation(method) == nil || !strings.Contains(path, "{id}") {
				continue
			}
			if answer := w.serve(w.call(method, path, ids)); answer.StatusCode >= 300 {
				t.Errorf("%s %s with its own id: %d %s", method, path, answer.StatusCode, text(t, answer))
			}
			w.renew(ids)
		}
	}
	if want := 30; tried < want {
		t.Errorf("%d were tried, want %d or more", tried, want)
	}
}
