package service_test

import (
	"context"
	"encoding/json"
	"errors"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

// once is a history that does the work and keeps what is recorded; err is what it returns, if set.
type once struct {
	servicetest.History
	kept []service.PlanRecord
	err  error
}

func (o *once) Once(ctx context.Context, org service.OrgID, _ service.Claim, work func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	if o.err != nil {
		return service.Answer{}, false, o.err
	}
	var answer service.Answer
	err := o.Change(ctx, org, func(ctx context.Context, r service.Recorder) (err error) {
		answer, err = work(ctx, keeping{r, o})
		return err
	})
	return answer, false, err
}

type keeping struct {
	service.Recorder
	in *once
}

func (k keeping) RecordPlan(_ context.Context, p service.PlanRecord) error {
	k.in.kept = append(k.in.kept, p)
	return nil
}

func (o *once) Plan(context.Context, service.OrgID, uuid.UUID) (service.PlanRecord, error) {
	return service.PlanRecord{}, o.err
}

var at = time.Date(2026, 1, 12, 12, 0, 0, 123456789, time.FixedZone("", 3600))

func plans(h service.History, compute service.Compute) *service.Plans {
	return &service.Plans{
		History: h, Compute: compute, Budget: 50 * time.Millisecond,
		Clock: func() time.Time { return at }, NewID: func() uuid.UUID { return uuid.UUID{7} },
	}
}

func request() planner.Request {
	return planner.Request{
		Vessel: planner.Vessel{Name: "Kestrel of Hamna", Hull: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4, DraughtM: 1.3, DisplacementKg: 14000},
		Intent: planner.RideOutStorm,
		Forecast: planner.Forecast{Steps: []planner.Step{
			{Time: at.UTC(), WindMS: 20}, {Time: at.UTC().Add(6 * time.Hour), WindMS: 15},
		}},
	}
}

func computed(_ context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	return planner.Plan{
		Engine: "test", VesselName: r.Vessel.Name, Intent: r.Intent,
		Loads: planner.Loads{PeakN: quantity.Band{Low: 1, Mid: 2, High: 3}}, Rode: planner.RodeAdvice{PayOutM: 90},
	}, []planner.WorkingStep{{Title: "wind force"}}, nil
}

func TestCreateKeepsWhatItAnswers(t *testing.T) {
	t.Parallel()
	h := &once{}
	answer, _, err := plans(h, computed).Create(t.Context(), uuid.UUID{1}, service.Claim{}, service.PlanOrder{Request: request()})
	if err != nil {
		t.Fatal(err)
	}
	if len(h.kept) != 1 || string(h.kept[0].Answer) != string(answer.Body) || answer.PlanID != h.kept[0].ID {
		t.Fatalf("kept %d plans; the answer is not the one kept", len(h.kept))
	}
	kept := h.kept[0]
	var plan planner.Plan
	if err := json.Unmarshal(answer.Body, &plan); err != nil {
		t.Fatal(err)
	}
	want := at.UTC().Truncate(time.Microsecond)
	if plan.ID != kept.ID.String() || !plan.CreatedAt.Equal(want) || !kept.CreatedAt.Equal(want) || kept.PayOutM != 90 || kept.PeakN.High != 3 {
		t.Errorf("plan %s at %v, kept %+v; want id, %v, 90 m, 3 N", plan.ID, plan.CreatedAt, kept, want)
	}
	if plan.InputSHA256 != kept.InputSHA256 || len(plan.InputSHA256) != 64 {
		t.Errorf("input_sha256 %q and %q, want one hash", plan.InputSHA256, kept.InputSHA256)
	}
	if plan.Links["working"] != "/v1/plans/"+plan.ID+"/working" {
		t.Errorf("links %v, want the working's address", plan.Links)
	}
	var again planner.Request
	if err := json.Unmarshal(kept.Inputs, &again); err != nil || again.Vessel.LOAM != 12.2 {
		t.Errorf("the inputs do not read back: %v, LOA %g", err, again.Vessel.LOAM)
	}
	if !strings.Contains(string(kept.Working), "wind force") {
		t.Errorf("working %s, want its steps", kept.Working)
	}
}

func TestEqualInputsHaveEqualHashes(t *testing.T) {
	t.Parallel()
	p := plans(&once{}, computed)
	hash := func(r planner.Request) string {
		plan, err := p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: r})
		if err != nil {
			t.Fatal(err)
		}
		return plan.InputSHA256
	}
	other := request()
	other.Vessel.BeamM = 4.1
	if a, b, c := hash(request()), hash(request()), hash(other); a != b || a == c {
		t.Errorf("hashes %s, %s of equal inputs and %s of others", a, b, c)
	}
}

func TestErrorsAreSorted(t *testing.T) {
	t.Parallel()
	failing := func(err error) service.Compute {
		return func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			return planner.Plan{}, nil, err
		}
	}
	slow := func(ctx context.Context, _ planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		<-ctx.Done()
		return planner.Plan{}, nil, ctx.Err()
	}
	wrong := request()
	wrong.Forecast.Steps[1].Time = wrong.Forecast.Steps[0].Time
	for _, c := range []struct {
		name    string
		store   error
		compute service.Compute
		req     planner.Request
		kind    service.Kind
	}{
		{"invalid", nil, computed, wrong, service.KindInvalid},
		{"not covered", nil, failing(&quantity.RangeError{Name: "depth"}), request(), service.KindInvalid},
		{"too slow", nil, slow, request(), service.KindTooSlow},
		{"not found", service.ErrNotFound, computed, request(), service.KindNotFound},
		{"key reused", service.ErrKeyReused, computed, request(), service.KindKeyReused},
		{"in flight", service.ErrInFlight, computed, request(), service.KindInFlight},
		{"unknown", service.ErrOutcomeUnknown, computed, request(), service.KindUnknown},
		{"unavailable", service.ErrUnavailable, computed, request(), service.KindUnavailable},
	} {
		_, _, err := plans(&once{err: c.store}, c.compute).Create(t.Context(), uuid.UUID{1}, service.Claim{}, service.PlanOrder{Request: c.req})
		var got *service.Error
		if !errors.As(err, &got) || got.Kind != c.kind {
			t.Errorf("%s: error %v, want kind %s", c.name, err, c.kind)
		}
		if c.kind == service.KindInvalid && len(got.Fields) == 0 {
			t.Errorf("%s: no field is named", c.name)
		}
	}
	if _, err := plans(&once{err: service.ErrNotFound}, computed).Working(t.Context(), uuid.UUID{1}, uuid.UUID{2}); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("working of an unknown plan: %v, want ErrNotFound within", err)
	}
}

// As many calculations run as there are processors; twice as many wait, the next is refused; and all
// places come free again.
func TestPlacesForCalculations(t *testing.T) {
	t.Parallel()
	n := runtime.GOMAXPROCS(0)
	running, finish := make(chan struct{}, 10*n), make(chan struct{})
	p := plans(&once{}, func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		running <- struct{}{}
		<-finish
		return computed(ctx, r)
	})
	p.Budget = time.Minute
	var done sync.WaitGroup
	busy := make(chan error, 10*n)
	for i := range 10 * n {
		done.Go(func() {
			r := request()
			r.Vessel.DisplacementKg += float64(i) // each its own calculation
			if _, err := p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: r}); err != nil {
				busy <- err
			}
		})
	}
	for range 7 * n {
		var got *service.Error
		if err := <-busy; !errors.As(err, &got) || got.Kind != service.KindBusy {
			t.Errorf("error %v, want kind busy", err)
		}
	}
	if got := len(running); got > n {
		t.Errorf("%d calculations run, want at most %d", got, n)
	}
	close(finish)
	done.Wait()
	if got := len(running); got != 3*n {
		t.Errorf("%d calculations ran in all, want %d", got, 3*n)
	}
	if _, err := p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: request()}); err != nil {
		t.Errorf("after all have left: %v, want a place", err)
	}
}

func TestWaitingForAPlaceEnds(t *testing.T) {
	t.Parallel()
	finish := make(chan struct{})
	begun := make(chan struct{}, 1000)
	p := plans(&once{}, func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		begun <- struct{}{}
		<-finish
		return computed(ctx, r)
	})
	var done sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		done.Go(func() { _, _ = p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: request()}) })
		<-begun
	}
	var got *service.Error
	if _, err := p.Calculate(t.Context(), uuid.UUID{1}, service.PlanOrder{Request: request()}); !errors.As(err, &got) || got.Kind != service.KindBusy {
		t.Errorf("waiting longer than the budget: %v, want kind busy", err)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, err := p.Calculate(gone, uuid.UUID{1}, service.PlanOrder{Request: request()}); !errors.Is(err, context.Canceled) {
		t.Errorf("waiting without a caller: %v, want cancelled", err)
	}
	close(finish)
	done.Wait()
}

// Waiting and computing share one budget: when a calculation is due was settled before it began to wait.
func TestWaitingCountsAgainstTheBudget(t *testing.T) {
	t.Parallel()
	n := runtime.GOMAXPROCS(0)
	finish, begun, due := make(chan struct{}), make(chan struct{}, 3*n), make(chan time.Time, 3*n)
	p := plans(&once{}, func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		at, _ := ctx.Deadline()
		due <- at
		begun <- struct{}{}
		<-finish
		return computed(ctx, r)
	})
	p.Budget = time.Hour
	calculate := func(ctx context.Context, i int) error {
		r := request()
		r.Vessel.DisplacementKg += float64(i)
		_, err := p.Calculate(ctx, uuid.UUID{1}, service.PlanOrder{Request: r})
		return err
	}
	var done sync.WaitGroup
	for i := range 3 * n {
		done.Go(func() { _ = calculate(t.Context(), i) })
		if i < n {
			<-begun
		}
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	for full := (*service.Error)(nil); !errors.As(calculate(gone, 3*n), &full); { // until all places to wait are taken
		time.Sleep(time.Millisecond)
	}
	free := time.Now()
	close(finish)
	done.Wait()
	for range 3 * n {
		if at := <-due; at.After(free.Add(p.Budget)) {
			t.Errorf("due %v after a place came free, want a budget of %v from when it was asked for", at.Sub(free), p.Budget)
		}
	}
}

func TestWhoWouldWaitInVainIsRefusedAtOnce(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p := &service.Plans{Budget: time.Second, AtOnce: 1, Compute: func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			time.Sleep(600 * time.Millisecond)
			return computed(ctx, r)
		}}
		calculate := func(displacement float64) (kind service.Kind, took time.Duration) {
			order := service.PlanOrder{Request: request()}
			order.Request.Vessel.DisplacementKg = displacement
			begun := time.Now()
			_, err := p.Calculate(t.Context(), uuid.UUID{1}, order)
			var e *service.Error
			if errors.As(err, &e) {
				kind = e.Kind
			} else if err != nil {
				t.Error(err)
			}
			return kind, time.Since(begun)
		}
		calculate(14000) // from here on it is known how long one takes
		var all sync.WaitGroup
		for i, want := range []struct {
			kind service.Kind
			took time.Duration
		}{{"", 600 * time.Millisecond}, {service.KindBusy, 300 * time.Millisecond}, {service.KindBusy, 0}} {
			all.Go(func() {
				if kind, took := calculate(float64(15000 + i)); kind != want.kind || took != want.took {
					t.Errorf("number %d: got %q after %v, want %q after %v", i, kind, took, want.kind, want.took)
				}
			})
			synctest.Wait()
		}
		all.Wait()
	})
}
