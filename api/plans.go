package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/google/uuid"

	"rideout/api/page/sheet"
	"rideout/openapi"
	"rideout/service"
	"rideout/service/planner"
)

const defaultLimit = 50

// handlers answers the operations of the contract.
type handlers struct{ *API }

func (h handlers) Calculate(ctx context.Context, r CalculateRequestObject) (CalculateResponseObject, error) {
	r.Body.order.By = by(ctx)
	plan, err := h.plans.Calculate(ctx, org(ctx), r.Body.order)
	if err != nil {
		return nil, err
	}
	return unkept(plan)
}

func (h handlers) CreatePlan(ctx context.Context, r CreatePlanRequestObject) (CreatePlanResponseObject, error) {
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST /v1/plans", RequestSHA256: r.Body.sha256}
	r.Body.order.By = by(ctx)
	kept, replayed, err := h.plans.Create(ctx, org(ctx), claim, r.Body.order)
	if err != nil {
		return nil, err
	}
	header := map[string]string{"Location": service.PlanLinks(kept.PlanID)["self"], "Cache-Control": "no-store"}
	return repeated(document{status: http.StatusCreated, kind: "application/json", header: header, body: kept.Body}, replayed), nil
}

func (h handlers) GetPlan(ctx context.Context, r GetPlanRequestObject) (GetPlanResponseObject, error) {
	answer, err := h.plans.Answer(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	return read(answer), nil
}

func (h handlers) GetPlanWorking(ctx context.Context, r GetPlanWorkingRequestObject) (GetPlanWorkingResponseObject, error) {
	steps, err := h.plans.Working(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	kind, err := chosen(ctx, "application/json", "text/html")
	if err != nil {
		return nil, err
	}
	if kind == "text/html" {
		made, err := sheet.WorkingHTML(r.Id.String(), steps)
		return shown("text/html; charset=utf-8", made), err
	}
	return varied(read(bytes.Join([][]byte{[]byte(`{"plan_id":"` + r.Id.String() + `","steps":`), steps, []byte(`}`)}, nil))), nil
}

func (h handlers) ListPlans(ctx context.Context, r ListPlansRequestObject) (ListPlansResponseObject, error) {
	filter := filterOf(r.Params)
	from, err := placeOf(r.Params.Cursor, filter)
	if err != nil {
		return nil, err
	}
	page, err := h.plans.List(ctx, org(ctx), filter, from, or(r.Params.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	next, prev := cursorOf(page.Next, filter), cursorOf(page.Prev, filter)
	return pageDocument(openapi.PlanPage{Items: summariesOf(page.Items), Next: next, Prev: prev}, "/v1/plans", sentParameters(r.Params), r.Params.Limit, next, prev)
}

func filterOf(p ListPlansParams) service.PlanFilter {
	return service.PlanFilter{
		VesselName: or(p.VesselName, ""), VesselID: or(p.VesselId, uuid.Nil), Intent: planner.Intent(or(p.Intent, "")), InputSHA256: or(p.InputSha256, ""),
		CreatedFrom: utc(p.CreatedFrom), CreatedBefore: utc(p.CreatedBefore),
	}
}

func summariesOf(rows []service.PlanSummary) []openapi.PlanSummary {
	items := make([]openapi.PlanSummary, len(rows))
	for i, r := range rows {
		items[i] = openapi.PlanSummary{
			Id: r.ID, CreatedAt: r.CreatedAt.UTC(), VesselName: r.VesselName, Intent: openapi.Intent(r.Intent), Engine: r.Engine,
			InputSha256: r.InputSHA256, PeakN: openapi.Band{Low: r.PeakN.Low, Mid: r.PeakN.Mid, High: r.PeakN.High}, PayOutM: r.PayOutM,
			VesselId: idOrAbsent(r.VesselID), Supersedes: idOrAbsent(r.Supersedes), Links: service.PlanLinks(r.ID),
		}
	}
	return items
}

func idOrAbsent(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}
