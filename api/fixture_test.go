package api_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/api"
	"rideout/service"
	"rideout/store"
	"rideout/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// newStoredWorld is a world on a database, with two organisations and an admin's key of each.
func newStoredWorld(t *testing.T) (*world, *store.Store, string) {
	t.Helper()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	w := newWorldWith(t, func(c *api.Config) {
		c.Plans.History, c.Registers.History, c.Keys.History, c.Events.Log, c.Keyring, c.Sessions, c.Ping = s, s, s, s, s, s, s.Ping
		c.Emergency.Lender, c.Emergency.History = s, s
		c.Forecasts.History, c.Forecasts.Book, c.Witness.Log = s, s, s
		c.Webhooks.History, c.Webhooks.Log = s, s
	})
	for name, key := range map[string]*string{"Hamna charter": &w.key, "Skarv rescue": &w.other, "Lomvi charter": &w.lender} {
		org, err := s.AddOrganisation(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		*key = w.issue(org, service.AllScopes()...).Reveal()
	}
	return w, s, url
}

// issue makes a key as the command line does.
func (w *world) issue(org service.OrgID, scopes ...service.Scope) service.Key {
	w.t.Helper()
	claim := service.Claim{Key: uuid.NewString(), Route: "test", RequestSHA256: strings.Repeat("00", 32)}
	made, _, err := w.keys.Create(w.t.Context(), org, service.Caller{By: "test", Scopes: service.AllScopes()}, claim, service.KeyDraft{Label: "of a test", Scopes: scopes})
	if err != nil {
		w.t.Fatal(err)
	}
	return made.Key
}

// letter is what is sent to an operation, with {id} as in its path.
type letter struct{ query, body string }

// keyBody asks for no more than it takes to send it.
const keyBody = `{"label": "booking", "scopes": ["admin"]}`

// whole gives the body, from its file where it is in one.
func (l letter) whole(t testing.TB) string {
	t.Helper()
	switch l.body {
	case "the example":
		return exampleBody(t)
	case "the area forecast":
		return areaForecastBody(t)
	}
	return l.body
}

// letters has something good to send to each operation that needs something.
var letters = map[string]letter{
	"GET /v1/log/proofs/inclusion":           {query: "?seq=1"},
	"GET /v1/log/proofs/consistency":         {query: "?from=1"},
	"POST /v1/calculations":                  {body: "the example"},
	"POST /v1/plans":                         {body: "the example"},
	"GET /v1/plans/{id}/changes":             {query: "?from={id}"},
	"GET /v1/vessels/{id}/drift":             {query: "?at=2026-01-12T12:10:00Z"},
	"POST /v1/vessels":                       {body: ternBody},
	"PATCH /v1/vessels/{id}":                 {body: `{"home_port": "Skarv"}`},
	"POST /v1/vessels/{id}/gear":             {body: rodeBody},
	"PATCH /v1/gear/{id}":                    {body: `{"place": "lazarette"}`},
	"POST /v1/gear/{id}/inspections":         {body: inspectionBody},
	"PATCH /v1/inspections/{id}":             {body: `{"verdict": "retire"}`},
	"POST /v1/vessels/{id}/drills":           {body: drillBody},
	"PATCH /v1/drills/{id}":                  {body: `{"crew_count": 5}`},
	"PUT /v1/policy":                         {body: `{"rope_factor": 4}`},
	"POST /v1/plans/{id}/deployments":        {body: deploymentBody},
	"PATCH /v1/deployments/{id}":             {body: `{"rode_out_m": 160}`},
	"POST /v1/deployments/{id}/observations": {body: observationBody},
	"PATCH /v1/observations/{id}":            {body: `{"load_n": 9100}`},
	"PUT /v1/deployments/{id}/retrieval":     {body: retrievalBody},
	"POST /v1/incidents":                     {body: incidentBody},
	"PATCH /v1/incidents/{id}":               {body: `{"severity": "serious"}`},
	"POST /v1/emergency-access":              {body: `{"mmsi": "` + lentMMSI + `", "reason": "red flares sighted off Skarv"}`},
	"GET /v1/emergency-access/{id}/drift":    {query: "?at=2026-01-12T12:10:00Z"},
	"PUT /v1/emergency-access/{id}/review":   {body: `{"words": "Justified."}`},
	"POST /v1/keys":                          {body: keyBody},
	"POST /v1/forecasts":                     {body: "the area forecast"},
	"POST /v1/keys/{id}/rotation":            {body: `{}`},
	"POST /v1/webhooks":                      {body: aHook},
	"PATCH /v1/webhooks/{id}":                {body: `{"state": "paused"}`},
	"POST /v1/webhooks/{id}/secret":          {body: `{}`},
	"POST /v1/webhooks/{id}/replay":          {body: `{"after": 1}`},
}

// things records one of each kind with the world's key, and gives their ids by the first word of their paths.
func (w *world) things() map[string]string {
	w.t.Helper()
	ids := map[string]string{}
	keep := func(address string) string {
		parts := strings.Split(address, "/")
		if ids[parts[2]] == "" {
			ids[parts[2]] = parts[3]
		}
		return address
	}
	vessel := keep(w.add("/v1/vessels", ternBody))
	gear := keep(w.add(vessel+"/gear", rodeBody))
	keep(w.add(gear+"/inspections", inspectionBody))
	keep(w.add(vessel+"/drills", drillBody))
	w.add(vessel+"/drills", drilled)
	ids["people"] = ada
	body := strings.Replace(exampleBody(w.t), `"vessel":`, `"vessel_id": "`+ids["vessels"]+`", "vessel_was":`, 1)
	plan := keep(w.add("/v1/plans", withoutMember(w.t, body, "vessel_was")))
	deployment := keep(w.add(plan+"/deployments", deploymentBody))
	keep(w.add(deployment+"/observations", observationBody))
	if answer := w.do(http.MethodPut, deployment+"/retrieval", retrievalBody); answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("retrieval: %d %s", answer.StatusCode, text(w.t, answer))
	}
	keep(w.add("/v1/incidents", incidentBody))
	keep(w.add("/v1/webhooks", aHook))
	keep(w.add("/v1/forecasts", areaForecastBody(w.t)))
	w.renew(ids)
	return ids
}

// lentMMSI is of the vessel of the third organisation, which it lends.
const lentMMSI = "231000005"

// renew records anew what a call may have ended: a key, an access, and one to review.
func (w *world) renew(ids map[string]string) {
	w.t.Helper()
	ids["keys"] = strings.TrimPrefix(w.add("/v1/keys", keyBody), "/v1/keys/")
	if answer := w.do(http.MethodGet, "/v1/webhooks/"+ids["webhooks"], ""); answer.StatusCode != http.StatusOK {
		ids["webhooks"] = strings.TrimPrefix(w.add("/v1/webhooks", aHook), "/v1/webhooks/")
	}
	if ids["lent"] == "" {
		w.lend(ids)
	}
	const path = "/v1/emergency-access"
	ids["emergency-access"] = strings.TrimPrefix(w.add(path, letters["POST "+path].body), path+"/")
	if answer := w.do(http.MethodGet, path+"/"+ids[path+"/{id}/review"], ""); answer.StatusCode == http.StatusOK {
		return // it can be reviewed again by the same words
	}
	mmsi := fmt.Sprintf("231%06d", 100+len(ids["vessels"])+w.added)
	w.add("/v1/vessels", strings.Replace(ternBody, "231000000", mmsi, 1))
	asLender := []string{"Authorization", "Bearer " + w.lender, "Idempotency-Key", mmsi}
	opened := w.do(http.MethodPost, path, strings.Replace(letters["POST "+path].body, lentMMSI, mmsi, 1), asLender...)
	address := opened.Header.Get("Location")
	if ended := w.do(http.MethodDelete, address, "", asLender...); opened.StatusCode != http.StatusCreated || ended.StatusCode != http.StatusOK {
		w.t.Fatalf("an access to review: %d %s, ended %d", opened.StatusCode, text(w.t, opened), ended.StatusCode)
	}
	ids[path+"/{id}/review"] = strings.TrimPrefix(address, path+"/")
}

// lend records the third organisation's vessel and a plan for her, once.
func (w *world) lend(ids map[string]string) {
	w.t.Helper()
	post := func(path, body string) string {
		answer := w.do(http.MethodPost, path, body, "Authorization", "Bearer "+w.lender, "Idempotency-Key", "lent"+strings.ReplaceAll(path, "/", "-"))
		if answer.StatusCode != http.StatusCreated {
			w.t.Fatalf("lend: %d %s", answer.StatusCode, text(w.t, answer))
		}
		return answer.Header.Get("Location")
	}
	ids["lent"] = strings.TrimPrefix(post("/v1/vessels", strings.Replace(ternBody, "231000000", lentMMSI, 1)), "/v1/vessels/")
	body := strings.Replace(exampleBody(w.t), `"vessel":`, `"vessel_id": "`+ids["lent"]+`", "vessel_was":`, 1)
	post("/v1/plans", withoutMember(w.t, body, "vessel_was"))
}

// call is a good request for an operation of the contract, with the ids of things.
func (w *world) call(method, path string, ids map[string]string, headers ...string) *http.Request {
	w.t.Helper()
	l := letters[method+" "+path]
	target := path + l.query
	if strings.Contains(path, "{id}") {
		id := ids[path] // where one path needs another than the rest of its kind
		if id == "" {
			id = ids[strings.Split(path, "/")[2]]
		}
		if id == "" {
			w.t.Fatalf("%s %s: there is no id to send: record one in things", method, path)
		}
		target = strings.ReplaceAll(target, "{id}", id)
	}
	target = strings.ReplaceAll(target, "{drawing}", "rig.svg")
	body := l.whole(w.t)
	kind := "application/json"
	if method == http.MethodPatch {
		kind = "application/merge-patch+json"
	}
	w.mu.Lock()
	w.added++
	sent := fmt.Sprintf("sent-%d", w.added)
	w.mu.Unlock()
	about := []string{"Idempotency-Key", sent, "If-Match", "*", "Content-Type", kind}
	if body == "" {
		about[5] = ""
	}
	r := w.request(method, target, body, append(about, headers...)...)
	if strings.HasSuffix(path, "/stream") {
		ctx, stop := contextFor(w.t, 20*time.Millisecond)
		w.t.Cleanup(stop)
		return r.WithContext(ctx)
	}
	return r
}

// everyRow reads every table as text, but when keys were used.
func everyRow(t *testing.T, url string) map[string][]string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	column := func(sql string) []string {
		rows, err := conn.Query(t.Context(), sql)
		if err != nil {
			t.Fatal(err)
		}
		values, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		return values
	}
	all := map[string][]string{}
	for _, table := range column(`SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'`) {
		all[table] = column(`SELECT (to_jsonb(t) - 'last_used_at')::text FROM ` + table + ` t ORDER BY 1`)
	}
	return all
}
