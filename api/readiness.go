package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"rideout/service"
	"rideout/service/readiness"
)

func (h handlers) GetVesselReadiness(ctx context.Context, r GetVesselReadinessRequestObject) (GetVesselReadinessResponseObject, error) {
	window, err := windowOf(r.Params)
	if err != nil {
		return nil, err
	}
	at := service.AsOf{ValidAt: utc(r.Params.ValidAt), KnownAt: utc(r.Params.KnownAt)}
	report, at, err := h.registers.Readiness(ctx, org(ctx), r.Id, at, window)
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(report)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	sayTimes(answer.header, at)
	return answer, err
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
	for name, at := range map[string]*time.Time{"valid_at": p.ValidAt, "known_at": p.KnownAt} {
		if at != nil {
			query.Set(name, at.UTC().Format(time.RFC3339Nano))
		}
	}
	filters := path + "?" + query.Encode()
	place := service.RecordQuery{AsOf: service.AsOf{ValidAt: utc(p.ValidAt), KnownAt: utc(p.KnownAt)}}
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
	answer, err := jsonDocument(reportPage{page.Items, next, prev})
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	sayTimes(answer.header, at)
	if p.Limit != nil {
		query.Set("limit", strconv.Itoa(*p.Limit))
	}
	if links := linkHeader(path, query, next, prev); links != "" {
		answer.header["Link"] = links
	}
	return answer, err
}

func (h handlers) SummariseReadiness(ctx context.Context, r SummariseReadinessRequestObject) (SummariseReadinessResponseObject, error) {
	at := service.AsOf{ValidAt: utc(r.Params.ValidAt), KnownAt: utc(r.Params.KnownAt)}
	summary, at, err := h.registers.Fleet(ctx, org(ctx), at)
	if err != nil {
		return nil, err
	}
	if !or(r.Params.Vessels, false) {
		summary.Items = nil
	}
	answer, err := jsonDocument(summary)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	sayTimes(answer.header, at)
	return answer, err
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
