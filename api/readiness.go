package api

import (
	"context"
	"net/http"
	"net/url"

	"rideout/service"
	"rideout/service/readiness"
)

func (h handlers) GetVesselReadiness(ctx context.Context, r GetVesselReadinessRequestObject) (GetVesselReadinessResponseObject, error) {
	window, err := windowOf(r.Params)
	if err != nil {
		return nil, err
	}
	report, at, err := h.registers.Readiness(ctx, org(ctx), r.Id, asOf(r.Params.ValidAt, r.Params.KnownAt), window)
	if err != nil {
		return nil, err
	}
	return timed(report, at)
}

// windowOf reads the window asked about; nil: none.
func windowOf(p GetVesselReadinessParams) (*readiness.Window, error) {
	usual := readiness.Weather{WindKt: p.WindSpeedKt, HsM: p.SignificantWaveHeightM}
	wrong := func(name, message, fix string) error {
		return &service.ParameterError{Name: name, Message: message, Fix: fix}
	}
	switch {
	case p.From == nil && p.To == nil && usual == readiness.Weather{}:
		return nil, nil
	case p.From == nil:
		return nil, wrong("from", "is missing", "send from and to together; usual weather goes with them")
	case p.To == nil:
		return nil, wrong("to", "is missing", "send from and to together")
	}
	return &readiness.Window{From: p.From.UTC(), To: p.To.UTC(), Usual: usual}, nil
}

func (h handlers) ListReadiness(ctx context.Context, r ListReadinessRequestObject) (ListReadinessResponseObject, error) {
	const path = "/v1/readiness"
	p := r.Params
	query := url.Values{}
	if p.Verdict != nil {
		query.Set("verdict", string(*p.Verdict))
	}
	place := service.RecordQuery{AsOf: askedAt(p.ValidAt, p.KnownAt, query)}
	filters := path + "?" + query.Encode()
	if err := readRecordCursor(p.Cursor, filters, &place); err != nil {
		return nil, err
	}
	page, at, err := h.registers.Board(ctx, org(ctx), service.BoardQuery{
		Verdict: readiness.Verdict(or(p.Verdict, "")), AsOf: place.AsOf, From: place.From, Limit: or(p.Limit, defaultLimit),
	})
	if err != nil {
		return nil, err
	}
	next, prev := recordCursor(page.Next, at, filters), recordCursor(page.Prev, at, filters)
	answer, err := pageDocument(reportPage{page.Items, next, prev}, path, query, p.Limit, next, prev)
	sayTimes(answer.header, at)
	return answer, err
}

func (h handlers) SummariseReadiness(ctx context.Context, r SummariseReadinessRequestObject) (SummariseReadinessResponseObject, error) {
	summary, at, err := h.registers.Fleet(ctx, org(ctx), asOf(r.Params.ValidAt, r.Params.KnownAt))
	if err != nil {
		return nil, err
	}
	if !or(r.Params.Vessels, false) {
		summary.Items = nil
	}
	return timed(summary, at)
}

// reportPage is a page of the board as it is answered.
type reportPage struct {
	Items []readiness.Report `json:"items"`
	Next  *string            `json:"next"`
	Prev  *string            `json:"prev"`
}

func (d document) VisitListReadinessResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitSummariseReadinessResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetVesselReadinessResponse(w http.ResponseWriter) error { return d.write(w) }
