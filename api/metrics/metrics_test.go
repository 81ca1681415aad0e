package metrics_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api/metrics"
	"rideout/service"
	"rideout/service/planner"
)

// filled is metrics of a process in which each thing has happened.
func filled(t *testing.T, databaseErr error) *metrics.Metrics {
	t.Helper()
	m := metrics.New("rideout-test")
	m.Request("GET", "/v1/plans/{id}", 200, 30*time.Millisecond)
	m.Request("GET", "/v1/plans/{id}", 200, 3*time.Second)
	m.Request("POST", "/v1/plans", 503, time.Millisecond)
	for _, err := range []error{nil, errors.New("out of range")} {
		compute := m.Compute(metrics.ForRequest, func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			return planner.Plan{VesselName: "Kestrel"}, nil, err
		})
		if plan, _, got := compute(t.Context(), planner.Request{}); got != err || plan.VesselName != "Kestrel" {
			t.Errorf("a counted calculation gives %q and %v, want Kestrel and %v", plan.VesselName, got, err)
		}
	}
	answers := []error{nil, service.Again{}, errors.New("no"), service.Pointless{Err: errors.New("never")}, nil}
	workers := m.Workers(service.Workers{"replan": {Limit: time.Hour, Do: func(_ context.Context, j service.Job) error { return answers[j.Seq] }}})
	if workers["replan"].Limit != time.Hour {
		t.Error("a counted worker has lost its limit")
	}
	for i, want := range answers {
		if got := workers["replan"].Do(t.Context(), service.Job{Org: uuid.New(), Seq: int64(i)}); got != want {
			t.Errorf("a counted worker gives %v, want %v", got, want)
		}
	}
	courier := m.Courier(carrier{})
	if got := courier.Carry(t.Context(), "https://dashboard.example", service.Message{}); got.Status != 500 {
		t.Errorf("a counted courier gives %+v", got)
	}
	if courier.Admit("x") != "admitted by the courier itself" {
		t.Error("a counted courier does not ask the courier what it admits")
	}
	m.Watch(metrics.State{
		Places: func() metrics.Places { return metrics.Places{Running: 2, Waiting: 3, Refused: 5} },
		Connections: func() metrics.Connections {
			return metrics.Connections{InUse: 4, Idle: 6, Most: 10, Waited: 7, WaitedFor: 1500 * time.Millisecond}
		},
		Queues: func(context.Context) ([]metrics.Queue, error) {
			return []metrics.Queue{{"replan", "available", 9, 12 * time.Second}, {"replan", "retryable", 1, 0}}, databaseErr
		},
		LogEntries: func(context.Context) (float64, error) { return 1000, databaseErr },
	})
	return m
}

type carrier struct{}

func (carrier) Admit(string) string { return "admitted by the courier itself" }

func (carrier) Carry(context.Context, string, service.Message) service.Receipt {
	return service.Receipt{Outcome: service.Refused, Status: 500}
}

func read(t *testing.T, m *metrics.Metrics) string {
	t.Helper()
	recorder := httptest.NewRecorder()
	m.Handler().ServeHTTP(recorder, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if recorder.Code != http.StatusOK {
		t.Fatalf("got %d %s", recorder.Code, recorder.Body)
	}
	return recorder.Body.String()
}

func TestWhatHappensIsCounted(t *testing.T) {
	t.Parallel()
	lines := strings.Split(read(t, filled(t, nil)), "\n")
	for _, want := range []string{
		`rideout_requests_total{method="GET",route="/v1/plans/{id}",status="200"} 2`,
		`rideout_requests_total{method="POST",route="/v1/plans",status="503"} 1`,
		`rideout_request_duration_seconds_bucket{method="GET",route="/v1/plans/{id}",le="0.05"} 1`,
		`rideout_request_duration_seconds_count{method="GET",route="/v1/plans/{id}"} 2`,
		`rideout_calculation_duration_seconds_count{for="request",outcome="done"} 1`,
		`rideout_calculation_duration_seconds_count{for="request",outcome="failed"} 1`,
		`rideout_jobs_total{kind="replan",outcome="done"} 2`,
		`rideout_jobs_total{kind="replan",outcome="again"} 1`,
		`rideout_jobs_total{kind="replan",outcome="failed"} 1`,
		`rideout_jobs_total{kind="replan",outcome="pointless"} 1`,
		`rideout_job_duration_seconds_count{kind="replan"} 5`,
		`rideout_webhook_deliveries_total{outcome="refused"} 1`,
		`rideout_webhook_deliveries_total{outcome="delivered"} 0`,
		`rideout_calculations_running 2`, `rideout_calculations_waiting 3`, `rideout_calculations_refused_total 5`,
		`rideout_database_connections{state="in_use"} 4`, `rideout_database_connections{state="idle"} 6`, `rideout_database_connections_most 10`,
		`rideout_database_waits_total 7`, `rideout_database_wait_seconds_total 1.5`,
		`rideout_jobs{kind="replan",state="available"} 9`, `rideout_jobs{kind="replan",state="retryable"} 1`, `rideout_jobs_oldest_seconds{kind="replan"} 12`,
		`rideout_log_entries 1000`, `rideout_up 1`, `rideout_build_info{engine="rideout-test"} 1`,
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("missing: %s", want)
		}
	}
}

// A database that is away takes its own figures with it, and no others.
func TestADatabaseAwayIsTold(t *testing.T) {
	t.Parallel()
	got := read(t, filled(t, errors.New("away: password=hidden")))
	if !strings.Contains(got, "\nrideout_up 0\n") || strings.Contains(got, "\nrideout_log_entries") || !strings.Contains(got, "\nrideout_calculations_running 2\n") {
		t.Errorf("got %s", got)
	}
	if strings.Contains(got, "hidden") {
		t.Error("it tells why, which may hold secrets")
	}
}

func TestOnlyMetricsAreServed(t *testing.T) {
	t.Parallel()
	handler := metrics.New("x").Handler()
	for _, c := range []struct {
		method, path string
		want         int
	}{
		{http.MethodGet, "/metrics", 200}, {http.MethodPost, "/metrics", 405}, {http.MethodGet, "/", 404}, {http.MethodGet, "/debug/pprof/", 404}, {http.MethodGet, "/v1/plans", 404},
	} {
		recorder := httptest.NewRecorder()
		handler.ServeHTTP(recorder, httptest.NewRequest(c.method, c.path, nil))
		if recorder.Code != c.want {
			t.Errorf("%s %s: got %d, want %d", c.method, c.path, recorder.Code, c.want)
		}
	}
}

// The dashboard asks for nothing that is not served, by labels that are there, and shows all of ours.
func TestDashboardShowsWhatThereIs(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../deploy/dashboard.json")
	if err != nil {
		t.Fatal(err)
	}
	var dashboard struct {
		Panels []struct {
			Title   string
			Type    string
			Targets []struct{ Expr string }
		}
	}
	if err := json.Unmarshal(text, &dashboard); err != nil {
		t.Fatal(err)
	}
	labels := labelsServed(read(t, filled(t, nil)))
	shown := map[string]bool{}
	for _, p := range dashboard.Panels {
		if p.Type != "row" && len(p.Targets) == 0 {
			t.Errorf("panel %q asks for nothing", p.Title)
		}
		for _, target := range p.Targets {
			for _, name := range metricName.FindAllString(target.Expr, -1) {
				shown[name] = true
				if labels[name] == nil {
					t.Errorf("panel %q asks for %s, which is not served", p.Title, name)
				}
				for _, label := range labelsAsked(target.Expr) {
					if !slices.Contains(append(labels[name], "job", "instance"), label) {
						t.Errorf("panel %q asks for the label %s of %s, which has %v", p.Title, label, name, labels[name])
					}
				}
			}
		}
	}
	for name := range labels {
		ours := strings.HasPrefix(name, "rideout_") && !strings.HasSuffix(name, "_sum") && !strings.HasSuffix(name, "_count")
		if ours && !shown[name] {
			t.Errorf("%s is on no panel", name)
		}
	}
}

var (
	metricName = regexp.MustCompile(`\b(rideout|go|process)_[a-z_]+`)
	sample     = regexp.MustCompile(`^([a-z_]+)(\{.*\})? `)
	labelName  = regexp.MustCompile(`([a-z_]+)=~?"|([a-z_]+)!~?"`)
	grouped    = regexp.MustCompile(`\bby \(([a-z_, ]+)\)`)
)

// labelsServed gives each metric's labels.
func labelsServed(text string) map[string][]string {
	labels := map[string][]string{}
	for line := range strings.Lines(text) {
		if m := sample.FindStringSubmatch(line); m != nil {
			labels[m[1]] = append([]string{}, labelsAsked(m[2])...)
		}
	}
	return labels
}

// labelsAsked gives the labels an expression chooses and groups by.
func labelsAsked(expr string) (names []string) {
	for _, m := range labelName.FindAllStringSubmatch(expr, -1) {
		names = append(names, m[1]+m[2])
	}
	for _, m := range grouped.FindAllStringSubmatch(expr, -1) {
		names = append(names, strings.Split(m[1], ", ")...)
	}
	return names
}
