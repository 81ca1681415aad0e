package service_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/physics/canopy"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

// counting counts the calculations made.
func counting(n *atomic.Int64, compute service.Compute) service.Compute {
	return func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		n.Add(1)
		return compute(ctx, r)
	}
}

// kept plans an order on an empty history and gives what was kept: the same time and name each time.
func kept(t rapid.TB, p *service.Plans, order service.PlanOrder) service.PlanRecord {
	t.Helper()
	h := &once{}
	p.History = h
	if _, _, err := p.Create(context.Background(), uuid.UUID{1}, service.Claim{}, order); err != nil {
		t.Fatal(err)
	}
	return h.kept[0]
}

// A small case of the real planner: whatever is drawn of it, what is remembered is what would be computed, to the byte.
func TestRememberedIsComputed(t *testing.T) {
	t.Parallel()
	var made atomic.Int64
	seen := map[string]bool{}
	p := plans(nil, counting(&made, planner.Compute))
	p.Budget = time.Minute
	winds, lengths := []float64{12, 17, 22}, []float64{60, 90}
	rapid.Check(t, func(t *rapid.T) {
		r := request()
		seeds := 2
		hs := 0.0 // a flat sea is computed at once
		r.Assume.Seeds = &seeds
		r.Forecast.Steps[0].WindMS = rapid.SampledFrom(winds).Draw(t, "wind, m/s")
		r.Forecast.Steps[0].HsM, r.Forecast.Steps[1].HsM = &hs, &hs
		r.RodeTried = []float64{rapid.SampledFrom(lengths).Draw(t, "rode, m")}
		order := service.PlanOrder{Request: r}
		got := kept(t, p, order)

		alone := plans(nil, planner.Compute)
		alone.Budget = time.Minute
		if want := kept(t, alone, order); !reflect.DeepEqual(got, want) {
			t.Errorf("remembered:\n%.2000s\ncomputed:\n%.2000s", got.Answer, want.Answer)
		}
		seen[got.InputSHA256] = true
		if int(made.Load()) != len(seen) {
			t.Errorf("%d calculations of %d different inputs", made.Load(), len(seen))
		}
	})
}

// The same of a storm, and of POST /v1/calculations.
func TestRememberedStorm(t *testing.T) {
	t.Parallel()
	var made atomic.Int64
	p := plans(nil, counting(&made, planner.Compute))
	p.Budget = time.Minute
	order := service.PlanOrder{Request: request()}
	seeds := 2
	order.Request.Assume.Seeds, order.Request.RodeTried = &seeds, []float64{90, 150}
	first := kept(t, p, order)
	order.By = "another key" // who asks is no input
	second := kept(t, p, order)
	if made.Load() != 1 || string(first.Answer) != string(second.Answer) || string(first.Working) != string(second.Working) || string(first.Inputs) != string(second.Inputs) || !reflect.DeepEqual(first.Facts, second.Facts) {
		t.Errorf("%d calculations, want one; answers equal: %v", made.Load(), string(first.Answer) == string(second.Answer))
	}
	fresh := &service.Plans{Compute: planner.Compute, Budget: time.Minute}
	want, err := fresh.Calculate(t.Context(), uuid.UUID{1}, order)
	if err != nil {
		t.Fatal(err)
	}
	got, err := p.Calculate(t.Context(), uuid.UUID{1}, order)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(got)
	b, _ := json.Marshal(want)
	if string(a) != string(b) || got.ID != "" || made.Load() != 1 {
		t.Errorf("after %d calculations the one remembered is\n%.2000s\nwant\n%.2000s", made.Load(), a, b)
	}
}

// Every field of a request is an input: another value is another calculation.
func TestOtherInputsAreOtherCalculations(t *testing.T) {
	t.Parallel()
	cd0, policy := 0.8, planner.DefaultPolicy()
	policy.SlackLimit = 0.2
	changes := map[string]func(*planner.Request){
		"Vessel": func(r *planner.Request) { r.Vessel.DraughtM = 1.31 },
		"Gear": func(r *planner.Request) {
			r.Gear = &planner.Gear{Canopy: &planner.Canopy{Shape: canopy.FlatCircular, DiameterM: 5.5}}
		},
		"Position":    func(r *planner.Request) { r.Position = &planner.Position{LatitudeDeg: 55} },
		"Intent":      func(r *planner.Request) { r.Intent = planner.Drill },
		"Wish":        func(r *planner.Request) { a := quantity.Degrees(10); r.Wish.HeadingOffWind = &a },
		"Hazards":     func(r *planner.Request) { r.Hazards = []byte(`{"type":"FeatureCollection","features":[]}`) },
		"Forecast":    func(r *planner.Request) { r.Forecast.Steps[1].WindMS = math.Nextafter(15, 16) },
		"Assume":      func(r *planner.Request) { r.Assume.CanopyCd0 = &cd0 },
		"Crew":        func(r *planner.Request) { r.Crew = []planner.Hand{{Name: "A."}} },
		"Policy":      func(r *planner.Request) { r.Policy = &policy },
		"RodeTried":   func(r *planner.Request) { r.RodeTried = []float64{90} },
		"Calibration": func(r *planner.Request) { r.Calibration = &planner.Calibration{Why: "none yet"} },
		"Lying":       func(r *planner.Request) { r.Lying = &planner.Lying{RodeOutM: 80} },
	}
	var made atomic.Int64
	p := plans(&once{}, counting(&made, computed))
	hashes := map[string]string{}
	calculate := func(name string, r planner.Request) {
		plan, err := p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: r})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if other, twice := hashes[plan.InputSHA256]; twice {
			t.Errorf("with another %s the hash is that with another %s", name, other)
		}
		hashes[plan.InputSHA256] = name
	}
	calculate("nothing", request())
	for i := range reflect.TypeFor[planner.Request]().NumField() {
		name := reflect.TypeFor[planner.Request]().Field(i).Name
		change, ok := changes[name]
		if !ok {
			t.Errorf("%s is not tried", name)
			continue
		}
		r := request()
		change(&r)
		calculate(name, r)
	}
	if int(made.Load()) != len(hashes) {
		t.Errorf("%d calculations of %d inputs", made.Load(), len(hashes))
	}
}

// What the book says by now is what counts, and an organisation is told nothing of another's calculations.
func TestMemoryIsNotTheBook(t *testing.T) {
	t.Parallel()
	var made atomic.Int64
	history := &servicetest.History{}
	clock := func() time.Time { return at }
	p := &service.Plans{History: history, Clock: clock, NewID: uuid.New, Compute: counting(&made, computed)}
	registers := &service.Registers{History: history, Clock: clock, NewID: uuid.New}
	keys := 0
	plan := func(org service.OrgID) service.PlanRecord {
		t.Helper()
		keys++
		answer, _, err := p.Create(t.Context(), org, service.Claim{Key: fmt.Sprint(keys)}, service.PlanOrder{Request: request()})
		if err != nil {
			t.Fatal(err)
		}
		record, err := p.Get(t.Context(), org, answer.PlanID)
		if err != nil {
			t.Fatal(err)
		}
		return record
	}
	ours, theirs := uuid.UUID{1}, uuid.UUID{2}
	before := plan(ours)
	plan(ours)
	if made.Load() != 1 {
		t.Errorf("%d calculations of one order, want 1", made.Load())
	}
	policy := fleet.DefaultPolicy()
	policy.SlackLimit = 0.2
	policy.Settle()
	if _, _, err := registers.Put(t.Context(), ours, service.Draft{Kind: fleet.KindPolicy, Under: ours, By: "test", Entity: &policy}, ours, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	after := plan(ours)
	if made.Load() != 2 || after.InputSHA256 == before.InputSHA256 {
		t.Errorf("%d calculations with another policy, want 2; hashes %s, %s", made.Load(), before.InputSHA256, after.InputSHA256)
	}
	if same := plan(theirs); made.Load() != 3 || same.InputSHA256 != before.InputSHA256 {
		t.Errorf("%d calculations, want 3: the other organisation's own", made.Load())
	}
}

// An order whose calculation is remembered is answered while all places are taken. A calculation that failed is made again.
func TestRememberedNeedsNoPlace(t *testing.T) {
	t.Parallel()
	begun, finish := make(chan struct{}), make(chan struct{})
	fails := errors.New("fails")
	var made atomic.Int64
	p := plans(&once{}, func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		switch r.Vessel.BeamM {
		case 5:
			begun <- struct{}{}
			<-finish
		case 6:
			made.Add(1)
			return planner.Plan{}, nil, fails
		}
		return computed(ctx, r)
	})
	order := func(beamM float64) service.PlanOrder {
		r := request()
		r.Vessel.BeamM = beamM
		return service.PlanOrder{Request: r}
	}
	for range 2 {
		if _, err := p.Calculate(t.Context(), uuid.UUID{1}, order(6)); !errors.Is(err, fails) {
			t.Errorf("error %v, want that of the calculation", err)
		}
	}
	if made.Load() != 2 {
		t.Errorf("%d calculations, want 2: a failure is not remembered", made.Load())
	}
	if _, err := p.Calculate(t.Context(), uuid.UUID{1}, order(4)); err != nil {
		t.Fatal(err)
	}
	var done sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		done.Go(func() { _, _ = p.Calculate(t.Context(), uuid.UUID{1}, order(5)) })
		<-begun
	}
	if _, err := p.Calculate(t.Context(), uuid.UUID{1}, order(4)); err != nil {
		t.Errorf("a remembered calculation: %v", err)
	}
	var busy *service.Error
	if _, err := p.Calculate(t.Context(), uuid.UUID{1}, order(3)); !errors.As(err, &busy) || busy.Kind != service.KindBusy {
		t.Errorf("a new calculation: %v, want kind busy", err)
	}
	close(finish)
	done.Wait()
}

// What is no number is an error each time, and not remembered as a plan.
func TestNoNumberIsNotRemembered(t *testing.T) {
	t.Parallel()
	var made atomic.Int64
	p := plans(nil, counting(&made, func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		plan, steps, err := computed(ctx, r)
		if made.Load() == 1 {
			plan.Loads.PeakN.Mid = math.NaN()
		}
		return plan, steps, err
	}))
	org, order := uuid.New(), service.PlanOrder{Request: request()}
	if plan, err := p.Calculate(t.Context(), org, order); err == nil {
		t.Errorf("got a plan with a peak of %v N", plan.Loads.PeakN.Mid)
	}
	if _, err := p.Calculate(t.Context(), org, order); err != nil || made.Load() != 2 {
		t.Errorf("got %v after %d calculations, want none and 2", err, made.Load())
	}
}
