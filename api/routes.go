package api

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"

	"rideout/service"
)

// Route is a route that is served, by its path in the contract, and the scope it asks of a key, or open. There is no
// zero value: a route that does not say is not served.
type Route struct {
	Method, Path string
	Scope        service.Scope

	handler echo.HandlerFunc
}

// open is the scope of a route that asks for no key, here and in the contract.
const open = "none"

// Open tells whether a route asks for no key.
func (r Route) Open() bool { return r.Scope == open }

// routes lists every route, with the scope the contract names too. A route that is not here is not served; one with a
// scope is served to a key that has it. HEAD goes with every GET.
func (a *API) routes() []Route {
	w := ServerInterfaceWrapper{Handler: NewStrictHandler(handlers{a}, a.useCases())}
	return []Route{
		{http.MethodPost, "/v1/calculations", "plans:read", w.Calculate},
		{http.MethodPost, "/v1/plans", "plans:write", w.CreatePlan},
		{http.MethodGet, "/v1/plans", "plans:read", w.ListPlans},
		{http.MethodGet, "/v1/plans/{id}", "plans:read", a.unlessKnown(w.GetPlan)},
		{http.MethodGet, "/v1/plans/{id}/working", "plans:read", w.GetPlanWorking},
		{http.MethodGet, "/v1/plans/{id}/sheet", "plans:read", w.GetPlanSheet},
		{http.MethodGet, "/v1/plans/{id}/drawings/{drawing}", "plans:read", w.GetPlanDrawing},
		{http.MethodGet, "/v1/plans/{id}/changes", "plans:read", w.GetPlanChanges},
		{http.MethodGet, "/v1/vessels/{id}/storm-plan", "plans:read", w.GetStormPlan},
		{http.MethodGet, "/v1/vessels/{id}/drift", "plans:read", w.GetWhereabouts},

		{http.MethodPost, "/v1/emergency-access", "rescue:emergency", w.OpenEmergencyAccess},
		{http.MethodGet, "/v1/emergency-access", "audit:read", w.ListEmergencyAccess},
		{http.MethodGet, "/v1/emergency-access/{id}", "audit:read", w.GetEmergencyAccess},
		{http.MethodDelete, "/v1/emergency-access/{id}", "rescue:emergency", w.EndEmergencyAccess},
		{http.MethodGet, "/v1/emergency-access/{id}/storm-plan", "rescue:emergency", w.GetLentStormPlan},
		{http.MethodGet, "/v1/emergency-access/{id}/drift", "rescue:emergency", w.GetLentWhereabouts},
		{http.MethodGet, "/v1/emergency-access/{id}/vessel", "rescue:emergency", w.GetLentVessel},
		{http.MethodPut, "/v1/emergency-access/{id}/review", "admin", w.ReviewEmergencyAccess},

		{http.MethodPost, "/v1/vessels", "registers:write", w.RegisterVessel},
		{http.MethodGet, "/v1/vessels", "plans:read", w.ListVessels},
		{http.MethodGet, "/v1/vessels/{id}", "plans:read", w.GetVessel},
		{http.MethodPatch, "/v1/vessels/{id}", "registers:write", w.ChangeVessel},
		{http.MethodPost, "/v1/vessels/{id}/gear", "registers:write", w.RegisterGear},
		{http.MethodGet, "/v1/vessels/{id}/gear", "plans:read", w.ListGear},
		{http.MethodGet, "/v1/gear/{id}", "plans:read", w.GetGear},
		{http.MethodPatch, "/v1/gear/{id}", "registers:write", w.ChangeGear},
		{http.MethodPost, "/v1/gear/{id}/inspections", "registers:write", w.RecordInspection},
		{http.MethodGet, "/v1/gear/{id}/inspections", "plans:read", w.ListInspections},
		{http.MethodGet, "/v1/inspections/{id}", "plans:read", w.GetInspection},
		{http.MethodPatch, "/v1/inspections/{id}", "registers:write", w.ChangeInspection},
		{http.MethodPost, "/v1/vessels/{id}/drills", "registers:write", w.RecordDrill},
		{http.MethodGet, "/v1/vessels/{id}/drills", "plans:read", w.ListDrills},
		{http.MethodGet, "/v1/drills/{id}", "plans:read", w.GetDrill},
		{http.MethodPatch, "/v1/drills/{id}", "registers:write", w.ChangeDrill},
		{http.MethodGet, "/v1/policy", "plans:read", w.GetPolicy},
		{http.MethodPut, "/v1/policy", "registers:write", w.PutPolicy},
		{http.MethodPost, "/v1/plans/{id}/deployments", "outcomes:write", w.RecordDeployment},
		{http.MethodGet, "/v1/plans/{id}/deployments", "plans:read", w.ListDeployments},
		{http.MethodGet, "/v1/deployments/{id}", "plans:read", w.GetDeployment},
		{http.MethodPatch, "/v1/deployments/{id}", "outcomes:write", w.ChangeDeployment},
		{http.MethodPost, "/v1/deployments/{id}/observations", "outcomes:write", w.RecordObservation},
		{http.MethodGet, "/v1/deployments/{id}/observations", "plans:read", w.ListObservations},
		{http.MethodGet, "/v1/observations/{id}", "plans:read", w.GetObservation},
		{http.MethodPatch, "/v1/observations/{id}", "outcomes:write", w.ChangeObservation},
		{http.MethodGet, "/v1/deployments/{id}/retrieval", "plans:read", w.GetRetrieval},
		{http.MethodPut, "/v1/deployments/{id}/retrieval", "outcomes:write", w.PutRetrieval},
		{http.MethodPost, "/v1/incidents", "incidents:write", w.RecordIncident},
		{http.MethodGet, "/v1/incidents", "plans:read", w.ListIncidents},
		{http.MethodGet, "/v1/incidents/{id}", "plans:read", w.GetIncident},
		{http.MethodPatch, "/v1/incidents/{id}", "incidents:write", w.ChangeIncident},

		{http.MethodGet, "/v1/events", "audit:read", w.ListEvents},
		{http.MethodGet, "/v1/events/stream", "audit:read", live(w.StreamEvents)},
		{http.MethodGet, "/v1/gear/{id}/use", "plans:read", w.GetGearUse},
		{http.MethodGet, "/v1/calibration", "plans:read", w.GetCalibration},
		{http.MethodGet, "/v1/readiness", "plans:read", w.ListReadiness},
		{http.MethodGet, "/v1/readiness/summary", "plans:read", w.SummariseReadiness},
		{http.MethodGet, "/v1/vessels/{id}/readiness", "plans:read", w.GetVesselReadiness},

		{http.MethodPost, "/v1/webhooks", "admin", w.CreateWebhook},
		{http.MethodGet, "/v1/webhooks", "admin", w.ListWebhooks},
		{http.MethodGet, "/v1/webhooks/{id}", "admin", w.GetWebhook},
		{http.MethodPatch, "/v1/webhooks/{id}", "admin", w.ChangeWebhook},
		{http.MethodDelete, "/v1/webhooks/{id}", "admin", w.RemoveWebhook},
		{http.MethodPost, "/v1/webhooks/{id}/secret", "admin", w.RotateWebhookSecret},
		{http.MethodGet, "/v1/webhooks/{id}/deliveries", "admin", w.ListDeliveries},
		{http.MethodPost, "/v1/webhooks/{id}/replay", "admin", w.ReplayWebhook},

		{http.MethodPost, "/v1/keys", "admin", w.CreateKey},
		{http.MethodGet, "/v1/keys", "admin", w.ListKeys},
		{http.MethodGet, "/v1/keys/{id}", "admin", w.GetKey},
		{http.MethodDelete, "/v1/keys/{id}", "admin", w.RevokeKey},
		{http.MethodPost, "/v1/keys/{id}/rotation", "admin", w.RotateKey},

		{http.MethodDelete, "/v1/people/{id}", "admin", w.ErasePerson},

		{http.MethodGet, "/v1/log/checkpoint", "audit:read", w.GetCheckpoint},
		{http.MethodGet, "/v1/log/key", "audit:read", w.GetLogKey},
		{http.MethodGet, "/v1/log/entries", "audit:read", w.ListLogEntries},
		{http.MethodGet, "/v1/log/hashes", "audit:read", w.ListLogHashes},
		{http.MethodGet, "/v1/log/proofs/inclusion", "audit:read", w.GetInclusionProof},
		{http.MethodGet, "/v1/log/proofs/consistency", "audit:read", w.GetConsistencyProof},
		{http.MethodGet, "/v1/exports/audit", "audit:read", live(w.ExportAudit)},
		{http.MethodGet, "/v1/exports/manifest", "audit:read", w.GetExportManifest},

		{http.MethodPost, "/v1/forecasts", "plans:write", w.ReceiveForecast},
		{http.MethodGet, "/v1/forecasts", "plans:read", w.ListForecasts},
		{http.MethodGet, "/v1/forecasts/{id}", "plans:read", w.GetForecast},

		{http.MethodGet, "/livez", open, w.GetLiveness},
		{http.MethodGet, "/readyz", open, w.GetReadiness},
		{http.MethodGet, "/openapi.json", open, w.GetContract},
		{http.MethodGet, "/docs", open, w.GetDocs},
		{http.MethodGet, "/docs/{guide}", open, w.GetGuide},
	}
}

var toRouterPath = strings.NewReplacer("{", ":", "}", "")

func (a *API) register(doc *openapi3.T) error {
	routes := a.routes()
	if err := agree(routes, doc); err != nil {
		return err
	}
	for _, r := range routes {
		check, err := checkParameters(doc, r.Method, r.Path)
		if err != nil {
			return err
		}
		var through []echo.MiddlewareFunc
		if !r.Open() {
			through = append(through, a.requireKey, a.limit(r), require(r.Scope), check)
		}
		a.serve(r, through...)
	}
	for _, r := range a.pages() {
		through := []echo.MiddlewareFunc{a.paged}
		if !r.Open() {
			through = append(through, a.signedIn, a.limit(r), require(r.Scope))
		}
		a.serve(r, through...)
	}
	return nil
}

// serve puts a route into the router, and HEAD beside GET.
func (a *API) serve(r Route, through ...echo.MiddlewareFunc) {
	path, methods := toRouterPath.Replace(r.Path), []string{r.Method}
	if r.Method == http.MethodGet {
		methods = append(methods, http.MethodHead)
	}
	a.echo.Match(methods, path, r.handler, through...)
	a.served[path] = true
}

// agree holds the routes against the contract, so that nothing is served by accident: each is in both, once, with the
// same scope, which is one there is.
func agree(routes []Route, doc *openapi3.T) error {
	served := map[string]service.Scope{}
	var wrong []error
	for _, r := range routes {
		at := r.Method + " " + r.Path
		if _, twice := served[at]; twice {
			wrong = append(wrong, fmt.Errorf("%s is routed twice", at))
		}
		if !r.Open() && !slices.Contains(service.AllScopes(), r.Scope) {
			wrong = append(wrong, fmt.Errorf("%s asks for the scope %q, which there is not", at, r.Scope))
		}
		served[at] = r.Scope
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			at := method + " " + path
			named, _ := op.Extensions["x-scope"].(string)
			keyless := op.Security != nil && len(*op.Security) == 0
			if scope, there := served[at]; !there || string(scope) != named || keyless != (named == open) {
				wrong = append(wrong, fmt.Errorf("%s asks for the scope %q, in the contract for %q, without a key: %v", at, scope, named, keyless))
			}
			delete(served, at)
		}
	}
	for at := range served {
		wrong = append(wrong, fmt.Errorf("%s is not in the contract", at))
	}
	return errors.Join(wrong...)
}
