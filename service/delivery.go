package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
)

// JobDeliver sends a webhook's events. On holds the webhook's id.
const JobDeliver JobKind = "deliver_webhook"

// ErrLost says that a webhook was taken from the job at work on it, or changed: what the job knows of it is old.
var ErrLost = errors.New("the webhook was taken from this job or changed")

// RunTerms are on what terms a job takes a webhook.
type RunTerms struct {
	Lease uuid.UUID
	Now   time.Time
	Until time.Time
	Limit int // events at most
}

// Run is what a job is to do for a webhook. With no events and no Wait there is nothing: the next change notes a job.
type Run struct {
	Webhook      Webhook
	Events       []Event // in order; those of other kinds than it asks for are left out
	Failures     int     // of the first of them, since the last that went well
	FailingSince time.Time
	Wait         time.Duration // another job is at work on it, or it is not time yet
}

// Standing is where an attempt leaves a webhook.
type Standing struct {
	Version      int   // of the webhook the attempt was made for
	Delivered    int64 // the event it was delivered; 0: it failed
	Failures     int
	FailingSince time.Time
	NextAttempt  time.Time
	Until        time.Time // of the lease; the zero time: it is given back
}

const (
	runEvents = 50
	runTime   = time.Minute // of a job, which takes one run after the other
	// attemptTime is more than a courier's patience: so long a job has a webhook for itself, counted from each attempt.
	attemptTime = time.Minute
	// DeliverLimit is more than a run takes.
	DeliverLimit = runTime + attemptTime
	// DisabledAfter is how long a webhook may fail, every time, before it is disabled.
	DisabledAfter = 5 * 24 * time.Hour
)

// retryPauses is the schedule Standard Webhooks 1.0.0 gives as its example ("Deliverability and reliability"); its last
// pause is repeated.
var retryPauses = []time.Duration{
	5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour,
}

// RetryPause is how long after so many failures the next attempt is made, with up to a tenth more by chance, so that
// what failed together does not come back together.
func RetryPause(failures int) time.Duration {
	pause := retryPauses[min(max(failures, 1), len(retryPauses))-1]
	return pause + rand.N(pause/10)
}

// Deliver sends a webhook's events, in their order and each at least once: only when one was taken does the next go
// out. It is the worker of JobDeliver.
func (w *Webhooks) Deliver(ctx context.Context, job Job) error {
	if len(job.On) != 1 {
		return Pointless{fmt.Errorf("deliver to %d webhooks", len(job.On))}
	}
	begun := w.Clock()
	for {
		ended, err := w.deliverRun(ctx, job.Org, job.On[0], begun)
		if ended || err != nil {
			return err
		}
	}
}

// deliverRun sends some of a webhook's events. Ended tells that nothing more is to be sent now.
func (w *Webhooks) deliverRun(ctx context.Context, org OrgID, id uuid.UUID, begun time.Time) (ended bool, _ error) {
	lease, now := w.NewID(), w.Clock()
	run, err := w.Log.TakeRun(ctx, org, id, RunTerms{Lease: lease, Now: now, Until: now.Add(attemptTime), Limit: runEvents})
	switch {
	case errors.Is(err, ErrNotFound):
		return true, nil // removed
	case err != nil:
		return true, err
	case run.Wait > 0:
		return true, Again{run.Wait}
	case len(run.Events) == 0:
		return true, nil
	}
	secrets, err := w.open(org, run.Webhook)
	if err != nil {
		return true, errors.Join(err, w.end(ctx, org, id, lease))
	}
	for _, e := range run.Events {
		if ctx.Err() != nil || w.Clock().Sub(begun) > runTime {
			return true, errors.Join(w.end(ctx, org, id, lease), or(ctx.Err(), Again{}))
		}
		ended, err := w.attempt(ctx, org, lease, &run, e, secrets)
		if err != nil || ended {
			return true, err
		}
	}
	return false, w.end(ctx, org, id, lease) // there may be more
}

func or(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

// end gives the webhook back, also when the process ends.
func (w *Webhooks) end(ctx context.Context, org OrgID, id, lease uuid.UUID) error {
	return w.Log.EndRun(context.WithoutCancel(ctx), org, id, lease)
}

// open gives the secrets that messages are signed with now. That the current one cannot be opened is our fault and not
// the receiver's, so nothing is noted as failed; an old one is left out, so that after the loss of the key a rotation helps.
func (w *Webhooks) open(org OrgID, hook Webhook) (secrets []SigningSecret, err error) {
	if w.Safe == nil {
		return nil, errors.New("open a signing secret: there is no key to open it with")
	}
	now := w.Clock()
	for _, s := range hook.Secrets {
		current := s.Until.IsZero()
		if !current && !s.Until.After(now) {
			continue
		}
		secret, err := w.openOne(org, hook.ID, s)
		switch {
		case err == nil:
			secrets = append(secrets, secret)
		case current:
			return nil, fmt.Errorf("open a signing secret: %w", err)
		}
	}
	if secrets == nil {
		return nil, errors.New("open a signing secret: there is none")
	}
	return secrets, nil
}

func (w *Webhooks) openOne(org OrgID, id uuid.UUID, s SealedSecret) (SigningSecret, error) {
	text, err := w.Safe.Open(secretPlace(org, id), s.Sealed)
	if err != nil {
		return SigningSecret{}, err
	}
	return ParseSigningSecret(string(text))
}

// attempt sends one event and notes how it went. Ended tells that nothing more is to be sent now.
func (w *Webhooks) attempt(ctx context.Context, org OrgID, lease uuid.UUID, run *Run, e Event, secrets []SigningSecret) (ended bool, _ error) {
	body, err := json.Marshal(e.Cloud(org))
	if err != nil {
		return false, fmt.Errorf("encode an event: %w", err)
	}
	at := w.Clock()
	m := Message{ID: EventID(org, e.Sequence), At: at, Body: body}
	for _, s := range secrets {
		m.Signatures = append(m.Signatures, s.Sign(m.ID, m.At, m.Body))
	}
	receipt := w.Courier.Carry(ctx, run.Webhook.Wish.URL, m)
	if receipt.Outcome != Delivered && ctx.Err() != nil {
		// It was we who broke off, and the receiver did not fail.
		return true, errors.Join(w.end(ctx, org, run.Webhook.ID, lease), ctx.Err())
	}
	now := w.Clock()
	d := Delivery{
		ID: w.NewID(), Sequence: e.Sequence, Attempt: run.Failures + 1, At: at.UTC().Truncate(time.Microsecond), Took: now.Sub(at),
		Outcome: receipt.Outcome, Status: receipt.Status,
	}
	after, pause := w.judge(run, receipt, e, now)
	// What was sent is noted even if the process ends now: else it would be sent again.
	err = w.Log.NoteDelivery(context.WithoutCancel(ctx), org, run.Webhook.ID, lease, d, after)
	run.Failures, run.FailingSince = after.Failures, after.FailingSince
	switch {
	case errors.Is(err, ErrLost):
		return true, Again{}
	case err != nil:
		return true, err
	case receipt.Outcome == Delivered:
		return false, nil
	case receipt.Outcome == Dismissed:
		return true, w.disable(ctx, org, run.Webhook.ID, reasonDismissed)
	case now.Sub(after.FailingSince) >= DisabledAfter:
		return true, w.disable(ctx, org, run.Webhook.ID, reasonFailing)
	}
	return true, Again{pause}
}

// judge says where an attempt leaves a webhook, and how long to wait when it failed.
func (w *Webhooks) judge(run *Run, r Receipt, e Event, now time.Time) (Standing, time.Duration) {
	if r.Outcome == Delivered {
		return Standing{Version: run.Webhook.Version, Delivered: e.Sequence, Until: now.Add(attemptTime)}, 0
	}
	pauseAfter := RetryPause
	if w.Pause != nil {
		pauseAfter = w.Pause
	}
	failures := run.Failures + 1
	pause := max(pauseAfter(failures), r.Wait)
	since := run.FailingSince
	if since.IsZero() {
		since = now
	}
	return Standing{Version: run.Webhook.Version, Failures: failures, FailingSince: since, NextAttempt: now.Add(pause)}, pause
}

// disable stops a webhook and notes the change, which is an event like any other: those who follow the events by other ways are
// told.
func (w *Webhooks) disable(ctx context.Context, org OrgID, id uuid.UUID, reason string) error {
	err := w.changing(ctx, org, id, Match{Any: true}, func(ctx context.Context, rec Recorder, stamp Stamp, hook Webhook) error {
		if hook.Wish.State != WebhookActive {
			return nil
		}
		hook.Version, hook.Wish.State, hook.By = hook.Version+1, WebhookDisabled, "rideout"
		if err := hook.write(stamp, reason); err != nil {
			return err
		}
		return rec.RecordWebhook(ctx, hook)
	})
	if known := (*Error)(nil); errors.As(err, &known) && known.Kind == KindNotFound {
		return nil // removed meanwhile
	}
	return err
}
