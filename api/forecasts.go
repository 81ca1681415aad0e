package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/planner"
)

const forecastsPath = "/v1/forecasts"

func (h handlers) ReceiveForecast(ctx context.Context, r ReceiveForecastRequestObject) (ReceiveForecastResponseObject, error) {
	forecast, err := decodeAreaForecast(r.Body.sent)
	if err != nil {
		return nil, err
	}
	forecast.By = by(ctx)
	claim := service.Claim{Key: r.Params.IdempotencyKey, Route: "POST " + forecastsPath, RequestSHA256: r.Body.sha256}
	kept, replayed, err := h.forecasts.Receive(ctx, org(ctx), claim, forecast)
	if err != nil {
		return nil, err
	}
	return changedOnce(kept.Body, replayed)
}

// decodeAreaForecast reads a forecast for an area. The error of a refused body names every wrong field, as far as each stage
// could be run on what the earlier ones left readable.
func decodeAreaForecast(sent []byte) (service.AreaForecast, error) {
	doc, err := contract()
	if err != nil {
		return service.AreaForecast{}, err
	}
	tree, problems, ok := scan(sent)
	if !ok {
		return service.AreaForecast{}, refusal(problems)
	}
	found := check(doc.Components.Schemas["AreaForecastRequest"].Value, tree)
	broken := map[string]bool{}
	for _, f := range found {
		problems = append(problems, f.FieldError)
		broken[section(f.Pointer)] = true
	}
	members, _ := tree.(map[string]any)
	if area, is := members["area"].(map[string]any); is && !broken["area"] {
		kind, _ := area["type"].(string)
		n := nesting[kind]
		problems = checkPositions(problems, area["coordinates"], "/area/coordinates", n.levels, n.least, n.closed)
	}
	if broken["forecast"] || broken[""] {
		return service.AreaForecast{}, refusal(unique(problems))
	}
	var body struct {
		Area     json.RawMessage `json:"area"`
		Forecast json.RawMessage `json:"forecast"`
	}
	var steps openapi.ForecastSteps
	if err := json.Unmarshal(sent, &body); err != nil {
		return service.AreaForecast{}, fmt.Errorf("read a checked body: %w", err)
	}
	if err := json.Unmarshal(body.Forecast, &steps); err != nil {
		return service.AreaForecast{}, fmt.Errorf("read checked forecast steps: %w", err)
	}
	forecast, more := forecastOf(steps)
	problems = append(problems, more...)
	for _, p := range planner.ValidateForecast(forecast) {
		problems = append(problems, service.FieldError(p))
	}
	if problems = unique(problems); len(problems) > 0 {
		return service.AreaForecast{}, refusal(problems)
	}
	return service.AreaForecast{Area: body.Area, Sent: body.Forecast, Forecast: forecast}, nil
}

func (h handlers) GetForecast(ctx context.Context, r GetForecastRequestObject) (GetForecastResponseObject, error) {
	report, err := h.forecasts.Report(ctx, org(ctx), r.Id)
	if err != nil {
		return nil, err
	}
	return fresh(report)
}

// forecastPage is a page of forecasts as it is answered.
type forecastPage struct {
	Items []forecastHead `json:"items"`
	Next  *string        `json:"next"`
	Prev  *string        `json:"prev"`
}

type forecastHead struct {
	ID         uuid.UUID         `json:"id"`
	RecordedAt time.Time         `json:"recorded_at"`
	By         string            `json:"recorded_by"`
	Source     string            `json:"source"`
	Begins     time.Time         `json:"begins_at"`
	Ends       time.Time         `json:"ends_at"`
	Progress   service.Progress  `json:"progress"`
	Links      map[string]string `json:"links"`
}

func (h handlers) ListForecasts(ctx context.Context, r ListForecastsRequestObject) (ListForecastsResponseObject, error) {
	p := r.Params
	from, err := placeByID(p.Cursor, forecastsPath)
	if err != nil {
		return nil, err
	}
	page, err := h.forecasts.List(ctx, org(ctx), from, or(p.Limit, defaultLimit))
	if err != nil {
		return nil, err
	}
	next, prev := recordCursor(page.Next, service.AsOf{}, forecastsPath), recordCursor(page.Prev, service.AsOf{}, forecastsPath)
	out := forecastPage{Items: []forecastHead{}, Next: next, Prev: prev}
	for _, f := range page.Items {
		out.Items = append(out.Items, forecastHead{
			ID: f.ID, RecordedAt: f.RecordedAt, By: f.By, Source: f.Forecast.Source, Begins: f.Begins(), Ends: f.Ends(), Progress: f.Progress,
			Links: map[string]string{"self": service.ForecastPath(f.ID)},
		})
	}
	return pageDocument(out, forecastsPath, url.Values{}, p.Limit, next, prev)
}

func (d document) VisitReceiveForecastResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetForecastResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitListForecastsResponse(w http.ResponseWriter) error   { return d.write(w) }
