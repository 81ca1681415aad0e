package api

import (
	"net/http"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"
)

// Route is a route that is served, by its path in the contract, and the scope it asks of a key; without a
// scope it is open to all.
type Route struct {
	Method, Path, Scope string

	handler echo.HandlerFunc
}

// routes lists every route. A route that is not here is not served; one with a scope is not served
// without a key. HEAD goes with every GET.
func (a *API) routes() []Route {
	w := ServerInterfaceWrapper{Handler: NewStrictHandler(handlers{a}, nil)}
	return []Route{
		{http.MethodPost, "/v1/calculations", "plans:read", w.Calculate},
		{http.MethodPost, "/v1/plans", "plans:write", w.CreatePlan},
		{http.MethodGet, "/v1/plans", "plans:read", w.ListPlans},
		{http.MethodGet, "/v1/plans/{id}", "plans:read", w.GetPlan},
		{http.MethodGet, "/v1/plans/{id}/working", "plans:read", w.GetPlanWorking},
		{http.MethodGet, "/v1/plans/{id}/sheet", "plans:read", w.GetPlanSheet},
		{http.MethodGet, "/v1/plans/{id}/drawings/{drawing}", "plans:read", w.GetPlanDrawing},

		{http.MethodGet, "/livez", "", w.GetLiveness},
		{http.MethodGet, "/readyz", "", w.GetReadiness},
		{http.MethodGet, "/openapi.json", "", w.GetContract},
		{http.MethodGet, "/docs", "", w.GetDocs},
	}
}

var toRouterPath = strings.NewReplacer("{", ":", "}", "")

func (a *API) register(doc *openapi3.T) error {
	for _, r := range a.routes() {
		check, err := checkParameters(doc, r.Method, r.Path)
		if err != nil {
			return err
		}
		var through []echo.MiddlewareFunc
		if r.Scope != "" {
			through = append(through, a.requireKey, check, keepAccept)
		}
		methods := []string{r.Method}
		if r.Method == http.MethodGet {
			methods = append(methods, http.MethodHead)
		}
		a.echo.Match(methods, toRouterPath.Replace(r.Path), r.handler, through...)
	}
	return nil
}
