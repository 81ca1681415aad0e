package api_test

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"rideout/service"
	"rideout/service/planner"
)

// secretOf is the part of a key that is no name.
func secretOf(key string) string { return key[strings.LastIndex(key, "_")+1:] }

// held tells in which forms a text holds a secret.
func held(text, secret string) (forms []string) {
	for form, written := range map[string]string{
		"clear": secret, "hex": hex.EncodeToString([]byte(secret)), "base64": base64.RawStdEncoding.EncodeToString([]byte(secret)),
	} {
		if strings.Contains(text, written) {
			forms = append(forms, form)
		}
	}
	return forms
}

// All that the database holds, after keys were made in every way, sent in every place, and used.
func TestDatabaseHoldsNoKey(t *testing.T) {
	t.Parallel()
	w, _, url := newStoredWorld(t)
	keys := []string{w.key, w.other}
	w.things()
	d := w.made("/v1/keys", keyBody, "a")
	w.made("/v1/keys", keyBody, "a")
	next := w.made(d.Links["rotation"], `{}`, "b")
	w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+d.Key)
	w.do(http.MethodPost, "/v1/vessels", ternBody, "Idempotency-Key", d.Key)
	w.do(http.MethodPost, "/v1/vessels", ternBody, "Idempotency-Key", "c", "X-Request-Id", next.Key)
	w.do(http.MethodPost, "/v1/keys", strings.Replace(keyBody, "booking", next.Key, 1), "Idempotency-Key", "d")
	w.do(http.MethodDelete, d.Links["self"], "")
	keys = append(keys, d.Key, next.Key)
	rows := 0
	for table, all := range everyRow(t, url) {
		for _, row := range all {
			rows++
			for _, key := range keys {
				if forms := held(row, secretOf(key)); forms != nil {
					t.Errorf("%s holds the key %.11s in %v: %s", table, key, forms, row)
				}
			}
		}
	}
	if rows < 50 {
		t.Errorf("%d rows were read, so this shows little", rows)
	}
	// The rows are read whole: what a key's row does hold is found.
	key, err := service.ParseKey(d.Key)
	if err != nil {
		t.Fatal(err)
	}
	if all := strings.Join(everyRow(t, url)["keys"], "\n"); !strings.Contains(all, hex.EncodeToString(key.Hash())) || !strings.Contains(all, d.Name) {
		t.Error("the hash and the name of a key were not found either")
	}
}

// Whatever is done with a key, and whatever fails meanwhile, the log names it at most.
func TestLogHoldsNoKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	good := w.made("/v1/keys", keyBodyOf("plans:read", "plans:write"), "a").Key
	next := w.made("/v1/keys", readerBody, "b")
	rotated := w.made(next.Links["rotation"], `{}`, "c").Key
	w.do(http.MethodDelete, next.Links["self"], "")
	unknown := service.NewKey().Reveal()
	mistyped := good[:len(good)-1] + "!"
	keys := []string{w.key, w.other, good, next.Key, rotated, unknown, mistyped}
	for _, key := range keys {
		for _, headers := range [][]string{
			{"Authorization", "Bearer " + key},
			{"Authorization", "Basic " + key},
			{"Authorization", key},
			{"Idempotency-Key", key},
			{"X-Request-Id", key},
			{"If-Match", key, "If-None-Match", key, "User-Agent", key, "Cookie", "key=" + key, "Accept", key, "Content-Type", key},
		} {
			w.do(http.MethodGet, "/v1/plans", "", headers...)
			w.do(http.MethodPost, "/v1/plans", exampleBody(t), headers...)
			w.do(http.MethodPost, "/v1/keys", keyBody, headers...)
		}
		w.do(http.MethodGet, "/v1/keys/"+strings.ReplaceAll(key, "!", "x"), "")
		w.do(http.MethodGet, "/v1/plans?cursor="+key+"&key="+key, "")
		w.do(http.MethodPost, "/v1/keys", strings.Replace(keyBody, "booking", key, 1), "Idempotency-Key", "d")
		w.do(http.MethodPost, "/v1/keys", key, "Idempotency-Key", "e")
	}
	// And with everything failing.
	w.compute = func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) { panic("as asked") }
	w.do(http.MethodPost, "/v1/plans", strings.Replace(exampleBody(t), "14000", "14001", 1), "Idempotency-Key", "f", "Authorization", "Bearer "+good)
	w.useErr = errors.New("as asked")
	w.pass(time.Hour)
	w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+good)
	w.history.Err = errors.New("as asked")
	w.do(http.MethodPost, "/v1/keys", keyBody, "Idempotency-Key", "g")
	w.keyErr = errors.New("as asked")
	w.pass(time.Hour)
	w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+good)
	w.keyErr = service.ErrUnavailable
	w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+good)

	lines := w.log.String()
	for _, key := range keys {
		if forms := held(lines, secretOf(key)); forms != nil {
			t.Errorf("the log holds the key %.11s in %v", key, forms)
		}
	}
	for _, said := range []string{"panic: as asked", "the use of a key was not noted", `"status":401`, `"status":403`, `"status":503`} {
		if !strings.Contains(lines, said) {
			t.Errorf("the log does not say %q, so this shows less than it should", said)
		}
	}
}
