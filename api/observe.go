package api

import (
	"fmt"
	"log/slog"
	"net/http"
	"regexp"
	"runtime/debug"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"rideout/service"
)

const (
	headerRequestID = "X-Request-Id"
	failureKey      = "rideout.failure"
)

// saneRequestID is what a caller's own request id may be; another is replaced.
var saneRequestID = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

func requestID(c echo.Context) string { return c.Response().Header().Get(headerRequestID) }

// observe names each request, sets the headers every answer carries, and writes the one log line a
// request gets.
func (a *API) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begun := time.Now()
		id := c.Request().Header.Get(headerRequestID)
		if _, err := service.ParseKey(id); err == nil || !saneRequestID.MatchString(id) {
			id = a.newID().String() // a key is no name: the log would have it
		}
		header := c.Response().Header()
		header.Set(headerRequestID, id)
		header.Set("X-Content-Type-Options", "nosniff")
		header.Set("X-Frame-Options", "DENY")
		header.Set("Referrer-Policy", "no-referrer")
		header.Set("Cross-Origin-Resource-Policy", "same-origin")
		header.Set("Content-Security-Policy", "default-src 'none'; base-uri 'none'; frame-ancestors 'none'")

		trace, end := a.traceRequest(c)
		status := http.StatusInternalServerError // of what was cut
		defer func() { end(status) }()
		err := next(c)
		status = a.logRequest(c, id, trace, time.Since(begun), err)
		return nil // answered, or beyond answering; the log has it
	}
}

func (a *API) logRequest(c echo.Context, id, trace string, took time.Duration, err error) (status int) {
	if err == nil {
		err, _ = c.Get(failureKey).(error)
	}
	status, level := c.Response().Status, slog.LevelInfo
	switch {
	case err != nil && clientGone(c.Request().Context(), err):
		status = statusClientGone
	case status >= http.StatusInternalServerError:
		level = slog.LevelError
	}
	if slices.Contains(probes, c.Path()) && status != http.StatusInternalServerError {
		level = slog.LevelDebug // GetReadiness tells when the answer turns
	}
	a.countRequest(c, status, took)
	attributes := []slog.Attr{
		slog.String("request_id", id), slog.String("method", c.Request().Method), slog.String("route", c.Path()),
		slog.Int("status", status), slog.Float64("duration_ms", float64(took.Microseconds())/1000), slog.Int64("bytes", c.Response().Size),
	}
	if err != nil {
		attributes = append(attributes, slog.String("error", err.Error()))
	}
	if trace != "" {
		attributes = append(attributes, slog.String("trace_id", trace))
	}
	a.log.LogAttrs(c.Request().Context(), level, "request", attributes...)
	return status
}

// probes are asked for every few seconds by what watches us, and tell nothing of a request.
var probes = []string{"/livez", "/readyz"}

// traceRequest begins the span of a request, if anybody makes traces.
func (a *API) traceRequest(c echo.Context) (id string, end func(status int)) {
	if a.trace == nil || slices.Contains(probes, c.Path()) {
		return "", func(int) {}
	}
	method, route := a.named(c)
	ctx, id, end := a.trace.Request(c.Request(), method, route)
	c.SetRequest(c.Request().WithContext(ctx))
	return id, end
}

// useCases begins a span for what lies between a request decoded and an answer written.
func (a *API) useCases() []StrictMiddlewareFunc {
	if a.trace == nil {
		return nil
	}
	return []StrictMiddlewareFunc{func(next StrictHandlerFunc, name string) StrictHandlerFunc {
		return func(c echo.Context, request any) (answer any, err error) {
			ctx, end := a.trace.UseCase(c.Request().Context(), name)
			defer func() { end(err) }() // also when it panics
			c.SetRequest(c.Request().WithContext(ctx))
			return next(c, request)
		}
	}}
}

// NoRoute stands for whatever is asked for and not served.
const NoRoute = "none"

func (a *API) countRequest(c echo.Context, status int, took time.Duration) {
	if a.count != nil {
		method, route := a.named(c)
		a.count(method, route, status, took)
	}
}

// named names a request by what is served and not by what was asked for: of that there is no end.
func (a *API) named(c echo.Context) (method, route string) {
	method, route = c.Request().Method, c.Path()
	if !a.served[route] {
		method, route = NoRoute, NoRoute
	} else if !slices.Contains(countedMethods, method) {
		method = NoRoute
	}
	return method, fromRouterPath.ReplaceAllString(route, "{$1}")
}

var (
	countedMethods = []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete}
	fromRouterPath = regexp.MustCompile(`:(\w+)`)
)

// fail turns an error or a panic of what lies within into a problem document. It leaves the error
// for the log.
func (a *API) fail(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := calm(next, c)
		if err == nil {
			return nil
		}
		c.Set(failureKey, err)
		if clientGone(c.Request().Context(), err) {
			return err
		}
		if kept, ok := c.Response().Writer.(*keptAnswer); ok && c.Response().Committed {
			kept.reset() // half an answer was written; none of it has left yet
			c.Response().Committed, c.Response().Size = false, 0
		}
		return writeProblem(c, err)
	}
}

// calm turns a panic into an error.
func calm(next echo.HandlerFunc, c echo.Context) (err error) {
	defer func() {
		switch r := recover(); r {
		case nil:
		case http.ErrAbortHandler:
			panic(r) // net/http's own way to cut a connection
		default:
			err = fmt.Errorf("panic: %v\n%s", r, debug.Stack())
		}
	}()
	return next(c)
}
