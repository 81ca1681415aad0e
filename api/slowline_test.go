package api_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/api/client"
	"rideout/service"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

// The line a rescue coordinator may have, and how long a storm plan may take on it.
const (
	lineRate  = 2400.0                 // bit/s, each way
	lineDelay = 800 * time.Millisecond // each way
	allowed   = 30 * time.Second

	segment = 536 // bytes of data in one packet: RFC 9293, 3.7.1, the default
	headers = 40  // bytes of IP and TCP before them, without options
)

// line carries connections slowly, and breaks some: resets[i] is after how many bytes of an answer connection i breaks, 0 as soon
// as it is asked anything, -1 never. Connections after the last of resets never break.
type line struct {
	resets   []int
	dial     func(context.Context) (net.Conn, error)
	opened   atomic.Int32
	up, down atomic.Int64 // bytes of data carried
}

var errLineBroke = errors.New("the line broke")

// pass carries one connection until it ends on either side.
func (l *line) pass(near, far net.Conn) {
	limit := -1
	if n := int(l.opened.Add(1)) - 1; n < len(l.resets) {
		limit = l.resets[n]
	}
	var once sync.Once
	cut := func() {
		once.Do(func() {
			if tcp, ok := near.(*net.TCPConn); ok {
				tcp.SetLinger(0) // a reset, not an end
			}
			near.Close()
			far.Close()
		})
	}
	var ways sync.WaitGroup
	asked := -1
	if limit == 0 {
		asked = 0
	}
	ways.Go(func() { l.carry(far, near, &l.up, asked); far.Close() })
	ways.Go(func() { l.carry(near, far, &l.down, limit); cut() })
	ways.Wait()
	cut()
}

// carry takes data from one side, as fast as the line sends it, and hands it over after the delay.
func (l *line) carry(to io.Writer, from io.Reader, carried *atomic.Int64, limit int) {
	type packet struct {
		data []byte
		due  time.Time
	}
	// There is never more under way than the line holds: one delay at its rate.
	sent := make(chan packet, 1+int(lineRate/8*lineDelay.Seconds())/headers)
	var delivery sync.WaitGroup
	delivery.Go(func() {
		for p := range sent {
			time.Sleep(time.Until(p.due))
			to.Write(p.data)
		}
	})
	for whole := 0; ; {
		data := make([]byte, segment)
		n, err := from.Read(data)
		if err != nil {
			break
		}
		if limit >= 0 && whole+n > limit {
			n, err = limit-whole, errLineBroke
		}
		whole += n
		carried.Add(int64(n))
		time.Sleep(onLine(n))
		sent <- packet{data[:n], time.Now().Add(lineDelay)}
		if err != nil {
			break
		}
	}
	close(sent)
	delivery.Wait()
}

// onLine is how long the line takes to send so many bytes in one packet.
func onLine(n int) time.Duration {
	return time.Duration(float64((n+headers)*8) / lineRate * float64(time.Second))
}

// handshake is how long a connection takes to open: SYN and its answer.
func handshake() { time.Sleep(2 * (onLine(0) + lineDelay)) }

// rescued is a service with Kestrel's plan, her id, and a key.
func rescued(t testing.TB) (handler http.Handler, vessel uuid.UUID, key string) {
	t.Helper()
	read := func(path string, into any) []byte {
		body, err := os.ReadFile(path)
		if err == nil && into != nil {
			err = json.Unmarshal(body, into)
		}
		if err != nil {
			t.Fatal(err)
		}
		return body
	}
	var plan planner.Plan
	var body map[string]any
	read("page/testdata/plan.json", &plan)
	read("../testdata/golden/requests/kestrel.json", &body)
	made := service.NewKey()
	history, clock := &servicetest.History{}, func() time.Time { return noon }
	plans := &service.Plans{History: history, Clock: clock, NewID: uuid.New, Compute: func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		return plan, nil, nil
	}}
	a, err := api.New(api.Config{
		Plans: plans, Forecasts: &service.AreaForecasts{History: history, Book: history, Clock: clock, NewID: uuid.New, Plans: plans},
		Registers: &service.Registers{History: history, Clock: clock, NewID: uuid.New}, Events: &service.Events{Log: history, Clock: clock},
		Emergency: &service.Emergency{}, Webhooks: &service.Webhooks{}, Keys: &service.Keys{}, Witness: &service.Witness{}, Keyring: oneKey{hash: string(made.Hash())}, Sessions: new(servicetest.History), Ping: func(context.Context) error { return nil }, Log: slog.New(slog.DiscardHandler), Clock: clock,
	})
	if err != nil {
		t.Fatal(err)
	}
	post := func(path string, body any) (id uuid.UUID) {
		text, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(string(text)))
		r.Header.Set("Authorization", "Bearer "+made.Reveal())
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Idempotency-Key", path)
		recorder := httptest.NewRecorder()
		a.ServeHTTP(recorder, r)
		var named struct{ ID uuid.UUID }
		if err := json.Unmarshal(recorder.Body.Bytes(), &named); err != nil || recorder.Code != http.StatusCreated {
			t.Fatalf("POST %s: %d %s", path, recorder.Code, recorder.Body)
		}
		return named.ID
	}
	vessel = post("/v1/vessels", body["vessel"])
	delete(body, "vessel")
	delete(body, "gear")
	body["vessel_id"] = vessel
	post("/v1/plans", body)
	return a, vessel, made.Reveal()
}

// oneKey is a keyring of one organisation with one key.
type oneKey struct {
	service.Keyring
	hash string
}

func (k oneKey) KeyByHash(_ context.Context, hash []byte) (service.OrgID, service.KeyRecord, error) {
	if string(hash) != k.hash {
		return service.OrgID{}, service.KeyRecord{}, service.ErrNotFound
	}
	return service.OrgID{1}, service.KeyRecord{Scopes: service.AllScopes(), LastUsedAt: noon}, nil
}

// fetch gets the storm plan over a line, holds it against what the service says without one, and tells what it took.
func (l *line) fetch(t testing.TB, handler http.Handler, vessel uuid.UUID, key string, repeats *int) time.Duration {
	t.Helper()
	c, err := client.New(client.Config{
		Server: "http://rideout.example", Key: key, Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) { return l.dial(ctx) }, DisableKeepAlives: true},
		Repeating: func(error, time.Duration) { *repeats++ },
	})
	if err != nil {
		t.Fatal(err)
	}
	asText := func(_ context.Context, r *http.Request) error { r.Header.Set("Accept", "text/plain"); return nil }
	began := time.Now()
	got, err := client.Bytes(c.GetStormPlan(t.Context(), vessel, asText))
	took := time.Since(began)
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodGet, "/v1/vessels/"+vessel.String()+"/storm-plan", nil)
	r.Header.Set("Authorization", "Bearer "+key)
	r.Header.Set("Accept", "text/plain")
	recorder := httptest.NewRecorder()
	handler.ServeHTTP(recorder, r)
	if string(got) != recorder.Body.String() || len(got) == 0 {
		t.Errorf("got\n%s\nwant\n%s", got, recorder.Body)
	}
	return took
}

// On a clock that moves only when everybody waits, so that how busy the machine is does not matter.
func TestStormPlanOverASlowLine(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		resets  []int
		repeats int
	}{
		"a good line":                     {nil, 0},
		"broken within the answer":        {[]int{300}, 1},
		"broken as soon as it is asked":   {[]int{0}, 1},
		"broken twice, early and late":    {[]int{0, 200}, 2},
		"broken before the last 50 bytes": {[]int{1000}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				handler, vessel, key := rescued(t)
				l := &line{resets: c.resets}
				callers := make(pipeListener)
				server := &http.Server{Handler: handler}
				var running sync.WaitGroup
				running.Go(func() { server.Serve(callers) })
				l.dial = func(context.Context) (net.Conn, error) {
					handshake()
					ours, near := net.Pipe()
					far, theirs := net.Pipe()
					running.Go(func() { l.pass(near, far) })
					callers <- theirs
					return ours, nil
				}
				repeats := 0
				took := l.fetch(t, handler, vessel, key, &repeats)
				t.Logf("%.1f s: %d connections, %d bytes up, %d down", took.Seconds(), l.opened.Load(), l.up.Load(), l.down.Load())
				if took > allowed || repeats != c.repeats {
					t.Errorf("took %v with %d repeats, want at most %v and %d", took, repeats, allowed, c.repeats)
				}
				// It cannot be faster than the line: the clock is right.
				if least := time.Duration(float64(l.down.Load()*8)/lineRate*float64(time.Second)) + 4*lineDelay; took < least {
					t.Errorf("took %v, less than the %v the line needs", took, least)
				}
				server.Close()
				running.Wait()
			})
		})
	}
}

// pipeListener gives a server the connections that are put into it.
type pipeListener chan net.Conn

func (p pipeListener) Accept() (net.Conn, error) {
	c, open := <-p
	if !open {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (p pipeListener) Close() error   { close(p); return nil }
func (p pipeListener) Addr() net.Addr { return pipeAddr{} }

type pipeAddr struct{}

func (pipeAddr) Network() string { return "pipe" }
func (pipeAddr) String() string  { return "pipe" }

// The same by TCP and the real clock: make slow-link runs it.
func BenchmarkStormPlanOverASlowLine(b *testing.B) {
	handler, vessel, key := rescued(b)
	server := httptest.NewServer(handler)
	defer server.Close()
	for name, resets := range map[string][]int{"good": nil, "broken": {0, 200}} {
		b.Run(name, func(b *testing.B) {
			var took time.Duration
			for b.Loop() {
				l := &line{resets: resets}
				proxy, err := new(net.ListenConfig).Listen(b.Context(), "tcp", "127.0.0.1:0")
				if err != nil {
					b.Fatal(err)
				}
				go l.serve(proxy, server.Listener.Addr().String())
				l.dial = func(ctx context.Context) (net.Conn, error) {
					handshake()
					return new(net.Dialer).DialContext(ctx, "tcp", proxy.Addr().String())
				}
				repeats := 0
				took += l.fetch(b, handler, vessel, key, &repeats)
				proxy.Close()
				if repeats != len(resets) {
					b.Errorf("%d repeats, want %d", repeats, len(resets))
				}
			}
			b.ReportMetric(took.Seconds()/float64(b.N), "s/plan")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// serve is a proxy that carries connections over the line.
func (l *line) serve(proxy net.Listener, server string) {
	for {
		near, err := proxy.Accept()
		if err != nil {
			return
		}
		far, err := net.Dial("tcp", server)
		if err != nil {
			panic(fmt.Sprint("reach the service: ", err))
		}
		go l.pass(near, far)
	}
}
