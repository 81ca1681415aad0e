package api

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
)

// A cursor is opaque to callers. Inside it reads version|created_at|id|direction|filters, in base64: the filters
// are a hash, because a place in one list is none in another.
const cursorVersion = "1"

// cursorOf writes a place; nil stays nil.
func cursorOf(p *service.Place, filter service.PlanFilter) *string {
	if p == nil {
		return nil
	}
	direction := "next"
	if p.Backward {
		direction = "prev"
	}
	text := strings.Join([]string{cursorVersion, p.CreatedAt.UTC().Format(time.RFC3339Nano), p.ID.String(), direction, filterHash(filter)}, "|")
	cursor := base64.RawURLEncoding.EncodeToString([]byte(text))
	return &cursor
}

// placeOf reads a cursor; none is the start of the list.
func placeOf(cursor *string, filter service.PlanFilter) (service.Place, error) {
	if cursor == nil {
		return service.Place{}, nil
	}
	text, err := base64.RawURLEncoding.Strict().DecodeString(*cursor)
	parts := strings.Split(string(text), "|")
	if err != nil || len(parts) != 5 || parts[0] != cursorVersion || (parts[3] != "next" && parts[3] != "prev") {
		return service.Place{}, wrongCursor("is not a cursor of this service")
	}
	at, timeErr := time.Parse(time.RFC3339Nano, parts[1])
	id, idErr := uuid.Parse(parts[2])
	switch {
	case timeErr != nil || idErr != nil:
		return service.Place{}, wrongCursor("is not a cursor of this service")
	case parts[4] != filterHash(filter):
		return service.Place{}, wrongCursor("belongs to a list with other filters")
	}
	return service.Place{CreatedAt: at.UTC(), ID: id, Backward: parts[3] == "prev"}, nil
}

func wrongCursor(message string) error {
	name := "cursor"
	return &parameterError{[]openapi.FieldProblem{{Parameter: &name, Message: message, Fix: "send next or prev of an answer with the same filters, or leave it out to begin anew"}}}
}

func filterHash(f service.PlanFilter) string {
	text := fmt.Sprintf("%q|%s|%q|%q|%s|%s", f.VesselName, f.VesselID, f.Intent, f.InputSHA256,
		f.CreatedFrom.Format(time.RFC3339Nano), f.CreatedBefore.Format(time.RFC3339Nano))
	return shortHash(text)
}

func shortHash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:6])
}

// A cursor in a list of the book reads version|id|direction|valid_at|known_at|filters: all pages of a list are as of the times of
// the first.
const recordCursorVersion = "r1"

func recordCursor(p *service.RecordPlace, at service.AsOf, filters string) *string {
	if p == nil {
		return nil
	}
	direction := "next"
	if p.Backward {
		direction = "prev"
	}
	text := strings.Join([]string{
		recordCursorVersion, p.ID.String(), direction, at.ValidAt.Format(time.RFC3339Nano), at.KnownAt.Format(time.RFC3339Nano), shortHash(filters),
	}, "|")
	cursor := base64.RawURLEncoding.EncodeToString([]byte(text))
	return &cursor
}

// readRecordCursor puts the place and the times of a cursor into a query; without one the query stays.
func readRecordCursor(cursor *string, filters string, q *service.RecordQuery) error {
	if cursor == nil {
		return nil
	}
	text, err := base64.RawURLEncoding.Strict().DecodeString(*cursor)
	parts := strings.Split(string(text), "|")
	if err != nil || len(parts) != 6 || parts[0] != recordCursorVersion || (parts[2] != "next" && parts[2] != "prev") {
		return wrongCursor("is not a cursor of this list")
	}
	id, idErr := uuid.Parse(parts[1])
	validAt, validErr := time.Parse(time.RFC3339Nano, parts[3])
	knownAt, knownErr := time.Parse(time.RFC3339Nano, parts[4])
	switch {
	case idErr != nil || validErr != nil || knownErr != nil:
		return wrongCursor("is not a cursor of this list")
	case parts[5] != shortHash(filters):
		return wrongCursor("belongs to a list with other filters")
	}
	q.From = service.RecordPlace{ID: id, Backward: parts[2] == "prev"}
	q.AsOf = service.AsOf{ValidAt: validAt.UTC(), KnownAt: knownAt.UTC()}
	return nil
}

// sentParameters gives the filters of a request as they are written in an address.
func sentParameters(p ListPlansParams) url.Values {
	sent := url.Values{}
	set := func(name string, given bool, value func() string) {
		if given {
			sent.Set(name, value())
		}
	}
	set("vessel_name", p.VesselName != nil, func() string { return *p.VesselName })
	set("vessel_id", p.VesselId != nil, func() string { return p.VesselId.String() })
	set("intent", p.Intent != nil, func() string { return string(*p.Intent) })
	set("input_sha256", p.InputSha256 != nil, func() string { return *p.InputSha256 })
	set("created_from", p.CreatedFrom != nil, func() string { return p.CreatedFrom.UTC().Format(time.RFC3339Nano) })
	set("created_before", p.CreatedBefore != nil, func() string { return p.CreatedBefore.UTC().Format(time.RFC3339Nano) })
	return sent
}

// askedAt gives the two times of a read, and writes those that were sent into the query of its pages.
func askedAt(validAt, knownAt *time.Time, query url.Values) service.AsOf {
	at := asOf(validAt, knownAt)
	if validAt != nil {
		query.Set("valid_at", at.ValidAt.Format(time.RFC3339Nano))
	}
	if knownAt != nil {
		query.Set("known_at", at.KnownAt.Format(time.RFC3339Nano))
	}
	return at
}

// placeByID reads the cursor of a list that has no times.
func placeByID(cursor *string, list string) (service.RecordPlace, error) {
	var q service.RecordQuery
	err := readRecordCursor(cursor, list, &q)
	return q.From, err
}

// pageDocument answers a page and names its neighbours in Link, with the query of the first and its limit.
func pageDocument(page any, path string, query url.Values, limit *int, next, prev *string) (document, error) {
	answer, err := fresh(page)
	if limit != nil {
		query.Set("limit", strconv.Itoa(*limit))
	}
	if links := linkHeader(path, query, next, prev); links != "" {
		answer.header["Link"] = links
	}
	return answer, err
}

// linkHeader writes the neighbouring pages of a list as addresses (RFC 8288).
func linkHeader(path string, query url.Values, next, prev *string) string {
	var links string
	for _, l := range []struct {
		cursor *string
		rel    string
	}{{next, "next"}, {prev, "prev"}} {
		if l.cursor == nil {
			continue
		}
		if links != "" {
			links += ", "
		}
		query.Set("cursor", *l.cursor)
		links += "<" + path + "?" + query.Encode() + `>; rel="` + l.rel + `"`
	}
	return links
}
