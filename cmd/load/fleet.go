package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// fleet measures how long a fleet's planning anew takes one process on one processor, and two on one each. Postgres has none
// for itself: beside one process the other processor is free for it.
func fleet(ctx context.Context, g *ground, o options) error {
	if err := g.putToSea(ctx, o.vessels); err != nil {
		return err
	}
	fmt.Printf("\n%d vessels at sea planned anew for a forecast, by processes on one processor each; Postgres has none for itself\n", o.vessels)
	var ones, twos, ratios []float64
	for range (o.rounds + 1) / 2 {
		one, err := g.replanned(ctx, o.vessels, []int{0})
		if err != nil {
			return err
		}
		two, err := g.replanned(ctx, o.vessels, []int{0, 1})
		if err != nil {
			return err
		}
		ones, twos, ratios = append(ones, one.Seconds()), append(twos, two.Seconds()), append(ratios, two.Seconds()/one.Seconds())
	}
	slower, err := g.slowdown(ctx, o.rounds)
	if err != nil {
		return err
	}
	fmt.Printf("one process %.1f s, two %.1f s, medians of %d rounds; ratio %.2f (%.2f to %.2f)\n", median(ones), median(twos), len(ratios), median(ratios), slices.Min(ratios), slices.Max(ratios))
	fmt.Printf("a plan computed without service or database takes %.2f times as long while another is computed on the other processor, so this machine allows %.2f\n", slower, slower/2)
	return nil
}

// slowdown tells how much longer a plan takes by the command line on one processor while the other computes one too.
func (g *ground) slowdown(ctx context.Context, rounds int) (float64, error) {
	args := []string{"plan", "-json"}
	for _, name := range []string{"vessel", "gear", "forecast"} {
		file := filepath.Join(g.dir, name+".json")
		if err := os.WriteFile(file, g.body(g.order[name]), 0o600); err != nil {
			return 0, err
		}
		args = append(args, "-"+name, file)
	}
	compute := func(processors ...int) (time.Duration, error) {
		var errs [2]error
		var all sync.WaitGroup
		begun := time.Now()
		for _, p := range processors {
			all.Go(func() {
				c := exec.CommandContext(ctx, "taskset", append([]string{"-c", strconv.Itoa(p), g.binary}, args...)...)
				_, errs[p] = c.Output()
			})
		}
		all.Wait()
		return time.Since(begun), errors.Join(errs[:]...)
	}
	var ratios []float64
	for range rounds {
		alone, err := compute(0)
		if err != nil {
			return 0, err
		}
		both, err := compute(0, 1)
		if err != nil {
			return 0, err
		}
		ratios = append(ratios, both.Seconds()/alone.Seconds())
	}
	return median(ratios), nil
}

// kill kills one of two processes halfway, and counts whose plan was lost and who got two. What it was at is taken up when it is
// taken for lost, minutes later.
func kill(ctx context.Context, g *ground, o options) error {
	if err := g.putToSea(ctx, o.vessels); err != nil {
		return err
	}
	defer g.stop()
	addresses, err := g.onProcessors(ctx, []int{0, 1})
	if err != nil {
		return err
	}
	db, err := pgx.Connect(ctx, g.database.URL())
	if err != nil {
		return err
	}
	defer db.Close(ctx)
	begun := time.Now()
	forecast, err := g.receive(ctx, addresses[0])
	if err != nil {
		return err
	}
	if err := await(ctx, db, forecast, o.vessels-o.vessels/2); err != nil {
		return err
	}
	victim := g.served[1]
	if err := victim.Process.Signal(syscall.SIGKILL); err != nil {
		return err
	}
	_ = victim.Wait() // it says that it was killed
	var left, atWork int
	if err := db.QueryRow(ctx, waiting, forecast).Scan(&left); err != nil {
		return err
	}
	if err := db.QueryRow(ctx, `SELECT count(*) FROM river_job WHERE state = 'running'`).Scan(&atWork); err != nil {
		return err
	}
	fmt.Printf("\n%d vessels planned anew by two processes, of which one is killed when %d wait; jobs at work then, in both: %d\n", o.vessels, left, atWork)
	if err := await(ctx, db, forecast, 0); err != nil {
		return err
	}
	var planned, plans, twice int
	if err := db.QueryRow(ctx, planOf, forecast).Scan(&planned, &plans, &twice); err != nil {
		return err
	}
	fmt.Printf("all done %.0f s after it came: %d vessels planned, lost %d; plans made %d, vessels with two %d\n", time.Since(begun).Seconds(), planned, o.vessels-planned, plans, twice)
	if planned != o.vessels || plans != o.vessels || twice != 0 {
		return errors.New("a vessel's plan was lost or made twice")
	}
	return nil
}

const (
	waiting = `SELECT count(*) FROM replans WHERE forecast_id = $1 AND done_at IS NULL`
	// Counted from the plans themselves, whatever the forecast says of them.
	planOf = `
WITH made AS (
    SELECT p.vessel_id, count(*) AS plans
    FROM plans p
    JOIN area_forecasts f ON f.org_id = p.org_id AND f.id = $1
    WHERE p.created_at > f.recorded_at AND p.vessel_id IN (SELECT vessel_id FROM replans WHERE forecast_id = f.id)
    GROUP BY p.vessel_id
)
SELECT (SELECT count(new_plan_id) FROM replans WHERE forecast_id = $1), coalesce(sum(plans), 0), count(*) FILTER (WHERE plans > 1)
FROM made`
)

// await waits until no more than so many vessels of a forecast wait.
func await(ctx context.Context, db *pgx.Conn, forecast uuid.UUID, most int) error {
	for {
		var left int
		if err := db.QueryRow(ctx, waiting, forecast).Scan(&left); err != nil || left <= most {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// replanned has processes on these processors plan the fleet anew, and tells how long it took from the answer to the forecast on.
func (g *ground) replanned(ctx context.Context, vessels int, processors []int) (took time.Duration, err error) {
	defer g.stop()
	addresses, err := g.onProcessors(ctx, processors)
	if err != nil {
		return 0, err
	}
	db, err := pgx.Connect(ctx, g.database.URL())
	if err != nil {
		return 0, err
	}
	defer db.Close(ctx)
	forecast, err := g.receive(ctx, addresses[0])
	if err != nil {
		return 0, err
	}
	begun := time.Now()
	if err := await(ctx, db, forecast, 0); err != nil {
		return 0, err
	}
	took = time.Since(begun)
	var planned, plans, twice int
	if err := db.QueryRow(ctx, planOf, forecast).Scan(&planned, &plans, &twice); err != nil {
		return 0, err
	}
	if planned != vessels || plans != vessels || twice != 0 {
		return 0, fmt.Errorf("%d of %d vessels planned by %d plans, %d of them twice", planned, vessels, plans, twice)
	}
	return took, nil
}

// onProcessors starts a service on each of the processors.
func (g *ground) onProcessors(ctx context.Context, processors []int) (addresses []string, err error) {
	for _, p := range processors {
		address, err := g.serve(ctx, "/readyz", func(addr string) *exec.Cmd {
			return g.command(ctx, "taskset", unlimited, "-c", strconv.Itoa(p), g.binary, "serve", "--addr", addr)
		})
		if err != nil {
			return nil, err
		}
		addresses = append(addresses, address)
	}
	return addresses, nil
}

// receive posts the storm for the waters the fleet is in.
func (g *ground) receive(ctx context.Context, service string) (uuid.UUID, error) {
	area := map[string]any{"type": "Polygon", "coordinates": [][][]float64{{{-9, 60}, {-4, 60}, {-4, 63}, {-9, 63}, {-9, 60}}}}
	g.service = service
	return g.made(ctx, "/v1/forecasts", g.keys[0], g.body(map[string]any{"area": area, "forecast": g.order["forecast"]}))
}

// putToSea registers vessels, no two alike, with a plan in light weather that runs when the storm comes.
func (g *ground) putToSea(ctx context.Context, vessels int) (err error) {
	if g.afloat == vessels {
		return nil
	}
	defer g.stop()
	if g.service, err = g.serve(ctx, "/readyz", func(addr string) *exec.Cmd { return g.command(ctx, g.binary, unlimited, "serve", "--addr", addr) }); err != nil {
		return err
	}
	light := map[string]any{"source": "invented", "steps": []map[string]any{
		{"time": "2026-01-12T12:00:00Z", "wind_speed_kt": 6, "wind_from_deg": 240}, {"time": "2026-01-13T18:00:00Z", "wind_speed_kt": 5, "wind_from_deg": 240},
	}}
	for ; g.afloat < vessels; g.afloat++ {
		vessel := maps.Clone(g.order["vessel"].(map[string]any))
		vessel["name"], vessel["displacement_kg"] = fmt.Sprintf("Tern %03d", g.afloat), 14000+10*g.afloat
		delete(vessel, "mmsi")
		delete(vessel, "call_sign")
		id, err := g.made(ctx, "/v1/vessels", g.keys[0], g.body(vessel))
		if err != nil {
			return err
		}
		plan := map[string]any{"vessel_id": id, "gear": g.order["gear"], "forecast": light, "intent": "ride_out_storm", "position": g.order["position"]}
		if _, err := g.made(ctx, "/v1/plans", g.keys[0], g.body(plan)); err != nil {
			return err
		}
	}
	return nil
}
