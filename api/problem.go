package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"rideout/openapi"
	"rideout/service"
)

// Kinds of error that arise in HTTP alone.
const (
	kindUnauthenticated  service.Kind = "unauthenticated"
	kindMethodNotAllowed service.Kind = "method_not_allowed"
	kindNotAcceptable    service.Kind = "not_acceptable"
	kindTooLarge         service.Kind = "too_large"
	kindMediaType        service.Kind = "unsupported_media_type"
	kindInternal         service.Kind = "internal"
)

// answers maps each kind of error to how it is answered. The kind is the problem's code.
var answers = map[service.Kind]struct {
	status      int
	title       string
	retryAfterS int
}{
	service.KindInvalid:      {http.StatusBadRequest, "The request is wrong", 0},
	kindUnauthenticated:      {http.StatusUnauthorized, "A key is needed", 0},
	service.KindForbidden:    {http.StatusForbidden, "The key has not the scope", 0},
	service.KindKeyEnded:     {http.StatusConflict, "The key has ended", 0},
	service.KindLastAdmin:    {http.StatusConflict, "It is the last key that can make keys", 0},
	service.KindNotFound:     {http.StatusNotFound, "Not found", 0},
	kindMethodNotAllowed:     {http.StatusMethodNotAllowed, "The route does not know this method", 0},
	kindNotAcceptable:        {http.StatusNotAcceptable, "No media type asked for is answered", 0},
	service.KindInFlight:     {http.StatusConflict, "The first request is still at work", 1},
	kindTooLarge:             {http.StatusRequestEntityTooLarge, "The body is too large", 0},
	kindMediaType:            {http.StatusUnsupportedMediaType, "The body's media type is not taken", 0},
	service.KindKeyReused:    {http.StatusUnprocessableEntity, "The Idempotency-Key was used before", 0},
	service.KindStale:        {http.StatusPreconditionFailed, "Another version is in force", 0},
	service.KindUnmatched:    {http.StatusPreconditionRequired, "The change does not say what it starts from", 0},
	service.KindNotReferable: {http.StatusUnprocessableEntity, "The body refers to what is not there", 0},
	kindManyStreams:          {http.StatusTooManyRequests, "Too many streams", 15},
	kindLimited:              {http.StatusTooManyRequests, "Too many requests", 1},
	service.KindAccessEnded:  {http.StatusGone, "The emergency access is over", 0},
	service.KindConflict:     {http.StatusConflict, "It does not fit what is there", 0},
	service.KindGone:         {http.StatusGone, "Events were missed", 0},
	service.KindAltered:      {http.StatusInternalServerError, "The log was altered", 0},
	service.KindUnsigned:     {http.StatusServiceUnavailable, "There is no key to sign with", 0},
	kindInternal:             {http.StatusInternalServerError, "The service failed", 0},
	service.KindUnavailable:  {http.StatusServiceUnavailable, "The service is not available", 5},
	service.KindBusy:         {http.StatusServiceUnavailable, "The service is busy", 2},
	service.KindTooSlow:      {http.StatusServiceUnavailable, "The calculation took too long", 5},
	service.KindUnknown:      {http.StatusServiceUnavailable, "The outcome is unknown", 1},
}

// Codes lists the codes a problem may have, sorted.
func Codes() []string {
	var codes []string
	for kind := range answers {
		codes = append(codes, string(kind))
	}
	slices.Sort(codes)
	return codes
}

// StatusOf gives the status a kind of error is answered with; 0 for an unknown kind.
func StatusOf(kind service.Kind) int { return answers[kind].status }

// statusClientGone is logged, never sent, when the client went before its answer.
const statusClientGone = 499

// parameterError names wrong parameters and headers, which a pointer into the body cannot.
type parameterError struct{ fields []openapi.FieldProblem }

func (e *parameterError) Error() string { return "parameters or headers are wrong" }

// problemOf gives the problem document of an error. Only a *service.Error's message reaches the
// client; of any other error the client learns no more than its kind.
func problemOf(err error) openapi.Problem {
	kind, detail, fields := service.Kind(kindInternal), "the cause is in the log under the request_id", []openapi.FieldProblem(nil)
	afterName, resyncAfter := "after", (*int64)(nil)
	switch known, parameters, parameter, resync, routed := (*service.Error)(nil), (*parameterError)(nil), (*service.ParameterError)(nil), (*service.ResyncError)(nil), (*echo.HTTPError)(nil); {
	case errors.As(err, &known):
		kind, detail = known.Kind, known.Message
		for _, f := range known.Fields {
			fields = append(fields, openapi.FieldProblem{Pointer: &f.Pointer, Message: f.Message, Fix: f.Fix})
		}
	case errors.As(err, &parameters):
		kind, detail, fields = service.KindInvalid, parameters.Error(), parameters.fields
	case errors.As(err, &parameter):
		kind, detail = service.KindInvalid, "parameters or headers are wrong"
		fields = []openapi.FieldProblem{{Parameter: &parameter.Name, Message: parameter.Message, Fix: parameter.Fix}}
	case errors.As(err, &resync):
		kind, detail, resyncAfter = service.KindGone, "events after this place are not to be had; read the lists anew and go on from resync_after", &resync.After
		fields = []openapi.FieldProblem{{Parameter: &afterName, Message: resync.Message, Fix: fmt.Sprintf("read the lists anew, then send %d", resync.After)}}
	case errors.As(err, &routed):
		kind, detail = routedKind(routed.Code)
	}
	answer, ok := answers[kind]
	if !ok {
		kind, answer = kindInternal, answers[kindInternal]
	}
	return openapi.Problem{
		Type: "/docs#problem-" + string(kind), Title: answer.title, Status: answer.status, Detail: detail,
		Code: openapi.ProblemCode(kind), Errors: fields, ResyncAfter: resyncAfter,
	}
}

// routedKind sorts the errors of the router, whose own texts are not shown.
func routedKind(status int) (service.Kind, string) {
	switch status {
	case http.StatusNotFound:
		return service.KindNotFound, "there is no such route; /docs lists them"
	case http.StatusMethodNotAllowed:
		return kindMethodNotAllowed, "the Allow header names the methods this route knows"
	case http.StatusBadRequest:
		return service.KindInvalid, "the request cannot be read"
	}
	return kindInternal, "the cause is in the log under the request_id"
}

// writeProblem answers an error as application/problem+json.
func writeProblem(c echo.Context, err error) error {
	p := problemOf(err)
	p.RequestId = requestID(c)
	sayHowToComeBack(c.Response().Header(), p, err)
	body, err := json.Marshal(p)
	if err != nil {
		return err
	}
	return c.Blob(p.Status, "application/problem+json", body)
}

// sayHowToComeBack sets the fields that go with a problem, as a document or as a page.
func sayHowToComeBack(header http.Header, p openapi.Problem, err error) {
	after := answers[service.Kind(p.Code)].retryAfterS
	if limited := (*limitedError)(nil); errors.As(err, &limited) {
		after = limited.afterS
	}
	if after > 0 {
		header.Set("Retry-After", strconv.Itoa(after))
	}
	if p.Code == openapi.ProblemCode(kindUnauthenticated) {
		header.Set("WWW-Authenticate", `Bearer realm="rideout"`)
	}
	header.Set("Cache-Control", "no-store")
}

// clientGone tells whether the request ended because the client left.
func clientGone(ctx context.Context, err error) bool {
	return errors.Is(ctx.Err(), context.Canceled) && (errors.Is(err, context.Canceled) || errors.Is(err, context.Cause(ctx)))
}
