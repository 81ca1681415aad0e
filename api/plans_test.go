package api_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

func TestGoldenAnswers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, c := range []struct {
		name, method, target, body string
		headers                    []string
		status                     int
	}{
		{name: "calculations/ok", method: http.MethodPost, target: "/v1/calculations", body: exampleBody(t), status: 200},
		{name: "calculations/invalid", method: http.MethodPost, target: "/v1/calculations", body: strings.Replace(exampleBody(t), `"loa_m": 12.2`, `"loa_m": 0, "lao_m": 12`, 1), status: 400},
		{name: "calculations/not_json", method: http.MethodPost, target: "/v1/calculations", body: `{"intent": NaN}`, status: 400},
		{name: "plans/created", method: http.MethodPost, target: "/v1/plans", body: exampleBody(t), headers: []string{"Idempotency-Key", "a"}, status: 201},
		{name: "plans/no_idempotency_key", method: http.MethodPost, target: "/v1/plans", body: exampleBody(t), status: 400},
		{name: "plans/list", method: http.MethodGet, target: "/v1/plans", status: 200},
		{name: "plans/list_unknown_parameter", method: http.MethodGet, target: "/v1/plans?colour=red&limit=0", status: 400},
		{name: "plan/ok", method: http.MethodGet, target: "/v1/plans/00000000-0000-7000-8000-000000000001", status: 200},
		{name: "plan/working", method: http.MethodGet, target: "/v1/plans/00000000-0000-7000-8000-000000000001/working", status: 200},
		{name: "plan/not_found", method: http.MethodGet, target: "/v1/plans/00000000-0000-7000-8000-000000000099", status: 404},
		{name: "plan/unauthenticated", method: http.MethodGet, target: "/v1/plans/00000000-0000-7000-8000-000000000001", headers: []string{"Authorization", ""}, status: 401},
		{name: "livez/ok", method: http.MethodGet, target: "/livez", status: 200},
		{name: "readyz/ok", method: http.MethodGet, target: "/readyz", status: 200},
	} {
		answer := w.do(c.method, c.target, c.body, c.headers...)
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
		golden(t, c.name, answer)
	}
}

func TestKeptPlanReadsBackByteForByte(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	created := w.do(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "a")
	at := created.Header.Get("Location")
	if at != "/v1/plans/00000000-0000-7000-8000-000000000001" {
		t.Fatalf("Location %q, want the plan's address", at)
	}
	if got, want := text(t, w.do(http.MethodGet, at, "")), text(t, created); got != want {
		t.Errorf("read back\n%s\nwant\n%s", got, want)
	}
	if got := w.do(http.MethodGet, at, "", "Authorization", "Bearer "+w.other).StatusCode; got != http.StatusNotFound {
		t.Errorf("another organisation gets %d, want 404", got)
	}
	for _, id := range []string{"1", "00000000-0000-7000-8000-00000000000g", "{00000000-0000-7000-8000-000000000001}", "00000000000070008000000000000001", "%00"} {
		if got := w.do(http.MethodGet, "/v1/plans/"+id, "").StatusCode; got != http.StatusNotFound {
			t.Errorf("id %q gets %d, want 404", id, got)
		}
	}
	if got := w.do(http.MethodGet, at+"?pretty=1", "").StatusCode; got != http.StatusBadRequest {
		t.Errorf("an unknown parameter gets %d, want 400", got)
	}
}

func TestCalculationKeepsNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := w.do(http.MethodPost, "/v1/calculations", exampleBody(t))
	var plan openapi.Plan
	if err := json.Unmarshal([]byte(text(t, answer)), &plan); err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusOK || plan.Id != nil || plan.CreatedAt != nil || plan.VesselName != "Kestrel of Hamna" {
		t.Errorf("status %d, id %v, vessel %q; want 200, none, the vessel", answer.StatusCode, plan.Id, plan.VesselName)
	}
	if n := w.history.Stored(); n != 0 {
		t.Errorf("%d plans were stored, want none", n)
	}
}

func TestIdempotencyKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	post := func(key, body string) *http.Response {
		return w.do(http.MethodPost, "/v1/plans", body, "Idempotency-Key", key)
	}
	first := post("a", exampleBody(t))
	if first.StatusCode != http.StatusCreated || first.Header.Get("Idempotency-Replayed") != "" {
		t.Fatalf("first: status %d, replayed %q, want 201 and none", first.StatusCode, first.Header.Get("Idempotency-Replayed"))
	}
	w.pass(time.Hour)
	again := post("a", exampleBody(t))
	if again.StatusCode != http.StatusCreated || again.Header.Get("Idempotency-Replayed") != "true" || text(t, again) != text(t, first) || again.Header.Get("Location") != first.Header.Get("Location") {
		t.Errorf("repeat: status %d, replayed %q, same body %v; want 201, true, the same", again.StatusCode, again.Header.Get("Idempotency-Replayed"), text(t, again) == text(t, first))
	}
	if other := post("a", exampleBody(t)+" "); other.StatusCode != http.StatusUnprocessableEntity || problem(t, other).Code != "key_reused" {
		t.Errorf("another body: status %d, want 422 key_reused", other.StatusCode)
	}
	if n := w.history.Stored(); n != 1 {
		t.Errorf("%d plans stored, want 1", n)
	}
	for _, key := range []string{"", strings.Repeat("k", 256), "two words", "naïve", "tab\tbed"} {
		answer := post(key, exampleBody(t))
		if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || len(p.Errors) != 1 || *p.Errors[0].Header != "Idempotency-Key" {
			t.Errorf("key %q: %d %s, want 400 naming the header", key, answer.StatusCode, text(t, answer))
		}
	}
	if long := post(strings.Repeat("k", 255), exampleBody(t)); long.StatusCode != http.StatusCreated {
		t.Errorf("a key of 255 characters: status %d, want 201", long.StatusCode)
	}
}

func TestRepeatInFlightIsToldToWait(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	begun, finish := make(chan struct{}), make(chan struct{})
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		close(begun)
		<-finish
		return samplePlan(ctx, r)
	}
	first := make(chan int)
	go func() {
		recorder := httptest.NewRecorder()
		w.api.ServeHTTP(recorder, w.request(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "a"))
		first <- recorder.Code
	}()
	<-begun
	second := w.do(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "a")
	close(finish)
	if second.StatusCode != http.StatusConflict || second.Header.Get("Retry-After") == "" {
		t.Errorf("second: status %d, Retry-After %q, want 409 and some", second.StatusCode, second.Header.Get("Retry-After"))
	}
	if code := <-first; code != http.StatusCreated {
		t.Errorf("first: status %d, want 201", code)
	}
}

func TestFailuresOfTheStoreAndTheCalculation(t *testing.T) {
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
	for _, c := range []struct {
		name       string
		store      error
		compute    service.Compute
		status     int
		code       openapi.ProblemCode
		retryAfter bool
	}{
		{"unknown outcome", fmt.Errorf("commit: %w", service.ErrOutcomeUnknown), samplePlan, 503, "outcome_unknown", true},
		{"store away", service.ErrUnavailable, samplePlan, 503, "unavailable", true},
		{"store broken", errors.New("secret_table is gone"), samplePlan, 500, "internal", false},
		{"calculation broken", nil, failing(errors.New("secret matrix is singular")), 500, "internal", false},
		{"calculation too slow", nil, slow, 503, "too_slow", true},
		{"calculation panics", nil, func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			panic("secret index out of range")
		}, 500, "internal", false},
		{"case not covered", nil, failing(fmt.Errorf("seaway: %w", &quantity.RangeError{Name: "peak period", Value: 50, Min: 0.5, Max: 40, Unit: "s"})), 400, "invalid", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			w.history.Err, w.compute = c.store, c.compute
			answer := w.do(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "a")
			p := problem(t, answer)
			if answer.StatusCode != c.status || p.Code != c.code || (answer.Header.Get("Retry-After") != "") != c.retryAfter {
				t.Errorf("%d %s Retry-After %q, want %d %s, Retry-After %v", answer.StatusCode, p.Code, answer.Header.Get("Retry-After"), c.status, c.code, c.retryAfter)
			}
			if strings.Contains(text(t, answer), "secret") {
				t.Errorf("internal text reached the client: %s", text(t, answer))
			}
			if n := w.history.Stored(); n != 0 {
				t.Errorf("%d plans stored, want none", n)
			}
			if lines := strings.Count(w.log.String(), "\n"); lines != 1 {
				t.Errorf("%d log lines, want 1:\n%s", lines, w.log)
			}
			if c.code == "internal" && !strings.Contains(w.log.String(), "secret") {
				t.Errorf("the log does not tell the cause: %s", w.log)
			}
		})
	}
}

func TestCalculationStopsWhenTheClientGoes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, cancel := context.WithCancel(t.Context())
	var stopped error
	w.compute = func(ctx context.Context, _ planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		cancel()
		<-ctx.Done()
		stopped = ctx.Err()
		return planner.Plan{}, nil, ctx.Err()
	}
	recorder := httptest.NewRecorder()
	w.api.ServeHTTP(recorder, w.request(http.MethodPost, "/v1/calculations", exampleBody(t)).WithContext(ctx))
	if !errors.Is(stopped, context.Canceled) || recorder.Body.Len() > 0 || !strings.Contains(w.log.String(), `"status":499`) {
		t.Errorf("stopped by %v with %d bytes answered, log %s; want cancelled, none, 499", stopped, recorder.Body.Len(), w.log)
	}
}

func TestBusyServiceRefuses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	finish := make(chan struct{})
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		<-finish
		return samplePlan(ctx, r)
	}
	const callers = 3000 // many more than there are places
	codes := make(chan int, callers)
	for range callers {
		go func() {
			recorder := httptest.NewRecorder()
			w.api.ServeHTTP(recorder, w.request(http.MethodPost, "/v1/calculations", `{"vessel": {"name": "K", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}, "intent": "drill", "forecast": {"steps": [{"time": "2026-01-12T18:00:00Z", "wind_speed_kt": 20}]}}`))
			if recorder.Code == http.StatusServiceUnavailable && recorder.Header().Get("Retry-After") == "" {
				t.Error("busy without Retry-After")
			}
			codes <- recorder.Code
		}()
	}
	if code := <-codes; code != http.StatusServiceUnavailable {
		t.Errorf("the first answer is %d, want 503: nothing can have finished", code)
	}
	close(finish)
	count := map[int]int{http.StatusServiceUnavailable: 1}
	for range callers - 1 {
		count[<-codes]++
	}
	if count[http.StatusOK] == 0 || count[http.StatusOK]+count[http.StatusServiceUnavailable] != callers {
		t.Errorf("answers %v, want some 200 and the rest 503", count)
	}
}

func TestListPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var made []string
	for i := range 7 {
		made = append([]string{strings.TrimPrefix(w.create(fmt.Sprint(i)), "/v1/plans/")}, made...)
		if i%2 == 1 { // pairs share their time
			w.pass(time.Minute)
		}
	}
	page := func(target string) (ids []string, p openapi.PlanPage, link string) {
		answer := w.do(http.MethodGet, target, "")
		if answer.StatusCode != http.StatusOK {
			t.Fatalf("%s: status %d: %s", target, answer.StatusCode, text(t, answer))
		}
		if err := json.Unmarshal([]byte(text(t, answer)), &p); err != nil {
			t.Fatal(err)
		}
		for _, item := range p.Items {
			ids = append(ids, item.Id.String())
		}
		return ids, p, answer.Header.Get("Link")
	}
	var forward []string
	target, last := "/v1/plans?limit=3&vessel_name=Kestrel+of+Hamna", openapi.PlanPage{}
	for range 3 {
		ids, p, link := page(target)
		forward, last = append(forward, ids...), p
		if p.Next != nil {
			target = strings.TrimPrefix(strings.Split(link, ">")[0], "<")
			if !strings.Contains(link, `rel="next"`) {
				t.Errorf("Link %q has no next", link)
			}
		}
	}
	if fmt.Sprint(forward) != fmt.Sprint(made) || last.Next != nil || last.Prev == nil {
		t.Errorf("forward %v, want %v; last page next %v, prev %v", forward, made, last.Next, last.Prev)
	}
	back, _, _ := page("/v1/plans?limit=3&vessel_name=Kestrel+of+Hamna&cursor=" + *last.Prev)
	if fmt.Sprint(back) != fmt.Sprint(made[3:6]) {
		t.Errorf("backward %v, want %v", back, made[3:6])
	}
	if all, _, link := page("/v1/plans"); len(all) != 7 || link != "" {
		t.Errorf("%d plans and Link %q, want 7 and none", len(all), link)
	}
	answer := w.do(http.MethodGet, "/v1/plans?cursor="+*last.Prev, "")
	if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || *p.Errors[0].Parameter != "cursor" {
		t.Errorf("a cursor of other filters: %d %s, want 400 naming it", answer.StatusCode, text(t, answer))
	}
}

func TestListFilters(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.create("a")
	w.pass(time.Hour)
	w.create("b")
	for query, want := range map[string]int{
		"":                      2,
		"intent=ride_out_storm": 2,
		"intent=drill":          0,
		"vessel_name=Swallow":   0,
		"input_sha256=" + strings.Repeat("0", 64): 0,
		"created_from=2026-01-12T12:30:00Z":       1,
		"created_before=2026-01-12T12:30:00Z":     1,
		"created_from=" + url.QueryEscape("2026-01-12T14:00:00+01:00") + "&created_before=2026-01-12T13:00:00Z": 0,
		"limit=1":   1,
		"limit=200": 2,
	} {
		var p openapi.PlanPage
		if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/plans?"+query, ""))), &p); err != nil {
			t.Fatal(err)
		}
		if len(p.Items) != want {
			t.Errorf("%q gives %d plans, want %d", query, len(p.Items), want)
		}
	}
	if text(t, w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+w.other)) != `{"items":[],"next":null,"prev":null}` {
		t.Error("another organisation sees plans that are not its own")
	}
}

func TestBadParametersAreNamed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for query, parameters := range map[string][]string{
		"limit=0":                             {"limit"},
		"limit=201":                           {"limit"},
		"limit=ten":                           {"limit"},
		"limit=2.5":                           {"limit"},
		"limit=":                              {"limit"},
		"limit=5&limit=6":                     {"limit"},
		"intent=race":                         {"intent"},
		"vessel_name=":                        {"vessel_name"},
		"vessel_name=%00":                     {"vessel_name"},
		"vessel_name=%ff":                     {"vessel_name"},
		"input_sha256=abc":                    {"input_sha256"},
		"created_from=yesterday":              {"created_from"},
		"created_before=2026-02-30T00:00:00Z": {"created_before"},
		"cursor=":                             {"cursor"},
		"cursor=!!":                           {"cursor"},
		"cursor=MnwyMDI2":                     {"cursor"},
		"colour=red":                          {"colour"},
		"a=%zz":                               {"query"},
		"page=2&limit=0&intent=race":          {"page", "limit", "intent"},
	} {
		answer := w.do(http.MethodGet, "/v1/plans?"+query, "")
		named := map[string]bool{}
		for _, f := range problem(t, answer).Errors {
			if f.Parameter != nil {
				named[*f.Parameter] = true
			}
		}
		if answer.StatusCode != http.StatusBadRequest || len(named) != len(parameters) {
			t.Errorf("%q: %d %s, want 400 naming %v", query, answer.StatusCode, text(t, answer), parameters)
		}
		for _, want := range parameters {
			if !named[want] {
				t.Errorf("%q: %s does not name %s", query, text(t, answer), want)
			}
		}
	}
}

// A plan that the caller has already is not read: its hash alone tells. What is sent is what reading it would send.
func TestKnownPlanIsNotRead(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := w.do(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "a")
	path := answer.Header.Get("Location")
	for _, coding := range []string{"identity", "gzip"} {
		first := w.do(http.MethodGet, path, "", "Accept-Encoding", coding)
		tag := first.Header.Get("ETag")
		for fields, want := range map[string]int{
			tag: 304, "W/" + tag: 304, `"other", ` + tag: 304, "*": 304, `"other"`: 200, strings.ToUpper(tag): 200,
		} {
			for _, method := range []string{http.MethodGet, http.MethodHead} {
				again := w.do(method, path, "", "Accept-Encoding", coding, "If-None-Match", fields)
				if again.StatusCode != want || again.Header.Get("ETag") != tag {
					t.Errorf("%s %s, If-None-Match %s: %d with ETag %s, want %d with %s", method, coding, fields, again.StatusCode, again.Header.Get("ETag"), want, tag)
				}
				for _, name := range []string{"Cache-Control", "Vary"} {
					if got, want := again.Header.Values(name), first.Header.Values(name); !slices.Equal(got, want) {
						t.Errorf("%s %v, want %v", name, got, want)
					}
				}
				if body := text(t, again); want == 304 && (body != "" || again.Header.Get("Content-Length") != "" || again.Header.Get("Content-Type") != "") {
					t.Errorf("304 with %q, Content-Length %q", body, again.Header.Get("Content-Length"))
				}
			}
		}
	}
	unknown := w.do(http.MethodGet, "/v1/plans/"+uuid.NewString(), "", "If-None-Match", "*")
	if unknown.StatusCode != http.StatusNotFound {
		t.Errorf("an unknown plan: %d, want 404", unknown.StatusCode)
	}
}
