package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"rideout/service"
	"rideout/service/planner"
)

// planBudget is for one plan on the command line, where nobody else waits.
const planBudget = 10 * time.Minute

// plan computes the plans of a vessel, her gear and a forecast, all from files, and keeps nothing; with --server it has a
// service compute and keep one.
func plan(ctx context.Context, p program, args []string) error {
	var files files
	flags := newFlags("plan")
	flags.StringVar(&files.vessel, "vessel", "", "`file` with the vessel, as JSON")
	flags.StringVar(&files.gear, "gear", "", "`file` with the gear carried, as JSON; without it a set is recommended")
	flags.StringVar(&files.forecast, "forecast", "", "`file` with the forecast: our steps as JSON, a CoverageJSON PointSeries, or a buoy record as NDBC stdmet text")
	flags.StringVar(&files.intent, "intent", string(planner.RideOutStorm), "`one` of ride_out_storm, slow_drift, repair_or_rest, drill")
	flags.StringVar(&files.position, "position", "", "`LAT,LON` in degrees, north and east positive: for sea room and daylight")
	flags.StringVar(&files.hazards, "hazards", "", "`file` with hazards of your own, as a GeoJSON feature collection")
	flags.Func("heading", "`DEG` off the wind she is to lie at", func(text string) (err error) {
		if text == "" {
			return errors.New("give degrees")
		}
		files.heading, err = json.Marshal(json.Number(text))
		return err
	})
	flags.Func("lying", "she lies to her sea anchor already, on `M` metres of rode; 0: how much is not known", func(text string) (err error) {
		files.lying, err = lyingOn(text)
		return err
	})
	flags.IntVar(&files.run, "run", 0, "of a buoy record with gaps, plan for run `N` alone, counted from 1; 0: for each")
	var post posting
	post.flags(p, flags, &files)
	asJSON := flags.Bool("json", false, "print the plan's document; for several runs, one a line")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if post.server != "" {
		return post.send(ctx, p, files, *asJSON)
	}
	if err := post.unused(files); err != nil {
		return err
	}
	requests, err := files.requests(func(text string) { fmt.Fprintln(p.stderr, "note:", text) })
	if err != nil {
		return err
	}
	plans := service.Plans{Compute: planner.Compute, Budget: planBudget}
	for i, request := range requests {
		if len(requests) > 1 {
			fmt.Fprintf(p.stderr, "run %d of %d: %s\n", i+1, len(requests), spanOf(request.Forecast))
		}
		made, err := watched(p.stderr, func() (planner.Plan, error) {
			return plans.Calculate(ctx, service.OrgID{}, service.PlanOrder{Request: request})
		})
		if err != nil {
			return err
		}
		if err := printPlan(p.stdout, made, *asJSON); err != nil {
			return err
		}
	}
	return nil
}

func printPlan(w io.Writer, made planner.Plan, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(w).Encode(made)
	}
	return writePlan(w, made)
}

// watched tells every few seconds that long work goes on.
func watched(w io.Writer, work func() (planner.Plan, error)) (planner.Plan, error) {
	began := time.Now()
	done, told := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(told)
		tick := time.NewTicker(3 * time.Second)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				fmt.Fprintf(w, "computing, %.0f s so far\n", time.Since(began).Seconds())
			}
		}
	}()
	made, err := work()
	close(done)
	<-told
	if err == nil {
		fmt.Fprintf(w, "computed in %.2f s: %d forecast steps, %.0f h of sea\n", time.Since(began).Seconds(), made.Method.StepsScreened, made.Method.SimulatedHours)
	}
	return made, err
}

func spanOf(f planner.Forecast) string {
	const form = "2006-01-02 15:04"
	first, last := f.Steps[0].Time, f.Steps[len(f.Steps)-1].Time
	return fmt.Sprintf("%d steps from %s to %s UTC", len(f.Steps), first.UTC().Format(form), last.UTC().Format(form))
}
