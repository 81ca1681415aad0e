package api_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/openapi"
	"rideout/service"
	"rideout/service/fleet"
)

// happen records n further plans.
func (w *world) happen(n int) {
	w.t.Helper()
	for range n {
		w.create(uuid.NewString())
	}
}

func TestEventsAnswers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	golden(t, "events/none", w.do(http.MethodGet, "/v1/events", ""))
	w.happen(3)
	golden(t, "events/list", w.do(http.MethodGet, "/v1/events", ""))
	answer := w.do(http.MethodGet, "/v1/events?after=1&limit=1", "")
	golden(t, "events/page", answer)
	if link := answer.Header.Get("Link"); link != `</v1/events?after=2&limit=1>; rel="next"` {
		t.Errorf("Link %q", link)
	}
	golden(t, "events/ahead", w.do(http.MethodGet, "/v1/events?after=4", ""))
	w.pass(service.EventLife + time.Hour)
	w.happen(1)
	golden(t, "events/gone", w.do(http.MethodGet, "/v1/events?after=2", ""))
	golden(t, "events/bad_parameters", w.do(http.MethodGet, "/v1/events?after=-1&limit=0&since=1", ""))
	var page openapi.EventPage
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/events", ""))), &page); err != nil {
		t.Fatal(err)
	}
	if len(page.Items) != 1 || page.Items[0].Sequence != 4 || page.Latest != 4 {
		t.Errorf("without after: %+v, want the one event that is told still", page)
	}
	if got := text(t, w.do(http.MethodGet, "/v1/events", "", "Authorization", "Bearer "+w.other)); !strings.Contains(got, `"items":[]`) {
		t.Errorf("another organisation sees %s", got)
	}
}

func TestBadParametersOfEvents(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, query := range []string{"after=-1", "after=x", "after=1.5", "after=", "after=1&after=2", "after=99999999999999999999", "limit=201", "cursor=x"} {
		answer := w.do(http.MethodGet, "/v1/events?"+query, "")
		if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || len(p.Errors) != 1 || *p.Errors[0].Parameter != query[:strings.Index(query, "=")] {
			t.Errorf("%s: %d %s, want 400 naming it", query, answer.StatusCode, text(t, answer))
		}
	}
	for _, id := range []string{"x", "-1", "1.5", strings.Repeat("9", 19)} {
		answer := w.do(http.MethodGet, "/v1/events/stream", "", "Last-Event-ID", id)
		if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || p.Errors[0].Header == nil {
			t.Errorf("Last-Event-ID %q: %d %s, want 400 naming it", id, answer.StatusCode, text(t, answer))
		}
	}
}

// message is one of a stream. A comment is a message without anything.
type message struct {
	id, event, data, retry string
}

// messages reads a stream until it ends or stop says so.
func messages(r io.Reader, stop func(message) bool) {
	var m message
	for s := bufio.NewScanner(r); s.Scan(); {
		name, value, _ := strings.Cut(s.Text(), ": ")
		switch name {
		case "id":
			m.id = value
		case "event":
			m.event = value
		case "data":
			m.data = value
		case "retry":
			m.retry = value
		case "":
			if s.Text() != "" { // the line of a comment
				continue
			}
			if stop(m) {
				return
			}
			m = message{}
		}
	}
}

// serveReal serves the world on a connection, which a stream needs.
func (w *world) serveReal(change func(*http.Server)) string {
	w.t.Helper()
	server := httptest.NewUnstartedServer(nil)
	server.Config = api.NewServer(w.api)
	if change != nil {
		change(server.Config)
	}
	server.Start()
	w.t.Cleanup(func() { server.CloseClientConnections(); server.Close() })
	return server.URL
}

// stream opens a stream; it ends with the test.
func (w *world) stream(url, lastID string) *http.Response {
	w.t.Helper()
	r, err := http.NewRequestWithContext(w.t.Context(), http.MethodGet, url, nil)
	if err != nil {
		w.t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+w.key)
	if lastID != "" {
		r.Header.Set("Last-Event-ID", lastID)
	}
	answer, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { answer.Body.Close() })
	return answer
}

func TestStreamTellsWhatHappensAndBeatsBetween(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(2)
	url := w.serveReal(func(s *http.Server) { s.ReadTimeout, s.WriteTimeout = 50*time.Millisecond, 50*time.Millisecond }) // these do not end a stream
	answer := w.stream(url+"/v1/events/stream", "")
	if got := answer.Header.Get("Content-Type"); answer.StatusCode != http.StatusOK || got != "text/event-stream" {
		t.Fatalf("%d %s", answer.StatusCode, got)
	}
	beats, begun := 0, time.Now()
	var told []message
	messages(answer.Body, func(m message) bool {
		switch {
		case m == message{}:
			if beats++; beats == 8 {
				go w.happen(1)
			}
		default:
			told = append(told, m)
		}
		return len(told) == 2
	})
	if len(told) != 2 || told[0] != (message{id: "2", retry: "2000"}) || told[1].id != "3" || told[1].event != "" {
		t.Fatalf("told %+v, want the place 2 and the event 3", told)
	}
	if took := time.Since(begun); beats < 8 || took < 150*time.Millisecond {
		t.Errorf("%d beats in %v, want 8 of 20 ms first", beats, took)
	}
	var e service.CloudEvent
	if err := json.Unmarshal([]byte(told[1].data), &e); err != nil || e.Sequence != 3 || e.Type != "rideout.plan.created" || e.Data.Links["self"] == "" {
		t.Errorf("event %s: %v", told[1].data, err)
	}
	listed := text(t, w.do(http.MethodGet, "/v1/events?after=2", ""))
	if !strings.Contains(listed, told[1].data) {
		t.Errorf("the list tells %s, and the stream %s", listed, told[1].data)
	}
}

// The socket is cut 200 times, each time after a number of bytes of its own, while events go on happening.
func TestStreamCutTwoHundredTimesMissesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	url := w.serveReal(nil)
	const cuts, events = 200, 400
	go func() {
		for range events / 4 {
			w.happen(4)
			time.Sleep(5 * time.Millisecond)
		}
	}()
	var seen []string
	last := "0"
	for cut := 0; len(seen) < events || cut < cuts; cut++ {
		var allowance int64 = 1 << 30
		if cut < cuts {
			allowance = int64(60 + 37*cut%1300)
		}
		read := &cutBody{left: allowance}
		ctx, cancel := context.WithCancel(t.Context())
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"/v1/events/stream", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+w.key)
		r.Header.Set("Last-Event-ID", last)
		transport := &http.Transport{DialContext: func(ctx context.Context, network, addr string) (net.Conn, error) {
			conn, err := new(net.Dialer).DialContext(ctx, network, addr)
			read.conn = conn
			return conn, err
		}}
		answer, err := transport.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode == http.StatusTooManyRequests { // the server has not noticed the cuts before
			answer.Body.Close()
			cancel()
			cut--
			time.Sleep(5 * time.Millisecond)
			continue
		}
		if answer.StatusCode != http.StatusOK {
			t.Fatalf("cut %d: status %d", cut, answer.StatusCode)
		}
		read.body = answer.Body
		messages(read, func(m message) bool {
			if m.data != "" {
				seen, last = append(seen, m.id), m.id
			}
			return len(seen) >= events
		})
		read.conn.Close()
		cancel()
	}
	if len(seen) != events {
		t.Errorf("%d events seen, want %d", len(seen), events)
	}
	for i, id := range seen {
		if id != strconv.Itoa(i+1) {
			t.Fatalf("event %d of those seen is %s, want %d: something is missing or told twice", i, id, i+1)
		}
	}
}

// cutBody cuts the connection once so many bytes are read.
type cutBody struct {
	body io.Reader
	conn net.Conn
	left int64
}

func (c *cutBody) Read(p []byte) (int, error) {
	if c.left <= 0 {
		c.conn.Close()
		return 0, io.ErrUnexpectedEOF
	}
	n, err := c.body.Read(p[:min(int64(len(p)), c.left)])
	c.left -= int64(n)
	return n, err
}

func TestStreamTooFarBehindIsToldToResync(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(2)
	w.pass(service.EventLife + time.Hour)
	w.happen(1)
	url := w.serveReal(nil) + "/v1/events/stream"
	for _, last := range []string{"1", "9"} { // too old; of a database that is no more
		var told []message
		again := w.stream(url, last)
		messages(again.Body, func(m message) bool {
			if m.event != "" || m.data != "" {
				told = append(told, m)
			}
			if len(told) == 1 && m.event == "resync" {
				go w.happen(1)
			}
			return len(told) == 2
		})
		again.Body.Close()
		if len(told) != 2 || told[0].event != "resync" || told[0].data != `{"resync_after":`+told[0].id+`}` || told[1].event != "" {
			t.Errorf("from %s: told %+v, want resync, then what happens", last, told)
		}
	}
}

func TestStreamsOfAKeyAreCounted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	url := w.serveReal(nil) + "/v1/events/stream"
	var first *http.Response
	for i := range 4 {
		answer := w.stream(url, "")
		if answer.StatusCode != http.StatusOK {
			t.Fatalf("stream %d: %d", i, answer.StatusCode)
		}
		if i == 0 {
			first = answer
		}
	}
	fifth := w.stream(url, "")
	if p := problem(t, fifth); fifth.StatusCode != http.StatusTooManyRequests || p.Code != "too_many_streams" || fifth.Header.Get("Retry-After") == "" {
		t.Errorf("the fifth: %d %s", fifth.StatusCode, p.Code)
	}
	first.Body.Close()
	for range 500 {
		if again := w.stream(url, ""); again.StatusCode == http.StatusOK {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Error("the place of a stream that was closed is not given again")
}

// A reader that takes nothing is cut once the connection is full, and nothing is kept for it.
func TestSlowReaderIsCut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	slow := &stalled{header: http.Header{}}
	r := w.request(http.MethodGet, "/v1/events/stream?after=0", "")
	w.happen(300)
	done := make(chan struct{})
	go func() { w.api.ServeHTTP(slow, r); close(done) }()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Fatal("the stream goes on")
	}
	if slow.writes != 2 || slow.largest > 100*600 || slow.deadlines < 2 {
		t.Errorf("%d writes, the largest of %d bytes, %d deadlines; want the greeting and one page, each with a deadline", slow.writes, slow.largest, slow.deadlines)
	}
}

// The same on a socket: the kernel's buffers are made small, and the reader takes nothing for longer than it is given.
func TestSlowReaderOfASocketIsCut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const events = 400
	w.happen(events)
	const buffer = 4096
	url := w.serveReal(func(s *http.Server) {
		s.ConnContext = func(ctx context.Context, conn net.Conn) context.Context {
			if err := conn.(*net.TCPConn).SetWriteBuffer(buffer); err != nil {
				t.Error(err)
			}
			return ctx
		}
	})
	conn, err := net.Dial("tcp", strings.TrimPrefix(url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.(*net.TCPConn).SetReadBuffer(buffer); err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(conn, "GET /v1/events/stream?after=0 HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\n\r\n", w.key)
	time.Sleep(12 * time.Second) // a reader is given 10
	if err := conn.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
		t.Fatal(err)
	}
	rest, err := io.ReadAll(conn)
	if timeout := net.Error(nil); errors.As(err, &timeout) && timeout.Timeout() {
		t.Errorf("the stream goes on after %d bytes", len(rest))
	}
	told := bytes.Count(rest, []byte("\ndata: "))
	t.Logf("%d events in %d bytes, then %v", told, len(rest), err)
	if !bytes.HasPrefix(rest, []byte("HTTP/1.1 200")) || told >= events/2 {
		t.Errorf("%d of %d events in %d bytes, want the stream cut long before its end", told, events, len(rest))
	}
}

// stalled takes the greeting, then nothing.
type stalled struct {
	header                     http.Header
	writes, largest, deadlines int
}

func (s *stalled) Header() http.Header { return s.header }
func (s *stalled) WriteHeader(int)     {}
func (s *stalled) Flush()              {}
func (s *stalled) SetWriteDeadline(at time.Time) error {
	if wait := time.Until(at); wait > 0 && wait <= 10*time.Second {
		s.deadlines++
	}
	return nil
}

func (s *stalled) Write(p []byte) (int, error) {
	s.writes++
	s.largest = max(s.largest, len(p))
	if s.writes > 1 {
		return 0, context.DeadlineExceeded // as a connection's deadline does
	}
	return len(p), nil
}

func TestStreamsEndWhenTheServiceStops(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := w.stream(w.serveReal(nil)+"/v1/events/stream", "")
	time.AfterFunc(50*time.Millisecond, w.api.Drain)
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		t.Errorf("the stream ended with %v, want its end", err)
	}
	w.api.Drain() // twice harms nothing
}

func TestHeadOfAStreamEnds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := w.do(http.MethodHead, "/v1/events/stream", "")
	if answer.StatusCode != http.StatusOK || answer.Header.Get("Content-Type") != "text/event-stream" || text(t, answer) != "" {
		t.Errorf("%d %q %q", answer.StatusCode, answer.Header.Get("Content-Type"), text(t, answer))
	}
}

func TestEventsAreCloudEvents(t *testing.T) {
	t.Parallel()
	doc := theContract().Components.Schemas["Event"].Value
	for i, e := range []service.Event{
		{Sequence: 1, Kind: fleet.KindPlan, EntityID: uuid.New(), Version: 1, At: noon},
		{Sequence: 2, Kind: fleet.KindVessel, EntityID: uuid.New(), Version: 2, At: noon},
		{Sequence: 3, Kind: fleet.KindPolicy, EntityID: uuid.New(), Version: 1, At: noon},
		{Sequence: 4, Kind: fleet.KindRetrieval, EntityID: uuid.New(), Version: 7, At: noon.Add(time.Microsecond)},
		{Sequence: 5, Kind: "key", EntityID: uuid.New(), Version: 1, At: noon},
	} {
		var tree any
		body, err := json.Marshal(e.Cloud(uuid.UUID{1}))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.NewDecoder(bytes.NewReader(body)).Decode(&tree); err != nil {
			t.Fatal(err)
		}
		if err := doc.VisitJSON(tree); err != nil {
			t.Errorf("event %d: %v", i, err)
		}
		if !strings.HasSuffix(e.Cloud(uuid.UUID{1}).ID, fmt.Sprintf("-%d", e.Sequence)) {
			t.Errorf("id %s", e.Cloud(uuid.UUID{1}).ID)
		}
	}
}
