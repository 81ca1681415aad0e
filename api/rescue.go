package api

import (
	"context"
	"net/http"
)

func (h handlers) GetStormPlan(ctx context.Context, r GetStormPlanRequestObject) (GetStormPlanResponseObject, error) {
	short, err := h.plans.StormPlan(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(short)
	if preferred(ctx, "application/json", "text/plain") == "text/plain" {
		answer = document{status: http.StatusOK, kind: "text/plain; charset=utf-8", body: []byte(short.Text())}
	}
	answer.header = map[string]string{"Cache-Control": "private, no-cache", "Vary": "Accept"}
	return answer, err
}

func (h handlers) GetWhereabouts(ctx context.Context, r GetWhereaboutsRequestObject) (GetWhereaboutsResponseObject, error) {
	where, err := h.plans.Whereabouts(ctx, org(ctx), r.Id, utc(r.Params.At))
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(where)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	return answer, err
}

func (h handlers) GetPlanChanges(ctx context.Context, r GetPlanChangesRequestObject) (GetPlanChangesResponseObject, error) {
	changes, err := h.plans.Changes(ctx, org(ctx), r.Params.From, r.Id)
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(changes)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	return answer, err
}

func (d document) VisitGetStormPlanResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitGetWhereaboutsResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetPlanChangesResponse(w http.ResponseWriter) error { return d.write(w) }
