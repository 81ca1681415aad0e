package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"

	"github.com/google/uuid"

	"rideout/api/client"
	"rideout/openapi"
)

// sheet fetches the crew's sheet of a plan.
func sheet(ctx context.Context, p program, args []string) error {
	var c calling
	flags := newFlags("sheet")
	c.serviceFlags(p, flags)
	id := flags.String("plan", "", "the plan's `id`")
	named := flags.String("vessel", "", "instead of a plan: the last one made for this vessel, by `name` or id")
	form := flags.String("as", "text", "`one` of text, html, pdf")
	units := flags.String("units", "metric", "`one` of metric, trade")
	paper := flags.String("paper", "a4", "of a PDF, `one` of a4, letter")
	out := flags.String("out", "", "write to this `file`")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	kind, known := map[string]string{"text": "text/plain", "html": "text/html", "pdf": "application/pdf"}[*form]
	switch {
	case !known:
		return usageError{fmt.Sprintf("sheet: --as is %q: give text, html or pdf", *form)}
	case (*id == "") == (*named == ""):
		return usageError{"sheet: name the plan by --plan, or the vessel by --vessel"}
	case *form == "pdf" && *out == "" && isTerminal(p.stdout):
		return usageError{"sheet: a terminal cannot show a PDF: name a file by --out"}
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	plan, err := r.plan(ctx, *id, *named)
	if err != nil {
		return err
	}
	params := &openapi.GetPlanSheetParams{Units: new(openapi.Units(*units)), Paper: new(openapi.GetPlanSheetParamsPaper(*paper))}
	return r.fetch(*out, func() (*http.Response, error) { return r.GetPlanSheet(ctx, plan, params, accept(kind)) })
}

// plan gives the plan of an id, or the last one made for a vessel.
func (r *remote) plan(ctx context.Context, id, named string) (uuid.UUID, error) {
	if id != "" {
		plan, err := uuid.Parse(id)
		if err != nil {
			return uuid.Nil, usageError{fmt.Sprintf("%q is no plan's id: it looks like 01945d2c-7c00-7000-8000-000000000001", id)}
		}
		return plan, nil
	}
	vessel, err := r.vessel(ctx, named)
	if err != nil {
		return uuid.Nil, err
	}
	page, err := client.Read[openapi.PlanPage](r.ListPlans(ctx, &openapi.ListPlansParams{VesselId: &vessel, Limit: new(1)}))
	if err != nil {
		return uuid.Nil, err
	}
	if len(page.Items) == 0 {
		return uuid.Nil, usageError{fmt.Sprintf("no plan was made for %s", named)}
	}
	return page.Items[0].Id, nil
}

// fetch writes an answer as it is.
func (r *remote) fetch(file string, ask func() (*http.Response, error)) error {
	return toFile(file, r.stdout, func(w io.Writer) error {
		body, err := client.Bytes(ask())
		if err != nil {
			return err
		}
		_, err = w.Write(body)
		return err
	})
}

func accept(kind string) client.RequestEditorFn {
	return func(_ context.Context, r *http.Request) error {
		r.Header.Set("Accept", kind)
		return nil
	}
}

// stormPlan fetches a vessel's storm plan in short, for a poor link.
func stormPlan(ctx context.Context, p program, args []string) error {
	var c calling
	flags := newFlags("storm-plan")
	c.flags(p, flags)
	named := flags.String("vessel", "", "the vessel, by `name` or id; by id it is one round trip")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if *named == "" {
		return usageError{"storm-plan: name the vessel by --vessel"}
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	vessel, err := r.vessel(ctx, *named)
	if err != nil {
		return err
	}
	if !r.json {
		return r.fetch("", func() (*http.Response, error) { return r.GetStormPlan(ctx, vessel, accept("text/plain")) })
	}
	answer, err := r.GetStormPlan(ctx, vessel, accept("application/json"))
	return show(r, func(*page, json.RawMessage) {}, answer, err)
}
