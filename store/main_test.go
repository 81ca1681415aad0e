package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/planner"
	"rideout/store"
	"rideout/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// noon has a fraction as fine as the store keeps.
var noon = time.Date(2026, 1, 12, 12, 0, 0, 123456000, time.UTC)

// aPlan is a record whose JSON no encoder would write alike: spaces, an order of fields, escapes and a
// number that no double holds.
func aPlan() service.PlanRecord {
	return service.PlanRecord{
		ID: uuid.New(), CreatedAt: noon, VesselName: "Kestrel of Hamna", Intent: planner.RideOutStorm,
		Engine: "1.0.0", InputSHA256: strings.Repeat("0123456789abcdef", 4),
		PeakN: planner.Band{Low: 21000.5, Mid: 30000.25, High: 41000.125}, PayOutM: 183.3,
		Inputs:  []byte(`{"b": 1,  "a": [1.50, 1e0] }`),
		Answer:  []byte("{\n\t\"z\": \"\\u00e5\\u0000å\", \"a\": 1e400, \"a\": 2\n}\n"),
		Working: []byte(` [ ] `),
	}
}

func aClaim(key string) service.Claim {
	return service.Claim{Key: key, Route: "POST /v1/plans", RequestSHA256: strings.Repeat("ab", 32)}
}

// recording is the work of a request that keeps one plan and answers with it.
func recording(p service.PlanRecord) func(context.Context, service.Recorder) (service.Answer, error) {
	return func(ctx context.Context, r service.Recorder) (service.Answer, error) {
		if err := r.RecordPlan(ctx, p); err != nil {
			return service.Answer{}, err
		}
		return service.Answer{PlanID: p.ID, Body: p.Answer}, nil
	}
}

func keep(t *testing.T, s *store.Store, org service.OrgID, plans ...service.PlanRecord) {
	t.Helper()
	for _, p := range plans {
		if _, repeated, err := s.Once(t.Context(), org, aClaim(p.ID.String()), recording(p)); err != nil || repeated {
			t.Fatalf("keep %s: got repeated %v, error %v", p.ID, repeated, err)
		}
	}
}

func anOrg(t testing.TB, s *store.Store) service.OrgID {
	t.Helper()
	org, err := s.AddOrganisation(t.Context(), "school "+uuid.NewString())
	if err != nil {
		t.Fatal(err)
	}
	return org
}

// ask runs one statement on a connection of its own and returns its first column.
func ask(t *testing.T, url, sql string, args ...any) []string {
	t.Helper()
	values, err := tryAsk(t, url, sql, args...)
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return values
}

func tryAsk(t *testing.T, url, sql string, args ...any) ([]string, error) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	rows, err := conn.Query(t.Context(), sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (string, error) {
		values, err := row.Values()
		if len(values) == 0 {
			return "", err
		}
		return fmt.Sprint(values[0]), err
	})
}

func wantRows(t *testing.T, url, table string, want int) {
	t.Helper()
	if got := ask(t, url, `SELECT count(*) FROM `+table); !slices.Equal(got, []string{fmt.Sprint(want)}) {
		t.Errorf("rows in %s: got %v, want %d", table, got, want)
	}
}

// breakSessions ends every other session on a database, as a crash of their backends does.
func breakSessions(t *testing.T, url string) {
	t.Helper()
	ask(t, url, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()`)
}
