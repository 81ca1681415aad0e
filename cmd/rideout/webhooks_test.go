package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// The whole way: a webhook is made over the API of a server that serves, and what is recorded after arrives, signed, also
// after the server was started anew.
func TestServedWebhookIsTold(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	made := runWith(t, nil, "key", "--organisation", "Vestvik", "--data-dir", dir)
	if made.code != exitOK {
		t.Fatalf("got code %d and %q", made.code, made.stderr)
	}
	key := strings.TrimSpace(made.stdout)
	type letter struct {
		header http.Header
		body   []byte
	}
	arrived := make(chan letter, 100)
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		arrived <- letter{r.Header, body}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer receiver.Close()

	var secret string
	for start, want := range []string{"rideout.webhook.created", "rideout.vessel.created"} {
		ctx, stop := context.WithCancel(t.Context())
		served := make(chan int, 1)
		stderr := &lines{seen: make(chan string, 1000)}
		environment := map[string]string{"RIDEOUT_WEBHOOK_NETWORKS": "127.0.0.0/8"}
		go func() {
			served <- run(ctx, program{func(name string) string { return environment[name] }, io.Discard, stderr}, []string{"serve", "--addr", "127.0.0.1:0", "--data-dir", dir})
		}()
		url := stderr.await(t, "url=")
		if start == 0 {
			var shown struct{ Secret string }
			status, body := post(t, url+"/v1/webhooks", key, `{"url": "`+receiver.URL+`"}`)
			if err := json.Unmarshal(body, &shown); err != nil || status != http.StatusCreated {
				t.Fatalf("make a webhook: %d %s", status, body)
			}
			secret = shown.Secret
		} else if status, body := post(t, url+"/v1/vessels", key, `{"name": "Kestrel of Hamna", "hull": "sail_monohull", "loa_m": 10, "beam_m": 3.2, "draught_m": 1.7, "displacement_kg": 5500}`); status != http.StatusCreated {
			t.Fatalf("register a vessel: %d %s", status, body)
		}
		select {
		case l := <-arrived:
			reference, err := standardwebhooks.NewWebhook(secret)
			if err != nil {
				t.Fatal(err)
			}
			if err := reference.Verify(l.body, l.header); err != nil || !strings.Contains(string(l.body), want) {
				t.Errorf("got %s, %v, want %s, signed", l.body, err, want)
			}
		case <-time.After(time.Minute):
			t.Errorf("%s did not come", want)
		}
		stop()
		if code := <-served; code != exitOK {
			t.Errorf("it ended with code %d", code)
		}
	}
	if info, err := os.Stat(filepath.Join(dir, "secrets.key")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key of the secrets: %v, %v, want a file of mode 0600", info, err)
	}
}

func post(t *testing.T, url, key, body string) (int, []byte) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+key)
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("Idempotency-Key", "k")
	if strings.HasSuffix(url, "/vessels") {
		request.Header.Set("Idempotency-Key", "v")
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	said, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, said
}
