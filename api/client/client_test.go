package client_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"rideout/api/client"
	"rideout/openapi"
)

// script answers requests in turn, and keeps what it was asked.
type script struct {
	answers []func() (*http.Response, error)
	asked   []*http.Request
	bodies  []string
}

func (s *script) RoundTrip(r *http.Request) (*http.Response, error) {
	body := ""
	if r.Body != nil {
		b, err := io.ReadAll(r.Body)
		if err != nil {
			return nil, err
		}
		body = string(b)
	}
	s.asked, s.bodies = append(s.asked, r), append(s.bodies, body)
	if len(s.asked) > len(s.answers) {
		return nil, fmt.Errorf("request %d is one too many", len(s.asked))
	}
	return s.answers[len(s.asked)-1]()
}

func answer(status int, kind, body string, header ...string) func() (*http.Response, error) {
	return func() (*http.Response, error) {
		a := &http.Response{StatusCode: status, Header: http.Header{"Content-Type": {kind}}, Body: io.NopCloser(strings.NewReader(body))}
		for i := 0; i+1 < len(header); i += 2 {
			a.Header.Set(header[i], header[i+1])
		}
		return a, nil
	}
}

func problem(status int, code string, header ...string) func() (*http.Response, error) {
	return answer(status, "application/problem+json", fmt.Sprintf(`{"type":"/docs#problem-%[2]s","title":"T","status":%[1]d,"detail":"what happened","code":%[2]q,"request_id":"r-1"}`, status, code), header...)
}

var reset = &net.OpError{Op: "read", Net: "tcp", Err: os.NewSyscallError("read", syscall.ECONNRESET)}

func lost() (*http.Response, error) { return nil, reset }

// broken begins a body and then the line breaks.
func broken() (*http.Response, error) {
	return &http.Response{StatusCode: 201, Header: http.Header{}, Body: io.NopCloser(io.MultiReader(strings.NewReader(`{"id":`), failing{reset}))}, nil
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

func made(t *testing.T, s *script, change ...func(*client.Config)) *client.Client {
	t.Helper()
	cfg := client.Config{Server: "http://ship.example", Key: "ro_key", Transport: s}
	for _, c := range change {
		c(&cfg)
	}
	c, err := client.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestOneKeyForAllRepeats(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := &script{answers: []func() (*http.Response, error){
			problem(503, "busy", "Retry-After", "7"), lost, broken, problem(409, "in_flight", "Retry-After", "1"), problem(503, "outcome_unknown", "Retry-After", "1"),
			answer(201, "application/json", `{"id":"x"}`),
		}}
		var causes []error
		c := made(t, s, func(cfg *client.Config) {
			cfg.Repeating = func(cause error, _ time.Duration) { causes = append(causes, cause) }
		})
		began := time.Now() // of the bubble: nothing is really waited for
		body, err := client.Bytes(c.CreatePlanWithBody(t.Context(), &openapi.CreatePlanParams{}, "application/json", strings.NewReader(`{"vessel":{}}`)))
		if err != nil || string(body) != `{"id":"x"}` {
			t.Fatalf("got %s, %v", body, err)
		}
		if waited := time.Since(began); waited < 9*time.Second {
			t.Errorf("waited %v, want at least the 7 s, 1 s and 1 s asked for", waited)
		}
		if len(causes) != 5 {
			t.Errorf("told of %d repeats, want 5: %v", len(causes), causes)
		}
		first := s.asked[0].Header.Get("Idempotency-Key")
		for i, r := range s.asked {
			if r.Header.Get("Idempotency-Key") != first || len(first) != 36 {
				t.Errorf("try %d: Idempotency-Key %q, the first was %q", i, r.Header.Get("Idempotency-Key"), first)
			}
			if r.Header.Get("Authorization") != "Bearer ro_key" || s.bodies[i] != `{"vessel":{}}` {
				t.Errorf("try %d: Authorization %q, body %q", i, r.Header.Get("Authorization"), s.bodies[i])
			}
		}
	})
}

func TestAKeyGivenIsKept(t *testing.T) {
	t.Parallel()
	s := &script{answers: []func() (*http.Response, error){answer(201, "application/json", `{}`)}}
	if _, err := client.Bytes(made(t, s).CreatePlanWithBody(t.Context(), &openapi.CreatePlanParams{IdempotencyKey: "mine"}, "application/json", strings.NewReader(`{}`))); err != nil {
		t.Fatal(err)
	}
	if got := s.asked[0].Header.Get("Idempotency-Key"); got != "mine" {
		t.Errorf("got %q, want mine", got)
	}
}

// What is repeated, and what is not: a change whose outcome nobody knows is not made twice.
func TestWhatIsRepeated(t *testing.T) {
	t.Parallel()
	get := func(ctx context.Context, c *client.Client) (*http.Response, error) {
		return c.GetPlan(ctx, openapi.PlanID{1})
	}
	patch := func(ctx context.Context, c *client.Client) (*http.Response, error) {
		tag := `"a"`
		return c.ChangeVesselWithBody(ctx, openapi.EntityID{1}, &openapi.ChangeVesselParams{IfMatch: &tag}, "application/merge-patch+json", strings.NewReader("{}"))
	}
	calculate := func(ctx context.Context, c *client.Client) (*http.Response, error) {
		return c.CalculateWithBody(ctx, "application/json", strings.NewReader("{}"))
	}
	for name, c := range map[string]struct {
		ask   func(context.Context, *client.Client) (*http.Response, error)
		first func() (*http.Response, error)
		tries int
	}{
		"read, line lost":             {get, lost, 2},
		"read, busy":                  {get, problem(503, "busy"), 2},
		"read, too many":              {get, problem(429, "too_many_streams", "Retry-After", "15"), 2},
		"read, proxy":                 {get, answer(502, "text/html", "<h1>bad gateway</h1>"), 2},
		"read, not found":             {get, problem(404, "not_found"), 1},
		"read, fault":                 {get, problem(500, "internal"), 1},
		"read, asked to wait an hour": {get, problem(503, "unavailable", "Retry-After", "3600"), 1},
		"read, name unknown":          {get, func() (*http.Response, error) { return nil, &net.DNSError{IsNotFound: true} }, 1},
		"change, busy":                {patch, problem(503, "busy"), 2},
		"change, line lost":           {patch, lost, 1},
		"change, outcome unknown":     {patch, problem(503, "outcome_unknown"), 1},
		"change, stale":               {patch, problem(412, "precondition_failed"), 1},
		"calculation, line lost":      {calculate, lost, 2},
		"calculation, too slow":       {calculate, problem(503, "too_slow"), 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				s := &script{answers: []func() (*http.Response, error){c.first, answer(200, "application/json", `{}`)}}
				_, err := client.Bytes(c.ask(t.Context(), made(t, s)))
				if len(s.asked) != c.tries || (err == nil) != (c.tries == 2) {
					t.Errorf("tried %d times, want %d: %v", len(s.asked), c.tries, err)
				}
			})
		})
	}
}

func TestItGivesUp(t *testing.T) {
	t.Parallel()
	for _, attempts := range []int{4, 70} { // of the 70th the doubled wait would be beyond any clock
		synctest.Test(t, func(t *testing.T) {
			s := &script{answers: slices.Repeat([]func() (*http.Response, error){lost}, attempts+6)}
			longest := time.Duration(0)
			_, err := client.Bytes(made(t, s, func(c *client.Config) {
				c.Attempts, c.Repeating = attempts, func(_ error, wait time.Duration) { longest = max(longest, wait) }
			}).GetPlan(t.Context(), openapi.PlanID{}))
			if !errors.Is(err, syscall.ECONNRESET) || len(s.asked) != attempts || longest > 31*time.Second {
				t.Errorf("after %d tries, waiting %v at most: %v", len(s.asked), longest, err)
			}
		})
	}
}

// A line on which nothing comes is given up, and the request repeated.
func TestASilentLineIsGivenUp(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := &script{}
		silent := func() (*http.Response, error) {
			at := s.asked[len(s.asked)-1]
			return &http.Response{StatusCode: 200, Header: http.Header{}, Body: io.NopCloser(waiting{at.Context()})}, nil
		}
		s.answers = []func() (*http.Response, error){silent, answer(200, "application/json", `{}`)}
		var cause error
		c := made(t, s, func(cfg *client.Config) { cfg.Repeating = func(err error, _ time.Duration) { cause = err } })
		if _, err := client.Bytes(c.GetPlan(t.Context(), openapi.PlanID{})); err != nil || cause == nil || !strings.Contains(cause.Error(), "nothing came") {
			t.Errorf("got %v, cause %v", err, cause)
		}
	})
}

// waiting reads nothing until its request is ended.
type waiting struct{ ctx context.Context }

func (w waiting) Read([]byte) (int, error) {
	<-w.ctx.Done()
	return 0, w.ctx.Err()
}

// An audit is read while it comes, in either form; when its line falls silent the reader is told that, and it is not begun anew
// behind his back.
func TestAnAuditIsReadAsItComes(t *testing.T) {
	t.Parallel()
	for _, kind := range []string{"application/x-ndjson", "text/csv; charset=utf-8; header=present"} {
		synctest.Test(t, func(t *testing.T) {
			s := &script{}
			s.answers = []func() (*http.Response, error){func() (*http.Response, error) {
				body := io.MultiReader(strings.NewReader("1\n"), waiting{s.asked[0].Context()})
				return &http.Response{StatusCode: 200, Header: http.Header{"Content-Type": {kind}}, Body: io.NopCloser(body)}, nil
			}}
			answer, err := made(t, s).ExportAudit(t.Context(), &openapi.ExportAuditParams{})
			if err != nil {
				t.Fatal(err)
			}
			defer answer.Body.Close()
			text, err := io.ReadAll(answer.Body)
			if string(text) != "1\n" || err == nil || !strings.Contains(err.Error(), "nothing came") {
				t.Errorf("%s: read %q, %v", kind, text, err)
			}
		})
	}
}

func TestProblemsAreErrors(t *testing.T) {
	t.Parallel()
	body := `{"type":"/docs#problem-invalid","title":"The request is wrong","status":400,"detail":"2 things are wrong","code":"invalid","request_id":"r-9",
		"errors":[{"pointer":"/vessel/loa_m","message":"is -1","fix":"send a number from 2 to 100"},{"parameter":"limit","message":"is 0","fix":"send 1 to 200"}]}`
	s := &script{answers: []func() (*http.Response, error){answer(400, "application/problem+json; charset=utf-8", body), answer(404, "text/html", "<p>no such page")}}
	c := made(t, s)
	_, err := client.Read[openapi.Plan](c.GetPlan(t.Context(), openapi.PlanID{}))
	var e *client.Error
	if !errors.As(err, &e) || e.Code != openapi.ProblemCode("invalid") || len(e.Errors) != 2 || e.RequestId != "r-9" || !e.Refused() {
		t.Fatalf("got %#v", err)
	}
	for _, want := range []string{"2 things are wrong", "/vessel/loa_m: is -1; send a number from 2 to 100", "parameter limit: is 0; send 1 to 200"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q lacks %q", err, want)
		}
	}
	if _, err = client.Bytes(c.GetPlan(t.Context(), openapi.PlanID{})); !errors.As(err, &e) || e.Code != "" || e.Status != 404 || !strings.Contains(err.Error(), "not the service") {
		t.Errorf("a page that is no problem: %v", err)
	}
}

func TestItemsOfAllPages(t *testing.T) {
	t.Parallel()
	s := &script{answers: []func() (*http.Response, error){
		answer(200, "application/json", `{"items":[{"id":1},{"id":2}],"next":"c2"}`),
		answer(200, "application/json", `{"items":[],"next":"c3"}`),
		answer(200, "application/json", `{"items":[{"id":3}],"next":null}`),
	}}
	c := made(t, s)
	var got []string
	for item, err := range client.Items(func(cursor *string) (*http.Response, error) {
		return c.ListVessels(t.Context(), &openapi.ListVesselsParams{Cursor: cursor})
	}) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, string(item))
	}
	if want := []string{`{"id":1}`, `{"id":2}`, `{"id":3}`}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if q := s.asked[2].URL.RawQuery; q != "cursor=c3" {
		t.Errorf("the last page was asked by %q", q)
	}
}

func event(n int) string {
	return fmt.Sprintf("id: %d\ndata: {\"specversion\":\"1.0\",\"id\":\"o-%[1]d\",\"source\":\"urn:uuid:01945d2c-7c00-7000-8000-0000000000aa\",\"type\":\"rideout.vessel.changed\",\"subject\":\"vessel/x\",\"time\":\"2026-01-12T12:00:00Z\",\"datacontenttype\":\"application/json\",\"sequence\":%[1]d,\"data\":{\"sequence\":%[1]d,\"kind\":\"vessel\",\"entity_id\":\"01945d2c-7c00-7000-8000-000000000002\",\"version\":2,\"links\":{}}}\n\n", n)
}

// A stream that ends, even within a message, goes on after the last whole one.
func TestFollowTakesUpWhereItWas(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		cut := event(8)
		s := &script{answers: []func() (*http.Response, error){
			answer(200, "text/event-stream", "retry: 3000\nid: 6\n\n: \n\n"+event(7)+cut[:len(cut)-9]),
			answer(200, "text/event-stream", event(8)+"event: resync\nid: 20\ndata: {\"resync_after\":20}\n\n"),
			lost,
			answer(200, "text/event-stream", event(21)),
			problem(401, "unauthenticated"),
		}}
		var got []string
		var end error
		for m, err := range client.Follow(t.Context(), made(t, s), nil) {
			if err != nil {
				end = err
				break
			}
			if m.Resync {
				got = append(got, "resync")
			} else {
				got = append(got, fmt.Sprint(m.Event.Sequence))
			}
		}
		if want := []string{"7", "8", "resync", "21"}; !slices.Equal(got, want) {
			t.Errorf("got %v, want %v", got, want)
		}
		var lasts []string
		for _, r := range s.asked {
			lasts = append(lasts, r.Header.Get("Last-Event-ID"))
		}
		if want := []string{"", "7", "20", "20", "21"}; !slices.Equal(lasts, want) {
			t.Errorf("Last-Event-ID %v, want %v", lasts, want)
		}
		var e *client.Error
		if !errors.As(end, &e) || e.Status != 401 {
			t.Errorf("it ended with %v, want the refusal", end)
		}
	})
}

func TestReadKey(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for name, c := range map[string]struct{ file, variable, want string }{
		"of the environment":  {"", " ro_env\n", "ro_env"},
		"the file goes first": {file("good", "ro_file\n"), "ro_env", "ro_file"},
		"none":                {"", "", ""},
		"empty file":          {file("empty", "\n"), "ro_env", ""},
		"more than a key":     {file("more", "ro_file and more"), "ro_env", ""},
		"no file":             {filepath.Join(dir, "absent"), "ro_env", ""},
	} {
		got, err := client.ReadKey(c.file, func(string) string { return c.variable })
		if got != c.want || (err == nil) != (c.want != "") {
			t.Errorf("%s: got %q, %v", name, got, err)
		}
	}
}

func TestAWrongConfigIsTold(t *testing.T) {
	t.Parallel()
	for _, cfg := range []client.Config{{}, {Server: "ship.example:80"}, {Server: "ftp://ship.example"}, {Server: "http://ship.example", Key: "ro_a\nb"}} {
		if _, err := client.New(cfg); err == nil {
			t.Errorf("%+v is taken", cfg)
		} else if cfg.Key != "" && bytes.Contains([]byte(err.Error()), []byte(cfg.Key)) {
			t.Error("the error tells the key")
		}
	}
}

// A redirect is not followed: it would carry the key elsewhere.
func TestNoRedirectIsFollowed(t *testing.T) {
	t.Parallel()
	s := &script{answers: []func() (*http.Response, error){answer(302, "text/html", "", "Location", "http://elsewhere.example/"), answer(200, "application/json", "{}")}}
	_, err := client.Bytes(made(t, s).GetPlan(t.Context(), openapi.PlanID{}))
	if err == nil || len(s.asked) != 1 {
		t.Errorf("after %d requests: %v", len(s.asked), err)
	}
}
