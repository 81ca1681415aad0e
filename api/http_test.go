package api_test

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"rideout/api"
	"rideout/service"
)

func TestNothingWithAScopeIsServedWithoutAKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	keyless := map[string]string{
		"none": "", "another scheme": "Basic cm86cm8=", "no key": "Bearer ", "mistyped": "Bearer " + w.key[:len(w.key)-1] + "!",
		"unknown": "Bearer " + service.NewKey().Reveal(),
	}
	for _, r := range w.api.Routes() {
		if r.Open() {
			continue
		}
		for name, header := range keyless {
			path := strings.ReplaceAll(r.Path, "{id}", "00000000-0000-7000-8000-000000000001")
			answer := w.do(r.Method, path, "", "Authorization", header)
			if answer.StatusCode != http.StatusUnauthorized || !strings.HasPrefix(answer.Header.Get("WWW-Authenticate"), "Bearer") {
				t.Errorf("%s %s with %s: %d, want 401 and a challenge", r.Method, path, name, answer.StatusCode)
			}
		}
	}
}

func TestUnknownRoutesAndMethodsAreProblems(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, c := range []struct {
		method, target string
		status         int
		code, allow    string
	}{
		{http.MethodGet, "/", 404, "not_found", ""},
		{http.MethodGet, "/v2/plans", 404, "not_found", ""},
		{http.MethodGet, "/v1/plans/a/b/c", 404, "not_found", ""},
		{http.MethodDelete, "/v1/plans", 405, "method_not_allowed", "GET"},
		{http.MethodGet, "/v1/calculations", 405, "method_not_allowed", "POST"},
		{http.MethodPut, "/livez", 405, "method_not_allowed", "GET"},
		{"BREW", "/v1/plans", 405, "method_not_allowed", "POST"},
	} {
		answer := w.do(c.method, c.target, "")
		if p := problem(t, answer); answer.StatusCode != c.status || string(p.Code) != c.code || !strings.Contains(answer.Header.Get("Allow"), c.allow) {
			t.Errorf("%s %s: %d %s Allow %q, want %d %s %q", c.method, c.target, answer.StatusCode, p.Code, answer.Header.Get("Allow"), c.status, c.code, c.allow)
		}
	}
}

func TestMediaTypesAndSizesAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	body := exampleBody(t)
	for _, c := range []struct {
		name, body string
		headers    []string
		status     int
	}{
		{"no type", body, []string{"Content-Type", ""}, 415},
		{"text", body, []string{"Content-Type", "text/plain"}, 415},
		{"form", body, []string{"Content-Type", "application/x-www-form-urlencoded"}, 415},
		{"Latin-1", body, []string{"Content-Type", "application/json; charset=iso-8859-1"}, 415},
		{"coded", body, []string{"Content-Encoding", "gzip"}, 415},
		{"a malformed type", body, []string{"Content-Type", "application/json; charset"}, 415},
		{"UTF-8 said", body, []string{"Content-Type", "application/json; charset=UTF-8"}, 200},
		{"256 kB", body + strings.Repeat(" ", api.MaxBodyBytes-len(body)), nil, 200},
		{"one byte more", body + strings.Repeat(" ", api.MaxBodyBytes-len(body)+1), nil, 413},
		{"empty", "", []string{"Content-Type", "application/json"}, 400},
	} {
		answer := w.do(http.MethodPost, "/v1/calculations", c.body, c.headers...)
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %.200s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
	}
	if _, err := api.DecodePlan([]byte(strings.Repeat(" ", api.MaxBodyBytes+1))); err == nil {
		t.Error("the decoder takes a body above the limit")
	}
}

func TestConditionalReads(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	at := w.create("a")
	for _, target := range []string{at, at + "/working", "/v1/plans", "/openapi.json", "/docs"} {
		plain := w.do(http.MethodGet, target, "")
		tag := plain.Header.Get("ETag")
		if !strings.HasPrefix(tag, `"`) || plain.Header.Get("Vary") == "" || plain.Header.Get("Cache-Control") == "" {
			t.Fatalf("%s: ETag %q, Vary %q, Cache-Control %q", target, tag, plain.Header.Get("Vary"), plain.Header.Get("Cache-Control"))
		}
		for _, sent := range []string{tag, "W/" + tag, `"x", ` + tag, "*"} {
			same := w.do(http.MethodGet, target, "", "If-None-Match", sent)
			if same.StatusCode != http.StatusNotModified || same.Header.Get("ETag") != tag || text(t, same) != "" {
				t.Errorf("%s with %s: %d, ETag %q, want 304 and the same", target, sent, same.StatusCode, same.Header.Get("ETag"))
			}
		}
		if got := w.do(http.MethodGet, target, "", "If-None-Match", `"x"`).StatusCode; got != http.StatusOK {
			t.Errorf("%s with another tag: %d, want 200", target, got)
		}
		head := w.do(http.MethodHead, target, "")
		if head.StatusCode != http.StatusOK || head.Header.Get("ETag") != tag || text(t, head) != "" || head.Header.Get("Content-Length") != plain.Header.Get("Content-Length") {
			t.Errorf("HEAD %s: %d, ETag %q, length %q; want as GET without a body", target, head.StatusCode, head.Header.Get("ETag"), head.Header.Get("Content-Length"))
		}
	}
	if got := w.do(http.MethodGet, at, "").Header.Get("Cache-Control"); got != "private, no-cache" {
		t.Errorf("Cache-Control %q, want private, no-cache", got)
	}
}

func TestGzipIsNegotiated(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	at := w.create("a")
	plain := w.do(http.MethodGet, at, "")
	for accepted, coded := range map[string]bool{
		"gzip": true, "GZIP;q=0.5": true, "br, gzip": true, "*": true, "gzip;q=1, identity;q=0.5": true,
		"": false, "br": false, "gzip;q=0": false, "gzip;q=0, *": false, "identity, gzip;q=0.5": false, "gzip;q=nonsense": true,
	} {
		answer := w.do(http.MethodGet, at, "", "Accept-Encoding", accepted)
		if (answer.Header.Get("Content-Encoding") == "gzip") != coded {
			t.Errorf("%q: Content-Encoding %q, want gzip: %v", accepted, answer.Header.Get("Content-Encoding"), coded)
		}
		if !coded {
			continue
		}
		if answer.Header.Get("ETag") == plain.Header.Get("ETag") {
			t.Errorf("%q: the ETag does not differ by coding", accepted)
		}
		unzipped, err := gzip.NewReader(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		if body, err := io.ReadAll(unzipped); err != nil || string(body) != text(t, plain) {
			t.Errorf("%q: decoded body differs (%v)", accepted, err)
		}
	}
	if got := w.do(http.MethodGet, "/livez", "", "Accept-Encoding", "gzip").Header.Get("Content-Encoding"); got != "" {
		t.Errorf("a small answer is coded %q, want not", got)
	}
}

// The memory of answers is lent anew: nobody may get what another was answered.
func TestAnswersAtOnceAreEachTheirOwn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	targets := []string{w.create("a"), "/openapi.json", "/docs", "/livez", "/v1/vessels/nobody"}
	want := map[string]string{}
	for _, target := range targets[:4] {
		want[target] = text(t, w.do(http.MethodGet, target, ""))
	}
	want[targets[4]] = strconv.Itoa(w.do(http.MethodGet, targets[4], "").StatusCode)
	requests := make(chan *http.Request, 200)
	for i := range cap(requests) {
		requests <- w.request(http.MethodGet, targets[i%len(targets)], "")
	}
	close(requests)
	var asking sync.WaitGroup
	for range 8 {
		asking.Go(func() {
			for r := range requests {
				recorder := httptest.NewRecorder()
				w.api.ServeHTTP(recorder, r)
				got := recorder.Body.String()
				if r.URL.Path == targets[4] { // its problem names the request, so differs
					got = strconv.Itoa(recorder.Code)
				}
				if got != want[r.URL.Path] {
					t.Errorf("%s beside others: %d bytes, want the same %d as alone", r.URL.Path, len(got), len(want[r.URL.Path]))
				}
			}
		})
	}
	asking.Wait()
}

func TestReadinessAndLiveness(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	at := func(path string) int { return w.do(http.MethodGet, path, "").StatusCode }
	if got := at("/readyz"); got != http.StatusOK {
		t.Errorf("ready: %d, want 200", got)
	}
	w.pingErr = errors.New("secret host is away")
	answer := w.do(http.MethodGet, "/readyz", "")
	if answer.StatusCode != http.StatusServiceUnavailable || strings.Contains(text(t, answer), "secret") {
		t.Errorf("store away: %d %s, want 503 without the cause", answer.StatusCode, text(t, answer))
	}
	w.pingErr = nil
	w.api.Drain()
	if got := at("/readyz"); got != http.StatusServiceUnavailable {
		t.Errorf("draining: %d, want 503", got)
	}
	if got := at("/livez"); got != http.StatusOK {
		t.Errorf("alive while draining: %d, want 200", got)
	}
}

// Probes come every few seconds, so the log is told when readiness turns and when it heals, and not each time.
func TestLogTellsOnceThatReadinessTurned(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	look := func(times int) {
		for range times {
			w.do(http.MethodGet, "/readyz", "")
			w.do(http.MethodGet, "/livez", "")
		}
	}
	for _, c := range []struct {
		ping   error
		errors int
		lines  int
	}{{nil, 0, 0}, {errors.New("host is away"), 1, 1}, {nil, 1, 2}, {errors.New("host is away again"), 2, 3}} {
		w.pingErr = c.ping
		look(3)
		if log := w.log.String(); strings.Count(log, `"ERROR"`) != c.errors || strings.Count(log, "\n") != c.lines {
			t.Errorf("store %v: want %d errors in %d lines, got\n%s", c.ping, c.errors, c.lines, log)
		}
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	w.pingErr = nil
	w.serve(w.request(http.MethodGet, "/readyz", "").WithContext(gone))
	if log := w.log.String(); strings.Count(log, "\n") != 3 || !strings.Contains(log, "host is away again") || !strings.Contains(log, "ready again") {
		t.Errorf("somebody who has gone found out: %s", log)
	}
	w.api.Drain()
	look(3)
	if log := w.log.String(); strings.Count(log, `"ERROR"`) != 2 {
		t.Errorf("the end is told as a failure: %s", log)
	}
}

func TestRequestIDsAndSecurityHeaders(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for sent, kept := range map[string]bool{"abc-1.2_3": true, "": false, "two words": false, strings.Repeat("x", 65): false, `"quoted"`: false} {
		got := w.do(http.MethodGet, "/livez", "", "X-Request-Id", sent).Header.Get("X-Request-Id")
		if (got == sent) != kept || got == "" {
			t.Errorf("request id %q became %q, want kept: %v", sent, got, kept)
		}
	}
	answer := w.do(http.MethodGet, "/v1/nothing", "")
	for _, name := range []string{"X-Content-Type-Options", "X-Frame-Options", "Referrer-Policy", "Content-Security-Policy", "Cross-Origin-Resource-Policy"} {
		if answer.Header.Get(name) == "" {
			t.Errorf("no %s", name)
		}
	}
	if strings.Contains(w.log.String(), w.key) {
		t.Error("the key is in the log")
	}
}

func TestDocsStandAlone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := w.do(http.MethodGet, "/docs", "")
	body := text(t, answer)
	for _, want := range []string{"POST</b> <code>/v1/plans", "Keep feet clear of the rode.", `id="problem-key_reused"`, "displacement_kg", "3 to 60", "curl -sS"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	for _, never := range []string{"<script", "<img", "<link", "src=", "url(", `href="http`} {
		if strings.Contains(body, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	if policy := answer.Header.Get("Content-Security-Policy"); !strings.Contains(policy, "style-src 'sha256-") {
		t.Errorf("policy %q does not allow the page's own style", policy)
	}
}

// Each code of the contract is a kind that is answered, with the status the contract says, and the
// page explains it.
func TestCodesAreTheContracts(t *testing.T) {
	t.Parallel()
	property := theContract().Components.Schemas["Problem"].Value.Properties["code"].Value
	texts, _ := property.Extensions["x-codes"].(map[string]any)
	var codes []string
	for _, code := range property.Enum {
		name := fmt.Sprint(code)
		codes = append(codes, name)
		said, status := fmt.Sprint(texts[name]), api.StatusOf(service.Kind(name))
		if !strings.HasPrefix(said, fmt.Sprintf("%d. ", status)) {
			t.Errorf("code %s is answered %d, the contract says %q", name, status, said)
		}
	}
	if got := api.Codes(); !slices.Equal(slices.Sorted(slices.Values(codes)), got) {
		t.Errorf("codes of the contract %v, answered %v", codes, got)
	}
}

func TestServeStopsInOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- api.Serve(ctx, w.api, listener, 50*time.Millisecond, time.Second) }()
	answer, err := http.Get("http://" + listener.Addr().String() + "/livez")
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	stop()
	if err := <-served; err != nil {
		t.Errorf("Serve = %v, want nil after a stop", err)
	}
	if got := w.do(http.MethodGet, "/readyz", "").StatusCode; got != http.StatusServiceUnavailable {
		t.Errorf("readyz after the stop: %d, want 503", got)
	}
	if err := api.Serve(t.Context(), w.api, listener, 0, time.Second); err == nil {
		t.Error("Serve on a closed listener gives no error")
	}
}

func TestServerLimitsEveryWait(t *testing.T) {
	t.Parallel()
	server := api.NewServer(newWorld(t).api)
	if server.ReadHeaderTimeout == 0 || server.ReadTimeout == 0 || server.WriteTimeout == 0 || server.IdleTimeout == 0 {
		t.Errorf("a wait without end: %+v", server)
	}
}

// Who sends its headers drop by drop, or more of them than anybody needs, is cut; who sends its body so has a minute.
func TestSlowAndEndlessHeadersAreCut(t *testing.T) {
	t.Parallel()
	server := api.NewServer(newWorld(t).api)
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { _ = server.Close() })
	for name, send := range map[string]func(net.Conn) error{
		"drop by drop": func(conn net.Conn) (err error) {
			for drop := "GET /livez HTTP/1.1\r\nHost: rideout\r\nX-Slow: "; err == nil; drop = "x" {
				_, err = io.WriteString(conn, drop)
				time.Sleep(100 * time.Millisecond)
			}
			return err
		},
		"endless": func(conn net.Conn) (err error) {
			for drop := "GET /livez HTTP/1.1\r\nHost: rideout\r\nX-Long: "; err == nil; drop = strings.Repeat("x", 1024) {
				_, err = io.WriteString(conn, drop)
			}
			return err
		},
	} {
		conn, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		_ = conn.SetDeadline(begun.Add(time.Minute))
		err = send(conn)
		if took := time.Since(begun); errors.Is(err, os.ErrDeadlineExceeded) || took > 30*time.Second {
			t.Errorf("%s: %v after %v, want it cut in 5 s", name, err, took)
		}
		_ = conn.Close()
	}
}

// What the way to every operation can end in is in the contract: no key, not its scope, too many requests, no database.
func TestOperationsDocumentWhatAllOfThemAnswer(t *testing.T) {
	t.Parallel()
	for _, r := range newWorld(t).api.Routes() {
		if r.Open() {
			continue
		}
		op := theContract().Paths.Value(r.Path).GetOperation(r.Method)
		want := []int{400, 401, 403, 429, 500, 503}
		if op.RequestBody != nil {
			want = append(want, 413, 415)
		}
		for _, status := range want {
			if op.Responses.Status(status) == nil {
				t.Errorf("%s %s: %d is not documented", r.Method, r.Path, status)
			}
		}
	}
}

func TestConfigurationIsChecked(t *testing.T) {
	t.Parallel()
	if _, err := api.New(api.Config{}); err == nil {
		t.Error("an api without plans is made")
	}
	w := newWorld(t)
	made, err := api.New(api.Config{
		Plans: &service.Plans{}, Registers: &service.Registers{}, Events: &service.Events{}, Emergency: &service.Emergency{}, Forecasts: &service.AreaForecasts{}, Webhooks: &service.Webhooks{},
		Keys: &service.Keys{}, Witness: &service.Witness{}, Keyring: w, Sessions: w.history, Ping: func(context.Context) error { return nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	recorder := httptest.NewRecorder()
	made.ServeHTTP(recorder, httptest.NewRequest(http.MethodGet, "/livez", nil))
	if recorder.Code != http.StatusOK || recorder.Header().Get("X-Request-Id") == "" {
		t.Errorf("with defaults: %d, want 200 and a request id", recorder.Code)
	}
}
