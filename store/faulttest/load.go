package faulttest

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/google/uuid"
)

// party is an organisation that asks.
type party struct {
	name, mark, key string
	seen            map[int64]event // what its stream told of, by sequence
	mu              sync.Mutex
}

// Mix is what clients do.
type Mix struct {
	Clients int
	Plans   bool // now and then a plan
	Seas    bool // for a sea that must be calculated, which takes a processor, and on a busy machine more time than there is; else for a flat one
	// Failing calculations are answered 500, and asked for again.
	Failing bool
	// Forgetful clients ask again under another key: a bug for controls.
	Forgetful bool
}

// event is what a stream or a webhook tells of a change.
type event struct {
	Sequence int64 `json:"sequence"`
	Data     struct {
		EntityID uuid.UUID `json:"entity_id"`
		Version  int       `json:"version"`
	} `json:"data"`
}

var opCount atomic.Int64

// client asks as one party over the front line, one connection a request, so that no answer is lost with a connection that was idle.
func (w *World) client() *http.Client {
	return &http.Client{
		Timeout:   mostAnswer + 5*time.Second,
		Transport: &http.Transport{DisableKeepAlives: true, DialContext: (&net.Dialer{Timeout: 5 * time.Second}).DialContext},
	}
}

// base is where clients ask: at the service itself, unless a control puts a line of its own before it.
func (w *World) base() string {
	if w.fronted {
		return "http://127.0.0.1:" + strconv.Itoa(w.front.port())
	}
	return "http://" + w.house.addr
}

// load asks until it is told to stop, which waits for the requests that are under way.
func (w *World) load(ctx context.Context, m Mix) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	w.failing = m.Failing
	var at sync.WaitGroup
	for i := range m.Clients {
		at.Go(func() { w.ask(ctx, m, i) })
	}
	return func() { cancel(); at.Wait() }
}

// ask is one client: it does one thing after the other, each with a few tries; what is left is for settle.
func (w *World) ask(ctx context.Context, m Mix, i int) {
	client, number := w.client(), i%len(w.parties)
	for n := 0; ctx.Err() == nil; n++ {
		o := w.next(number, n, m)
		if err := w.journal.sending(o); err != nil {
			w.wrong("the journal: %v", err)
			return
		}
		for try := range 3 {
			if m.Forgetful && try > 0 {
				again := *o
				again.Key = fmt.Sprintf("%s-again-%d", o.Key, try)
				w.once(client, &again)
				o.Acknowledged = again.Acknowledged
			} else {
				w.once(client, o)
			}
			if o.Acknowledged || ctx.Err() != nil {
				break
			}
			sleep(ctx, 200*time.Millisecond)
		}
		if o.Kind == "incident" && o.Acknowledged && n%4 == 0 {
			w.change(ctx, client, o)
			w.readBack(ctx, client, o)
		}
	}
}

// next makes up the next thing to do.
func (w *World) next(number, n int, m Mix) *op {
	key := fmt.Sprintf("%s-%d", w.parties[number].mark, opCount.Add(1))
	o := &op{Key: key, Party: number, Method: http.MethodPost}
	switch {
	case m.Plans && n%10 == 9:
		height := "0.05"
		if m.Seas {
			height = "6.0"
		}
		o.Kind, o.Path, o.Body = "plan", "/v1/plans", fmt.Sprintf(planBody, key, height)
	case n%5 == 3:
		o.Kind, o.Path, o.Body = "vessel", "/v1/vessels", fmt.Sprintf(vesselBody, key)
	case n%5 == 4:
		o.Kind, o.Path, o.Body = "key", "/v1/keys", fmt.Sprintf(keyBody, key)
	default:
		o.Kind, o.Path, o.Body = "incident", "/v1/incidents", fmt.Sprintf(incidentBody, key)
	}
	return o
}

const (
	incidentBody = `{"occurred_at": "2026-01-11T23:00:00Z", "kind": "rode_chafed", "severity": "minor", "what_happened": %q, "what_was_learned": "Chafe gear first."}`
	vesselBody   = `{"name": %q, "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}`
	keyBody      = `{"label": %q, "scopes": ["plans:read"]}`
	planBody     = `{"vessel": {"name": %q, "hull": "power_displacement", "loa_m": 12.2, "lwl_m": 11.2, "beam_m": 4.0, "draught_m": 1.3, "displacement_kg": 14000},
  "gear": {"canopy": {"shape": "flat_circular", "diameter_m": 5.5},
    "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183, "terminations": ["thimbled_splice", "bowline"]}},
  "intent": "ride_out_storm", "assume": {"seeds": 2}, "rode_lengths_m": [150],
  "forecast": {"issued_at": "2026-01-12T12:00:00Z", "source": "example", "steps": [
    {"time": "2026-01-12T18:00:00Z", "wind_speed_kt": 45, "wind_from_deg": 240, "significant_wave_height_m": %s, "peak_period_s": 10.0}]}}`
)

// once tries once, and notes the answer.
func (w *World) once(client *http.Client, o *op) {
	status, header, body := w.send(client, o.Party, o.Method, o.Path, o.Body, "Idempotency-Key", o.Key)
	switch {
	case status == http.StatusCreated:
		if err := w.journal.acknowledged(o, header.Get("Location"), header.Get("ETag"), body); err != nil {
			w.wrong("the journal: %v", err)
		}
	case status == 0, status == http.StatusServiceUnavailable, status == http.StatusConflict, status == http.StatusTooManyRequests:
		// not now, or nobody knows: it is asked again under the same key
	case status == http.StatusInternalServerError && o.Kind == "plan" && w.failing:
		// the engine failed, as it was made to
	default:
		w.wrong("%s %s (%s) was answered %d: %.300s", o.Method, o.Path, o.Key, status, body)
	}
}

// send sends one request and waits for the whole answer; 0: there was none.
func (w *World) send(client *http.Client, number int, method, path, body string, headers ...string) (status int, header http.Header, answer []byte) {
	begun, cut := time.Now(), false
	defer func() {
		took := time.Since(begun)
		w.journal.attempt(status, took, cut)
		if took > mostAnswer {
			w.wrong("%s %s took %v, status %d", method, path, took.Round(time.Millisecond), status)
		}
	}()
	request, err := http.NewRequest(method, w.base()+path, strings.NewReader(body))
	if err != nil {
		w.wrong("a request: %v", err)
		return 0, nil, nil
	}
	request.Header.Set("Authorization", "Bearer "+w.parties[number].key)
	switch {
	case method == http.MethodPatch:
		request.Header.Set("Content-Type", "application/merge-patch+json")
	case body != "":
		request.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	got, err := client.Do(request)
	if err != nil {
		if cut = !errors.Is(err, syscall.ECONNREFUSED); cut {
			w.journal.cutBy(err)
		}
		return 0, nil, nil
	}
	defer got.Body.Close()
	if answer, err = io.ReadAll(got.Body); err != nil {
		cut = true
		w.journal.cutBy(err)
		return 0, nil, nil
	}
	return got.StatusCode, got.Header, answer
}

// change changes an incident, so that it has a history.
func (w *World) change(ctx context.Context, client *http.Client, o *op) {
	status, _, body := w.send(client, o.Party, http.MethodPatch, o.Location, `{"severity": "serious"}`, "If-Match", o.etag)
	switch status {
	case http.StatusOK, 0, http.StatusServiceUnavailable, http.StatusTooManyRequests, http.StatusPreconditionFailed:
	default:
		w.wrong("PATCH %s was answered %d: %.300s", o.Location, status, body)
	}
}

// readBack reads a thing as of now, and keeps the answer as the one to be given ever after.
func (w *World) readBack(ctx context.Context, client *http.Client, o *op) {
	status, header, body := w.send(client, o.Party, http.MethodGet, o.Location, "")
	if status != http.StatusOK {
		if status != 0 && status != http.StatusServiceUnavailable && status != http.StatusTooManyRequests {
			w.wrong("GET %s was answered %d", o.Location, status)
		}
		return
	}
	w.journal.read(reading{o.Party, fmt.Sprintf("%s?valid_at=%s&known_at=%s", o.Location, header.Get("Valid-At"), header.Get("Known-At")), body})
}

// settle repeats what was not answered, under the same keys, until all is. The world is whole again by now.
func (w *World) settle(ctx context.Context) error {
	client, end := w.client(), time.Now().Add(time.Minute)
	for _, o := range w.journal.all() {
		for !o.Acknowledged {
			if w.once(client, o); o.Acknowledged {
				break
			}
			if time.Now().After(end) || ctx.Err() != nil || w.house.hasEnded() {
				return fmt.Errorf("%s is not answered after all is mended", o.Key)
			}
			sleep(ctx, 100*time.Millisecond)
		}
	}
	return nil
}

// watch looks at /readyz all the time, and follows each party's stream.
type watch struct {
	stop  func()
	mu    sync.Mutex
	looks []look
	downs []span
}

type look struct {
	at     time.Time
	status int
}

type span struct{ from, to time.Time }

// grace is how long /readyz may be behind the truth.
const grace = 3 * time.Second

func (w *World) beginWatch(ctx context.Context) {
	ctx, cancel := context.WithCancel(ctx)
	var at sync.WaitGroup
	w.watch = &watch{stop: func() { cancel(); at.Wait() }}
	at.Go(func() {
		for ctx.Err() == nil {
			status, _ := readyz(ctx, strings.TrimPrefix(w.base(), "http://"))
			if ctx.Err() != nil {
				return // we hung up, and it told nothing
			}
			w.watch.mu.Lock()
			w.watch.looks = append(w.watch.looks, look{time.Now(), status})
			w.watch.mu.Unlock()
			sleep(ctx, 100*time.Millisecond)
		}
	})
	for _, p := range w.parties {
		p.seen = map[int64]event{}
		at.Go(func() { w.follow(ctx, p) })
	}
}

// down says that the database cannot be reached while fn runs.
func (w *World) down(fn func() error) error {
	from := time.Now()
	err := fn()
	w.watch.mu.Lock()
	defer w.watch.mu.Unlock()
	w.watch.downs = append(w.watch.downs, span{from, time.Now()})
	return err
}

// follow reads a party's stream, and comes again with the last id it has.
func (w *World) follow(ctx context.Context, p *party) {
	last := int64(0)
	for ctx.Err() == nil {
		request, err := http.NewRequestWithContext(ctx, http.MethodGet, w.base()+"/v1/events/stream", nil)
		if err != nil {
			return
		}
		request.Header.Set("Authorization", "Bearer "+p.key)
		request.Header.Set("Last-Event-ID", strconv.FormatInt(last, 10))
		request.Close = true
		if answer, err := http.DefaultClient.Do(request); err == nil {
			if answer.StatusCode == http.StatusOK {
				for lines := bufio.NewScanner(answer.Body); lines.Scan(); {
					data, ok := strings.CutPrefix(lines.Text(), "data: ")
					if !ok {
						continue
					}
					var told event
					if err := json.Unmarshal([]byte(data), &told); err != nil {
						w.wrong("an event cannot be read: %v: %.200s", err, data)
						continue
					}
					if told.Sequence < 1 {
						continue // that it cannot go on from there is no event
					}
					p.mu.Lock()
					p.seen[told.Sequence] = told
					p.mu.Unlock()
					last = max(last, told.Sequence)
				}
			}
			answer.Body.Close()
		}
		sleep(ctx, 300*time.Millisecond)
	}
}
