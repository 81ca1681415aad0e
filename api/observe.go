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

		err := next(c)
		a.logRequest(c, id, time.Since(begun), err)
		return nil // answered, or beyond answering; the log has it
	}
}

func (a *API) logRequest(c echo.Context, id string, took time.Duration, err error) {
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
	if path := c.Path(); (path == "/livez" || path == "/readyz") && status != http.StatusInternalServerError {
		level = slog.LevelDebug // they are asked every few seconds; GetReadiness tells when the answer turns
	}
	a.countRequest(c, status, took)
	attributes := []slog.Attr{
		slog.String("request_id", id), slog.String("method", c.Request().Method), slog.String("route", c.Path()),
		slog.Int("status", status), slog.Float64("duration_ms", float64(took.Microseconds())/1000), slog.Int64("bytes", c.Response().Size),
	}
	if err != nil {
		attributes = append(attributes, slog.String("error", err.Error()))
	}
	a.log.LogAttrs(c.Request().Context(), level, "request", attributes...)
}

// NoRoute stands for whatever is asked for and not served.
const NoRoute = "none"

// countRequest tells of a request by what is served and not by what was asked for: of that there is no end.
func (a *API) countRequest(c echo.Context, status int, took time.Duration) {
	if a.count == nil {
		return
	}
	method, route := c.Request().Method, c.Path()
	if !a.served[route] {
		method, route = NoRoute, NoRoute
	} else if !slices.Contains(countedMethods, method) {
		method = NoRoute
	}
	a.count(method, fromRouterPath.ReplaceAllString(route, "{$1}"), status, took)
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
