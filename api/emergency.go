package api

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/fleet"
)

// Names the generated server takes from the contract's types.
type (
	ListEmergencyAccessParams = openapi.ListEmergencyAccessParams
	OpenEmergencyAccessParams = openapi.OpenEmergencyAccessParams
	GetLentWhereaboutsParams  = openapi.GetLentWhereaboutsParams

	OpenEmergencyAccessJSONRequestBody   = sentBody
	ReviewEmergencyAccessJSONRequestBody = sentBody
)

// emergencyPath is where accesses are.
const emergencyPath = "/v1/emergency-access"

func (h handlers) OpenEmergencyAccess(ctx context.Context, r OpenEmergencyAccessRequestObject) (OpenEmergencyAccessResponseObject, error) {
	body := openapi.EmergencyRequest{}
	if err := decodeAs("EmergencyRequest", r.Body.sent, &body); err != nil {
		return nil, err
	}
	if err := fleet.CheckMMSI(body.Mmsi); err != nil {
		return nil, refusal([]service.FieldError{{Pointer: "/mmsi", Message: err.Error(), Fix: "send the nine digits of her ship station"}})
	}
	ask := service.Ask{MMSI: body.Mmsi, CallSign: or(body.CallSign, ""), Reason: body.Reason, For: service.LongestAccess, By: by(ctx)}
	if body.DurationH != nil {
		ask.For = time.Duration(*body.DurationH * float64(time.Hour)).Truncate(time.Second)
	}
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + emergencyPath, RequestSHA256: r.Body.sha256}
	kept, replayed, err := h.emergency.Open(ctx, org(ctx), claim, ask)
	if err != nil {
		return nil, err
	}
	return changedOnce(kept.Body, replayed)
}

// accessAnswer is an access as it is answered: as it is recorded, and what only now tells.
type accessAnswer struct {
	service.EmergencyAccess
	State string                  `json:"state"`
	Reads []service.EmergencyRead `json:"reads,omitempty"`
}

func (h handlers) accessAnswer(a service.EmergencyAccess) accessAnswer {
	return accessAnswer{EmergencyAccess: a, State: a.State(h.now())}
}

func (h handlers) ListEmergencyAccess(ctx context.Context, r ListEmergencyAccessRequestObject) (ListEmergencyAccessResponseObject, error) {
	p, query := r.Params, url.Values{}
	var reviewed *bool
	if p.Review != nil {
		is := string(*p.Review) == "closed"
		reviewed = &is
		query.Set("review", string(*p.Review))
	}
	filters := emergencyPath + "?" + query.Encode()
	q := service.RecordQuery{Limit: or(p.Limit, defaultLimit)}
	if err := readRecordCursor(p.Cursor, filters, &q); err != nil {
		return nil, err
	}
	page, at, err := h.emergency.List(ctx, org(ctx), reviewed, q)
	if err != nil {
		return nil, err
	}
	out := accessPage{Items: []accessAnswer{}, Next: recordCursor(page.Next, at, filters), Prev: recordCursor(page.Prev, at, filters)}
	for _, a := range page.Items {
		out.Items = append(out.Items, h.accessAnswer(a))
	}
	return pageDocument(out, emergencyPath, query, p.Limit, out.Next, out.Prev)
}

type accessPage struct {
	Items []accessAnswer `json:"items"`
	Next  *string        `json:"next"`
	Prev  *string        `json:"prev"`
}

func (h handlers) GetEmergencyAccess(ctx context.Context, r GetEmergencyAccessRequestObject) (GetEmergencyAccessResponseObject, error) {
	access, err := h.emergency.Get(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	out := h.accessAnswer(access)
	if out.Reads, err = h.emergency.Reads(ctx, org(ctx), r.Id); err != nil {
		return nil, err
	}
	return fresh(out)
}

func (h handlers) GetLentStormPlan(ctx context.Context, r GetLentStormPlanRequestObject) (GetLentStormPlanResponseObject, error) {
	return h.lent(ctx, r.Id, "storm_plan", func(ctx context.Context, l service.Lent) (document, error) {
		return stormPlan(ctx, l.Plans, l.Org, l.Vessel)
	})
}

func (h handlers) GetLentWhereabouts(ctx context.Context, r GetLentWhereaboutsRequestObject) (GetLentWhereaboutsResponseObject, error) {
	return h.lent(ctx, r.Id, "drift", func(ctx context.Context, l service.Lent) (document, error) {
		return whereabouts(ctx, l.Plans, l.Org, l.Vessel, utc(r.Params.At))
	})
}

func (h handlers) GetLentVessel(ctx context.Context, r GetLentVesselRequestObject) (GetLentVesselResponseObject, error) {
	return h.lent(ctx, r.Id, "vessel", func(ctx context.Context, l service.Lent) (document, error) {
		v, _, err := l.Registers.Read(ctx, l.Org, fleet.KindVessel, l.Vessel, service.AsOf{})
		return read(v.Body), err
	})
}

// lent answers what produce makes of a vessel that is lent, once both sides have noted it.
func (h handlers) lent(ctx context.Context, id uuid.UUID, what string, produce func(context.Context, service.Lent) (document, error)) (document, error) {
	var answer document
	body, err := h.emergency.Read(ctx, org(ctx), by(ctx), id, what, func(ctx context.Context, l service.Lent) (_ []byte, err error) {
		answer, err = produce(ctx, l)
		if err != nil {
			return nil, err
		}
		return answer.body, nil
	})
	if err != nil {
		return document{}, err
	}
	answer.body = body
	return answer, nil
}

func (h handlers) EndEmergencyAccess(ctx context.Context, r EndEmergencyAccessRequestObject) (EndEmergencyAccessResponseObject, error) {
	return h.revised(h.emergency.End(ctx, org(ctx), by(ctx), r.Id))
}

func (h handlers) ReviewEmergencyAccess(ctx context.Context, r ReviewEmergencyAccessRequestObject) (ReviewEmergencyAccessResponseObject, error) {
	body := openapi.EmergencyFinding{}
	if err := decodeAs("EmergencyFinding", r.Body.sent, &body); err != nil {
		return nil, err
	}
	return h.revised(h.emergency.CloseReview(ctx, org(ctx), by(ctx), r.Id, body.Words))
}

// revised is the answer to a change of an access.
func (h handlers) revised(access service.EmergencyAccess, err error) (document, error) {
	if err != nil {
		return document{}, err
	}
	return unkept(h.accessAnswer(access))
}

func (d document) VisitOpenEmergencyAccessResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitListEmergencyAccessResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetEmergencyAccessResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetLentStormPlanResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetLentWhereaboutsResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetLentVesselResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitEndEmergencyAccessResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitReviewEmergencyAccessResponse(w http.ResponseWriter) error { return d.write(w) }
