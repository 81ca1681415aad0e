package store_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
	"rideout/service/servicetest"
	"rideout/store"
	"rideout/store/storetest"
)

// history is what both a store and the one in memory are.
type history interface {
	service.History
	service.ForecastBook
}

// waters is an organisation with vessels at sea and in port, over any history.
type waters struct {
	t         testing.TB
	org       service.OrgID
	registers *service.Registers
	plans     *service.Plans
	forecasts *service.AreaForecasts
	now       time.Time
	computed  atomic.Int64
	refuse    string // the vessel that no plan can be made for
}

// six is when the forecasts of the tests begin.
var six = time.Date(2026, 1, 12, 18, 0, 0, 0, time.UTC)

func newWaters(t testing.TB, h history, org service.OrgID) *waters {
	t.Helper()
	w := &waters{t: t, org: org, now: six.Add(-3 * time.Hour)}
	clock := func() time.Time { return w.now }
	newID := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	w.registers = &service.Registers{History: h, Clock: clock, NewID: newID}
	w.plans = &service.Plans{History: h, Clock: clock, NewID: newID, Compute: w.compute, Budget: time.Minute}
	w.forecasts = &service.AreaForecasts{History: h, Book: h, Clock: clock, NewID: newID, Plans: w.plans}
	return w
}

// compute says in the plan's hours what the wind is.
func (w *waters) compute(_ context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	w.computed.Add(1)
	if r.Vessel.Name == w.refuse && len(r.Forecast.Steps) == 3 {
		return planner.Plan{}, nil, &planner.InvalidError{Problems: []planner.Problem{{Pointer: "/forecast/steps/0", Message: "stands in water too shallow", Fix: "plan elsewhere"}}}
	}
	by := r.Forecast.Steps[0].Time.Add(time.Hour)
	deploy := planner.Hour{Action: "deploy", From: &r.Forecast.Steps[0].Time, Until: &by, Verdict: "in_time", Text: "Deploy."}
	if r.Lying != nil {
		out := r.Lying.RodeOutM
		deploy = planner.Hour{Action: "hold", From: &r.Forecast.Steps[0].Time, Until: &by, Verdict: "in_time", PayOutM: &out, Text: "Keep it."}
	}
	return planner.Plan{
		Engine: "test", VesselName: r.Vessel.Name, Intent: r.Intent, Lying: r.Lying, Loads: planner.Loads{PeakN: quantity.Exactly(1000)},
		Canopy: planner.CanopyAdvice{Verdict: "suits"}, Rode: planner.RodeAdvice{PayOutM: 90, Verdict: "short"},
		Hardware: []planner.Part{{Part: "bow bitt", Use: 0.5, Verdict: "within", Governing: true}},
		Hours:    []planner.Hour{deploy, {Action: "retrieve", From: &by, Verdict: "in_time", Text: "Retrieve when you choose."}},
	}, nil, nil
}

func (w *waters) record(kind fleet.Kind, under uuid.UUID, e fleet.Entity) uuid.UUID {
	w.t.Helper()
	claim := service.Claim{Key: uuid.NewString(), Route: "test", RequestSHA256: strings.Repeat("0", 64)}
	answer, _, err := w.registers.Add(w.t.Context(), w.org, claim, service.Draft{Kind: kind, Under: under, Entity: e})
	if err != nil {
		w.t.Fatalf("record %s: %v", kind, err)
	}
	var made struct{ ID uuid.UUID }
	if err := json.Unmarshal(answer.Body, &made); err != nil {
		w.t.Fatal(err)
	}
	return made.ID
}

func (w *waters) vessel(name string) uuid.UUID {
	return w.record(fleet.KindVessel, uuid.Nil, &fleet.Vessel{Particulars: fleet.Particulars{
		Name: name, Hull: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4, DraughtM: 1.3, DisplacementKg: 14000,
	}})
}

// plan plans for a vessel at a position, from a time on for some hours.
func (w *waters) plan(vessel uuid.UUID, latitude, longitude float64, from time.Time, hours float64) uuid.UUID {
	w.t.Helper()
	claim := service.Claim{Key: uuid.NewString(), Route: "test", RequestSHA256: strings.Repeat("0", 64)}
	order := service.PlanOrder{VesselID: vessel, Request: planner.Request{
		Intent: planner.RideOutStorm, Position: &planner.Position{LatitudeDeg: latitude, LongitudeDeg: longitude},
		Forecast: planner.Forecast{Steps: []planner.Step{{Time: from, WindMS: 15}, {Time: from.Add(time.Duration(hours * float64(time.Hour))), WindMS: 10}}},
	}}
	answer, _, err := w.plans.Create(w.t.Context(), w.org, claim, order)
	if err != nil {
		w.t.Fatalf("plan: %v", err)
	}
	return answer.PlanID
}

func (w *waters) deploy(plan uuid.UUID, at time.Time) uuid.UUID {
	out := 85.0
	return w.record(fleet.KindDeployment, plan, &fleet.Deployment{DeployedAt: at, RodeOutM: &out, Position: &planner.Position{LatitudeDeg: 61.1, LongitudeDeg: -6.1}})
}

// theArea holds what lies from 60 to 63 N and 9 to 4 W, but for a hole round 62 N 5 W.
const theArea = `{"type":"Polygon","coordinates":[[[-9,60],[-4,60],[-4,63],[-9,63],[-9,60]],[[-5.5,61.8],[-5.5,62.2],[-4.5,62.2],[-4.5,61.8],[-5.5,61.8]]]}`

func (w *waters) receive(key string) service.ForecastReport {
	w.t.Helper()
	steps := []planner.Step{{Time: six, WindMS: 25}, {Time: six.Add(6 * time.Hour), WindMS: 20}, {Time: six.Add(12 * time.Hour), WindMS: 8}}
	claim := service.Claim{Key: key, Route: "POST /v1/forecasts", RequestSHA256: strings.Repeat("a", 64)}
	answer, _, err := w.forecasts.Receive(w.t.Context(), w.org, claim, service.AreaForecast{
		Area: []byte(theArea), Sent: []byte(`{"steps":[]}`), Forecast: planner.Forecast{Source: "test", Steps: steps}, By: "ro_test",
	})
	if err != nil {
		w.t.Fatalf("receive: %v", err)
	}
	var report service.ForecastReport
	if err := json.Unmarshal(answer.Body, &report); err != nil {
		w.t.Fatal(err)
	}
	return report
}

func (w *waters) report(id uuid.UUID) service.ForecastReport {
	w.t.Helper()
	report, err := w.forecasts.Report(w.t.Context(), w.org, id)
	if err != nil {
		w.t.Fatal(err)
	}
	return report
}

func onBoth(t *testing.T, test func(t *testing.T, h history, org service.OrgID)) {
	t.Parallel()
	t.Run("store", func(t *testing.T) {
		t.Parallel()
		s := storetest.New(t)
		test(t, s, anOrg(t, s))
	})
	t.Run("memory", func(t *testing.T) {
		t.Parallel()
		test(t, &servicetest.History{}, uuid.UUID{1})
	})
}

func TestVesselsAtSeaInTheArea(t *testing.T) {
	onBoth(t, func(t *testing.T, h history, org service.OrgID) {
		w := newWaters(t, h, org)
		underWay := w.vessel("Avocet")
		w.plan(underWay, 61, -6, six.Add(-6*time.Hour), 24)
		elsewhere := w.vessel("Bittern")
		w.plan(elsewhere, 59, -6, six.Add(-6*time.Hour), 24)
		inTheHole := w.vessel("Curlew")
		w.plan(inTheHole, 62, -5, six.Add(-6*time.Hour), 24)
		inPort := w.vessel("Dunlin")
		w.plan(inPort, 61, -6, six.Add(-72*time.Hour), 24)
		w.vessel("Egret") // never planned for

		lying := w.vessel("Fulmar") // her plan is over and lay elsewhere; she was seen in the area
		over := w.plan(lying, 58, -6, six.Add(-72*time.Hour), 24)
		deployment := w.deploy(over, six.Add(-60*time.Hour))
		w.record(fleet.KindObservation, deployment, &fleet.Observation{
			ObservedAt: six.Add(-4 * time.Hour),
			FromFix:    &fleet.Fix{Time: six.Add(-5 * time.Hour), LatitudeDeg: 61.49, LongitudeDeg: -6.5}, ToFix: &fleet.Fix{Time: six.Add(-4 * time.Hour), LatitudeDeg: 61.5, LongitudeDeg: -6.5},
		})
		back := w.vessel("Gannet") // she has retrieved her canopy, and her plan is over
		home := w.plan(back, 61, -6, six.Add(-72*time.Hour), 24)
		id := w.deploy(home, six.Add(-70*time.Hour))
		_, _, err := w.registers.Put(t.Context(), org, service.Draft{Kind: fleet.KindRetrieval, Under: id, Entity: &fleet.Retrieval{
			BegunAt: six.Add(-50 * time.Hour), EndedAt: six.Add(-49 * time.Hour), Method: "hauled",
		}}, id, service.Match{})
		if err != nil {
			t.Fatal(err)
		}

		report := w.receive("one")
		var names []string
		for _, v := range report.Vessels {
			out := 0.0
			if v.RodeOutM != nil {
				out = *v.RodeOutM
			}
			names = append(names, fmt.Sprintf("%s %t %g %s %.1f", v.VesselName, v.Lying, out, v.FixedBy, v.Position.LatitudeDeg))
		}
		if want := []string{"Avocet false 0 plan 61.0", "Fulmar true 85 observation 61.5"}; !slices.Equal(names, want) {
			t.Fatalf("planned for %q, want %q", names, want)
		}
		if p := report.Progress; p != (service.Progress{Vessels: 2, Waiting: 2}) {
			t.Errorf("progress %+v, want two that wait", p)
		}
		for _, vessel := range []uuid.UUID{underWay, lying} {
			for range 2 { // the second time it is done already
				if err := w.forecasts.Replan(t.Context(), service.Job{Kind: service.JobReplan, Org: org, On: []uuid.UUID{report.ID, vessel}}); err != nil {
					t.Fatalf("replan: %v", err)
				}
			}
		}
		report = w.report(report.ID)
		if p := report.Progress; p != (service.Progress{Vessels: 2, Done: 2, Ended: true}) {
			t.Errorf("progress %+v, want two done", p)
		}
		if !slices.Equal(report.MustDeploy, []uuid.UUID{underWay}) || !slices.Equal(report.MayHaul, []uuid.UUID{lying}) || len(report.Outside) != 2 {
			t.Errorf("must deploy %v, may retrieve %v, outside %v; want %v, %v, both", report.MustDeploy, report.MayHaul, report.Outside, underWay, lying)
		}
		last := report.Vessels[1] // who may retrieve is less pressing than who must deploy
		made, err := w.plans.Get(t.Context(), org, *last.PlanID)
		if err != nil || made.VesselID != lying || made.Supersedes != over {
			t.Errorf("the new plan is %v for %v in the place of %v, %v; want for %v in the place of %v", made.ID, made.VesselID, made.Supersedes, err, lying, over)
		}
		var asked planner.Request
		if err := json.Unmarshal(made.Inputs, &asked); err != nil || asked.Lying == nil || asked.Lying.RodeOutM != 85 {
			t.Errorf("she is planned for as lying to %+v, %v; want 85 m out", asked.Lying, err)
		}
	})
}

func TestForecastComesTwice(t *testing.T) {
	onBoth(t, func(t *testing.T, h history, org service.OrgID) {
		w := newWaters(t, h, org)
		w.plan(w.vessel("Avocet"), 61, -6, six, 24)
		first, again, other := w.receive("one"), w.receive("one"), w.receive("two")
		if first.ID != again.ID || first.ID == other.ID {
			t.Errorf("ids %v, %v, %v; want the first two the same", first.ID, again.ID, other.ID)
		}
		page, err := w.forecasts.List(t.Context(), org, service.RecordPlace{}, 1)
		if err != nil || len(page.Items) != 1 || page.Items[0].ID != other.ID || page.Next == nil || page.Prev != nil {
			t.Fatalf("first page %+v, %v; want the newest alone", page, err)
		}
		page, err = w.forecasts.List(t.Context(), org, *page.Next, 1)
		if err != nil || len(page.Items) != 1 || page.Items[0].ID != first.ID || page.Next != nil || page.Items[0].Progress.Waiting != 1 {
			t.Errorf("second page %+v, %v; want the first", page, err)
		}
		if _, err := w.forecasts.Report(t.Context(), uuid.New(), first.ID); err == nil {
			t.Error("another organisation reads the forecast")
		}
	})
}

func TestVesselThatCannotBePlannedForIsNamed(t *testing.T) {
	onBoth(t, func(t *testing.T, h history, org service.OrgID) {
		w := newWaters(t, h, org)
		w.refuse = "Avocet"
		vessel := w.vessel("Avocet")
		w.plan(vessel, 61, -6, six, 24)
		report := w.receive("one")
		if err := w.forecasts.Replan(t.Context(), service.Job{Kind: service.JobReplan, Org: org, On: []uuid.UUID{report.ID, vessel}}); err != nil {
			t.Fatal(err)
		}
		report = w.report(report.ID)
		if v := report.Vessels[0]; report.Progress.Refused != 1 || !report.Progress.Ended || !strings.Contains(v.Refused, "too shallow") || v.State != "refused" {
			t.Errorf("progress %+v, vessel %+v; want her refused, and why", report.Progress, v)
		}
	})
}

// TestRestartInTheMiddleLosesAndDoublesNothing ends the process's workers while they plan, again and again.
func TestRestartInTheMiddleLosesAndDoublesNothing(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org := anOrg(t, s)
	w := newWaters(t, s, org)
	const vessels = 24
	for i := range vessels {
		w.plan(w.vessel(fmt.Sprintf("Tern %02d", i)), 61, -6, six, 24)
	}
	before := w.computed.Load()
	report := w.receive("one")
	var begun atomic.Int64
	workers := service.Workers{service.JobReplan: {AtOnce: 2, Do: func(ctx context.Context, j service.Job) error {
		begun.Add(1)
		select {
		case <-time.After(20 * time.Millisecond):
		case <-ctx.Done():
			return ctx.Err()
		}
		return w.forecasts.Replan(ctx, j)
	}}}
	restarts := 0
	for !w.report(report.ID).Progress.Ended {
		work := startWork(t, s, workers, io.Discard)
		for at := begun.Load(); begun.Load() < at+5 && !w.report(report.ID).Progress.Ended; {
			time.Sleep(time.Millisecond)
		}
		if err := work.Stop(0); err != nil {
			t.Fatal(err)
		}
		if restarts++; restarts > 10*vessels {
			t.Fatal("it does not end")
		}
	}
	report = w.report(report.ID)
	if p := report.Progress; p != (service.Progress{Vessels: vessels, Done: vessels, Ended: true}) {
		t.Errorf("progress %+v, want all %d done", p, vessels)
	}
	for _, v := range report.Vessels {
		page, err := w.plans.List(t.Context(), org, service.PlanFilter{VesselID: v.VesselID}, service.Place{}, 10)
		if err != nil || len(page.Items) != 2 {
			t.Errorf("%s has %d plans, %v; want the one before and one more", v.VesselName, len(page.Items), err)
		}
	}
	if restarts < 3 {
		t.Errorf("the workers were ended %d times, want several", restarts)
	}
	t.Logf("%d ends, %d plans computed for %d vessels", restarts, w.computed.Load()-before, vessels)
}

var _ history = (*store.Store)(nil)
