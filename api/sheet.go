package api

import (
	"context"
	"strings"

	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/api/page/sheet"
	"rideout/openapi"
	"rideout/service"
)

func (h handlers) GetPlanSheet(ctx context.Context, r GetPlanSheetRequestObject) (GetPlanSheetResponseObject, error) {
	made, err := h.sheet(ctx, r.Id, r.Params.Units)
	if err != nil {
		return nil, err
	}
	kind, err := chosen(ctx, "text/html", "application/pdf", "text/plain")
	if err != nil {
		return nil, err
	}
	switch kind {
	case "application/pdf":
		body, err := made.PDF(papers[or(r.Params.Paper, openapi.A4)])
		return shown(kind, sheet.Page{Body: body}), err
	case "text/plain":
		return shown("text/plain; charset=us-ascii", sheet.Page{Body: made.Text()}), nil
	}
	page, err := made.HTML()
	return shown("text/html; charset=utf-8", page), err
}

func (h handlers) GetPlanDrawing(ctx context.Context, r GetPlanDrawingRequestObject) (GetPlanDrawingResponseObject, error) {
	name, isSVG := strings.CutSuffix(r.Drawing, ".svg")
	if !isSVG || !figure.Known(name) {
		return nil, &service.Error{Kind: service.KindNotFound, Message: "there is no such drawing; there are " + strings.Join(figure.Names(), ".svg, ") + ".svg"}
	}
	made, err := h.sheet(ctx, r.Id, r.Params.Units)
	if err != nil {
		return nil, err
	}
	page, err := sheet.Drawing(name, made.Subject)
	return shown("image/svg+xml", page), err
}

var papers = map[openapi.GetPlanSheetParamsPaper]sheet.Paper{openapi.A4: sheet.A4, openapi.Letter: sheet.Letter}

// sheet reads a kept plan to be shown.
func (h handlers) sheet(ctx context.Context, id openapi.PlanID, units *openapi.Units) (sheet.Sheet, error) {
	record, err := h.plans.Get(ctx, org(ctx), id)
	if err != nil {
		return sheet.Sheet{}, err
	}
	return sheet.New(sheet.Kept{Answer: record.Answer, Inputs: record.Inputs, Working: record.Working, Units: measure.Units(or(units, openapi.Metric))})
}

// shown is the answer to a read of one thing in a form for people.
func shown(kind string, page sheet.Page) document {
	d := read(page.Body)
	d.kind = kind
	if page.Policy != "" {
		d.header["Content-Security-Policy"] = page.Policy
	}
	return varied(d)
}
