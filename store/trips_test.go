package store_test

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/physics/hull"
	"rideout/service/planner"
	"rideout/store"
	"rideout/store/storetest"
)

// trips counts what is sent and waited for: a statement, or a batch of them.
type trips struct{ n atomic.Int64 }

func (c *trips) TraceQueryStart(ctx context.Context, _ *pgx.Conn, q pgx.TraceQueryStartData) context.Context {
	if q.SQL != "-- ping" { // the pool's own, of a connection that lay idle
		c.n.Add(1)
	}
	return ctx
}
func (c *trips) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}
func (c *trips) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	c.n.Add(1)
	return ctx
}
func (c *trips) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (c *trips) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

// A plan whose calculation is remembered waits for the database six times: begin; claim; policy; turn; what is written; commit.
// The last three are under the lock that all changes of the organisation wait for. Every sixteenth reads one hash from further back.
func TestPlanTakesSixRoundTrips(t *testing.T) {
	t.Parallel()
	var count trips
	s, err := store.Open(t.Context(), store.Config{URL: storetest.URL(t), MaxConns: 1, Tracer: &count})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	w := newWaters(t, s, anOrg(t, s))
	order := service.PlanOrder{Request: planner.Request{
		Vessel: planner.Vessel{Name: "Tern", Hull: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4, DraughtM: 1.3, DisplacementKg: 14000},
		Intent: planner.RideOutStorm, Forecast: planner.Forecast{Steps: []planner.Step{{Time: six, WindMS: 15}}},
	}}
	create := func(i int) {
		claim := service.Claim{Key: fmt.Sprint("key ", i), Route: "test", RequestSHA256: strings.Repeat("0", 64)}
		if _, _, err := w.plans.Create(t.Context(), w.org, claim, order); err != nil {
			t.Fatal(err)
		}
	}
	create(0) // the statements are prepared
	const plans = 32
	before, most := count.n.Load(), int64(0)
	for i := 1; i <= plans; i++ {
		last := count.n.Load()
		create(i)
		most = max(most, count.n.Load()-last)
	}
	if took := count.n.Load() - before; took > 6*plans+plans/16 || most > 7 {
		t.Errorf("%d plans: got %d round trips, at most %d for one; want %d and 7", plans, took, most, 6*plans+plans/16)
	}
}
