package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"

	"rideout/api"
	"rideout/api/limit"
	"rideout/openapi"
	"rideout/service"
	"rideout/service/ledger"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

var update = flag.Bool("update", false, "write the golden files anew")

var noon = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)

// These keys open nothing but tests. They are always the same, because their names stand in what they record.
const (
	ourKey   = "ro_91m3hrxe_1mzqgcwkpkemaqt0s5ycjzra43byf1x7ajbqd11"
	otherKey = "ro_f3psamqz_2xd52m8417x6p1zcbcy3y4g3z1gdbnngaa06np1"
)

// world is an API over a history in memory, with clock and ids that are always the same.
type world struct {
	t       testing.TB
	api     *api.API
	history *servicetest.History
	key     string
	other   string // a key of another organisation
	lender  string // a key of a third one, whose vessel is lent
	log     *lockedBuffer

	plans     *service.Plans
	keys      *service.Keys
	forecasts *service.AreaForecasts
	webhooks  *service.Webhooks

	mu      sync.Mutex
	now     time.Time
	compute service.Compute
	pingErr error
	keyErr  error
	useErr  error
	lookups int
	added   int
	holders map[string]service.OrgID // by hash; they have all scopes
}

func newWorld(t testing.TB) *world {
	t.Helper()
	return newWorldWith(t, func(*api.Config) {})
}

// newWorldWith is newWorld with some of the configuration changed.
func newWorldWith(t testing.TB, change func(*api.Config)) *world {
	t.Helper()
	key, err := service.ParseKey(ourKey)
	if err != nil {
		t.Fatal(err)
	}
	other, err := service.ParseKey(otherKey)
	if err != nil {
		t.Fatal(err)
	}
	lender := service.NewKey()
	w := &world{
		t: t, history: &servicetest.History{}, key: key.Reveal(), other: other.Reveal(), lender: lender.Reveal(), log: &lockedBuffer{}, now: noon, compute: samplePlan,
		holders: map[string]service.OrgID{string(key.Hash()): uuid.UUID{1}, string(other.Hash()): uuid.UUID{2}, string(lender.Hash()): {3}},
	}
	plans := &service.Plans{
		History: w.history, Clock: w.clock, NewID: counter("00000000-0000-7000-8000-%012d"), AtOnce: 2, // on one processor, too
		Compute: func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
			return w.compute(ctx, r)
		},
	}
	w.plans = plans
	w.forecasts = &service.AreaForecasts{History: w.history, Book: w.history, Clock: w.clock, NewID: counter("00000000-0000-7000-b000-%012d"), Plans: plans}
	registers := &service.Registers{History: w.history, Clock: w.clock, NewID: counter("00000000-0000-7000-a000-%012d"), Salt: salts()}
	events := &service.Events{Log: w.history, Clock: w.clock}
	w.webhooks = &service.Webhooks{
		History: w.history, Log: w.history, Events: events, Courier: outwards{}, Safe: boxes{}, Clock: w.clock, NewID: counter("00000000-0000-7000-d000-%012d"),
	}
	w.keys = &service.Keys{History: w.history, Clock: w.clock, NewID: counter("00000000-0000-7000-c000-%012d")}
	config := api.Config{
		Plans: plans, Registers: registers, Forecasts: w.forecasts, Events: events, Webhooks: w.webhooks,
		Emergency: &service.Emergency{Lender: w.history, History: w.history, Clock: w.clock, NewID: counter("00000000-0000-7000-8e00-%012d")},
		Beat:      20 * time.Millisecond, Keys: w.keys, Witness: &service.Witness{Log: w.history, Clock: w.clock, Signer: theSigner()}, Keyring: w, Sessions: w.history, Ping: func(context.Context) error { return w.pingErr }, Cautions: []string{"Keep feet clear of the rode."},
		Log: slog.New(slog.NewJSONHandler(w.log, nil)), Clock: w.clock, NewID: counter("00000000-0000-4000-9000-%012d"),
		Limits: &limit.Config{},
	}
	change(&config)
	made, err := api.New(config)
	if err != nil {
		t.Fatal(err)
	}
	w.api = made
	return w
}

// theSigner is always the same, so that goldens are. It signs nothing but tests.
var theSigner = sync.OnceValue(func() ledger.Signer {
	private, _, err := ledger.GenerateKey(strings.NewReader("32 bytes that are anything but a"), "rideout.example")
	if err != nil {
		panic(err)
	}
	signer, err := ledger.NewSigner(private)
	if err != nil {
		panic(err)
	}
	return signer
})

func (w *world) clock() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now
}

func (w *world) pass(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now = w.now.Add(d)
}

func counter(format string) func() uuid.UUID {
	var mu sync.Mutex
	n := 0
	return func() uuid.UUID {
		mu.Lock()
		defer mu.Unlock()
		n++
		return uuid.MustParse(fmt.Sprintf(format, n))
	}
}

// KeyByHash makes the world its own keyring. Keys that are made are in its history.
func (w *world) KeyByHash(ctx context.Context, hash []byte) (service.OrgID, service.KeyRecord, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lookups++
	if w.keyErr != nil {
		return service.OrgID{}, service.KeyRecord{}, w.keyErr
	}
	if id, ok := w.holders[string(hash)]; ok {
		return id, service.KeyRecord{ID: id, Scopes: service.AllScopes(), LastUsedAt: w.now}, nil
	}
	return w.history.KeyByHash(ctx, hash)
}

func (w *world) KeyUsed(ctx context.Context, org service.OrgID, id uuid.UUID, name string, at time.Time) error {
	if w.useErr != nil {
		return w.useErr
	}
	return w.history.KeyUsed(ctx, org, id, name, at)
}

// newWorldBeside is another process on a world's history, at noon.
func newWorldBeside(w *world) *world {
	w.t.Helper()
	beside := newWorldWith(w.t, func(c *api.Config) {
		c.Plans.History, c.Registers.History, c.Keys.History, c.Events.Log = w.history, w.history, w.history, w.history
		c.Forecasts.History, c.Forecasts.Book, c.Sessions = w.history, w.history, w.history
		c.Keys.NewID = uuid.New
	})
	beside.history = w.history
	return beside
}

// request makes a request with the world's key; a body makes it JSON.
func (w *world) request(method, target, body string, headers ...string) *http.Request {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Header.Set("Authorization", "Bearer "+w.key)
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i+1] == "" {
			r.Header.Del(headers[i])
		} else {
			r.Header.Set(headers[i], headers[i+1])
		}
	}
	return r
}

// do serves a request and holds the answer against the contract.
func (w *world) do(method, target, body string, headers ...string) *http.Response {
	w.t.Helper()
	return w.serve(w.request(method, target, body, headers...))
}

func (w *world) serve(r *http.Request) *http.Response {
	w.t.Helper()
	recorder := httptest.NewRecorder()
	w.api.ServeHTTP(recorder, r)
	answer := recorder.Result()
	checkAnswer(w.t, r, answer, recorder.Body.Bytes())
	return answer
}

// create keeps the example plan under an idempotency key and gives its address.
func (w *world) create(key string) string {
	w.t.Helper()
	answer := w.do(http.MethodPost, "/v1/plans", exampleBody(w.t), "Idempotency-Key", key)
	if answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("create: status %d, want 201: %s", answer.StatusCode, text(w.t, answer))
	}
	return answer.Header.Get("Location")
}

var theContract = sync.OnceValue(func() *openapi3.T {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		panic(err)
	}
	return doc
})

// checkAnswer holds an answer against the contract, where the contract knows the route.
func checkAnswer(t testing.TB, r *http.Request, answer *http.Response, body []byte) {
	t.Helper()
	if strings.HasPrefix(answer.Header.Get("Content-Type"), "application/problem+json") {
		checkProblem(t, answer, body)
	}
	path, params := contractPath(r.URL.Path)
	item := theContract().Paths.Value(path)
	if item == nil || item.GetOperation(r.Method) == nil || answer.StatusCode == http.StatusMethodNotAllowed || answer.Header.Get("Content-Encoding") != "" {
		return
	}
	input := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: &routers.Route{Spec: theContract(), Path: path, PathItem: item, Method: r.Method, Operation: item.GetOperation(r.Method)}},
		Status:                 answer.StatusCode, Header: answer.Header, Body: io.NopCloser(bytes.NewReader(body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true, ExcludeResponseBody: !isJSON(answer.Header.Get("Content-Type"))},
	}
	if err := openapi3filter.ValidateResponse(t.Context(), input); err != nil {
		t.Errorf("%s %s answered %d outside the contract: %v\n%s", r.Method, r.URL, answer.StatusCode, err, body)
	}
}

func checkProblem(t testing.TB, answer *http.Response, body []byte) {
	t.Helper()
	var p openapi.Problem
	if err := json.Unmarshal(body, &p); err != nil {
		t.Errorf("problem is no JSON: %v: %s", err, body)
		return
	}
	if p.Status != answer.StatusCode || p.RequestId != answer.Header.Get("X-Request-Id") || p.RequestId == "" || !p.Code.Valid() {
		t.Errorf("problem %s does not agree with the answer: status %d, request id %q", body, answer.StatusCode, answer.Header.Get("X-Request-Id"))
	}
	for _, f := range p.Errors {
		if f.Pointer == nil && f.Parameter == nil && f.Header == nil {
			t.Errorf("an error of %s names no place", body)
		}
		if f.Message == "" || f.Fix == "" {
			t.Errorf("an error of %s has no message or no fix", body)
		}
	}
}

func contractPath(path string) (string, map[string]string) {
	parts := strings.Split(path, "/") // "", "v1", "plans", id, ...
	if len(parts) < 4 || parts[1] != "v1" {
		return path, nil
	}
	if path == "/v1/events/stream" || strings.HasPrefix(path, "/v1/log/") || strings.HasPrefix(path, "/v1/exports/") {
		return path, nil
	}
	id := parts[3]
	parts[3] = "{id}"
	params := map[string]string{"id": id}
	if len(parts) == 6 && parts[4] == "drawings" {
		params["drawing"], parts[5] = parts[5], "{drawing}"
	}
	return strings.Join(parts, "/"), params
}

func problem(t *testing.T, answer *http.Response) openapi.Problem {
	t.Helper()
	var p openapi.Problem
	if err := json.Unmarshal([]byte(text(t, answer)), &p); err != nil {
		t.Fatalf("answer %d is no problem: %v", answer.StatusCode, err)
	}
	return p
}

func text(t testing.TB, answer *http.Response) string {
	t.Helper()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	answer.Body = io.NopCloser(bytes.NewReader(body))
	return string(body)
}

func exampleBody(t testing.TB) string {
	t.Helper()
	body, err := os.ReadFile("../testdata/golden/requests/kestrel.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// golden holds a body against testdata/golden/<route>/<case>.json, or writes it with -update.
func golden(t *testing.T, name string, answer *http.Response) {
	t.Helper()
	file := filepath.Join("..", "testdata", "golden", name+".json")
	var got bytes.Buffer
	if err := json.Indent(&got, []byte(text(t, answer)), "", "  "); err != nil {
		t.Fatal(err)
	}
	got.WriteByte('\n')
	if *update {
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Errorf("%s differs; run with -update if that is meant.\ngot:\n%s\nwant:\n%s", file, got.Bytes(), want)
	}
}

// lockedBuffer takes log lines from several requests.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func readCloser(text string) io.ReadCloser { return io.NopCloser(strings.NewReader(text)) }

// salts are always the same, so that goldens are.
func salts() func() ledger.Salt {
	next := counter("00000000-0000-7000-b000-%012d")
	return func() (s ledger.Salt) {
		id := next()
		copy(s[:], id[:])
		return s
	}
}

// isJSON tells whether a media type is one JSON text.
func isJSON(kind string) bool {
	kind, _, _ = strings.Cut(kind, ";")
	return kind == "application/json" || strings.HasSuffix(kind, "+json")
}
