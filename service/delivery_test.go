package service_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/servicetest"
)

// The schedule is the example of Standard Webhooks 1.0.0, "Deliverability and reliability", which begins with an attempt at once.
func TestRetriesKeepToTheScheduleWithJitter(t *testing.T) {
	t.Parallel()
	sinceStart := []time.Duration{
		5 * time.Second, 5*time.Minute + 5*time.Second, 35*time.Minute + 5*time.Second, 2*time.Hour + 35*time.Minute + 5*time.Second,
		7*time.Hour + 35*time.Minute + 5*time.Second, 17*time.Hour + 35*time.Minute + 5*time.Second, 31*time.Hour + 35*time.Minute + 5*time.Second,
		51*time.Hour + 35*time.Minute + 5*time.Second, 75*time.Hour + 35*time.Minute + 5*time.Second,
	}
	for range 100 {
		var sum, bare time.Duration
		differs := false
		for i, want := range sinceStart {
			pause := want - bare
			bare = want
			got := service.RetryPause(i + 1)
			if got < pause || got >= pause+pause/10 {
				t.Fatalf("pause %d: got %v, want %v and up to a tenth more", i+1, got, pause)
			}
			differs = differs || got != pause
			sum += got
		}
		if !differs || sum < 75*time.Hour {
			t.Errorf("the pauses have no jitter, or end after %v", sum)
		}
	}
	for _, many := range []int{10, 100, 1 << 30} {
		if got := service.RetryPause(many); got < 24*time.Hour || got > 27*time.Hour {
			t.Errorf("pause %d: got %v, want 24 h and a little", many, got)
		}
	}
}

// desk is a WebhookLog of one webhook, which notes what is told to it and hands out the events not delivered yet.
type desk struct {
	*servicetest.History
	run   service.Run
	err   error
	noted []service.Standing
	ended int
}

func (d *desk) TakeRun(_ context.Context, _ service.OrgID, _ uuid.UUID, t service.RunTerms) (service.Run, error) {
	run, delivered := d.run, int64(0)
	for _, s := range d.noted {
		delivered = max(delivered, s.Delivered)
	}
	run.Events = nil
	for _, e := range d.run.Events {
		if e.Sequence > delivered && len(run.Events) < t.Limit {
			run.Events = append(run.Events, e)
		}
	}
	return run, d.err
}

func (d *desk) NoteDelivery(_ context.Context, _ service.OrgID, _, _ uuid.UUID, _ service.Delivery, after service.Standing) error {
	d.noted = append(d.noted, after)
	return d.err
}

func (d *desk) EndRun(context.Context, service.OrgID, uuid.UUID, uuid.UUID) error {
	d.ended++
	return nil
}

// carries answers each message with the next of its receipts.
type carries struct {
	receipts []service.Receipt
	sent     []service.Message
	during   func()
}

func (*carries) Admit(string) string { return "" }

func (c *carries) Carry(_ context.Context, _ string, m service.Message) service.Receipt {
	if c.during != nil {
		c.during()
	}
	c.sent = append(c.sent, m)
	r := c.receipts[0]
	c.receipts = c.receipts[1:]
	return r
}

// openSafe keeps secrets as they are.
type openSafe struct{ err error }

func (openSafe) Seal(_ string, secret []byte) []byte            { return secret }
func (s openSafe) Open(_ string, sealed []byte) ([]byte, error) { return sealed, s.err }

func deliveries(events int, receipts ...service.Receipt) (*service.Webhooks, *desk, *carries) {
	now := time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)
	d, c := &desk{History: &servicetest.History{}}, &carries{receipts: receipts}
	d.run.Webhook = service.Webhook{ID: uuid.New(), Version: 3, Secrets: []service.SealedSecret{{Sealed: []byte(service.NewSigningSecret().Reveal())}}}
	for i := range events {
		d.run.Events = append(d.run.Events, service.Event{Sequence: int64(i + 1), Kind: "plan", EntityID: uuid.New(), Version: 1, At: now})
	}
	return &service.Webhooks{
		History: d.History, Log: d, Courier: c, Safe: openSafe{}, Clock: func() time.Time { return now }, NewID: uuid.New,
		Pause: func(int) time.Duration { return time.Minute },
	}, d, c
}

func deliver(ctx context.Context, w *service.Webhooks) error {
	return w.Deliver(ctx, service.Job{Kind: service.JobDeliver, Org: uuid.UUID{1}, On: []uuid.UUID{uuid.New()}})
}

func TestRetryAfterIsKeptWhereItIsLonger(t *testing.T) {
	t.Parallel()
	for asked, want := range map[time.Duration]time.Duration{0: time.Minute, time.Second: time.Minute, time.Hour: time.Hour} {
		w, d, _ := deliveries(2, service.Receipt{Outcome: service.Refused, Status: 503, Wait: asked})
		err := deliver(t.Context(), w)
		if again := (service.Again{}); !errors.As(err, &again) || again.After != want || len(d.noted) != 1 || !d.noted[0].NextAttempt.Equal(w.Clock().Add(want)) {
			t.Errorf("asked to wait %v: got %v, noted %+v, want %v", asked, err, d.noted, want)
		}
	}
}

func TestNothingGoesOutAfterAFailure(t *testing.T) {
	t.Parallel()
	w, d, c := deliveries(3, service.Receipt{Outcome: service.Delivered, Status: 200}, service.Receipt{Outcome: service.Unreachable})
	if err := deliver(t.Context(), w); err == nil || len(c.sent) != 2 {
		t.Errorf("got %v after %d messages, want it stopped by the second", err, len(c.sent))
	}
	if len(d.noted) != 2 || d.noted[0].Delivered != 1 || d.noted[0].Version != 3 || d.noted[1].Delivered != 0 || d.noted[1].Failures != 1 || d.noted[1].FailingSince.IsZero() {
		t.Errorf("noted %+v", d.noted)
	}
}

// What we break off is no failure of the receiver's; the webhook is given back for the next process.
func TestBreakingOffIsNoFailure(t *testing.T) {
	t.Parallel()
	w, d, c := deliveries(3, service.Receipt{Outcome: service.Delivered, Status: 200}, service.Receipt{Outcome: service.Unreachable})
	ctx, cancel := context.WithCancel(t.Context())
	c.during = func() {
		if len(c.sent) == 1 {
			cancel()
		}
	}
	if err := deliver(ctx, w); !errors.Is(err, context.Canceled) || len(d.noted) != 1 || d.ended != 1 {
		t.Errorf("got %v, noted %+v, given back %d times", err, d.noted, d.ended)
	}
}

func TestSecretThatDoesNotOpenSendsNothing(t *testing.T) {
	t.Parallel()
	w, d, c := deliveries(1)
	w.Safe = openSafe{errors.New("another key")}
	if err := deliver(t.Context(), w); err == nil || len(c.sent) > 0 || len(d.noted) > 0 || d.ended != 1 {
		t.Errorf("got %v, sent %d, noted %+v, given back %d times", err, len(c.sent), d.noted, d.ended)
	}
	w.Safe = nil
	if err := deliver(t.Context(), w); err == nil || len(c.sent) > 0 {
		t.Errorf("without a key: got %v, sent %d", err, len(c.sent))
	}
}

// The key was lost and the secret rotated: the old one does not open, and the new one signs.
func TestOldSecretThatDoesNotOpenIsLeftOut(t *testing.T) {
	t.Parallel()
	w, d, c := deliveries(1, service.Receipt{Outcome: service.Delivered, Status: 200})
	lost := service.SealedSecret{Sealed: []byte("sealed under a key that is lost"), Until: w.Clock().Add(time.Hour)}
	d.run.Webhook.Secrets = append(d.run.Webhook.Secrets, lost)
	if err := deliver(t.Context(), w); len(c.sent) != 1 || len(c.sent[0].Signatures) != 1 || len(d.noted) != 1 {
		t.Errorf("got %v, sent %+v, noted %+v, want one message with one signature", err, c.sent, d.noted)
	}
}

// More has happened than one run takes: the job goes on with the next one, and not only when it comes again.
func TestAJobTakesRunAfterRun(t *testing.T) {
	t.Parallel()
	const events = 1000
	w, d, c := deliveries(events, slices.Repeat([]service.Receipt{{Outcome: service.Delivered, Status: 200}}, events)...)
	if err := deliver(t.Context(), w); err != nil || len(c.sent) != events || d.ended < 2 {
		t.Errorf("got %v, sent %d in %d runs, want %d in several", err, len(c.sent), d.ended, events)
	}
}

func TestRunsWithNothingToDo(t *testing.T) {
	t.Parallel()
	w, d, _ := deliveries(0)
	if err := deliver(t.Context(), w); err != nil {
		t.Errorf("nothing to send: %v", err)
	}
	d.run.Wait = time.Hour
	if again := (service.Again{}); !errors.As(deliver(t.Context(), w), &again) || again.After != time.Hour {
		t.Errorf("not yet: got %v", again)
	}
	d.err = service.ErrNotFound
	if err := deliver(t.Context(), w); err != nil {
		t.Errorf("removed: %v", err)
	}
	d.err = service.ErrUnavailable
	if err := deliver(t.Context(), w); !errors.Is(err, service.ErrUnavailable) {
		t.Errorf("no store: got %v", err)
	}
	if err := w.Deliver(t.Context(), service.Job{Kind: service.JobDeliver}); !errors.As(err, &service.Pointless{}) {
		t.Errorf("a job about nothing: got %v", err)
	}
}
