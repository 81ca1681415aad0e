package api_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"rideout/service"
)

func areaForecastBody(t testing.TB) string {
	t.Helper()
	body, err := os.ReadFile("../testdata/golden/requests/area_forecast.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// replan does what is noted for later.
func (w *world) replan() {
	w.t.Helper()
	for _, job := range w.history.Jobs() {
		if job.Kind != service.JobReplan {
			continue
		}
		if err := w.forecasts.Replan(w.t.Context(), job); err != nil {
			w.t.Fatalf("replan: %v", err)
		}
	}
}

func TestGoldenForecasts(t *testing.T) {
	t.Parallel()
	w, vessel, plan := registered(t)
	w.add(plan+"/deployments", `{"deployed_at": "2026-01-12T11:00:00Z", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}}`)
	answer := w.do(http.MethodPost, "/v1/forecasts", areaForecastBody(t), "Idempotency-Key", "f")
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("receive: %d %s", answer.StatusCode, text(t, answer))
	}
	report := answer.Header.Get("Location")
	golden(t, "forecasts/created", answer)
	golden(t, "forecasts/again", w.do(http.MethodPost, "/v1/forecasts", areaForecastBody(t), "Idempotency-Key", "f"))
	golden(t, "forecasts/list", w.do(http.MethodGet, "/v1/forecasts", ""))
	w.replan()
	answer = w.do(http.MethodGet, report, "")
	golden(t, "forecast/ok", answer)
	var said service.ForecastReport
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, report, ""))), &said); err != nil {
		t.Fatal(err)
	}
	if len(said.Vessels) != 1 || "/v1/vessels/"+said.Vessels[0].VesselID.String() != vessel || said.Vessels[0].State != "planned" {
		t.Fatalf("vessels %+v, want the one planned for", said.Vessels)
	}
	changes := w.do(http.MethodGet, said.Vessels[0].Links["changes"], "")
	if body := text(t, changes); changes.StatusCode != http.StatusOK || !strings.Contains(body, "peak") {
		t.Errorf("changes: %d %s, want what differs from the plan before", changes.StatusCode, body)
	}
	if again := w.do(http.MethodGet, report, "", "If-None-Match", answer.Header.Get("ETag")); again.StatusCode != http.StatusNotModified {
		t.Errorf("asked with the ETag: %d, want 304", again.StatusCode)
	}
	w.key = w.other
	golden(t, "forecast/another_organisations", w.do(http.MethodGet, report, ""))
}

func TestBadForecasts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	with := func(old, new string) string { return strings.Replace(areaForecastBody(t), old, new, 1) }
	for i, c := range []struct {
		body     string
		pointers []string
	}{
		{` `, []string{""}},
		{`[]`, []string{""}},
		{`{}`, []string{"/area", "/forecast"}},
		{with(`"Polygon"`, `"Point"`), []string{"/area/type"}},
		{with(`[-9, 60]]]`, `[-9, 61]]]`), []string{"/area/coordinates/0"}},
		{with(`[-4, 60]`, `[-4, 91]`), []string{"/area/coordinates/0/1/1"}},
		{with(`[[[-9, 60], [-4, 60], [-4, 63], [-9, 63], [-9, 60]]]`, `[[1, 2]]`), []string{"/area/coordinates/0", "/area/coordinates/0/0", "/area/coordinates/0/1"}},
		{with(`[[[-9, 60], [-4, 60], [-4, 63], [-9, 63], [-9, 60]]]`, `[]`), []string{"/area/coordinates"}},
		{with(`"wind_speed_kt": 50`, `"wind_speed_kt": 500`), []string{"/forecast/steps/0/wind_speed_kt"}},
		{with(`2026-01-13T09`, `2026-01-11T09`), []string{"/forecast/steps/1/time"}},
		{with(`[-4, 60]`, `[-4, 91]`)[:20], []string{"/area/type"}},
		{`{"area": {"type": "Polygon", "coordinates": [[1]]}, "forecast": {"steps": []}, "vessels": 1}`, []string{"/area/coordinates/0", "/area/coordinates/0/0", "/forecast/steps", "/vessels"}},
	} {
		answer := w.do(http.MethodPost, "/v1/forecasts", c.body, "Idempotency-Key", fmt.Sprint("k", i))
		if named := pointersOf(problem(t, answer)); answer.StatusCode != http.StatusBadRequest || !slices.Equal(named, c.pointers) {
			t.Errorf("%s: %d naming %q, want 400 naming %q", c.body, answer.StatusCode, named, c.pointers)
		}
	}
	if answer := w.do(http.MethodGet, "/v1/forecasts/"+uuid.NewString(), ""); answer.StatusCode != http.StatusNotFound {
		t.Errorf("an unknown forecast: %d, want 404", answer.StatusCode)
	}
	var page struct{ Items []any }
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/forecasts", ""))), &page); err != nil || len(page.Items) != 0 {
		t.Errorf("%d forecasts are kept, %v; want none", len(page.Items), err)
	}
}
