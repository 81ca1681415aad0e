package client

import (
	"encoding/json"
	"fmt"
	"mime"
	"net/http"
	"strings"

	"rideout/openapi"
)

// Error is a request that was answered with a problem (RFC 9457). Its Code is for programs, its Errors name every wrong
// field with what to send instead.
type Error struct{ openapi.Problem }

// Error gives the problem in words, one wrong field a line.
func (e *Error) Error() string {
	text := e.Detail
	if text == "" {
		text = e.Title
	}
	for _, f := range e.Errors {
		text += fmt.Sprintf("\n  %s: %s; %s", place(f), f.Message, f.Fix)
	}
	if e.RequestId != "" && e.Status >= http.StatusInternalServerError {
		text += " (request " + e.RequestId + ")"
	}
	return text
}

// Refused tells that the request itself is wrong: sent again unchanged it is refused again.
func (e *Error) Refused() bool {
	return e.Status < http.StatusInternalServerError && e.Status != http.StatusConflict && e.Status != http.StatusTooManyRequests
}

func place(f openapi.FieldProblem) string {
	switch {
	case f.Parameter != nil:
		return "parameter " + *f.Parameter
	case f.Header != nil:
		return "header " + *f.Header
	case f.Pointer != nil && *f.Pointer != "":
		return *f.Pointer
	}
	return "the whole"
}

// problemOf reads the problem of an answer. What does not come from the service, such as a page of a proxy, becomes one
// without a code.
func problemOf(status int, kind string, body []byte) *Error {
	e := &Error{}
	media, _, err := mime.ParseMediaType(kind)
	if err != nil || media != "application/problem+json" || json.Unmarshal(body, &e.Problem) != nil || e.Status != status {
		said := strings.ToValidUTF8(string(body[:min(len(body), 200)]), "?")
		return &Error{openapi.Problem{Status: status, Title: http.StatusText(status), Detail: fmt.Sprintf("answered %d %s by something that is not the service: %q", status, http.StatusText(status), said)}}
	}
	return e
}
