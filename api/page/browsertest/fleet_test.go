package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/api/limit"
	"rideout/service"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

// office is a served API over a history in memory, with an invented fleet in it. Plans are really computed.
type office struct {
	t      *testing.T
	url    string
	key    service.Key
	nobody service.Key // of an organisation without vessels

	kestrel, puffin string // ids
	plan            string // id of the kestrel's

	mu  sync.Mutex
	now time.Time
	n   int
}

func newOffice(t *testing.T) *office {
	t.Helper()
	o := &office{t: t, key: service.NewKey(), nobody: service.NewKey(), now: time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)}
	history := &servicetest.History{}
	plans := &service.Plans{History: history, Clock: o.clock, NewID: newID, Compute: planner.Compute, Budget: time.Minute}
	made, err := api.New(api.Config{
		Plans:     plans,
		Forecasts: &service.AreaForecasts{History: history, Book: history, Clock: o.clock, NewID: newID, Plans: plans},
		Registers: &service.Registers{History: history, Clock: o.clock, NewID: newID},
		Events:    &service.Events{Log: history, Clock: o.clock}, Keys: &service.Keys{History: history, Clock: o.clock, NewID: newID}, Witness: &service.Witness{Log: history, Clock: o.clock}, Webhooks: &service.Webhooks{}, Emergency: &service.Emergency{Lender: history, History: history, Clock: o.clock, NewID: newID}, Keyring: o, Sessions: history, Ping: func(context.Context) error { return nil },
		Limits:   &limit.Config{}, // a browser that is driven asks more often than people do
		Cautions: planner.Cautions, Log: slog.New(slog.DiscardHandler), Clock: o.clock,
	})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewUnstartedServer(made)
	server.Config.WriteTimeout = time.Minute // as in earnest: a stream has to lift it
	server.Start()
	t.Cleanup(func() { made.Drain(); server.Close() })
	o.url = server.URL
	o.fill()
	return o
}

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

func (o *office) clock() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.now
}

func (o *office) until(t time.Time) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.now = t
}

// KeyByHash makes the office its own keyring.
func (o *office) KeyByHash(_ context.Context, hash []byte) (service.OrgID, service.KeyRecord, error) {
	for i, key := range []service.Key{o.key, o.nobody} {
		if string(hash) == string(key.Hash()) {
			id := uuid.UUID{byte(i + 1)}
			return id, service.KeyRecord{ID: id, Scopes: service.AllScopes(), LastUsedAt: o.clock()}, nil
		}
	}
	return service.OrgID{}, service.KeyRecord{}, service.ErrNotFound
}

// KeyUsed notes nothing.
func (o *office) KeyUsed(context.Context, service.OrgID, uuid.UUID, string, time.Time) error {
	return nil
}

// send sends a body to the API and returns the id in the answer.
func (o *office) send(method, path, body string) string {
	o.t.Helper()
	o.n++
	r, err := http.NewRequestWithContext(o.t.Context(), method, o.url+path, strings.NewReader(body))
	if err != nil {
		o.t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+o.key.Reveal())
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", fmt.Sprintf("sent-%d", o.n))
	r.Header.Set("If-Match", "*")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		o.t.Fatal(err)
	}
	defer answer.Body.Close()
	said, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode > 299 {
		o.t.Fatalf("%s %s: %d %v: %s\n%s", method, path, answer.StatusCode, err, said, body)
	}
	var thing struct{ ID string }
	if err := json.Unmarshal(said, &thing); err != nil {
		o.t.Fatal(err)
	}
	return thing.ID
}

const since = "?valid_from=2025-01-01T00:00:00Z"

// fill keeps a fleet's book as its owner might have: the demo's vessels in all three states, two of them planned for and
// deployed in the storm, and a row of sisters so that the list is a long one.
func (o *office) fill() {
	o.send(http.MethodPut, "/v1/policy"+since, `{"rope_factor": 1.8, "shroud_factor": 2.2, "marginal_above": 0.9, "design_storm": {"wind_speed_kt": 45, "significant_wave_height_m": 6, "peak_period_s": 10}}`)
	ids := map[string]string{}
	for _, v := range []struct{ name, more, inspected string }{
		{"skua", "", ""},
		{"tern", "", ""},
		{"puffin", "", "2024-12-20"},
		{"petrel", "knife", "2025-02-03"},
		{"gannet", "knife", "2025-06-14"},
		{"kestrel", "knife light bridle", "2025-06-14"},
	} {
		ids[v.name] = o.register(v.name, v.more, v.inspected)
	}
	o.kestrel, o.puffin = ids["kestrel"], ids["puffin"]
	o.send(http.MethodPost, "/v1/incidents", fmt.Sprintf(`{"vessel_id": %q, "occurred_at": "2025-11-30T04:00:00Z", "kind": "strong_point_failed", "severity": "serious", "what_happened": "The bow cleat lifted under the second set of seas and took the fairlead with it.", "what_was_learned": "The bow bitt is used, and its bolts are drawn every spring."}`, o.puffin))
	for _, name := range []string{"kestrel", "gannet", "puffin"} {
		id := o.send(http.MethodPost, "/v1/plans", fmt.Sprintf(`{"vessel_id": %q, "intent": "ride_out_storm", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}, "forecast": %s, "assume": {"seeds": 2}}`, ids[name], o.file("forecasts", "storm")))
		if name == "kestrel" {
			o.plan = id
		}
		if name != "puffin" {
			o.until(time.Date(2026, 1, 14, 12, 0, 0, 0, time.UTC))
			o.deploy(id, map[string]float64{"kestrel": 1, "gannet": 1.25}[name])
			o.until(time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC))
		}
	}
	for i := range 60 {
		o.send(http.MethodPost, "/v1/vessels"+since, fmt.Sprintf(`{"name": "Sister %02d", "hull": "sail_monohull", "loa_m": 11, "beam_m": 3.6, "draught_m": 1.9, "displacement_kg": 6500}`, i+1))
	}
	o.until(time.Date(2026, 1, 20, 12, 0, 0, 0, time.UTC))
}

func (o *office) register(name, more, inspected string) string {
	id := o.send(http.MethodPost, "/v1/vessels"+since, o.file("vessels", name))
	if inspected != "" {
		o.send(http.MethodPost, "/v1/vessels/"+id+"/drills", `{"held_at": "2025-05-02T09:00:00Z", "kind": "full", "crew_count": 4}`)
	}
	for _, item := range o.items(name, more) {
		body, err := json.Marshal(item)
		if err != nil {
			o.t.Fatal(err)
		}
		gear := o.send(http.MethodPost, "/v1/vessels/"+id+"/gear"+since, string(body))
		if inspected != "" && item["kind"] != "knife" && item["kind"] != "light" {
			o.send(http.MethodPost, "/v1/gear/"+gear+"/inspections", fmt.Sprintf(`{"inspected_at": "%sT09:00:00Z", "inspector": "rigger", "verdict": "fit"}`, inspected))
		}
	}
	return id
}

// items takes a vessel's set apart into registered items.
func (o *office) items(name, more string) (items []map[string]any) {
	if name == "skua" {
		return nil // she carries nothing
	}
	var set map[string]json.RawMessage
	if err := json.Unmarshal([]byte(o.file("gear", name)), &set); err != nil {
		o.t.Fatal(err)
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
			o.t.Fatal(err)
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

// deploy notes a deployment with six hours of observations, faster or slower by a factor, and a retrieval.
func (o *office) deploy(plan string, factor float64) {
	id := o.send(http.MethodPost, "/v1/plans/"+plan+"/deployments", `{"deployed_at": "2026-01-12T18:30:00Z", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}, "rode_out_m": 183, "wind_speed_kt": 44}`)
	for i := range 6 {
		at := time.Date(2026, 1, 12, 19, 0, 0, 0, time.UTC).Add(time.Duration(i) * 3 * time.Hour)
		kt := factor * (1.45 - 0.12*float64(i) + 0.1*float64(i%2))
		o.send(http.MethodPost, "/v1/deployments/"+id+"/observations", fmt.Sprintf(
			`{"observed_at": %q, "from_fix": {"time": %q, "latitude_deg": 61.2, "longitude_deg": -6.4}, "to_fix": {"time": %[1]q, "latitude_deg": %.5[3]f, "longitude_deg": -6.4}, "load_n": %.0[4]f, "load_over_min": 20, "wind_speed_kt": %.0[5]f}`,
			at.Format(time.RFC3339), at.Add(-time.Hour).Format(time.RFC3339), 61.2+kt/60, factor*(5600-350*float64(i)), 44-2*float64(i)))
	}
	o.send(http.MethodPut, "/v1/deployments/"+id+"/retrieval", `{"begun_at": "2026-01-13T12:30:00Z", "ended_at": "2026-01-13T13:40:00Z", "method": "trip_line", "trip_line_used": true}`)
}

func (o *office) file(folder, name string) string {
	b, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "demo", folder, name+".json"))
	if err != nil {
		o.t.Fatal(err)
	}
	return string(b)
}
