package api_test

import (
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// creating lists the operations of the contract that ask for an Idempotency-Key.
func creating() []string {
	var paths []string
	for path, item := range theContract().Paths.Map() {
		if item.Post == nil {
			continue
		}
		for _, p := range item.Post.Parameters {
			if p.Value.Name == "Idempotency-Key" {
				paths = append(paths, path)
			}
		}
	}
	slices.Sort(paths)
	return paths
}

// Every POST creates, but for the one that keeps nothing and the one that sends again what there is.
func TestEveryPostAsksForAnIdempotencyKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ids := w.things()
	asked := creating()
	for path, item := range theContract().Paths.Map() {
		if item.Post == nil || path == "/v1/calculations" || path == "/v1/webhooks/{id}/replay" {
			continue
		}
		if !slices.Contains(asked, path) {
			t.Errorf("POST %s asks for no Idempotency-Key", path)
		}
		before := w.recorded()
		if answer := w.serve(w.call(http.MethodPost, path, ids, "Idempotency-Key", "")); answer.StatusCode != http.StatusBadRequest || w.recorded() != before {
			t.Errorf("POST %s without Idempotency-Key: %d, want 400 and nothing recorded", path, answer.StatusCode)
		}
	}
}

// reply is what a caller keeps of an answer; the key that is shown once is cut out.
type reply struct {
	status         int
	body, location string
	shown          bool
	replayed       bool
}

// insist sends a request as a caller does that is told to come again.
func (w *world) insist(ctx context.Context, r func() *http.Request) reply {
	for {
		recorder := httptest.NewRecorder()
		w.api.ServeHTTP(recorder, r())
		again := recorder.Code == http.StatusConflict || recorder.Code == http.StatusServiceUnavailable
		if again && recorder.Header().Get("Retry-After") != "" && ctx.Err() == nil {
			time.Sleep(20 * time.Millisecond)
			continue
		}
		got := reply{status: recorder.Code, body: recorder.Body.String(), location: recorder.Header().Get("Location"), replayed: recorder.Header().Get("Idempotency-Replayed") == "true"}
		var members map[string]json.RawMessage
		if json.Unmarshal(recorder.Body.Bytes(), &members) == nil && strings.HasPrefix(string(members["key"]), `"ro_`) {
			got.shown = true
			got.body = strings.Replace(got.body, `"key":`+string(members["key"])+",", "", 1)
		}
		return got
	}
}

// A hundred at once under one Idempotency-Key: it is done once, and all get the same answer. Another body is refused,
// and another organisation's same key is another one.
func TestHundredPostsWithOneKey(t *testing.T) {
	t.Parallel()
	w, _, url := newStoredWorld(t)
	ids := w.things()
	w.key, w.other = w.other, w.key
	theirs := w.things()
	w.key, w.other = w.other, w.key
	for _, path := range creating() {
		post := func(key, body string, ids map[string]string) func() *http.Request {
			return func() *http.Request {
				r := w.call(http.MethodPost, path, ids, "Authorization", "Bearer "+key, "Idempotency-Key", "one"+strings.ReplaceAll(path, "/", "-"))
				if body != "" {
					r.Body = httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body)).Body
				}
				return r
			}
		}
		alone := len(everyRow(t, url)["changes"])
		if got := w.insist(t.Context(), func() *http.Request {
			return w.call(http.MethodPost, path, ids, "Idempotency-Key", "alone"+strings.ReplaceAll(path, "/", "-"))
		}); got.status != http.StatusCreated {
			t.Errorf("POST %s: %d %s", path, got.status, got.body)
			continue
		}
		before := everyRow(t, url)
		alone = len(before["changes"]) - alone

		var mu sync.Mutex
		var all sync.WaitGroup
		var replies []reply
		for range 100 {
			all.Go(func() {
				got := w.insist(t.Context(), post(w.key, "", ids))
				mu.Lock()
				defer mu.Unlock()
				replies = append(replies, got)
			})
		}
		all.Wait()
		first, shown := 0, 0
		for _, got := range replies {
			if got.status != http.StatusCreated || got.body != replies[0].body || got.location != replies[0].location {
				t.Fatalf("POST %s: %d at %s %s, another got %d at %s %s", path, got.status, got.location, got.body, replies[0].status, replies[0].location, replies[0].body)
			}
			if !got.replayed {
				first++
			}
			if got.shown {
				shown++
			}
		}
		wantShown := 0
		if strings.HasPrefix(path, "/v1/keys") {
			wantShown = 1
		}
		after := everyRow(t, url)
		if changes, claims := len(after["changes"])-len(before["changes"]), len(after["idempotency_claims"])-len(before["idempotency_claims"]); first != 1 || shown != wantShown || changes != alone || claims != 1 {
			t.Errorf("POST %s: %d did it, %d were shown a key, %d changes and %d claims are kept; want 1, %d, %d and 1", path, first, shown, changes, claims, wantShown, alone)
		}

		if got := w.insist(t.Context(), post(w.key, letters["POST "+path].whole(t)+" ", ids)); got.status != http.StatusUnprocessableEntity || !strings.Contains(got.body, `"key_reused"`) {
			t.Errorf("POST %s with another body: %d %s, want 422 key_reused", path, got.status, got.body)
		}
		if again := everyRow(t, url); !maps.EqualFunc(again, after, slices.Equal) {
			t.Errorf("POST %s with another body: something was kept", path)
		}
		if got := w.insist(t.Context(), post(w.other, "", theirs)); got.status != http.StatusCreated || got.replayed || got.location == replies[0].location {
			t.Errorf("POST %s of another organisation with the same key: %+v, want one of its own", path, got)
		}
	}
	if n := len(creating()); n < 10 {
		t.Errorf("%d operations create, want 10 or more", n)
	}
}

// The claim, the work, its entry in the log and the answer are one transaction: whichever of them fails, none is kept,
// and the same key can be used again.
func TestCreatingIsOneTransaction(t *testing.T) {
	t.Parallel()
	w, _, url := newStoredWorld(t)
	ids := w.things()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	order := func(sql string) {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	order(`CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'as asked'; END $$`)
	for _, path := range creating() {
		before := everyRow(t, url)
		for _, table := range []string{"idempotency_claims", "changes"} {
			order(`CREATE TRIGGER fail BEFORE INSERT ON ` + table + ` FOR EACH ROW EXECUTE FUNCTION fail()`)
			answer := w.serve(w.call(http.MethodPost, path, ids, "Idempotency-Key", "atomic"+strings.ReplaceAll(path, "/", "-")))
			order(`DROP TRIGGER fail ON ` + table)
			if answer.StatusCode != http.StatusInternalServerError {
				t.Errorf("POST %s, %s failing: %d %s, want 500", path, table, answer.StatusCode, text(t, answer))
			}
			if after := everyRow(t, url); !maps.EqualFunc(after, before, slices.Equal) {
				t.Errorf("POST %s, %s failing: something was kept", path, table)
			}
		}
		if answer := w.serve(w.call(http.MethodPost, path, ids, "Idempotency-Key", "atomic"+strings.ReplaceAll(path, "/", "-"))); answer.StatusCode != http.StatusCreated || answer.Header.Get("Idempotency-Replayed") != "" {
			t.Errorf("POST %s afterwards: %d %s", path, answer.StatusCode, text(t, answer))
		}
	}
}
