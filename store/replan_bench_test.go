package store_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"rideout/service"
	"rideout/service/planner"
	"rideout/store/jobs"
	"rideout/store/storetest"
)

// BenchmarkReplan plans vessels anew for one forecast, through the queue, one job at a time, with the planner as it is. What is
// spent within the planner is counted, so overhead-% is what queue, reading and keeping add to the computation in the same run.
func BenchmarkReplan(b *testing.B) {
	for _, vessels := range []int{20, 200} {
		b.Run(fmt.Sprint("vessels=", vessels), func(b *testing.B) { replanMany(b, vessels) })
	}
}

func replanMany(b *testing.B, vessels int) {
	for range b.N {
		b.StopTimer()
		s := storetest.New(b)
		w := newWaters(b, s, anOrg(b, s))
		for i := range vessels {
			w.plan(w.vessel(fmt.Sprintf("Tern %03d", i)), 61, -6, six, 24)
		}
		report := w.receive("one")
		var computing atomic.Int64
		w.plans.Compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			begun := time.Now()
			defer func() { computing.Add(int64(time.Since(begun))) }()
			return planner.Compute(ctx, r)
		}
		b.StartTimer()
		begun := time.Now()
		work, err := s.StartWork(b.Context(), jobs.Config{
			Workers: service.Workers{service.JobReplan: {Do: w.forecasts.Replan, AtOnce: 1, Limit: 2 * time.Minute}}, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		})
		if err != nil {
			b.Fatal(err)
		}
		for !w.report(report.ID).Progress.Ended {
			time.Sleep(20 * time.Millisecond)
		}
		took := time.Since(begun)
		b.StopTimer()
		if err := work.Stop(time.Minute); err != nil {
			b.Fatal(err)
		}
		if p := w.report(report.ID).Progress; p.Done != vessels {
			b.Fatalf("%d of %d planned", p.Done, vessels)
		}
		pure := time.Duration(computing.Load())
		b.ReportMetric(pure.Seconds(), "s-computing")
		b.ReportMetric(took.Seconds(), "s-in-all")
		b.ReportMetric(100*(took.Seconds()/pure.Seconds()-1), "overhead-%")
		b.StartTimer()
	}
}
