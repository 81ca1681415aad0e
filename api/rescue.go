package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"rideout/service"
)

func (h handlers) GetStormPlan(ctx context.Context, r GetStormPlanRequestObject) (GetStormPlanResponseObject, error) {
	return stormPlan(ctx, h.plans, org(ctx), r.Id)
}

func (h handlers) GetWhereabouts(ctx context.Context, r GetWhereaboutsRequestObject) (GetWhereaboutsResponseObject, error) {
	return whereabouts(ctx, h.plans, org(ctx), r.Id, utc(r.Params.At))
}

// stormPlan answers a vessel's plan in force in short.
func stormPlan(ctx context.Context, plans *service.Plans, owner service.OrgID, vessel uuid.UUID) (document, error) {
	short, err := plans.StormPlan(ctx, owner, vessel)
	if err != nil {
		return document{}, err
	}
	answer, err := fresh(short)
	if preferred(ctx, "application/json", plainText) == plainText {
		answer = lines([]byte(short.Text()))
	}
	return varied(answer), err
}

// whereabouts answers where a vessel would be.
func whereabouts(ctx context.Context, plans *service.Plans, owner service.OrgID, vessel uuid.UUID, at time.Time) (document, error) {
	where, err := plans.Whereabouts(ctx, owner, vessel, at)
	if err != nil {
		return document{}, err
	}
	return fresh(where)
}

func (h handlers) GetPlanChanges(ctx context.Context, r GetPlanChangesRequestObject) (GetPlanChangesResponseObject, error) {
	changes, err := h.plans.Changes(ctx, org(ctx), r.Params.From, r.Id)
	if err != nil {
		return nil, err
	}
	return fresh(changes)
}

func (d document) VisitGetStormPlanResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitGetWhereaboutsResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetPlanChangesResponse(w http.ResponseWriter) error { return d.write(w) }
