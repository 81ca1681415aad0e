package api_test

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rideout/api"
	"rideout/service/planner"
)

// counts notes what is counted.
type counts struct {
	mu   sync.Mutex
	seen []string
}

func (c *counts) count(method, route string, status int, took time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.seen = append(c.seen, fmt.Sprintf("%s %s %d", method, route, status))
	if took < 0 {
		c.seen = append(c.seen, fmt.Sprintf("took %v", took))
	}
}

// Requests are counted by what is served: what is asked for, methods too, is without end and may be somebody's name.
func TestRequestsAreCountedByRoute(t *testing.T) {
	t.Parallel()
	c := &counts{}
	w := newWorldWith(t, func(config *api.Config) { config.Count = c.count })
	plan := w.create("counted")
	for _, r := range []struct{ method, path, want string }{
		{http.MethodGet, plan, "GET /v1/plans/{id} 200"},
		{http.MethodHead, plan, "HEAD /v1/plans/{id} 200"},
		{http.MethodGet, "/v1/plans/00000000-0000-7000-8000-999999999999", "GET /v1/plans/{id} 404"},
		{http.MethodGet, plan + "/drawings/rig.svg", "GET /v1/plans/{id}/drawings/{drawing} 200"},
		{http.MethodGet, "/livez", "GET /livez 200"},
		{http.MethodGet, "/board/nothing", "GET /board/* 404"},
		{http.MethodGet, "/v1/nothing", "none none 404"},
		{http.MethodGet, "/v1/plansx/" + strings.Repeat("x", 100), "none none 404"},
		{http.MethodGet, "/metrics", "none none 404"},
	} {
		c.seen = nil
		w.do(r.method, r.path, "")
		if !slices.Equal(c.seen, []string{r.want}) {
			t.Errorf("%s %s is counted as %q, want %q", r.method, r.path, c.seen, r.want)
		}
	}
	for _, r := range []struct{ method, path string }{{"BREW", "/v1/plans"}, {"BREW", "/v1/nothing"}, {http.MethodOptions, plan}, {http.MethodDelete, "/livez"}} {
		c.seen = nil
		w.do(r.method, r.path, "")
		if len(c.seen) != 1 || strings.Contains(c.seen[0], "BREW") || strings.Contains(c.seen[0], plan) {
			t.Errorf("%s %s is counted as %q", r.method, r.path, c.seen)
		}
	}
}

// At the end of a process requests at work are answered, and meanwhile /readyz tells whoever sends requests to send no more.
func TestServeAnswersWhatIsAtWork(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	begun, finish := make(chan struct{}), make(chan struct{})
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		close(begun)
		<-finish
		return samplePlan(ctx, r)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	base := "http://" + listener.Addr().String()
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	// The wait for a balancer is one that a slow machine will see; it ends it with the requests.
	go func() { served <- api.Serve(ctx, w.api, listener, 5*time.Second, time.Minute) }()
	answered := make(chan int, 1)
	go func() {
		r := w.request(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "at-work")
		sent, err := http.NewRequestWithContext(t.Context(), r.Method, base+r.URL.Path, r.Body)
		if err != nil {
			t.Error(err)
		}
		sent.Header = r.Header
		answer, err := http.DefaultClient.Do(sent)
		if err != nil {
			t.Error(err)
			answered <- 0
			return
		}
		_, _ = io.Copy(io.Discard, answer.Body)
		_ = answer.Body.Close()
		answered <- answer.StatusCode
	}()
	<-begun
	stop()
	for ready := true; ready; { // until the end of the process has begun
		answer, err := http.Get(base + "/readyz")
		if err != nil {
			t.Fatalf("while a request is at work and balancers are to see the end: %v", err)
		}
		_ = answer.Body.Close()
		ready = answer.StatusCode == http.StatusOK
	}
	select {
	case code := <-answered:
		t.Fatalf("answered %d before it was computed", code)
	case err := <-served:
		t.Fatalf("Serve ended with %v while a request is at work", err)
	default:
	}
	close(finish)
	if code := <-answered; code != http.StatusCreated {
		t.Errorf("the request at work got %d, want 201", code)
	}
	if err := <-served; err != nil {
		t.Errorf("Serve = %v, want nil", err)
	}
}
