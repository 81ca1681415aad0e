package api

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
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
	shown, repeated, err := h.webhooks.Add(ctx, org(ctx), claim, wish, by(ctx))
	return shownWebhook(shown, repeated, err)
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
	shown, repeated, err := h.webhooks.Rotate(ctx, org(ctx), r.Id, claim, overlap, by(ctx))
	return shownWebhook(shown, repeated, err)
}

// shownWebhook answers the secret once. The tag is that of the webhook as it is read, so that the next change can name it.
func shownWebhook(shown service.ShownWebhook, repeated bool, err error) (document, error) {
	if err != nil {
		return document{}, err
	}
	answer, err := changed(http.StatusCreated, shown.Body)
	if err != nil {
		return document{}, err
	}
	answer.header["ETag"] = etag(hexSHA256(shown.Bare), false)
	if repeated {
		answer.header["Idempotency-Replayed"] = "true"
	}
	return answer, nil
}

func (h handlers) GetWebhook(ctx context.Context, r GetWebhookRequestObject) (GetWebhookResponseObject, error) {
	hook, err := h.webhooks.Read(ctx, org(ctx), r.Id)
	return read(hook.Body), err
}

func (h handlers) ChangeWebhook(ctx context.Context, r ChangeWebhookRequestObject) (ChangeWebhookResponseObject, error) {
	merge, problems, ok := scan(r.Body.sent)
	if _, isObject := merge.(map[string]any); ok && !isObject {
		problems = append(problems, service.FieldError{Message: "must be an object", Fix: "send the members to change; null removes one"})
	}
	if len(problems) > 0 {
		return nil, refusal(problems)
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
	return pageDocument(out, webhooksPath, r.Params.Limit, out.Next, out.Prev)
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
	return pageDocument(out, path, r.Params.Limit, out.Next, out.Prev)
}

func (h handlers) ReplayWebhook(ctx context.Context, r ReplayWebhookRequestObject) (ReplayWebhookResponseObject, error) {
	var wish openapi.Replay
	if err := decodeAs("Replay", r.Body.sent, &wish); err != nil {
		return nil, err
	}
	if err := h.webhooks.Replay(ctx, org(ctx), r.Id, wish.After); err != nil {
		return nil, err
	}
	answer, err := jsonDocument(wish)
	answer.status = http.StatusAccepted
	answer.header = map[string]string{"Cache-Control": "no-store"}
	return answer, err
}

// pageDocument answers a page and names its neighbours in Link.
func pageDocument(page any, path string, limit *int, next, prev *string) (document, error) {
	answer, err := jsonDocument(page)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	query := url.Values{}
	if limit != nil {
		query.Set("limit", strconv.Itoa(*limit))
	}
	if links := linkHeader(path, query, next, prev); links != "" {
		answer.header["Link"] = links
	}
	return answer, err
}

// placeByID reads the cursor of a list that has no times.
func placeByID(cursor *string, list string) (service.RecordPlace, error) {
	var q service.RecordQuery
	err := readRecordCursor(cursor, list, &q)
	return q.From, err
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
