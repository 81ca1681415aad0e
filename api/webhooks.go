package api

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
)

// Names the generated server takes from the contract's types.
type (
	CreateWebhookParams       = openapi.CreateWebhookParams
	ListWebhooksParams        = openapi.ListWebhooksParams
	ChangeWebhookParams       = openapi.ChangeWebhookParams
	RemoveWebhookParams       = openapi.RemoveWebhookParams
	RotateWebhookSecretParams = openapi.RotateWebhookSecretParams
	ListDeliveriesParams      = openapi.ListDeliveriesParams

	CreateWebhookJSONRequestBody                          = sentBody
	ChangeWebhookApplicationMergePatchPlusJSONRequestBody = sentBody
	RotateWebhookSecretJSONRequestBody                    = sentBody
	ReplayWebhookJSONRequestBody                          = sentBody
)

const webhooksPath = "/v1/webhooks"

func (h handlers) CreateWebhook(ctx context.Context, r CreateWebhookRequestObject) (CreateWebhookResponseObject, error) {
	var wish service.WebhookWish
	if err := decodeAs("WebhookRequest", r.Body.sent, &wish); err != nil {
		return nil, err
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + webhooksPath, RequestSHA256: r.Body.sha256}
	return shownWebhook(h.webhooks.Add(ctx, org(ctx), claim, wish, by(ctx)))
}

func (h handlers) RotateWebhookSecret(ctx context.Context, r RotateWebhookSecretRequestObject) (RotateWebhookSecretResponseObject, error) {
	var wish openapi.SecretRotation
	if err := decodeAs("SecretRotation", r.Body.sent, &wish); err != nil {
		return nil, err
	}
	var overlap *time.Duration
	if wish.OverlapH != nil {
		d := time.Duration(*wish.OverlapH) * time.Hour
		overlap = &d
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + webhooksPath + "/" + r.Id.String() + "/secret", RequestSHA256: r.Body.sha256}
	return shownWebhook(h.webhooks.Rotate(ctx, org(ctx), r.Id, claim, overlap, by(ctx)))
}

// shownWebhook answers the secret once. The tag is that of the webhook as it is read, so that the next change can name it.
func shownWebhook(shown service.ShownWebhook, replayed bool, err error) (document, error) {
	if err != nil {
		return document{}, err
	}
	answer, err := changedOnce(shown.Body, replayed)
	if err != nil {
		return document{}, err
	}
	answer.header["ETag"] = etag(hexSHA256(shown.Bare), false)
	return answer, nil
}

func (h handlers) GetWebhook(ctx context.Context, r GetWebhookRequestObject) (GetWebhookResponseObject, error) {
	hook, err := h.webhooks.Read(ctx, org(ctx), r.Id)
	return read(hook.Body), err
}

func (h handlers) ChangeWebhook(ctx context.Context, r ChangeWebhookRequestObject) (ChangeWebhookResponseObject, error) {
	merge, err := readPatch(r.Body.sent)
	if err != nil {
		return nil, err
	}
	hook, err := h.webhooks.Change(ctx, org(ctx), service.WebhookPatch{
		ID: r.Id, By: by(ctx), Match: matchOf(r.Params.IfMatch), Merge: merge,
		Decode: func(whole []byte) (wish service.WebhookWish, err error) {
			return wish, decodeAs("WebhookRequest", whole, &wish)
		},
	})
	if err != nil {
		return nil, err
	}
	return changed(http.StatusOK, hook.Body)
}

func (h handlers) RemoveWebhook(ctx context.Context, r RemoveWebhookRequestObject) (RemoveWebhookResponseObject, error) {
	if err := h.webhooks.Remove(ctx, org(ctx), r.Id, matchOf(r.Params.IfMatch), by(ctx)); err != nil {
		return nil, err
	}
	return document{status: http.StatusNoContent, header: map[string]string{"Cache-Control": "no-store"}}, nil
}

func (h handlers) ListWebhooks(ctx context.Context, r ListWebhooksRequestObject) (ListWebhooksResponseObject, error) {
	from, err := placeByID(r.Params.Cursor, webhooksPath)
	if err != nil {
		return nil, err
	}
	page, err := h.webhooks.List(ctx, org(ctx), from, or(r.Params.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	out := recordPage{Items: make([]json.RawMessage, len(page.Items))}
	for i, hook := range page.Items {
		out.Items[i] = hook.Body
	}
	out.Next, out.Prev = recordCursor(page.Next, service.AsOf{}, webhooksPath), recordCursor(page.Prev, service.AsOf{}, webhooksPath)
	return pageDocument(out, webhooksPath, url.Values{}, r.Params.Limit, out.Next, out.Prev)
}

type deliveryPage struct {
	Items         []delivery `json:"items"`
	Next          *string    `json:"next"`
	Prev          *string    `json:"prev"`
	Delivered     int64      `json:"delivered"`
	Latest        int64      `json:"latest"`
	FailingSince  *time.Time `json:"failing_since"`
	NextAttemptAt *time.Time `json:"next_attempt_at"`
}

type delivery struct {
	ID       uuid.UUID       `json:"id"`
	Sequence int64           `json:"sequence"`
	EventID  string          `json:"event_id"`
	Attempt  int             `json:"attempt"`
	At       time.Time       `json:"at"`
	TookS    float64         `json:"took_s"`
	Outcome  service.Outcome `json:"outcome"`
	Status   *int            `json:"status"`
}

func (h handlers) ListDeliveries(ctx context.Context, r ListDeliveriesRequestObject) (ListDeliveriesResponseObject, error) {
	path := webhooksPath + "/" + r.Id.String() + "/deliveries"
	from, err := placeByID(r.Params.Cursor, path)
	if err != nil {
		return nil, err
	}
	page, err := h.webhooks.Deliveries(ctx, org(ctx), r.Id, from, or(r.Params.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	out := deliveryPage{
		Items: make([]delivery, len(page.Items)), Next: recordCursor(page.Next, service.AsOf{}, path), Prev: recordCursor(page.Prev, service.AsOf{}, path),
		Delivered: page.Delivered, Latest: page.Latest, FailingSince: timeOrNull(page.FailingSince), NextAttemptAt: timeOrNull(page.NextAttempt),
	}
	for i, d := range page.Items {
		out.Items[i] = delivery{
			ID: d.ID, Sequence: d.Sequence, EventID: service.EventID(org(ctx), d.Sequence), Attempt: d.Attempt, At: d.At.UTC(),
			TookS: d.Took.Seconds(), Outcome: d.Outcome,
		}
		if d.Status != 0 {
			out.Items[i].Status = &d.Status
		}
	}
	return pageDocument(out, path, url.Values{}, r.Params.Limit, out.Next, out.Prev)
}

func (h handlers) ReplayWebhook(ctx context.Context, r ReplayWebhookRequestObject) (ReplayWebhookResponseObject, error) {
	var wish openapi.Replay
	if err := decodeAs("Replay", r.Body.sent, &wish); err != nil {
		return nil, err
	}
	if err := h.webhooks.Replay(ctx, org(ctx), r.Id, wish.After); err != nil {
		return nil, err
	}
	answer, err := unkept(wish)
	answer.status = http.StatusAccepted
	return answer, err
}

func timeOrNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

func (d document) VisitCreateWebhookResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitListWebhooksResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetWebhookResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitChangeWebhookResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRemoveWebhookResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotateWebhookSecretResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitListDeliveriesResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitReplayWebhookResponse(w http.ResponseWriter) error { return d.write(w) }
