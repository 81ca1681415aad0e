package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"

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

const keysPath = "/v1/keys"

func (h handlers) CreateKey(ctx context.Context, r CreateKeyRequestObject) (CreateKeyResponseObject, error) {
	var sent openapi.KeyRequest
	if err := decodeAs("KeyRequest", r.Body.sent, &sent); err != nil {
		return nil, err
	}
	d := service.KeyDraft{Label: sent.Label, ExpiresAt: utc(sent.ExpiresAt)}
	for _, s := range sent.Scopes {
		d.Scopes = append(d.Scopes, service.Scope(s))
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + keysPath, RequestSHA256: r.Body.sha256}
	made, replayed, err := h.keys.Create(ctx, org(ctx), asking(ctx), claim, d)
	return madeKey(made, replayed, err)
}

func (h handlers) RotateKey(ctx context.Context, r RotateKeyRequestObject) (RotateKeyResponseObject, error) {
	var sent openapi.KeyRotation
	if err := decodeAs("KeyRotation", r.Body.sent, &sent); err != nil {
		return nil, err
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + keysPath + "/" + r.Id.String() + "/rotation", RequestSHA256: r.Body.sha256}
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
	answer, err := unkept(d)
	answer.status, answer.header["Location"] = http.StatusCreated, d.Links["self"]
	return repeated(answer, replayed), err
}

func (h handlers) RevokeKey(ctx context.Context, r RevokeKeyRequestObject) (RevokeKeyResponseObject, error) {
	k, err := h.keys.Revoke(ctx, org(ctx), asking(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	h.keyring.forget(r.Id)
	return unkept(k.Document())
}

func (h handlers) GetKey(ctx context.Context, r GetKeyRequestObject) (GetKeyResponseObject, error) {
	k, err := h.keys.Get(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	return fresh(k.Document())
}

func (h handlers) ListKeys(ctx context.Context, r ListKeysRequestObject) (ListKeysResponseObject, error) {
	from, err := placeByID(r.Params.Cursor, keysPath)
	if err != nil {
		return nil, err
	}
	page, err := h.keys.List(ctx, org(ctx), from, or(r.Params.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	next, prev := recordCursor(page.Next, service.AsOf{}, keysPath), recordCursor(page.Prev, service.AsOf{}, keysPath)
	out := keyPage{Items: make([]service.KeyDocument, len(page.Items)), Next: next, Prev: prev}
	for i, k := range page.Items {
		out.Items[i] = k.Document()
	}
	return pageDocument(out, keysPath, url.Values{}, r.Params.Limit, next, prev)
}

type keyPage struct {
	Items []service.KeyDocument `json:"items"`
	Next  *string               `json:"next"`
	Prev  *string               `json:"prev"`
}

func (d document) VisitCreateKeyResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitListKeysResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitGetKeyResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitRevokeKeyResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitRotateKeyResponse(w http.ResponseWriter) error { return d.write(w) }
