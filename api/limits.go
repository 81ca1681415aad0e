package api

import (
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"rideout/api/limit"
	"rideout/service"
)

const kindLimited service.Kind = "rate_limited"

// rescueReads are the routes of the reserve beside those of emergency access: what is read of a vessel in distress.
var rescueReads = []string{"/v1/vessels/{id}/storm-plan", "/v1/vessels/{id}/drift"}

// limit holds a caller that is known to so many requests, and tells it what is left.
func (a *API) limit(route Route) echo.MiddlewareFunc {
	opens := route.Method == http.MethodPost && route.Path == emergencyPath
	rescue := strings.HasPrefix(route.Path, emergencyPath) || slices.Contains(rescueReads, route.Path)
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			ctx := c.Request().Context()
			var v limit.Verdict
			switch {
			case opens:
				v = a.limits.Emergency(org(ctx).String(), a.now())
			case rescue:
				v = a.limits.Rescue(whose(ctx), a.now())
			default:
				v = a.limits.Ordinary(whose(ctx), org(ctx).String(), a.now())
			}
			if v.Policy != "" {
				c.Response().Header().Set("RateLimit-Policy", v.Policy)
				c.Response().Header().Set("RateLimit", v.Left)
			}
			if !v.Passes {
				return &limitedError{v.Seconds()}
			}
			return next(c)
		}
	}
}

// limitedError says when the next request would pass.
type limitedError struct{ afterS int }

func (e *limitedError) Error() string { return "too many requests" }

func (e *limitedError) Unwrap() error {
	return &service.Error{Kind: kindLimited, Message: "too many requests; RateLimit says of which, and Retry-After when the next may come"}
}
