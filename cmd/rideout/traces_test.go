package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	wire "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"
)

// collected is a collector of OTLP over HTTP.
type collected struct {
	mu    sync.Mutex
	raw   bytes.Buffer
	spans []*wire.Span
}

func (c *collected) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	var sent collector.ExportTraceServiceRequest
	if err != nil || r.URL.Path != "/v1/traces" || proto.Unmarshal(body, &sent) != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.raw.Write(body)
	for _, of := range sent.ResourceSpans {
		for _, scope := range of.ScopeSpans {
			c.spans = append(c.spans, scope.Spans...)
		}
	}
	w.Header().Set("Content-Type", "application/x-protobuf")
}

// within gives the first span of a name in the trace and, unless it is nil, under the parent.
func (c *collected) within(t *testing.T, trace, parent []byte, name string) *wire.Span {
	t.Helper()
	for _, s := range c.spans {
		if s.Name == name && bytes.Equal(s.TraceId, trace) && (parent == nil || bytes.Equal(s.ParentSpanId, parent)) {
			return s
		}
	}
	t.Fatalf("no span %q in trace %x under %x; there are %v", name, trace, parent, c.names())
	return nil
}

func (c *collected) names() (names []string) {
	for _, s := range c.spans {
		names = append(names, s.Name)
	}
	return names
}

// The whole way of a plan: the caller's trace is taken up, goes through use case, steps and statements, is linked from the
// job that sends the webhook, and handed on to its receiver; and nothing in it is anybody's.
func TestServedRequestIsTraced(t *testing.T) {
	t.Parallel()
	const trace, parent = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7" // of the examples in W3C Trace Context
	dir := dataDir(t)
	key := strings.TrimSpace(runWith(t, nil, "key", "--organisation", "Vestvik", "--data-dir", dir).stdout)
	spans := &collected{}
	collecting := httptest.NewServer(spans)
	defer collecting.Close()
	arrived := make(chan string, 100)
	receiver := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { arrived <- r.Header.Get("Traceparent") }))
	defer receiver.Close()

	ctx, stop := context.WithCancel(t.Context())
	served, stderr := make(chan int, 1), &lines{seen: make(chan string, 1000)}
	environment := map[string]string{"RIDEOUT_WEBHOOK_NETWORKS": "127.0.0.0/8", "OTEL_EXPORTER_OTLP_ENDPOINT": collecting.URL, "RIDEOUT_BUDGET": "1m"}
	go func() {
		served <- run(ctx, program{func(name string) string { return environment[name] }, io.Discard, stderr}, []string{"serve", "--addr", "127.0.0.1:0", "--data-dir", dir})
	}()
	url := stderr.await(t, "url=")
	status, webhook := post(t, url+"/v1/webhooks", key, `{"url": "`+receiver.URL+`"}`)
	if status != http.StatusCreated {
		t.Fatalf("make a webhook: %d %s", status, webhook)
	}
	first := <-arrived
	body, err := os.ReadFile("../../testdata/golden/requests/kestrel.json")
	if err != nil {
		t.Fatal(err)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url+"/v1/plans?", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for name, value := range map[string]string{
		"Authorization": "Bearer " + key, "Content-Type": "application/json", "Idempotency-Key": "anna-said-so", "X-Request-Id": "annas-request",
		"Traceparent": "00-" + trace + "-" + parent + "-01", "Tracestate": "who=anna", "Baggage": "who=anna", "User-Agent": "annas-browser",
	} {
		request.Header.Set(name, value)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	plan, _ := io.ReadAll(answer.Body)
	answer.Body.Close()
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("make a plan: %d %s", answer.StatusCode, plan)
	}
	if rest := stderr.await(t, "trace_id="+trace[:8]); rest != trace[8:] {
		t.Errorf("the log names trace %s%s, want %s", trace[:8], rest, trace)
	}
	second := <-arrived
	get(t, url+"/v1/plans?vessel_name=anna", key)
	get(t, url+"/anna", key)
	get(t, url+"/readyz", "")
	stop()
	if code := <-served; code != exitOK {
		t.Errorf("it ended with code %d", code)
	}

	spans.mu.Lock()
	defer spans.mu.Unlock()
	traceID, _ := hex.DecodeString(trace)
	caller, _ := hex.DecodeString(parent)
	asked := spans.within(t, traceID, caller, "POST /v1/plans")
	if text := asked.String(); !strings.Contains(text, `"http.route"`) || !strings.Contains(text, "int_value:201") {
		t.Errorf("the request's span lacks route or status: %s", text)
	}
	useCase := spans.within(t, traceID, asked.SpanId, "CreatePlan")
	compute := spans.within(t, traceID, useCase.SpanId, "compute")
	for _, step := range []string{"screen", "integrate", "pay out"} {
		if s := spans.within(t, traceID, compute.SpanId, step); s.EndTimeUnixNano < s.StartTimeUnixNano {
			t.Errorf("%s ends before it begins", step)
		}
	}
	if !slices.ContainsFunc(spans.spans, func(s *wire.Span) bool { // statements may go out together
		return bytes.Equal(s.ParentSpanId, useCase.SpanId) && slices.Contains(strings.Split(s.Name, "; "), "INSERT plans")
	}) {
		t.Errorf("no statement of the use case keeps the plan: %v", spans.names())
	}
	requests, jobs, delivered := map[string]bool{}, 0, map[string]bool{}
	for _, s := range spans.spans {
		switch {
		case s.Kind == wire.Span_SPAN_KIND_SERVER:
			requests[string(s.SpanId)] = true
		case s.Name == "deliver":
			delivered["00-"+hex.EncodeToString(s.TraceId)+"-"+hex.EncodeToString(s.SpanId)+"-01"] = true
		}
	}
	for _, s := range spans.spans {
		if s.Name != "job deliver_webhook" {
			continue
		}
		if jobs++; len(s.Links) != 1 || !requests[string(s.Links[0].SpanId)] || len(s.ParentSpanId) > 0 {
			t.Errorf("a job is to have a link to the request that noted it and no parent: %v", s)
		}
	}
	if jobs == 0 || !delivered[first] || !delivered[second] {
		t.Errorf("%d jobs; receivers were handed %s and %s, want of %v", jobs, first, second, delivered)
	}
	if slices.Contains(spans.names(), "GET /readyz") || !slices.Contains(spans.names(), "none none") {
		t.Errorf("got %v, want no probes, and what is not served without its name", spans.names())
	}
	_, secret, _ := strings.Cut(key, "_")
	for _, whose := range []string{secret, "anna", "Kestrel", "Vestvik", answer.Header.Get("Location")[len("/v1/plans/"):], receiver.URL, "whsec"} {
		if bytes.Contains(bytes.ToLower(spans.raw.Bytes()), []byte(strings.ToLower(whose))) {
			t.Errorf("the spans hold %q", whose)
		}
	}
}

// A collector that hangs or is away costs nobody anything but traces.
func TestCollectorThatHangsHoldsNothingUp(t *testing.T) {
	t.Parallel()
	hangs := make(chan struct{})
	collecting := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-hangs }))
	defer collecting.Close()
	defer close(hangs)
	ctx, stop := context.WithCancel(t.Context())
	served, stderr := make(chan int, 1), &lines{seen: make(chan string, 1000)}
	environment := map[string]string{"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": collecting.URL}
	go func() {
		served <- run(ctx, program{func(name string) string { return environment[name] }, io.Discard, stderr}, []string{"serve", "--addr", "127.0.0.1:0", "--data-dir", dataDir(t)})
	}()
	url := stderr.await(t, "url=")
	for range 50 {
		if status, _ := get(t, url+"/openapi.json", ""); status != http.StatusOK {
			t.Fatalf("got %d", status)
		}
	}
	stop()
	select {
	case code := <-served:
		if code != exitOK {
			t.Errorf("it ended with code %d", code)
		}
	case <-time.After(time.Minute):
		t.Error("it does not end")
	}
}
