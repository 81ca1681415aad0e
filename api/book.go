package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/fleet"
)

// Parameters the routes of the book have in common.
type (
	addParams    = openapi.RegisterVesselParams
	asOfParams   = openapi.GetVesselParams
	changeParams = openapi.ChangeVesselParams
	listParams   = openapi.ListVesselsParams
)

// add records a new thing that belongs to owner, or to nothing.
func (h handlers) add(ctx context.Context, kind fleet.Kind, path string, owner uuid.UUID, p addParams, b *sentBody) (document, error) {
	entity, err := decodeEntity(kind, b.sent, h.now())
	if err != nil {
		return document{}, err
	}
	d := draftOf(ctx, kind, p.ValidFrom, entity)
	if item, ok := entity.(*fleet.GearItem); ok {
		if err := fitTo(item, owner); err != nil {
			return document{}, err
		}
		d.Within = owner
	} else {
		d.Under = owner
	}
	route := "POST " + path // with the owner's id and the time: the same body under another is another request
	if p.ValidFrom != nil {
		route += "?valid_from=" + p.ValidFrom.UTC().Format(time.RFC3339Nano)
	}
	claim := service.Claim{Key: p.IdempotencyKey, Route: route, RequestSHA256: b.sha256}
	kept, replayed, err := h.registers.Add(ctx, org(ctx), claim, d)
	if err != nil {
		return document{}, err
	}
	return changedOnce(kept.Body, replayed)
}

func draftOf(ctx context.Context, kind fleet.Kind, from *time.Time, entity fleet.Entity) service.Draft {
	return service.Draft{Kind: kind, ValidFrom: utc(from), By: by(ctx), Entity: entity}
}

// fitTo fits gear to the vessel it is sent under.
func fitTo(item *fleet.GearItem, vessel uuid.UUID) error {
	if item.VesselID != nil && *item.VesselID != vessel {
		return refusal([]service.FieldError{{Pointer: "/vessel_id", Message: "is another vessel than the address names", Fix: "leave it out"}})
	}
	item.VesselID = &vessel
	return nil
}

// get reads one thing as of two times. The answer says in its headers which they are.
func (h handlers) get(ctx context.Context, kind fleet.Kind, id uuid.UUID, p asOfParams) (document, error) {
	v, at, err := h.registers.Read(ctx, org(ctx), kind, id, asOf(p.ValidAt, p.KnownAt))
	if err != nil {
		return document{}, err
	}
	answer := read(v.Body)
	sayTimes(answer.header, at)
	return answer, nil
}

func sayTimes(header map[string]string, at service.AsOf) {
	header["Valid-At"], header["Known-At"] = at.ValidAt.Format(time.RFC3339Nano), at.KnownAt.Format(time.RFC3339Nano)
}

// change records what a merge patch makes of a thing.
func (h handlers) change(ctx context.Context, kind fleet.Kind, id uuid.UUID, p changeParams, b *sentBody) (document, error) {
	merge, err := readPatch(b.sent)
	if err != nil {
		return document{}, err
	}
	v, err := h.registers.Change(ctx, org(ctx), service.Patch{
		Kind: kind, ID: id, ValidFrom: utc(p.ValidFrom), By: by(ctx), Match: matchOf(p.IfMatch), Merge: merge,
		Decode: func(whole []byte, now time.Time) (fleet.Entity, error) { return decodeEntity(kind, whole, now) },
	})
	if err != nil {
		return document{}, err
	}
	return changed(http.StatusOK, v.Body)
}

// readPatch reads a merge patch (RFC 7396), which must be an object.
func readPatch(sent []byte) (any, error) {
	merge, problems, ok := scan(sent)
	if _, isObject := merge.(map[string]any); ok && !isObject {
		problems = append(problems, service.FieldError{Message: "must be an object", Fix: "send the members to change; null removes one"})
	}
	if len(problems) > 0 {
		return nil, refusal(problems)
	}
	return merge, nil
}

// put records the whole of the one thing of its kind at an address.
func (h handlers) put(ctx context.Context, kind fleet.Kind, id uuid.UUID, p changeParams, b *sentBody) (document, error) {
	entity, err := decodeEntity(kind, b.sent, h.now())
	if err != nil {
		return document{}, err
	}
	d := draftOf(ctx, kind, p.ValidFrom, entity)
	if fleet.Describe(kind).Under != "" {
		d.Under = id
	}
	v, first, err := h.registers.Put(ctx, org(ctx), d, id, matchOf(p.IfMatch))
	if err != nil {
		return document{}, err
	}
	if first && kind != fleet.KindPolicy { // a policy there always is
		return changed(http.StatusCreated, v.Body)
	}
	return changed(http.StatusOK, v.Body)
}

// changed is the answer to a change: the new version, its ETag, and where it is read if that is new.
func changed(status int, body []byte) (document, error) {
	header := map[string]string{"Cache-Control": "no-store", "ETag": etag(hexSHA256(body), false)}
	if status == http.StatusCreated {
		var said struct {
			Links struct {
				Self string `json:"self"`
			} `json:"links"`
		}
		if err := json.Unmarshal(body, &said); err != nil {
			return document{}, fmt.Errorf("read an answer: %w", err)
		}
		header["Location"] = said.Links.Self
	}
	return document{status: status, kind: "application/json", header: header, body: body}, nil
}

// changedOnce is the answer to what is made at most once for an Idempotency-Key.
func changedOnce(body []byte, replayed bool) (document, error) {
	answer, err := changed(http.StatusCreated, body)
	if err != nil {
		return document{}, err
	}
	return repeated(answer, replayed), nil
}

// matchOf reads If-Match (RFC 9110, 13.1.1). The comparison is the strong one; the coding of an answer, which is in its tag,
// does not matter for what is changed.
func matchOf(field *string) service.Match {
	var m service.Match
	if field == nil {
		return m
	}
	m.SHA256 = []string{""} // there is a condition, though nothing may fit it
	for tag := range strings.SplitSeq(*field, ",") {
		tag = strings.TrimSpace(tag)
		if tag == "*" {
			m.Any = true
		}
		if inner, ok := strings.CutPrefix(tag, `"`); ok {
			m.SHA256 = append(m.SHA256, strings.TrimSuffix(strings.TrimSuffix(inner, `"`), "-gzip"))
		}
	}
	return m
}

// recordPage is a page as it is answered; the items are the bytes that are kept.
type recordPage struct {
	Items []json.RawMessage `json:"items"`
	Next  *string           `json:"next"`
	Prev  *string           `json:"prev"`
}

// list answers a page of what belongs to owner, or of all of a kind.
func (h handlers) list(ctx context.Context, kind fleet.Kind, path string, owner uuid.UUID, p listParams) (document, error) {
	query := url.Values{}
	q := service.RecordQuery{Kind: kind, AsOf: askedAt(p.ValidAt, p.KnownAt, query), Limit: or(p.Limit, defaultLimit)}
	switch {
	case kind == fleet.KindIncident && owner != uuid.Nil:
		q.VesselID = owner
		query.Set("vessel_id", owner.String())
	case kind == fleet.KindGear:
		q.VesselID = owner
	default:
		q.Under = owner
	}
	filters := path + "?" + query.Encode()
	if err := readRecordCursor(p.Cursor, filters, &q); err != nil {
		return document{}, err
	}
	page, at, err := h.registers.List(ctx, org(ctx), q)
	if err != nil {
		return document{}, err
	}
	next, prev := recordCursor(page.Next, at, filters), recordCursor(page.Prev, at, filters)
	out := recordPage{Items: make([]json.RawMessage, len(page.Items)), Next: next, Prev: prev}
	for i, v := range page.Items {
		out.Items[i] = v.Body
	}
	answer, err := pageDocument(out, path, query, p.Limit, next, prev)
	sayTimes(answer.header, at)
	return answer, err
}

// utc gives a time that may be absent as the domain takes it.
func utc(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// asOf gives the two times of a read, either of which may be absent.
func asOf(validAt, knownAt *time.Time) service.AsOf {
	return service.AsOf{ValidAt: utc(validAt), KnownAt: utc(knownAt)}
}
