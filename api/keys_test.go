package api_test

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

// made posts for a key and gives what was answered.
func (w *world) made(path, body, sent string, headers ...string) service.KeyDocument {
	w.t.Helper()
	answer := w.do(http.MethodPost, path, body, append([]string{"Idempotency-Key", sent}, headers...)...)
	if answer.StatusCode != http.StatusCreated {
		w.t.Fatalf("POST %s: %d %s", path, answer.StatusCode, text(w.t, answer))
	}
	var d service.KeyDocument
	if err := json.Unmarshal([]byte(text(w.t, answer)), &d); err != nil {
		w.t.Fatal(err)
	}
	return d
}

// with reads the list of plans with a key and gives the status.
func (w *world) with(key string) int {
	w.t.Helper()
	return w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+key).StatusCode
}

const readerBody = `{"label": "Booking system", "scopes": ["plans:read", "audit:read"], "expires_at": "2026-04-12T12:00:00Z"}`

func TestGoldenKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	admin := w.made("/v1/keys", `{"label": "Admin", "scopes": ["admin"]}`, "b")
	w.pass(time.Hour)
	for _, c := range []struct {
		name, method, target, body string
		headers                    []string
		status                     int
	}{
		{"keys/repeated", http.MethodPost, "/v1/keys", readerBody, []string{"Idempotency-Key", "a"}, 201},
		{"keys/other_body", http.MethodPost, "/v1/keys", keyBody, []string{"Idempotency-Key", "a"}, 422},
		{"keys/invalid", http.MethodPost, "/v1/keys", `{"label": "", "scopes": ["plans:read", "everything", "plans:read"], "expires_at": "soon", "key": "ro_x"}`, []string{"Idempotency-Key", "c"}, 400},
		{"keys/expired_before_it_is_made", http.MethodPost, "/v1/keys", `{"label": "x", "scopes": ["plans:read"], "expires_at": "2026-01-12T12:00:00Z"}`, []string{"Idempotency-Key", "d"}, 400},
		{"keys/more_than_it_has", http.MethodPost, "/v1/keys", keyBodyOf("plans:write", "rescue:emergency", "admin"), []string{"Idempotency-Key", "e", "Authorization", "Bearer " + admin.Key}, 403},
		{"keys/key_as_idempotency_key", http.MethodPost, "/v1/keys", keyBody, []string{"Idempotency-Key", admin.Key}, 400},
		{"key/ok", http.MethodGet, d.Links["self"], "", nil, 200},
		{"key/rotation_too_long", http.MethodPost, d.Links["rotation"], `{"old_valid_until": "2026-03-12T12:00:00Z"}`, []string{"Idempotency-Key", "f"}, 400},
		{"key/rotation_of_more_than_it_has", http.MethodPost, d.Links["rotation"], `{}`, []string{"Idempotency-Key", "g", "Authorization", "Bearer " + admin.Key}, 403},
		{"key/revoked", http.MethodDelete, d.Links["self"], "", nil, 200},
		{"key/revoked_again", http.MethodDelete, d.Links["self"], "", nil, 200},
		{"key/rotation_of_a_revoked_one", http.MethodPost, d.Links["rotation"], `{}`, []string{"Idempotency-Key", "h"}, 409},
		{"key/last_admin", http.MethodDelete, admin.Links["self"], "", nil, 409},
		{"keys/list", http.MethodGet, "/v1/keys?limit=1", "", nil, 200},
	} {
		answer := w.do(c.method, c.target, c.body, c.headers...)
		if answer.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d: %s", c.name, answer.StatusCode, c.status, text(t, answer))
		}
		if strings.Contains(text(t, answer), d.Key) || strings.Contains(text(t, answer), admin.Key) {
			t.Errorf("%s: it holds a key", c.name)
		}
		answer = unnamed(t, answer, d, admin)
		golden(t, c.name, answer)
	}
}

func keyBodyOf(scopes ...string) string {
	return `{"label": "x", "scopes": ["` + strings.Join(scopes, `", "`) + `"]}`
}

// unnamed puts one name in the place of the names of keys, which are chance.
func unnamed(t *testing.T, answer *http.Response, keys ...service.KeyDocument) *http.Response {
	t.Helper()
	body := text(t, answer)
	for _, k := range keys {
		body = strings.ReplaceAll(body, k.Name, "ro_xxxxxxxx")
	}
	answer.Body = io.NopCloser(strings.NewReader(body))
	return answer
}

func TestKeyIsShownOnceAndOpens(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	key, err := service.ParseKey(d.Key)
	if err != nil || key.Name() != d.Name {
		t.Fatalf("got the key %q named %q: %v", d.Key, d.Name, err)
	}
	if again := w.made("/v1/keys", readerBody, "a"); again.Key != "" || again.ID != d.ID || again.Name != d.Name {
		t.Errorf("a repeat: %+v, want the same without the key", again)
	}
	if got := w.with(d.Key); got != http.StatusOK {
		t.Errorf("with the key: %d", got)
	}
	w.pass(90 * 24 * time.Hour) // to the moment it expires
	answer := w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+d.Key)
	if answer.StatusCode != http.StatusUnauthorized || !strings.Contains(problem(t, answer).Detail, "expired") {
		t.Errorf("expired: %d %s", answer.StatusCode, text(t, answer))
	}
}

// A key expires at its moment, also while it is remembered.
func TestKeyExpiresWhileItIsRemembered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", `{"label": "short", "scopes": ["plans:read"], "expires_at": "2026-01-12T12:00:01Z"}`, "a")
	if got := w.with(d.Key); got != http.StatusOK {
		t.Errorf("before: %d, want 200", got)
	}
	w.pass(time.Second)
	if got := w.with(d.Key); got != http.StatusUnauthorized {
		t.Errorf("after: %d, want 401", got)
	}
}

func TestRevokedKeyOpensNothingWithinFiveSeconds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	other := newWorldBeside(w) // another process on the same history
	for _, of := range []*world{w, other} {
		if got := of.with(d.Key); got != http.StatusOK {
			t.Fatalf("before: %d, want 200", got)
		}
	}
	if answer := w.do(http.MethodDelete, d.Links["self"], ""); answer.StatusCode != http.StatusOK {
		t.Fatalf("revoke: %d %s", answer.StatusCode, text(t, answer))
	}
	if got := w.with(d.Key); got != http.StatusUnauthorized {
		t.Errorf("at once, where it was revoked: %d, want 401", got)
	}
	other.pass(4999 * time.Millisecond)
	if got := other.with(d.Key); got != http.StatusUnauthorized {
		t.Errorf("within 5 s, elsewhere: %d, want 401", got)
	}
}

func TestKeyIsLookedUpAgainAfterFourSeconds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	get := func() int { return w.do(http.MethodGet, "/v1/plans", "").StatusCode }
	get()
	get()
	if w.lookups != 1 {
		t.Errorf("%d look-ups for two requests, want 1", w.lookups)
	}
	w.holders = nil // revoked
	w.pass(4*time.Second - 1)
	if got := get(); got != http.StatusOK {
		t.Errorf("within 4 s: %d, want 200 from the cache", got)
	}
	w.pass(1)
	if got := get(); got != http.StatusUnauthorized {
		t.Errorf("after 4 s: %d, want 401", got)
	}
	w.keyErr = service.ErrUnavailable
	if got := get(); got != http.StatusServiceUnavailable {
		t.Errorf("store away: %d, want 503", got)
	}
	w.keyErr = errors.New("broken")
	if got := get(); got != http.StatusInternalServerError {
		t.Errorf("store broken: %d, want 500", got)
	}
}

// A stream lives long, so its key is looked up as it goes on.
func TestStreamOfARevokedKeyEnds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	w.key, d.Key = d.Key, w.key
	answer := w.stream(w.serveReal(nil)+"/v1/events/stream", "")
	w.key, d.Key = d.Key, w.key
	time.AfterFunc(100*time.Millisecond, func() { w.do(http.MethodDelete, d.Links["self"], "") })
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		t.Errorf("the stream ended with %v, want its end", err)
	}
}

func TestRotationOverlaps(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, c := range map[string]struct {
		body       string
		lasts      time.Duration // of the old one
		newExpires string
	}{
		"day":      {`{}`, 24 * time.Hour, "2026-04-12T12:00:00Z"},
		"until":    {`{"old_valid_until": "2026-01-12T15:00:00+01:00"}`, 2 * time.Hour, "2026-04-12T12:00:00Z"},
		"at-once":  {`{"old_valid_until": "2026-01-01T00:00:00Z", "expires_at": "2026-02-01T00:00:00Z"}`, 0, "2026-02-01T00:00:00Z"},
		"own-life": {`{"old_valid_until": "2026-02-10T00:00:00Z"}`, 28*24*time.Hour + 12*time.Hour, "2026-04-12T12:00:00Z"},
	} {
		w := newWorldBeside(w)
		old := w.made("/v1/keys", readerBody, name)
		next := w.made(old.Links["rotation"], c.body, name+"-rotated")
		if next.Label != old.Label || !slices.Equal(next.Scopes, old.Scopes) || next.RotatedFrom == nil || *next.RotatedFrom != old.ID ||
			next.ExpiresAt.Truncate(time.Second).Format(time.RFC3339) != c.newExpires {
			t.Errorf("%s: rotated to %+v", name, next)
		}
		if again := w.made(old.Links["rotation"], c.body, name+"-rotated"); again.Key != "" || again.ID != next.ID {
			t.Errorf("%s: a repeat gave %+v", name, again)
		}
		if got := w.with(next.Key); got != http.StatusOK {
			t.Errorf("%s: with the new key: %d", name, got)
		}
		if c.lasts > 0 {
			w.pass(c.lasts - time.Second)
			if got := w.with(old.Key); got != http.StatusOK {
				t.Errorf("%s: the old key within the overlap: %d, want 200", name, got)
			}
			w.pass(time.Second)
		}
		w.pass(time.Millisecond) // its end is the change's time
		if got := w.with(old.Key); got != http.StatusUnauthorized {
			t.Errorf("%s: the old key after the overlap: %d, want 401", name, got)
		}
	}
}

// A key that is on its way out does not count as one that can make keys.
func TestAdminKeyThatIsBeingReplacedIsNoSpare(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	old := w.made("/v1/keys", keyBody, "a")
	next := w.made(old.Links["rotation"], `{}`, "b")
	if answer := w.do(http.MethodDelete, next.Links["self"], ""); answer.StatusCode != http.StatusConflict || problem(t, answer).Code != "last_admin_key" {
		t.Errorf("revoke the new one: %d %s, want 409", answer.StatusCode, text(t, answer))
	}
	if answer := w.do(http.MethodDelete, old.Links["self"], ""); answer.StatusCode != http.StatusOK {
		t.Errorf("revoke the old one: %d %s, want 200", answer.StatusCode, text(t, answer))
	}
}

func TestUseIsNotedAndARequestDoesNotFailForIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	for _, c := range []struct{ after, want time.Duration }{{0, 0}, {30 * time.Second, 0}, {30 * time.Second, time.Minute}} {
		w.pass(c.after)
		w.with(d.Key)
		var got service.KeyDocument
		if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, d.Links["self"], ""))), &got); err != nil {
			t.Fatal(err)
		}
		if got.LastUsedAt == nil || !got.LastUsedAt.Equal(noon.Add(c.want)) {
			t.Errorf("last used %v, want %v", got.LastUsedAt, noon.Add(c.want))
		}
	}
	w.useErr = service.ErrUnavailable
	w.pass(time.Hour)
	if got := w.with(d.Key); got != http.StatusOK {
		t.Errorf("when its use cannot be noted: %d, want 200", got)
	}
}

// What becomes of keys is told as events.
func TestKeysAreEvents(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.made("/v1/keys", readerBody, "a")
	w.do(http.MethodDelete, d.Links["self"], "")
	var page struct {
		Items []service.CloudEvent
	}
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/events", ""))), &page); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range page.Items {
		got = append(got, e.Type+" "+e.Data.Links["self"])
	}
	if want := []string{"rideout.key.created " + d.Links["self"], "rideout.key.changed " + d.Links["self"]}; !slices.Equal(got, want) {
		t.Errorf("told %v, want %v", got, want)
	}
}

func TestAnothersKeysAreNotSeen(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.made("/v1/keys", readerBody, "a")
	theirs := w.issue(uuid.UUID{2}, service.AllScopes()...).Reveal()
	var page struct {
		Items []service.KeyDocument
	}
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/keys", "", "Authorization", "Bearer "+theirs))), &page); err != nil {
		t.Fatal(err)
	}
	if len(page.Items) != 1 || !strings.HasPrefix(theirs, page.Items[0].Name) {
		t.Errorf("another sees %+v, want its own key alone", page.Items)
	}
}
