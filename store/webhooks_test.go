package store_test

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"rideout/api/courier"
	"rideout/service"
	"rideout/store"
	"rideout/store/jobs"
	"rideout/store/safe"
	"rideout/store/storetest"
)

// office is the use cases on webhooks over a database, with a courier that reaches this machine.
type office struct {
	url   string
	store *store.Store
	key   string // file
	hooks *service.Webhooks

	mu   sync.Mutex
	late time.Duration // of the clock
}

func newOffice(t *testing.T) *office {
	t.Helper()
	return openOffice(t, storetest.URL(t), filepath.Join(t.TempDir(), "secrets.key"))
}

func openOffice(t *testing.T, url, key string) *office {
	t.Helper()
	box, err := safe.LoadOrMake(key)
	if err != nil {
		t.Fatal(err)
	}
	o := &office{url: url, store: storetest.Open(t, url), key: key}
	o.hooks = &service.Webhooks{
		History: o.store, Log: o.store, Events: &service.Events{Log: o.store, Clock: o.clock}, Safe: box, Clock: o.clock,
		Courier: courier.New(courier.Config{Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}, Patience: time.Minute}),
		NewID:   func() uuid.UUID { return uuid.Must(uuid.NewV7()) }, Pause: func(int) time.Duration { return time.Millisecond },
	}
	return o
}

func (o *office) clock() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return time.Now().Add(o.late)
}

func (o *office) pass(d time.Duration) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.late += d
}

// work delivers until the test's end.
func (o *office) work(t *testing.T) *store.Work {
	t.Helper()
	return startWork(t, o.store, service.Workers{service.JobDeliver: {Do: o.hooks.Deliver}}, io.Discard)
}

// hook makes a webhook and returns its id and secret.
func (o *office) hook(t *testing.T, org service.OrgID, address string, kinds ...string) (uuid.UUID, string) {
	t.Helper()
	shown, _, err := o.hooks.Add(t.Context(), org, aClaim(uuid.NewString()), service.WebhookWish{URL: address, Kinds: kinds}, "test")
	if err != nil {
		t.Fatal(err)
	}
	return shownOf(t, shown)
}

func shownOf(t *testing.T, shown service.ShownWebhook) (uuid.UUID, string) {
	t.Helper()
	var made struct {
		ID     uuid.UUID
		Secret string
	}
	if err := json.Unmarshal(shown.Body, &made); err != nil {
		t.Fatal(err)
	}
	return made.ID, made.Secret
}

// set changes the state of a webhook.
func (o *office) set(t *testing.T, org service.OrgID, id uuid.UUID, state service.WebhookState) {
	t.Helper()
	_, err := o.hooks.Change(t.Context(), org, service.WebhookPatch{
		ID: id, By: "test", Match: service.Match{Any: true}, Merge: map[string]any{"state": string(state)},
		Decode: func(whole []byte) (wish service.WebhookWish, err error) { return wish, json.Unmarshal(whole, &wish) },
	})
	if err != nil {
		t.Fatal(err)
	}
}

// letter is what a receiver got.
type letter struct {
	id, signatures string
	sequence       int64
	header         http.Header
	body           []byte
}

// receiver hands on what arrives, and answers what is said; nil: 204.
func receiver(t *testing.T, say func(letter, http.ResponseWriter)) (address string, arrived chan letter) {
	t.Helper()
	arrived = make(chan letter, 10_000)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Errorf("read a letter: %v", err)
		}
		l := letter{id: r.Header.Get("Webhook-Id"), signatures: r.Header.Get("Webhook-Signature"), header: r.Header, body: body}
		l.sequence, _ = strconv.ParseInt(l.id[strings.LastIndex(l.id, "-")+1:], 10, 64)
		arrived <- l
		if say == nil {
			w.WriteHeader(http.StatusNoContent)
			return
		}
		say(l, w)
	}))
	t.Cleanup(func() { server.CloseClientConnections(); server.Close() })
	return server.URL + "/hook", arrived
}

func verified(t *testing.T, l letter, secret string) bool {
	t.Helper()
	reference, err := standardwebhooks.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	return reference.VerifyIgnoringTimestamp(l.body, l.header) == nil
}

// attempts lists how a webhook's deliveries went, oldest first.
func (o *office) attempts(t *testing.T, org service.OrgID, id uuid.UUID) []string {
	t.Helper()
	page, err := o.hooks.Deliveries(t.Context(), org, id, service.RecordPlace{}, 200)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, d := range slices.Backward(page.Items) {
		out = append(out, fmt.Sprintf("%d %d %s %d", d.Sequence, d.Attempt, d.Outcome, d.Status))
	}
	return out
}

// until waits for a condition on the database, for at most a minute.
func until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !is(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("it is not so after a minute: %s", what)
		}
	}
}

// Changes of several writers, some of them rolled back, arrive in their order, each once, at each webhook, whenever they
// are recorded: while a job is at work, comes to its end, or is not there.
func TestChangesArriveInOrderAndNoneIsMissing(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	one, atOne := receiver(t, nil)
	two, atTwo := receiver(t, nil)
	_, secret := o.hook(t, org, one)
	o.hook(t, org, two, "plan")
	o.work(t)
	const writers, each = 4, 30
	var all sync.WaitGroup
	for writer := range writers {
		all.Go(func() {
			for i := range each {
				if i%3 == writer%3 {
					time.Sleep(time.Duration(i) * time.Millisecond) // so that jobs come to their end in between
				}
				back := errors.New("taken back")
				err := o.store.Change(t.Context(), org, func(ctx context.Context, r service.Recorder) error {
					if err := r.RecordPlan(ctx, aPlan()); err != nil {
						return err
					}
					if i%5 == 0 {
						return back
					}
					return nil
				})
				if err != nil && !errors.Is(err, back) {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	const changes = writers*each*4/5 + 2 // with the two webhooks
	for want := int64(1); want <= changes; want++ {
		l := receive(t, atOne)
		if l.sequence != want || !verified(t, l, secret) {
			t.Fatalf("got event %d signed %s, want %d", l.sequence, l.signatures, want)
		}
		var e service.CloudEvent
		if err := json.Unmarshal(l.body, &e); err != nil || e.ID != l.id || e.Sequence != want || l.header.Get("Content-Type") != "application/cloudevents+json; charset=utf-8" {
			t.Fatalf("event %d: %s, %v", want, l.body, err)
		}
		if want > 2 {
			if l := receive(t, atTwo); l.sequence != want {
				t.Fatalf("plans alone: got event %d, want %d", l.sequence, want)
			}
		}
	}
	if left := len(atOne) + len(atTwo); left > 0 {
		t.Errorf("%d letters more", left)
	}
}

func TestRolledBackChangeSendsNothing(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	o.hook(t, org, address)
	o.work(t)
	receive(t, arrived) // that it was made
	until(t, "the job has ended", func() bool {
		return slices.Equal(ask(t, o.url, `SELECT count(*) FROM webhooks WHERE waiting_since IS NULL`), []string{"1"})
	})
	before := ask(t, o.url, `SELECT count(*) FROM river_job`)
	noting(t, o.store, org, errors.New("taken back"))
	back := errors.New("taken back")
	err := o.store.Change(t.Context(), org, func(ctx context.Context, r service.Recorder) error {
		return errors.Join(r.RecordPlan(ctx, aPlan()), back)
	})
	if !errors.Is(err, back) {
		t.Fatal(err)
	}
	if after := ask(t, o.url, `SELECT count(*) FROM river_job`); !slices.Equal(before, after) {
		t.Errorf("jobs before and after: %v, %v", before, after)
	}
	keep(t, o.store, org, aPlan())
	if l := receive(t, arrived); l.sequence != 2 {
		t.Errorf("got event %d, want 2, the change that was kept", l.sequence)
	}
}

// A receiver refuses, hangs, and redirects to where nobody may go, and takes the message then. What comes after waits.
func TestReceiverThatFailsThreeTimesGetsTheSameMessage(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.hooks.Courier = courier.New(courier.Config{Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}, Patience: 3 * time.Second})
	org := anOrg(t, o.store)
	within, atWithin := receiver(t, nil)
	hang := make(chan struct{})
	defer close(hang)
	var mu sync.Mutex
	n := 0
	address, arrived := receiver(t, func(l letter, w http.ResponseWriter) {
		mu.Lock()
		n++
		try := n
		mu.Unlock()
		switch try {
		case 1:
			w.WriteHeader(http.StatusInternalServerError)
		case 2:
			<-hang
		case 3:
			w.Header().Set("Location", within)
			w.WriteHeader(http.StatusTemporaryRedirect)
		}
	})
	id, secret := o.hook(t, org, address)
	keep(t, o.store, org, aPlan())
	o.work(t)
	var ids []string
	for range 5 {
		l := receive(t, arrived)
		if !verified(t, l, secret) {
			t.Errorf("%s is not signed", l.id)
		}
		ids = append(ids, l.id)
	}
	first, second := service.EventID(org, 1), service.EventID(org, 2)
	if want := []string{first, first, first, first, second}; !slices.Equal(ids, want) {
		t.Errorf("got %v, want %v", ids, want)
	}
	want := []string{"1 1 refused 500", "1 2 timed_out 0", "1 3 redirected 307", "1 4 delivered 200", "2 1 delivered 200"}
	until(t, "both are delivered", func() bool { return len(o.attempts(t, org, id)) == len(want) })
	if got := o.attempts(t, org, id); !slices.Equal(got, want) {
		t.Errorf("attempts %q, want %q", got, want)
	}
	if len(atWithin) > 0 {
		t.Error("the redirect was followed")
	}
}

// The process is stopped while the receiver holds the message: another process sends the same one again.
func TestStoppedInMidDeliveryIsDeliveredByTheNext(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	hold, first := make(chan struct{}), sync.Once{}
	address, arrived := receiver(t, func(letter, http.ResponseWriter) { first.Do(func() { <-hold }) })
	id, _ := o.hook(t, org, address)
	work, err := o.store.StartWork(t.Context(), jobs.Config{Workers: service.Workers{service.JobDeliver: {Do: o.hooks.Deliver}}, Log: slog.New(slog.DiscardHandler), Eager: true})
	if err != nil {
		t.Fatal(err)
	}
	before := receive(t, arrived)
	if err := work.Stop(0); err != nil {
		t.Fatal(err)
	}
	close(hold)
	if got := o.attempts(t, org, id); len(got) > 0 {
		t.Errorf("noted %q, though nobody knows how it went", got)
	}
	o.work(t)
	if after := receive(t, arrived); after.id != before.id || string(after.body) != string(before.body) {
		t.Errorf("got %s, want %s again", after.id, before.id)
	}
}

// asCarrier makes a test's process one that delivers until it is killed.
const asCarrier = "RIDEOUT_TEST_CARRIER"

// TestCarry is the process that TestKilledInMidDelivery kills. On its own it has nothing to do.
func TestCarry(t *testing.T) {
	terms := strings.Split(os.Getenv(asCarrier), "\n")
	if len(terms) != 2 {
		return
	}
	o := openOffice(t, terms[0], terms[1])
	o.work(t)
	time.Sleep(time.Minute)
}

func TestKilledInMidDeliveryIsDeliveredByTheNext(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	hold, first := make(chan struct{}), sync.Once{}
	defer close(hold)
	address, arrived := receiver(t, func(letter, http.ResponseWriter) { first.Do(func() { <-hold }) })
	o.hook(t, org, address)
	carrier := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestCarry$")
	carrier.Env = append(os.Environ(), asCarrier+"="+o.url+"\n"+o.key)
	if err := carrier.Start(); err != nil {
		t.Fatal(err)
	}
	before := receive(t, arrived)
	if err := carrier.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = carrier.Wait() // it was killed
	if got := ask(t, o.url, `SELECT state FROM river_job`); !slices.Equal(got, []string{"running"}) {
		t.Errorf("what the killed process left: %v, want a job at work", got)
	}
	// An hour passes: its lease on the webhook, its office in the queue and the patience with its job run out.
	o.pass(time.Hour)
	ask(t, o.url, `UPDATE river_job SET attempted_at = attempted_at - interval '1 hour'`)
	ask(t, o.url, `UPDATE river_leader SET expires_at = expires_at - interval '1 hour'`)
	o.work(t)
	if after := receive(t, arrived); after.id != before.id || string(after.body) != string(before.body) {
		t.Errorf("got %s, want %s again", after.id, before.id)
	}
}

func TestRotatedSecretSignsBesideTheOldForAWhile(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	id, old := o.hook(t, org, address)
	o.work(t)
	if l := receive(t, arrived); !verified(t, l, old) {
		t.Error("the first is not signed by the first secret")
	}
	overlap := time.Hour
	claim := aClaim("rotate")
	shown, _, err := o.hooks.Rotate(t.Context(), org, id, claim, &overlap, "test")
	if err != nil {
		t.Fatal(err)
	}
	_, fresh := shownOf(t, shown)
	if again, repeated, err := o.hooks.Rotate(t.Context(), org, id, claim, &overlap, "test"); err != nil || !repeated || string(again.Body) != string(shown.Body) {
		t.Errorf("a repeat: got %s, %v, %v, want the same bytes", again.Body, repeated, err)
	}
	if l := receive(t, arrived); !verified(t, l, old) || !verified(t, l, fresh) || strings.Count(l.signatures, "v1,") != 2 {
		t.Errorf("within the overlap: signed %s", l.signatures)
	}
	o.pass(overlap + time.Minute)
	keep(t, o.store, org, aPlan())
	if l := receive(t, arrived); verified(t, l, old) || !verified(t, l, fresh) || strings.Count(l.signatures, "v1,") != 1 {
		t.Errorf("after the overlap: signed %s", l.signatures)
	}
}

func TestReplaySendsTheSameAgain(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	id, _ := o.hook(t, org, address)
	keep(t, o.store, org, aPlan(), aPlan(), aPlan())
	o.work(t)
	var first []letter
	for range 4 {
		first = append(first, receive(t, arrived))
	}
	if err := o.hooks.Replay(t.Context(), org, id, 1); err != nil {
		t.Fatal(err)
	}
	for _, want := range first[1:] {
		if got := receive(t, arrived); got.id != want.id || string(got.body) != string(want.body) {
			t.Errorf("replayed %s, want %s to the byte", got.id, want.id)
		}
	}
}

func TestLongFailureDisablesAndIsTold(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	var mu sync.Mutex
	status := http.StatusBadGateway
	address, arrived := receiver(t, func(_ letter, w http.ResponseWriter) {
		mu.Lock()
		defer mu.Unlock()
		w.WriteHeader(status)
	})
	id, _ := o.hook(t, org, address)
	other, atOther := receiver(t, nil)
	o.hook(t, org, other)
	o.work(t)
	receive(t, arrived)
	until(t, "it is noted as failing", func() bool { return len(o.attempts(t, org, id)) > 0 })
	o.pass(service.DisabledAfter)
	until(t, "it is disabled", func() bool {
		hook, err := o.hooks.Read(t.Context(), org, id)
		return err == nil && hook.Wish.State == service.WebhookDisabled && strings.Contains(string(hook.Body), `"reason":"failing"`)
	})
	for want := int64(2); want <= 3; want++ { // that it was made, and the first disabled
		l := receive(t, atOther)
		if l.sequence != want || (want == 3 && !strings.Contains(string(l.body), `"rideout.webhook.changed"`)) {
			t.Errorf("the other got event %d: %s", l.sequence, l.body)
		}
	}
	keep(t, o.store, org, aPlan())
	receive(t, atOther)
	for len(arrived) > 0 {
		<-arrived
	}
	mu.Lock()
	status = http.StatusNoContent
	mu.Unlock()
	o.set(t, org, id, service.WebhookActive)
	for want := int64(1); want <= 5; want++ { // and the plan, and that it is active
		if l := receive(t, arrived); l.sequence != want {
			t.Errorf("active again: got event %d, want %d", l.sequence, want)
		}
	}
}

func TestReceiverThatWantsNoMoreIsLeft(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, func(_ letter, w http.ResponseWriter) { w.WriteHeader(http.StatusGone) })
	id, _ := o.hook(t, org, address)
	o.work(t)
	receive(t, arrived)
	until(t, "it is disabled", func() bool {
		hook, err := o.hooks.Read(t.Context(), org, id)
		return err == nil && hook.Wish.State == service.WebhookDisabled && strings.Contains(string(hook.Body), `"reason":"dismissed"`)
	})
	if len(arrived) > 0 {
		t.Error("it was called again")
	}
}

func TestPausedWebhookIsSentWhatItMissed(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	id, _ := o.hook(t, org, address)
	o.work(t)
	receive(t, arrived)
	o.set(t, org, id, service.WebhookPaused)
	keep(t, o.store, org, aPlan(), aPlan())
	o.set(t, org, id, service.WebhookActive)
	for want := int64(2); want <= 5; want++ {
		if l := receive(t, arrived); l.sequence != want {
			t.Errorf("got event %d, want %d", l.sequence, want)
		}
	}
}

// A change may note work of its own while a webhook's job is to be noted with it.
func TestWorkIsNotedBesideAWebhooks(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, _ := receiver(t, nil)
	o.hook(t, org, address)
	ask(t, o.url, `UPDATE webhooks SET waiting_since = NULL RETURNING state`)
	time.Sleep(300 * time.Millisecond) // river tells of a queue once in a while alone, and has just told of this one
	takenBack := errors.New("taken back")
	err := o.store.Change(t.Context(), org, func(ctx context.Context, r service.Recorder) error {
		if _, err := r.Turn(ctx, time.Now); err != nil {
			return err
		}
		if err := r.Later(ctx, service.Job{Kind: "tidy", On: []uuid.UUID{uuid.New()}}); err != nil {
			return err
		}
		return takenBack
	})
	if !errors.Is(err, takenBack) {
		t.Errorf("got %v, want that it was noted and taken back", err)
	}
}

// What one organisation records is not sent to another's webhook, and a job that names another's finds nothing.
func TestWebhooksKeepToTheirOrganisation(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org, other := anOrg(t, o.store), anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	id, _ := o.hook(t, org, address)
	otherAddress, atOther := receiver(t, nil)
	o.hook(t, other, otherAddress)
	keep(t, o.store, other, aPlan(), aPlan())
	noting(t, o.store, other, nil, service.Job{Kind: service.JobDeliver, On: []uuid.UUID{id}})
	o.work(t)
	for want := int64(1); want <= 3; want++ {
		if l := receive(t, atOther); l.id != service.EventID(other, want) {
			t.Errorf("the other got %s", l.id)
		}
	}
	if l := receive(t, arrived); l.id != service.EventID(org, 1) {
		t.Errorf("got %s, want the one event of %v", l.id, org)
	}
	until(t, "all jobs have ended", func() bool {
		return slices.Equal(ask(t, o.url, `SELECT count(*) FROM river_job WHERE state <> 'completed'`), []string{"0"})
	})
	if len(arrived)+len(atOther) > 0 {
		t.Errorf("%d letters more", len(arrived)+len(atOther))
	}
	for name, err := range map[string]error{
		"read":    second(o.hooks.Read(t.Context(), other, id)),
		"list of": second(o.hooks.Deliveries(t.Context(), other, id, service.RecordPlace{}, 10)),
		"replay":  o.hooks.Replay(t.Context(), other, id, 0),
		"remove":  o.hooks.Remove(t.Context(), other, id, service.Match{Any: true}, "test"),
		"take":    second(o.store.TakeRun(t.Context(), other, id, service.RunTerms{Lease: uuid.New(), Limit: 1})),
	} {
		known := (*service.Error)(nil)
		if !errors.Is(err, service.ErrNotFound) && (!errors.As(err, &known) || known.Kind != service.KindNotFound) {
			t.Errorf("%s another's: got %v, want not found", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestRemovedWebhookIsForgotten(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, arrived := receiver(t, nil)
	id, _ := o.hook(t, org, address)
	o.work(t)
	receive(t, arrived)
	until(t, "it is noted", func() bool { return len(o.attempts(t, org, id)) > 0 })
	if err := o.hooks.Remove(t.Context(), org, id, service.Match{Any: true}, "test"); err != nil {
		t.Fatal(err)
	}
	keep(t, o.store, org, aPlan())
	for _, table := range []string{"webhooks", "webhook_secrets", "webhook_deliveries"} {
		wantRows(t, o.url, table, 0)
	}
	wantRows(t, o.url, "changes", 3)
	if len(arrived) > 0 {
		t.Error("it was called again")
	}
}

// Everything there is in the database, as its owner reads it, shows no secret in any of its forms.
func TestDumpHoldsNoSigningSecret(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	hang := make(chan struct{})
	defer close(hang)
	address, arrived := receiver(t, func(l letter, w http.ResponseWriter) { w.WriteHeader(http.StatusBadGateway) })
	id, old := o.hook(t, org, address)
	shown, _, err := o.hooks.Rotate(t.Context(), org, id, aClaim("rotate"), nil, "test")
	if err != nil {
		t.Fatal(err)
	}
	_, fresh := shownOf(t, shown)
	log := &lockedBuffer{}
	startWork(t, o.store, service.Workers{service.JobDeliver: {Do: o.hooks.Deliver}}, log)
	receive(t, arrived)
	receive(t, arrived)
	var dump strings.Builder
	for _, table := range ask(t, o.url, `SELECT tablename FROM pg_tables WHERE schemaname = 'public'`) {
		for _, row := range ask(t, o.url, `SELECT t::text FROM `+table+` t`) {
			fmt.Fprintln(&dump, table, row)
		}
	}
	if !strings.Contains(dump.String(), address) || !strings.Contains(dump.String(), "webhook_secrets") {
		t.Fatalf("this is no dump: %s", dump.String())
	}
	key, err := os.ReadFile(o.key)
	if err != nil {
		t.Fatal(err)
	}
	secrets := map[string]string{"the old secret": old, "the new secret": fresh, "the key": strings.TrimSpace(string(key))}
	for name, text := range secrets {
		bare := strings.TrimPrefix(text, "whsec_")
		raw, err := base64.StdEncoding.DecodeString(bare)
		if err != nil {
			t.Fatal(err)
		}
		for form, needle := range map[string]string{
			"as shown": bare, "in hex": hex.EncodeToString(raw), "its text in hex": hex.EncodeToString([]byte(bare)), "its text in base64": base64.StdEncoding.EncodeToString([]byte(text))[:40],
		} {
			if strings.Contains(dump.String(), needle) {
				t.Errorf("the dump shows %s %s", name, form)
			}
			if strings.Contains(log.String(), needle) {
				t.Errorf("the log shows %s %s", name, form)
			}
		}
	}
}

// Two jobs for one webhook do not deliver side by side.
func TestOneJobAtATimeHasAWebhook(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	org := anOrg(t, o.store)
	address, _ := receiver(t, nil)
	id, _ := o.hook(t, org, address)
	now := time.Now()
	first := service.RunTerms{Lease: uuid.New(), Now: now, Until: now.Add(time.Minute), Limit: 10}
	run, err := o.store.TakeRun(t.Context(), org, id, first)
	if err != nil || len(run.Events) != 1 || len(run.Webhook.Secrets) != 1 {
		t.Fatalf("got %+v, %v", run, err)
	}
	again := service.RunTerms{Lease: uuid.New(), Now: now.Add(time.Second), Until: now.Add(time.Minute), Limit: 10}
	if run, err := o.store.TakeRun(t.Context(), org, id, again); err != nil || len(run.Events) > 0 || run.Wait < 58*time.Second || run.Wait > time.Minute {
		t.Errorf("beside it: got %d events, wait %v, %v, want to wait 59 s", len(run.Events), run.Wait, err)
	}
	d := service.Delivery{ID: uuid.New(), Sequence: 1, Attempt: 1, At: now, Outcome: service.Delivered, Status: 200}
	if err := o.store.NoteDelivery(t.Context(), org, id, again.Lease, d, service.Standing{Delivered: 1}); !errors.Is(err, service.ErrLost) {
		t.Errorf("noted without the lease: got %v, want %v", err, service.ErrLost)
	}
	if err := o.store.EndRun(t.Context(), org, id, first.Lease); err != nil {
		t.Fatal(err)
	}
	if run, err := o.store.TakeRun(t.Context(), org, id, again); err != nil || len(run.Events) != 1 {
		t.Errorf("given back: got %d events, %v, want 1", len(run.Events), err)
	}
}
