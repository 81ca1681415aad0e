package service

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// KindWebhook is what a change to a webhook is noted as. It is no kind of the book: its versions are not kept.
const KindWebhook fleet.Kind = "webhook"

// WebhookState says whether events are sent.
type WebhookState string

// The states.
const (
	WebhookActive   WebhookState = "active"
	WebhookPaused   WebhookState = "paused"   // by its organisation
	WebhookDisabled WebhookState = "disabled" // by us: it failed for long, or answered 410
)

// Why a webhook is disabled.
const (
	reasonFailing   = "failing"
	reasonDismissed = "dismissed"
)

// WebhookWish is what an organisation says of a webhook.
type WebhookWish struct {
	URL         string       `json:"url"`
	Description string       `json:"description,omitempty"`
	Kinds       []string     `json:"kinds,omitempty"` // of changes; none: all
	State       WebhookState `json:"state,omitempty"` // empty: as it is; of a new one, active
}

// Webhook is where an organisation's events are sent.
type Webhook struct {
	ID         uuid.UUID
	Version    int
	Wish       WebhookWish // its State is the webhook's
	Secrets    []SealedSecret
	By         string
	Body       []byte
	BodySHA256 string
}

// SealedSecret is a signing secret as it is kept.
type SealedSecret struct {
	Sealed []byte
	MadeAt time.Time
	Until  time.Time // after it nothing is signed with it; the zero time: it is the current one
}

// WebhookPage is one page of the list, newest first.
type WebhookPage struct {
	Items      []Webhook
	Next, Prev *RecordPlace
}

// Delivery is one attempt to deliver an event.
type Delivery struct {
	ID       uuid.UUID
	Sequence int64
	Attempt  int // of this event, from 1
	At       time.Time
	Took     time.Duration
	Outcome  Outcome
	Status   int // of HTTP; 0: no answer
}

// DeliveryPage is a page of the attempts of a webhook, newest first, and how far it has got.
type DeliveryPage struct {
	Items        []Delivery
	Next, Prev   *RecordPlace
	Delivered    int64     // the last event delivered, or passed over by its kind
	Latest       int64     // the last event there is
	FailingSince time.Time // the zero time: it is not
	NextAttempt  time.Time // of the event that failed; the zero time: none failed
}

// DeliveryLife is how long attempts are kept.
const DeliveryLife = 30 * 24 * time.Hour

// WebhookRecorder is Recorder's part for webhooks. Each needs a turn.
type WebhookRecorder interface {
	// Webhook reads one for a change and keeps it from others until the transaction ends. It returns ErrNotFound.
	Webhook(ctx context.Context, id uuid.UUID) (Webhook, error)
	CountWebhooks(ctx context.Context) (int, error)
	// RecordWebhook records a version and notes the change. Deliveries that failed are tried again at once; a new one's first event is
	// that it was made.
	RecordWebhook(ctx context.Context, w Webhook) error
	// DropWebhook forgets a webhook with its secrets and attempts, and notes the change.
	DropWebhook(ctx context.Context, w Webhook) error
}

// WebhookLog keeps webhooks and how far each has got.
type WebhookLog interface {
	// Webhook and Deliveries return ErrNotFound for an id that is unknown or another organisation's.
	Webhook(ctx context.Context, org OrgID, id uuid.UUID) (Webhook, error)
	Webhooks(ctx context.Context, org OrgID, from RecordPlace, limit int) (WebhookPage, error)
	Deliveries(ctx context.Context, org OrgID, id uuid.UUID, from RecordPlace, limit int) (DeliveryPage, error)
	// Replay makes the events after a place be sent again, beginning at once. It takes the webhook from a job that is at work on it.
	Replay(ctx context.Context, org OrgID, id uuid.UUID, after int64) error

	// TakeRun gives a job what is to be delivered next, and the webhook for itself until a time. It returns ErrNotFound.
	TakeRun(ctx context.Context, org OrgID, id uuid.UUID, t RunTerms) (Run, error)
	// NoteDelivery keeps an attempt and where it leaves the webhook. It returns ErrLost when the webhook was taken from the job or changed.
	NoteDelivery(ctx context.Context, org OrgID, id uuid.UUID, lease uuid.UUID, d Delivery, after Standing) error
	// EndRun gives the webhook back before the time is up.
	EndRun(ctx context.Context, org OrgID, id uuid.UUID, lease uuid.UUID) error
}

// Safe seals secrets for a place and opens them there.
type Safe interface {
	Seal(place string, secret []byte) []byte
	Open(place string, sealed []byte) ([]byte, error)
}

// Webhooks is the use cases on webhooks. All fields but Pause must be set; without a Safe none can be made. It is safe for concurrent use.
type Webhooks struct {
	History History
	Log     WebhookLog
	Events  *Events
	Courier Courier
	Safe    Safe
	Clock   func() time.Time
	NewID   func() uuid.UUID
	Pause   func(failures int) time.Duration // nil: RetryPause
}

const (
	mostWebhooks  = 20
	mostSecrets   = 3
	secretOverlap = 24 * time.Hour
)

// ShownWebhook is a webhook as it is answered once, with its new secret. Bare is without it, as it is read later.
type ShownWebhook struct{ Body, Bare []byte }

// Add makes a webhook, at most once for a claim. A repeat gets the first answer, secret included, and true.
func (w *Webhooks) Add(ctx context.Context, org OrgID, claim Claim, wish WebhookWish, by string) (ShownWebhook, bool, error) {
	if err := w.admit(wish); err != nil {
		return ShownWebhook{}, false, err
	}
	return w.once(ctx, org, claim, func(ctx context.Context, rec Recorder, stamp Stamp) (Webhook, SigningSecret, error) {
		n, err := rec.CountWebhooks(ctx)
		if err != nil {
			return Webhook{}, SigningSecret{}, err
		}
		if n >= mostWebhooks {
			return Webhook{}, SigningSecret{}, &Error{Kind: KindInvalid, Message: fmt.Sprintf("an organisation has at most %d webhooks: remove one, or change it", mostWebhooks)}
		}
		if wish.State == "" {
			wish.State = WebhookActive
		}
		hook, secret := Webhook{ID: w.NewID(), Version: 1, Wish: wish, By: by}, NewSigningSecret()
		hook.Secrets = w.renewed(org, hook, secret, stamp.RecordedAt, 0)
		return hook, secret, nil
	})
}

// Rotate gives a webhook a further secret, at most once for a claim. Until overlap has passed messages are signed with the old one, too.
func (w *Webhooks) Rotate(ctx context.Context, org OrgID, id uuid.UUID, claim Claim, overlap *time.Duration, by string) (ShownWebhook, bool, error) {
	keep := secretOverlap
	if overlap != nil {
		keep = *overlap
	}
	return w.once(ctx, org, claim, func(ctx context.Context, rec Recorder, stamp Stamp) (Webhook, SigningSecret, error) {
		hook, err := rec.Webhook(ctx, id)
		if err != nil {
			return Webhook{}, SigningSecret{}, err
		}
		secret := NewSigningSecret()
		hook.Version, hook.By = hook.Version+1, by
		hook.Secrets = w.renewed(org, hook, secret, stamp.RecordedAt, keep)
		return hook, secret, nil
	})
}

// once records what work makes, and keeps the answer sealed: it shows the secret.
func (w *Webhooks) once(ctx context.Context, org OrgID, claim Claim, work func(context.Context, Recorder, Stamp) (Webhook, SigningSecret, error)) (ShownWebhook, bool, error) {
	if w.Safe == nil {
		return ShownWebhook{}, false, &Error{Kind: KindUnavailable, Message: "this service has no key to keep secrets under, so it makes no webhooks: its operator must set RIDEOUT_SECRETS_KEY_FILE"}
	}
	place := fmt.Sprintf("answer %s %s", org, claim.Key)
	answer, repeated, err := w.History.Once(ctx, org, claim, func(ctx context.Context, rec Recorder) (Answer, error) {
		stamp, err := rec.Turn(ctx, w.Clock)
		if err != nil {
			return Answer{}, err
		}
		hook, secret, err := work(ctx, rec, stamp)
		if err != nil {
			return Answer{}, err
		}
		if err := hook.write(stamp, ""); err != nil {
			return Answer{}, err
		}
		return Answer{Body: w.Safe.Seal(place, withSecret(hook.Body, secret))}, rec.RecordWebhook(ctx, hook)
	})
	if err != nil {
		return ShownWebhook{}, false, sortedWebhook(err)
	}
	body, err := w.Safe.Open(place, answer.Body)
	if err != nil {
		return ShownWebhook{}, false, &Error{Kind: KindUnavailable, Message: "the first answer cannot be opened any more: rotate the secret", Err: err}
	}
	return ShownWebhook{Body: body, Bare: withoutSecret(body)}, repeated, nil
}

// renewed gives a webhook's secrets with a new one at their head, the one before ending after the overlap.
func (w *Webhooks) renewed(org OrgID, hook Webhook, secret SigningSecret, now time.Time, overlap time.Duration) []SealedSecret {
	secrets := []SealedSecret{{Sealed: w.Safe.Seal(secretPlace(org, hook.ID), []byte(secret.Reveal())), MadeAt: now}}
	for _, old := range hook.Secrets {
		if until := now.Add(overlap); old.Until.IsZero() || old.Until.After(until) {
			old.Until = until
		}
		if old.Until.After(now) && len(secrets) < mostSecrets {
			secrets = append(secrets, old)
		}
	}
	return secrets
}

func secretPlace(org OrgID, id uuid.UUID) string { return fmt.Sprintf("webhook %s %s", org, id) }

// WebhookPatch is a change to a webhook.
type WebhookPatch struct {
	ID     uuid.UUID
	By     string
	Match  Match
	Merge  any                                     // RFC 7396, as encoding/json reads it into any
	Decode func(whole []byte) (WebhookWish, error) // holds what comes of it against the contract
}

// Change records a further version of a webhook.
func (w *Webhooks) Change(ctx context.Context, org OrgID, p WebhookPatch) (hook Webhook, err error) {
	err = w.changing(ctx, org, p.ID, p.Match, func(ctx context.Context, rec Recorder, stamp Stamp, before Webhook) error {
		members, err := before.members()
		if err != nil {
			return err
		}
		whole, err := json.Marshal(fleet.MergePatch(members, p.Merge))
		if err != nil {
			return fmt.Errorf("write the merged whole: %w", err)
		}
		wish, err := p.Decode(whole)
		if err != nil {
			return err
		}
		if err := w.admit(wish); err != nil {
			return err
		}
		if wish.State == "" {
			wish.State = before.Wish.State
		}
		reason := ""
		if wish.State == WebhookDisabled {
			reason = before.reason()
		}
		hook = before
		hook.Version, hook.Wish, hook.By = before.Version+1, wish, p.By
		if err := hook.write(stamp, reason); err != nil {
			return err
		}
		return rec.RecordWebhook(ctx, hook)
	})
	return hook, err
}

// Remove ends a webhook.
func (w *Webhooks) Remove(ctx context.Context, org OrgID, id uuid.UUID, match Match, by string) error {
	return w.changing(ctx, org, id, match, func(ctx context.Context, rec Recorder, _ Stamp, hook Webhook) error {
		hook.Version, hook.By, hook.BodySHA256 = hook.Version+1, by, hexSHA256(nil)
		return rec.DropWebhook(ctx, hook)
	})
}

// changing takes the turn before the webhook: changes take the two in this order, and so must whoever holds both.
func (w *Webhooks) changing(ctx context.Context, org OrgID, id uuid.UUID, match Match, do func(context.Context, Recorder, Stamp, Webhook) error) error {
	return sortedWebhook(w.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		stamp, err := rec.Turn(ctx, w.Clock)
		if err != nil {
			return err
		}
		hook, err := rec.Webhook(ctx, id)
		if err != nil {
			return err
		}
		if err := matched(match, Version{BodySHA256: hook.BodySHA256}); err != nil {
			return err
		}
		return do(ctx, rec, stamp, hook)
	}))
}

// Read returns a webhook.
func (w *Webhooks) Read(ctx context.Context, org OrgID, id uuid.UUID) (Webhook, error) {
	hook, err := w.Log.Webhook(ctx, org, id)
	return hook, sortedWebhook(err)
}

// List returns a page of webhooks.
func (w *Webhooks) List(ctx context.Context, org OrgID, from RecordPlace, limit int) (WebhookPage, error) {
	page, err := w.Log.Webhooks(ctx, org, from, limit)
	return page, sortedWebhook(err)
}

// Deliveries returns a page of a webhook's attempts.
func (w *Webhooks) Deliveries(ctx context.Context, org OrgID, id uuid.UUID, from RecordPlace, limit int) (DeliveryPage, error) {
	page, err := w.Log.Deliveries(ctx, org, id, from, limit)
	return page, sortedWebhook(err)
}

// Replay sends the events after a place again. It may be any from which Events lists, or before all that is told.
func (w *Webhooks) Replay(ctx context.Context, org OrgID, id uuid.UUID, after int64) error {
	if _, err := w.Read(ctx, org, id); err != nil {
		return err
	}
	_, err := w.Events.List(ctx, org, &after, 1)
	if resync := (*ResyncError)(nil); errors.As(err, &resync) {
		field := FieldError{Pointer: "/after", Message: resync.Message, Fix: "send the sequence of an event that is told still"}
		return &Error{Kind: KindInvalid, Message: "one field is wrong", Fields: []FieldError{field}}
	} else if err != nil {
		return err
	}
	return sortedWebhook(w.Log.Replay(ctx, org, id, after))
}

func (w *Webhooks) admit(wish WebhookWish) error {
	wrong := w.Courier.Admit(wish.URL)
	if wrong == "" {
		return nil
	}
	field := FieldError{Pointer: "/url", Message: "is " + wrong, Fix: "send an address of the form https://host/path that is reached from the open internet"}
	return &Error{Kind: KindInvalid, Message: "one field is wrong", Fields: []FieldError{field}}
}

// webhookBody is a webhook as it is answered.
type webhookBody struct {
	ID         uuid.UUID `json:"id"`
	Version    int       `json:"version"`
	RecordedAt string    `json:"recorded_at"`
	RecordedBy string    `json:"recorded_by"`
	WebhookWish
	Reason  string            `json:"reason,omitempty"`
	Secrets []shownSecret     `json:"secrets"`
	Links   map[string]string `json:"links"`
}

type shownSecret struct {
	MadeAt string  `json:"made_at"`
	Until  *string `json:"until"`
}

// write writes the body of a version.
func (h *Webhook) write(stamp Stamp, reason string) error {
	self := "/v1/webhooks/" + h.ID.String()
	out := webhookBody{
		ID: h.ID, Version: h.Version, RecordedAt: stamp.RecordedAt.Format(time.RFC3339Nano), RecordedBy: h.By, WebhookWish: h.Wish, Reason: reason,
		Links: map[string]string{"self": self, "deliveries": self + "/deliveries"},
	}
	for _, s := range h.Secrets {
		shown := shownSecret{MadeAt: s.MadeAt.UTC().Format(time.RFC3339Nano)}
		if !s.Until.IsZero() {
			until := s.Until.UTC().Format(time.RFC3339Nano)
			shown.Until = &until
		}
		out.Secrets = append(out.Secrets, shown)
	}
	body, err := json.Marshal(out)
	if err != nil {
		return fmt.Errorf("encode a webhook: %w", err)
	}
	h.Body, h.BodySHA256 = body, hexSHA256(body)
	return nil
}

// members gives what a merge patch is applied to. A state that we gave is none its organisation could send.
func (h Webhook) members() (members map[string]any, err error) {
	wish := h.Wish
	if wish.State == WebhookDisabled {
		wish.State = ""
	}
	b, err := json.Marshal(wish)
	if err != nil {
		return nil, fmt.Errorf("encode a webhook: %w", err)
	}
	return members, json.Unmarshal(b, &members)
}

func (h Webhook) reason() string {
	var body webhookBody
	_ = json.Unmarshal(h.Body, &body) // we wrote it
	return body.Reason
}

// ReadWebhookBody gives what a kept body says.
func ReadWebhookBody(body []byte) (WebhookWish, string, error) {
	var b webhookBody
	if err := json.Unmarshal(body, &b); err != nil {
		return WebhookWish{}, "", fmt.Errorf("read a webhook: %w", err)
	}
	return b.WebhookWish, b.RecordedBy, nil
}

const secretMember = `,"secret":"`

func withSecret(body []byte, secret SigningSecret) []byte {
	return slices.Concat(body[:len(body)-1], []byte(secretMember+secret.Reveal()+`"}`))
}

func withoutSecret(body []byte) []byte {
	at := bytes.LastIndex(body, []byte(secretMember))
	return append(bytes.Clone(body[:at]), '}')
}

func sortedWebhook(err error) error {
	if known := (*Error)(nil); !errors.As(err, &known) && errors.Is(err, ErrNotFound) {
		return &Error{Kind: KindNotFound, Message: "there is no webhook with this id", Err: err}
	}
	return sorted(err)
}
