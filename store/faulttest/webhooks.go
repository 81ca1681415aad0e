package faulttest

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"
)

// letSecretsBe makes the key that webhooks' secrets are kept under.
func letSecretsBe(dir string) (string, error) {
	key := make([]byte, 32)
	_, _ = rand.Read(key) // never fails
	file := filepath.Join(dir, "secrets.key")
	return file, os.WriteFile(file, []byte(base64.StdEncoding.EncodeToString(key)+"\n"), 0o600)
}

// badReceivers: one hangs, one sends us elsewhere and one is well. Requests are answered as ever, the one that is well gets
// everything, and nobody is sent elsewhere.
func badReceivers(ctx context.Context, w *World) error {
	var elsewhere, well atomic.Int64
	away := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer away.Close()
	redirects := httptest.NewServer(http.RedirectHandler(away.URL, http.StatusTemporaryRedirect))
	defer redirects.Close()
	takes := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		well.Add(1)
		w.WriteHeader(http.StatusNoContent)
	}))
	defer takes.Close()
	hangs, err := net.Listen("tcp", "127.0.0.1:0") // the kernel takes connections, and nobody reads
	if err != nil {
		return err
	}
	defer hangs.Close()
	client := w.client()
	for i, address := range []string{"http://" + hangs.Addr().String() + "/", redirects.URL, takes.URL} {
		status, _, body := w.send(client, 0, http.MethodPost, "/v1/webhooks", fmt.Sprintf(`{"url": %q}`, address), "Idempotency-Key", fmt.Sprintf("webhook-%d", i))
		if status != http.StatusCreated {
			return fmt.Errorf("make a webhook: %d %s", status, body)
		}
	}
	for _, address := range []string{"http://169.254.169.254/", "http://127.0.0.2/", "http://10.0.0.1/"} {
		status, _, body := w.send(client, 0, http.MethodPost, "/v1/webhooks", fmt.Sprintf(`{"url": %q}`, address), "Idempotency-Key", address)
		if status != http.StatusBadRequest {
			w.wrong("a webhook to %s was answered %d: %.200s", address, status, body)
		}
	}
	sleep(ctx, 6*time.Second)
	before := well.Load()
	status, _, body := w.send(client, 0, http.MethodGet, "/v1/events?after=0&limit=1", "")
	var page struct {
		Latest int64 `json:"latest"`
	}
	if err := json.Unmarshal(body, &page); err != nil || status != http.StatusOK {
		return fmt.Errorf("read events: %d %s", status, body)
	}
	if before == 0 {
		w.wrong("the webhook that is well got nothing in 6 s beside the others")
	}
	if n := elsewhere.Load(); n > 0 {
		w.wrong("a redirect was followed %d times", n)
	}
	w.say("the webhook that is well got %d of events up to %d", before, page.Latest)
	return nil
}
