package store_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store/storetest"
)

func TestSameBytesComeBack(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org, want := anOrg(t, s), aPlan()
	keep(t, s, org, want)
	got, err := s.Plan(t.Context(), org, want.ID)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("plan:\ngot  %+v\nwant %+v", got, want)
	}
}

func TestRepeatGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	plan := aPlan()
	for name, answer := range map[string]service.Answer{
		"the plan's own": {PlanID: plan.ID, Body: plan.Answer},
		"another":        {PlanID: plan.ID, Body: []byte("accepted\x00\xff")},
		"without a plan": {Body: []byte("nothing to keep")},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			url := storetest.URL(t)
			s := storetest.Open(t, url)
			org := anOrg(t, s)
			work := func(ctx context.Context, r service.Recorder) (service.Answer, error) {
				return answer, r.RecordPlan(ctx, plan)
			}
			for round := range 3 {
				got, repeated, err := s.Once(t.Context(), org, aClaim("k"), work)
				if err != nil || repeated != (round > 0) || !reflect.DeepEqual(got, answer) {
					t.Errorf("round %d: got %+v, repeated %v, error %v, want %+v", round, got, repeated, err, answer)
				}
			}
			wantRows(t, url, "plans", 1)
			wantRows(t, url, "idempotency_claims", 1)
		})
	}
}

func TestHundredPostsOfOneKeyKeepOnePlan(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	var works, repeats atomic.Int64
	var first atomic.Pointer[[]byte]
	var posts sync.WaitGroup
	for range 100 {
		posts.Go(func() {
			plan := aPlan() // each post would keep another
			plan.Answer = []byte(`"` + plan.ID.String() + `"`)
			answer, repeated, err := patiently(t, s, org, func(ctx context.Context, r service.Recorder) (service.Answer, error) {
				works.Add(1)
				return recording(plan)(ctx, r)
			})
			if err != nil {
				t.Error(err)
				return
			}
			if repeated {
				repeats.Add(1)
			}
			if !first.CompareAndSwap(nil, &answer.Body) && !bytes.Equal(*first.Load(), answer.Body) {
				t.Errorf("answer: got %s, another post got %s", answer.Body, *first.Load())
			}
		})
	}
	posts.Wait()
	if works.Load() != 1 || repeats.Load() != 99 {
		t.Errorf("got %d works and %d repeats, want 1 and 99", works.Load(), repeats.Load())
	}
	wantRows(t, url, "plans", 1)
}

// patiently claims k, and again as long as it is in flight. It is so, too, until the server notices that
// a connection it worked for is gone.
func patiently(t *testing.T, h service.History, org service.OrgID, work func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	t.Helper()
	for {
		answer, repeated, err := h.Once(t.Context(), org, aClaim("k"), work)
		if !errors.Is(err, service.ErrInFlight) {
			return answer, repeated, err
		}
		time.Sleep(time.Millisecond)
	}
}

func TestOtherRequestUnderTheSameKey(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	claim := aClaim("k")
	if _, _, err := s.Once(t.Context(), org, claim, recording(aPlan())); err != nil {
		t.Fatal(err)
	}
	body, route := claim, claim
	body.RequestSHA256 = strings.Repeat("cd", 32)
	route.Route = "POST /v1/calculations"
	for _, other := range []service.Claim{body, route} {
		if _, _, err := s.Once(t.Context(), org, other, recording(aPlan())); !errors.Is(err, service.ErrKeyReused) {
			t.Errorf("claim %+v after %+v: got %v, want %v", other, claim, err, service.ErrKeyReused)
		}
	}
	wantRows(t, url, "plans", 1)

	// A claim stands for 7 days.
	ask(t, url, `UPDATE idempotency_claims SET created_at = now() - interval '7 days' + interval '1 minute'`)
	if _, _, err := s.Once(t.Context(), org, body, recording(aPlan())); !errors.Is(err, service.ErrKeyReused) {
		t.Errorf("a minute before 7 days: got %v, want %v", err, service.ErrKeyReused)
	}
	ask(t, url, `UPDATE idempotency_claims SET created_at = now() - interval '7 days'`)
	later := aPlan()
	for _, want := range []bool{false, true} {
		got, repeated, err := s.Once(t.Context(), org, body, recording(later))
		if err != nil || repeated != want || got.PlanID != later.ID {
			t.Errorf("after 7 days: got %v, repeated %v, error %v, want %v, repeated %v", got.PlanID, repeated, err, later.ID, want)
		}
	}
	wantRows(t, url, "plans", 2)
	wantRows(t, url, "idempotency_claims", 1)
}

func TestOrganisationsKeysAreTheirOwn(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	ours, theirs := aPlan(), aPlan()
	us, them := anOrg(t, s), anOrg(t, s)
	for org, p := range map[service.OrgID]service.PlanRecord{us: ours, them: theirs} {
		got, repeated, err := s.Once(t.Context(), org, aClaim("k"), recording(p))
		if err != nil || repeated || got.PlanID != p.ID {
			t.Errorf("key k: got %v, repeated %v, error %v, want %v of its own", got.PlanID, repeated, err, p.ID)
		}
	}
	for name, id := range map[string]uuid.UUID{"foreign": theirs.ID, "unknown": uuid.New()} {
		if _, err := s.Plan(t.Context(), us, id); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("%s id: got %v, want %v", name, err, service.ErrNotFound)
		}
	}
}

func TestWorkInFlight(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	us, them := anOrg(t, s), anOrg(t, s)
	_, _, err := s.Once(t.Context(), us, aClaim("k"), func(ctx context.Context, r service.Recorder) (service.Answer, error) {
		if _, _, err := s.Once(ctx, us, aClaim("k"), recording(aPlan())); !errors.Is(err, service.ErrInFlight) {
			t.Errorf("same key meanwhile: got %v, want %v", err, service.ErrInFlight)
		}
		if _, _, err := s.Once(ctx, us, aClaim("l"), recording(aPlan())); err != nil {
			t.Errorf("another key meanwhile: %v", err)
		}
		if _, _, err := s.Once(ctx, them, aClaim("k"), recording(aPlan())); err != nil {
			t.Errorf("another organisation's same key meanwhile: %v", err)
		}
		return recording(aPlan())(ctx, r)
	})
	if err != nil {
		t.Error(err)
	}
}

func TestFailedWorkLeavesNothing(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	for name, test := range map[string]struct {
		after func(t *testing.T, url string, cancel func()) error // what happens once the plan is recorded
		want  error
	}{
		"work returns an error": {func(*testing.T, string, func()) error { return broken }, broken},
		"caller goes":           {func(_ *testing.T, _ string, cancel func()) error { cancel(); return nil }, context.Canceled},
		"backend is killed":     {func(t *testing.T, url string, _ func()) error { breakSessions(t, url); return nil }, service.ErrUnavailable},
		"work panics":           {func(*testing.T, string, func()) error { panic(broken) }, broken},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			url := storetest.URL(t)
			s := storetest.Open(t, url)
			org, plan := anOrg(t, s), aPlan()
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			_, _, err := once(ctx, s, org, func(ctx context.Context, r service.Recorder) (service.Answer, error) {
				answer, err := recording(plan)(ctx, r)
				return answer, errors.Join(err, test.after(t, url, cancel))
			})
			if !errors.Is(err, test.want) {
				t.Errorf("got %v, want %v", err, test.want)
			}
			wantRows(t, url, "plans", 0)
			wantRows(t, url, "idempotency_claims", 0)
			if _, repeated, err := patiently(t, s, org, recording(plan)); err != nil || repeated {
				t.Errorf("the same again: got repeated %v, error %v, want that it is done now", repeated, err)
			}
			wantRows(t, url, "plans", 1)
		})
	}
}

// once turns a panic of the work into its error.
func once(ctx context.Context, h service.History, org service.OrgID, work func(context.Context, service.Recorder) (service.Answer, error)) (a service.Answer, repeated bool, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = p.(error)
		}
	}()
	return h.Once(ctx, org, aClaim("k"), work)
}

func TestRecordsThatAreRefused(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	for _, test := range []struct {
		want   string
		change func(*service.PlanRecord)
	}{
		{"finer than a microsecond", func(p *service.PlanRecord) { p.CreatedAt = noon.Add(time.Nanosecond) }},
		{"plans_peak_range", func(p *service.PlanRecord) { p.PeakN.Low = p.PeakN.High + 1 }},
		{"plans_peak_range", func(p *service.PlanRecord) { p.PeakN.High = math.NaN() }},
		{"plans_peak_range", func(p *service.PlanRecord) { p.PeakN.High = math.Inf(1) }},
		{"plans_pay_out_range", func(p *service.PlanRecord) { p.PayOutM = -1 }},
		{"plans_intent_known", func(p *service.PlanRecord) { p.Intent = "fishing" }},
		{"plans_engine_length", func(p *service.PlanRecord) { p.Engine = "" }},
		{"plans_input_sha256_form", func(p *service.PlanRecord) { p.InputSHA256 = strings.Repeat("AB", 32) }},
		{"plans_vessel_name_length", func(p *service.PlanRecord) { p.VesselName = strings.Repeat("å", 201) }},
		{"invalid input syntax for type json", func(p *service.PlanRecord) { p.Working = []byte("[1") }},
	} {
		p := aPlan()
		test.change(&p)
		if _, _, err := s.Once(t.Context(), org, aClaim(p.ID.String()), recording(p)); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("got %v, want %s", err, test.want)
		}
	}
	wantRows(t, url, "plans", 0)
}

func TestPlansAreAppendOnly(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, plan := anOrg(t, s), aPlan()
	keep(t, s, org, plan)
	for _, sql := range []string{
		`UPDATE plans SET pay_out_m = 1`,
		`UPDATE plans SET pay_out_m = 1 WHERE false`,
		`DELETE FROM plans`,
		`TRUNCATE plans CASCADE`,
		`TRUNCATE organisations CASCADE`,
		`INSERT INTO plans OVERRIDING SYSTEM VALUE SELECT * FROM plans ON CONFLICT (org_id, id) DO UPDATE SET pay_out_m = 1`,
	} {
		if _, err := tryAsk(t, url, sql); err == nil || !strings.Contains(err.Error(), "plans is append-only") {
			t.Errorf("%s: got %v, want that it is refused", sql, err)
		}
	}
	if got, err := s.Plan(t.Context(), org, plan.ID); err != nil || !reflect.DeepEqual(got, plan) {
		t.Errorf("plan afterwards: got %+v, error %v, want %+v", got, err, plan)
	}
}

// Each claim that is kept sweeps a few that have run out, of its own organisation.
func TestClaimsThatHaveRunOutAreSwept(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	const insert = `INSERT INTO idempotency_claims (org_id, key, route, request_sha256, answer, created_at)
		SELECT $1, concat($2::text, n), 'POST /', repeat('0', 64), 'x', now() - $3::interval FROM generate_series(1, 25) n`
	ask(t, url, insert, org, "old-", "7 days 1 second")
	ask(t, url, insert, org, "young-", "6 days 23 hours")
	ask(t, url, insert, other, "old-", "8 days")
	left := func(org service.OrgID, key string) string {
		return ask(t, url, `SELECT count(*) FROM idempotency_claims WHERE org_id = $1 AND key LIKE $2`, org, key)[0]
	}
	for _, want := range []string{"15", "5", "0", "0"} {
		keep(t, s, org, aPlan())
		if got := left(org, "old-%"); got != want {
			t.Errorf("claims that have run out: %s left, want %s", got, want)
		}
	}
	if young, theirs := left(org, "young-%"), left(other, "old-%"); young != "25" || theirs != "25" {
		t.Errorf("young %s, another's %s; want 25 and 25", young, theirs)
	}
}
