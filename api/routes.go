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
		{http.MethodGet, "/v1/plans/{id}/changes", "plans:read", w.GetPlanChanges},
		{http.MethodGet, "/v1/vessels/{id}/storm-plan", "plans:read", w.GetStormPlan},
		{http.MethodGet, "/v1/vessels/{id}/drift", "plans:read", w.GetWhereabouts},

		{http.MethodPost, "/v1/vessels", "fleet:write", w.RegisterVessel},
		{http.MethodGet, "/v1/vessels", "fleet:read", w.ListVessels},
		{http.MethodGet, "/v1/vessels/{id}", "fleet:read", w.GetVessel},
		{http.MethodPatch, "/v1/vessels/{id}", "fleet:write", w.ChangeVessel},
		{http.MethodPost, "/v1/vessels/{id}/gear", "fleet:write", w.RegisterGear},
		{http.MethodGet, "/v1/vessels/{id}/gear", "fleet:read", w.ListGear},
		{http.MethodGet, "/v1/gear/{id}", "fleet:read", w.GetGear},
		{http.MethodPatch, "/v1/gear/{id}", "fleet:write", w.ChangeGear},
		{http.MethodPost, "/v1/gear/{id}/inspections", "fleet:write", w.RecordInspection},
		{http.MethodGet, "/v1/gear/{id}/inspections", "fleet:read", w.ListInspections},
		{http.MethodGet, "/v1/inspections/{id}", "fleet:read", w.GetInspection},
		{http.MethodPatch, "/v1/inspections/{id}", "fleet:write", w.ChangeInspection},
		{http.MethodPost, "/v1/vessels/{id}/drills", "fleet:write", w.RecordDrill},
		{http.MethodGet, "/v1/vessels/{id}/drills", "fleet:read", w.ListDrills},
		{http.MethodGet, "/v1/drills/{id}", "fleet:read", w.GetDrill},
		{http.MethodPatch, "/v1/drills/{id}", "fleet:write", w.ChangeDrill},
		{http.MethodGet, "/v1/policy", "fleet:read", w.GetPolicy},
		{http.MethodPut, "/v1/policy", "fleet:write", w.PutPolicy},
		{http.MethodPost, "/v1/plans/{id}/deployments", "fleet:write", w.RecordDeployment},
		{http.MethodGet, "/v1/plans/{id}/deployments", "fleet:read", w.ListDeployments},
		{http.MethodGet, "/v1/deployments/{id}", "fleet:read", w.GetDeployment},
		{http.MethodPatch, "/v1/deployments/{id}", "fleet:write", w.ChangeDeployment},
		{http.MethodPost, "/v1/deployments/{id}/observations", "fleet:write", w.RecordObservation},
		{http.MethodGet, "/v1/deployments/{id}/observations", "fleet:read", w.ListObservations},
		{http.MethodGet, "/v1/observations/{id}", "fleet:read", w.GetObservation},
		{http.MethodPatch, "/v1/observations/{id}", "fleet:write", w.ChangeObservation},
		{http.MethodGet, "/v1/deployments/{id}/retrieval", "fleet:read", w.GetRetrieval},
		{http.MethodPut, "/v1/deployments/{id}/retrieval", "fleet:write", w.PutRetrieval},
		{http.MethodPost, "/v1/incidents", "fleet:write", w.RecordIncident},
		{http.MethodGet, "/v1/incidents", "fleet:read", w.ListIncidents},
		{http.MethodGet, "/v1/incidents/{id}", "fleet:read", w.GetIncident},
		{http.MethodPatch, "/v1/incidents/{id}", "fleet:write", w.ChangeIncident},

		{http.MethodGet, "/v1/events", "audit:read", w.ListEvents},
		{http.MethodGet, "/v1/events/stream", "audit:read", live(w.StreamEvents)},
		{http.MethodGet, "/v1/readiness", "fleet:read", w.ListReadiness},
		{http.MethodGet, "/v1/readiness/summary", "fleet:read", w.SummariseReadiness},
		{http.MethodGet, "/v1/vessels/{id}/readiness", "fleet:read", w.GetVesselReadiness},

		{http.MethodGet, "/v1/events", "audit:read", w.ListEvents},
		{http.MethodGet, "/v1/events/stream", "audit:read", live(w.StreamEvents)},

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
			through = append(through, a.requireKey, check)
		}
		methods := []string{r.Method}
		if r.Method == http.MethodGet {
			methods = append(methods, http.MethodHead)
		}
		a.echo.Match(methods, toRouterPath.Replace(r.Path), r.handler, through...)
	}
	return nil
}
