package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
)

// outwards admits what is secured, and carries nothing.
type outwards struct{}

func (outwards) Admit(address string) string {
	if !strings.HasPrefix(address, "https://") {
		return "not secured by TLS"
	}
	return ""
}

func (outwards) Carry(context.Context, string, service.Message) service.Receipt {
	return service.Receipt{Outcome: service.Unreachable}
}

// boxes seals by turning bits over, so that what was sealed can be told from what was not.
type boxes struct{}

func (boxes) Seal(place string, secret []byte) []byte {
	return append([]byte(place+"|"), turned(secret)...)
}

func (boxes) Open(place string, sealed []byte) ([]byte, error) {
	secret, ok := bytes.CutPrefix(sealed, []byte(place+"|"))
	if !ok {
		return nil, fmt.Errorf("sealed for another place than %s", place)
	}
	return turned(secret), nil
}

func turned(b []byte) []byte {
	b = bytes.Clone(b)
	for i := range b {
		b[i] ^= 0xff
	}
	return b
}

const aHook = `{"url": "https://hooks.example.org/sea", "description": "fleet board", "kinds": ["plan", "incident"]}`

// hook makes a webhook and gives its address, its tag and its secret.
func (w *world) hook(key, body string) (address, tag, secret string) {
	w.t.Helper()
	answer := w.do(http.MethodPost, "/v1/webhooks", body, "Idempotency-Key", key)
	var made openapi.WebhookShown
	if err := json.Unmarshal([]byte(text(w.t, answer)), &made); err != nil || answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("make a webhook: %d %s", answer.StatusCode, text(w.t, answer))
	}
	return answer.Header.Get("Location"), answer.Header.Get("ETag"), made.Secret
}

// blot puts a mark in the place of a secret, which is another each time.
func blot(t *testing.T, answer *http.Response, secret string) *http.Response {
	t.Helper()
	body := text(t, answer)
	if !strings.Contains(body, secret) {
		t.Errorf("%s does not show %s", body, secret)
	}
	answer.Body = readCloser(strings.ReplaceAll(body, secret, "whsec_shownOnce"))
	return answer
}

func TestWebhookAnswers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	golden(t, "webhooks/none", w.do(http.MethodGet, "/v1/webhooks", ""))
	address, tag, secret := w.hook("k1", aHook)
	if _, err := service.ParseSigningSecret(secret); err != nil {
		t.Errorf("secret %q: %v", secret, err)
	}
	again := w.do(http.MethodPost, "/v1/webhooks", aHook, "Idempotency-Key", "k1")
	if again.Header.Get("Idempotency-Replayed") != "true" || again.Header.Get("ETag") != tag || again.Header.Get("Location") != address {
		t.Errorf("the repeat is answered with %v", again.Header)
	}
	golden(t, "webhooks/created", blot(t, again, secret)) // as the first answer was
	read := w.do(http.MethodGet, address, "")
	if read.Header.Get("ETag") != tag || strings.Contains(text(t, read), "whsec_") {
		t.Errorf("read with %s: %s, want %s and no secret", read.Header.Get("ETag"), text(t, read), tag)
	}
	golden(t, "webhook/read", read)
	w.pass(time.Hour)
	changed := w.do(http.MethodPatch, address, `{"state": "paused", "kinds": null, "description": null}`, "If-Match", tag, "Content-Type", "application/merge-patch+json")
	golden(t, "webhook/changed", changed)
	w.pass(time.Hour)
	rotated := w.do(http.MethodPost, address+"/secret", `{"overlap_h": 48}`, "Idempotency-Key", "r1")
	var second openapi.WebhookShown
	if err := json.Unmarshal([]byte(text(t, rotated)), &second); err != nil || second.Secret == secret || len(second.Secrets) != 2 {
		t.Errorf("rotated: %d %s", rotated.StatusCode, text(t, rotated))
	}
	golden(t, "webhook/rotated", blot(t, rotated, second.Secret))
	w.hook("k2", `{"url": "https://other.example.org/"}`)
	golden(t, "webhooks/list", w.do(http.MethodGet, "/v1/webhooks", ""))
	golden(t, "webhook/events", w.do(http.MethodGet, "/v1/events", ""))
	now := w.do(http.MethodGet, address, "").Header.Get("ETag")
	if gone := w.do(http.MethodDelete, address, "", "If-Match", now); gone.StatusCode != http.StatusNoContent || text(t, gone) != "" {
		t.Errorf("remove: %d %s", gone.StatusCode, text(t, gone))
	}
	golden(t, "webhook/removed", w.do(http.MethodGet, address, ""))
	if log := w.log.String(); strings.Contains(log, secret) || strings.Contains(log, second.Secret) {
		t.Error("a secret is in the log")
	}
}

func TestWebhookChangesAskIfMatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	address, tag, _ := w.hook("k", aHook)
	patch := []string{"Content-Type", "application/merge-patch+json"}
	for _, c := range []struct {
		method, body, match string
		status              int
	}{
		{http.MethodPatch, `{"state": "paused"}`, "", 428},
		{http.MethodPatch, `{"state": "paused"}`, `"00"`, 412},
		{http.MethodDelete, "", "", 428},
		{http.MethodDelete, "", `"00"`, 412},
		{http.MethodPatch, `{"state": "paused"}`, tag, 200},
		{http.MethodPatch, `{"state": "active"}`, tag, 412}, // by now there is another version
		{http.MethodPatch, `{"state": "active"}`, "*", 200},
	} {
		answer := w.do(c.method, address, c.body, append(patch, "If-Match", c.match)...)
		if answer.StatusCode != c.status {
			t.Errorf("%s %s with If-Match %q: %d %s, want %d", c.method, c.body, c.match, answer.StatusCode, text(t, answer), c.status)
		}
	}
}

func TestBadWebhookBodies(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	address, tag, _ := w.hook("k", aHook)
	for _, c := range []struct{ method, path, body, pointer string }{
		{http.MethodPost, "/v1/webhooks", `{}`, "/url"},
		{http.MethodPost, "/v1/webhooks", `[]`, ""},
		{http.MethodPost, "/v1/webhooks", `{"url": "http://hooks.example.org"}`, "/url"},
		{http.MethodPost, "/v1/webhooks", `{"url": 7}`, "/url"},
		{http.MethodPost, "/v1/webhooks", `{"url": "https://a.example.org", "url": "https://b.example.org"}`, "/url"},
		{http.MethodPost, "/v1/webhooks", `{"url": "https://a.example.org", "kinds": []}`, "/kinds"},
		{http.MethodPost, "/v1/webhooks", `{"url": "https://a.example.org", "kinds": ["Plan"]}`, "/kinds/0"},
		{http.MethodPost, "/v1/webhooks", `{"url": "https://a.example.org", "state": "disabled"}`, "/state"},
		{http.MethodPost, "/v1/webhooks", `{"url": "https://a.example.org", "secret": "whsec_x"}`, "/secret"},
		{http.MethodPatch, address, `{"url": null}`, "/url"},
		{http.MethodPatch, address, `{"url": "ftp://a"}`, "/url"},
		{http.MethodPatch, address, `{"id": "x"}`, "/id"},
		{http.MethodPatch, address, `[]`, ""},
		{http.MethodPost, address + "/secret", `{"overlap_h": 169}`, "/overlap_h"},
		{http.MethodPost, address + "/secret", `{"overlap_h": 1.5}`, "/overlap_h"},
		{http.MethodPost, address + "/replay", `{}`, "/after"},
		{http.MethodPost, address + "/replay", `{"after": -1}`, "/after"},
		{http.MethodPost, address + "/replay", `{"after": 2}`, "/after"},
	} {
		kind := "application/json"
		if c.method == http.MethodPatch {
			kind = "application/merge-patch+json"
		}
		answer := w.do(c.method, c.path, c.body, "Content-Type", kind, "If-Match", tag, "Idempotency-Key", uuid.NewString())
		if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || len(p.Errors) != 1 || p.Errors[0].Pointer == nil || *p.Errors[0].Pointer != c.pointer {
			t.Errorf("%s %s %s: %d %s, want 400 naming %q", c.method, c.path, c.body, answer.StatusCode, text(t, answer), c.pointer)
		}
	}
	if now := w.do(http.MethodGet, address, "").Header.Get("ETag"); now != tag {
		t.Error("a refused change changed it")
	}
}

func TestWebhooksOfAnotherOrganisationAreNotThere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	address, tag, _ := w.hook("k", aHook)
	for _, c := range []struct{ method, path, body, kind string }{
		{http.MethodGet, address, "", ""},
		{http.MethodGet, address + "/deliveries", "", ""},
		{http.MethodPatch, address, `{"state": "paused"}`, "application/merge-patch+json"},
		{http.MethodDelete, address, "", ""},
		{http.MethodPost, address + "/secret", `{}`, "application/json"},
		{http.MethodPost, address + "/replay", `{"after": 0}`, "application/json"},
	} {
		answer := w.do(c.method, c.path, c.body, "Authorization", "Bearer "+w.other, "Content-Type", c.kind, "If-Match", "*", "Idempotency-Key", "x")
		if answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s %s: %d %s, want 404", c.method, c.path, answer.StatusCode, text(t, answer))
		}
	}
	if list := text(t, w.do(http.MethodGet, "/v1/webhooks", "", "Authorization", "Bearer "+w.other)); list != `{"items":[],"next":null,"prev":null}` {
		t.Errorf("the other organisation lists %s", list)
	}
	// The same Idempotency-Key is another claim, with another secret.
	_, _, secret := w.hook("k", aHook)
	answer := w.do(http.MethodPost, "/v1/webhooks", aHook, "Idempotency-Key", "k", "Authorization", "Bearer "+w.other)
	if answer.StatusCode != http.StatusCreated || answer.Header.Get("Location") == address || strings.Contains(text(t, answer), secret) {
		t.Errorf("the other organisation's same key: %d %s", answer.StatusCode, answer.Header.Get("Location"))
	}
	if w.do(http.MethodGet, address, "").Header.Get("ETag") != tag {
		t.Error("another organisation changed it")
	}
}

func TestDeliveriesArePagedThereAndBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	address, _, _ := w.hook("k", aHook)
	id := uuid.MustParse(address[strings.LastIndex(address, "/")+1:])
	named := counter("00000000-0000-7000-c000-%012d")
	w.history.HasDelivered(uuid.UUID{1}, id, service.Delivery{ID: named(), Sequence: 1, Attempt: 1, At: noon, Took: 120 * time.Millisecond, Outcome: service.Delivered, Status: 204}, service.Standing{Delivered: 1})
	for i, outcome := range []service.Outcome{service.TimedOut, service.Refused} {
		at := noon.Add(time.Duration(i+1) * time.Minute)
		d := service.Delivery{ID: named(), Sequence: 2, Attempt: i + 1, At: at, Took: 15 * time.Second, Outcome: outcome, Status: 503 * i}
		w.history.HasDelivered(uuid.UUID{1}, id, d, service.Standing{FailingSince: noon.Add(time.Minute), NextAttempt: at.Add(5 * time.Minute)})
	}
	golden(t, "webhook/deliveries", w.do(http.MethodGet, address+"/deliveries", ""))
	var seen []string
	path := address + "/deliveries?limit=1"
	var back string
	for range 3 {
		var page openapi.DeliveryPage
		if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, path, ""))), &page); err != nil || len(page.Items) != 1 {
			t.Fatalf("%s: %v, %d items", path, err, len(page.Items))
		}
		seen = append(seen, page.Items[0].Id.String())
		if page.Prev != nil {
			back = *page.Prev
		}
		if page.Next != nil {
			path = address + "/deliveries?limit=1&cursor=" + *page.Next
		}
	}
	if len(seen) != 3 || seen[0] <= seen[1] || seen[1] <= seen[2] {
		t.Errorf("paged %v, want three attempts, newest first", seen)
	}
	if before := text(t, w.do(http.MethodGet, address+"/deliveries?limit=1&cursor="+back, "")); !strings.Contains(before, seen[1]) {
		t.Errorf("back from the last: %s, want %s", before, seen[1])
	}
	other, _, _ := w.hook("k2", aHook)
	if answer := w.do(http.MethodGet, other+"/deliveries?cursor="+back, ""); answer.StatusCode != http.StatusBadRequest {
		t.Errorf("a cursor of another list: %d, want 400", answer.StatusCode)
	}
}

func TestReplayIsTakenAndNotedForLater(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	address, _, _ := w.hook("k", aHook)
	w.happen(2)
	answer := w.do(http.MethodPost, address+"/replay", `{"after": 1.0e0}`) // a whole number however it is written
	if answer.StatusCode != http.StatusAccepted || text(t, answer) != `{"after":1}` {
		t.Errorf("%d %s", answer.StatusCode, text(t, answer))
	}
	jobs := w.history.Jobs()
	if len(jobs) != 1 || jobs[0].Kind != service.JobDeliver || !strings.HasSuffix(address, jobs[0].On[0].String()) {
		t.Errorf("noted %+v", jobs)
	}
	var page openapi.DeliveryPage
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, address+"/deliveries", ""))), &page); err != nil || page.Delivered != 1 || page.Latest != 3 {
		t.Errorf("delivered %d of %d, %v, want 1 of 3", page.Delivered, page.Latest, err)
	}
	w.pass(service.EventLife + time.Hour)
	w.happen(1)
	if old := w.do(http.MethodPost, address+"/replay", `{"after": 1}`); old.StatusCode != http.StatusBadRequest {
		t.Errorf("before what is told still: %d %s", old.StatusCode, text(t, old))
	}
}

func TestWithoutAKeyForSecretsNoWebhookIsMade(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.webhooks.Safe = nil
	answer := w.do(http.MethodPost, "/v1/webhooks", aHook, "Idempotency-Key", "k")
	if p := problem(t, answer); answer.StatusCode != http.StatusServiceUnavailable || !strings.Contains(p.Detail, "RIDEOUT_SECRETS_KEY_FILE") {
		t.Errorf("%d %s", answer.StatusCode, text(t, answer))
	}
}

func TestAnOrganisationHasTwentyWebhooks(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for i := range 20 {
		w.hook(fmt.Sprint(i), aHook)
	}
	answer := w.do(http.MethodPost, "/v1/webhooks", aHook, "Idempotency-Key", "more")
	if answer.StatusCode != http.StatusBadRequest || !strings.Contains(text(t, answer), "at most 20") {
		t.Errorf("one more: %d %s", answer.StatusCode, text(t, answer))
	}
}
