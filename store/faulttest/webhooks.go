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
	"sync"
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
	told := inOrder{wrong: w.wrong, events: map[int64]event{}}
	away := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer away.Close()
	redirects := httptest.NewServer(http.RedirectHandler(away.URL, http.StatusTemporaryRedirect))
	defer redirects.Close()
	takes := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		well.Add(1)
		told.take(r)
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
	if err := w.awaitTold(ctx, &told); err != nil {
		return err
	}
	before := well.Load()
	if n := elsewhere.Load(); n > 0 {
		w.wrong("a redirect was followed %d times", n)
	}
	w.say("the webhook that is well got %d events", before)
	return nil
}

// awaitTold waits until the webhook that is well has been told of all that there is by now, and holds it to be what there is.
func (w *World) awaitTold(ctx context.Context, told *inOrder) error {
	k, err := w.readKept(ctx)
	if err != nil {
		return err
	}
	changes := k.changes[k.orgs[0]]
	behind := func() bool {
		told.mu.Lock()
		defer told.mu.Unlock()
		return told.last < int64(len(changes))
	}
	for end := time.Now().Add(15 * time.Second); behind() && time.Now().Before(end); {
		sleep(ctx, 100*time.Millisecond)
	}
	if behind() {
		w.wrong("the webhook that is well is not told in time beside the others")
	}
	told.mu.Lock()
	defer told.mu.Unlock()
	for seq, e := range told.events {
		if seq >= 1 && seq <= int64(len(changes)) && (changes[seq-1].id != e.Data.EntityID || changes[seq-1].version != e.Data.Version) {
			w.wrong("a webhook was told of change %d as another than it is", seq)
		}
	}
	return nil
}

// inOrder holds that events come one after the other: one may come again, none is left out.
type inOrder struct {
	wrong func(format string, args ...any)

	mu     sync.Mutex
	last   int64
	events map[int64]event
}

func (o *inOrder) take(r *http.Request) {
	var e event
	if err := json.NewDecoder(r.Body).Decode(&e); err != nil {
		o.wrong("what a webhook got cannot be read: %v", err)
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.last > 0 && e.Sequence > o.last+1 {
		o.wrong("a webhook got event %d after %d", e.Sequence, o.last)
	}
	o.last = max(o.last, e.Sequence)
	o.events[e.Sequence] = e
}
