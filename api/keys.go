package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"rideout/openapi"
	"rideout/service"
)

// Names the generated server takes from the contract's types, and the bodies, which the handlers decode.
type (
	CreateKeyParams          = openapi.CreateKeyParams
	ListKeysParams           = openapi.ListKeysParams
	RotateKeyParams          = openapi.RotateKeyParams
	CreateKeyJSONRequestBody = sentBody
	RotateKeyJSONRequestBody = sentBody
)

func (h handlers) CreateKey(ctx context.Context, r CreateKeyRequestObject) (CreateKeyResponseObject, error) {
	var sent openapi.KeyRequest
	if err := decodeAs("KeyRequest", r.Body.sent, &sent); err != nil {
		return nil, err
	}
	d := service.KeyDraft{Label: sent.Label, ExpiresAt: utc(sent.ExpiresAt)}
	for _, s := range sent.Scopes {
		d.Scopes = append(d.Scopes, service.Scope(s))
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST /v1/keys", RequestSHA256: r.Body.sha256}
	made, replayed, err := h.keys.Create(ctx, org(ctx), asking(ctx), claim, d)
	return madeKey(made, replayed, err)
}

func (h handlers) RotateKey(ctx context.Context, r RotateKeyRequestObject) (RotateKeyResponseObject, error) {
	var sent openapi.KeyRotation
	if err := decodeAs("KeyRotation", r.Body.sent, &sent); err != nil {
		return nil, err
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST /v1/keys/" + r.Id.String() + "/rotation", RequestSHA256: r.Body.sha256}
	rotation := service.KeyRotation{ID: r.Id, Until: utc(sent.OldValidUntil), ExpiresAt: utc(sent.ExpiresAt)}
	made, replayed, err := h.keys.Rotate(ctx, org(ctx), asking(ctx), claim, rotation)
	if err == nil {
		h.keyring.forget(r.Id)
	}
	return madeKey(made, replayed, err)
}

// madeKey is the answer to a key that is made: what is kept of it, and this once the key.
func madeKey(made service.MadeKey, replayed bool, err error) (document, error) {
	if err != nil {
		return document{}, err
	}
	var d service.KeyDocument
	if err := json.Unmarshal(made.Answer, &d); err != nil {
		return document{}, fmt.Errorf("read an answer: %w", err)
	}
	d.Key = made.Key.Reveal()
	answer, err := jsonDocument(d)
	answer.status = http.StatusCreated
	answer.header = map[string]string{"Cache-Control": "no-store", "Location": d.Links["self"]}
	if replayed {
		answer.header["Idempotency-Replayed"] = "true"
	}
	return answer, err
}

func (h handlers) RevokeKey(ctx context.Context, r RevokeKeyRequestObject) (RevokeKeyResponseObject, error) {
	k, err := h.keys.Revoke(ctx, org(ctx), asking(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	h.keyring.forget(r.Id)
	answer, err := jsonDocument(k.Document())
	answer.header = map[string]string{"Cache-Control": "no-store"}
	return answer, err
}

func (h handlers) GetKey(ctx context.Context, r GetKeyRequestObject) (GetKeyResponseObject, error) {
	k, err := h.keys.Get(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(k.Document())
	return read(answer.body), err
}

func (h handlers) ListKeys(ctx context.Context, r ListKeysRequestObject) (ListKeysResponseObject, error) {
	var q service.RecordQuery // its place is all that is needed
	if err := readRecordCursor(r.Params.Cursor, "/v1/keys", &q); err != nil {
		return nil, err
	}
	page, err := h.keys.List(ctx, org(ctx), q.From, or(r.Params.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	next, prev := recordCursor(page.Next, service.AsOf{}, "/v1/keys"), recordCursor(page.Prev, service.AsOf{}, "/v1/keys")
	out := keyPage{Items: make([]service.KeyDocument, len(page.Items)), Next: next, Prev: prev}
	for i, k := range page.Items {
		out.Items[i] = k.Document()
	}
	answer, err := jsonDocument(out)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	query := url.Values{}
	if r.Params.Limit != nil {
		query.Set("limit", strconv.Itoa(*r.Params.Limit))
	}
	if links := linkHeader("/v1/keys", query, next, prev); links != "" {
		answer.header["Link"] = links
	}
	return answer, err
}

type keyPage struct {
	Items []service.KeyDocument `json:"items"`
	Next  *string               `json:"next"`
	Prev  *string               `json:"prev"`
}

// decodeAs reads a body strictly as a schema of the contract, and names every wrong field.
func decodeAs(schema string, body []byte, into any) error {
	doc, err := contract()
	if err != nil {
		return err
	}
	tree, problems, ok := scan(body)
	if ok {
		for _, f := range check(doc.Components.Schemas[schema].Value, tree) {
			problems = append(problems, f.FieldError)
		}
	}
	if len(problems) > 0 {
		return refusal(problems)
	}
	readable, err := json.Marshal(tree) // 1e3 is a whole number, but not to a Go int
	if err != nil {
		return fmt.Errorf("write the body anew: %w", err)
	}
	if err := json.Unmarshal(readable, into); err != nil {
		return fmt.Errorf("read a checked body: %w", err)
	}
	return nil
}

func (d document) VisitCreateKeyResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitListKeysResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitGetKeyResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitRevokeKeyResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitRotateKeyResponse(w http.ResponseWriter) error { return d.write(w) }
