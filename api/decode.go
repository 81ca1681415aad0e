package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/forecast"
	"rideout/service/planner"
)

// MaxBodyBytes is the largest body taken.
const MaxBodyBytes = 256 << 10

// maxFieldErrors keeps the answer to a hopeless body within bounds.
const maxFieldErrors = 200

// DecodePlan reads a plan's body (the contract's PlanRequest) to the domain's request in SI units, for whoever has no
// book to look up a registered vessel in. The error is that of decodeOrder.
func DecodePlan(body []byte) (planner.Request, error) {
	order, err := decodeOrder(body)
	if err != nil {
		return planner.Request{}, err
	}
	var problems []service.FieldError
	for pointer, id := range map[string]uuid.UUID{"/vessel_id": order.VesselID, "/supersedes": order.Supersedes} {
		if id != uuid.Nil {
			problems = append(problems, service.FieldError{Pointer: pointer, Message: "can be looked up by the service alone", Fix: "send the vessel herself, and no plan to supersede"})
		}
	}
	if len(problems) > 0 {
		return planner.Request{}, refusal(unique(problems))
	}
	return order.Request, nil
}

// decodeOrder reads a plan's body to the order of a plan, in SI units. The
// error of a refused body is a *service.Error of kind invalid that names every wrong field: of the
// JSON, the contract, the forecast and hazards, and of planner.Validate, as far as each stage could
// be run on what the earlier ones left readable.
func decodeOrder(body []byte) (service.PlanOrder, error) {
	doc, err := contract()
	if err != nil {
		return service.PlanOrder{}, err
	}
	if len(body) > MaxBodyBytes {
		return service.PlanOrder{}, refusal([]service.FieldError{{Message: fmt.Sprintf("the body is larger than %d bytes", MaxBodyBytes), Fix: "send fewer forecast steps or hazards"}})
	}
	tree, problems, ok := scan(body)
	if !ok {
		return service.PlanOrder{}, refusal(problems)
	}
	found := check(doc.Components.Schemas["PlanRequest"].Value, tree)
	for _, f := range found {
		problems = append(problems, f.FieldError)
	}
	members, isObject := tree.(map[string]any)
	if !isObject {
		return service.PlanOrder{}, refusal(problems)
	}
	broken := brokenSections(found)
	problems = append(problems, checkWhose(members, broken)...)
	order, more, err := mapped(members, broken)
	if err != nil {
		return service.PlanOrder{}, err
	}
	problems = append(problems, more...)
	if problems = unique(problems); len(problems) > 0 {
		return service.PlanOrder{}, refusal(problems)
	}
	return order, nil
}

// checkWhose demands one of vessel and vessel_id. A vessel that is not here is judged when she is looked up.
func checkWhose(members map[string]any, broken map[string]bool) []service.FieldError {
	_, sent := members["vessel"]
	_, named := members["vessel_id"]
	if !sent {
		broken["vessel"] = true
	}
	switch {
	case sent && named:
		return []service.FieldError{{Pointer: "/vessel_id", Message: "is given beside vessel", Fix: "send one of the two"}}
	case !sent && !named:
		return []service.FieldError{{Pointer: "/vessel", Message: "is missing", Fix: "send vessel, or vessel_id of a registered one"}}
	}
	return nil
}

// brokenSections gives the members of the body that cannot be read to the end. The vessel is broken
// by any wrong value, because her measures are judged by each other: with a length of 0, her waterline
// would be called too long.
func brokenSections(found []finding) map[string]bool {
	broken := map[string]bool{}
	for _, f := range found {
		at := section(f.Pointer)
		if f.harm == unreadable || (f.harm == wrongValue && at == "vessel") {
			broken[at] = true
		}
	}
	return broken
}

func section(pointer string) string {
	first, _, _ := strings.Cut(strings.TrimPrefix(pointer, "/"), "/")
	return first
}

// mapped turns the sections that can be read into a request and checks it. What is found about
// broken sections is left out: it would only repeat that they are broken. So is what is found about
// gear when the vessel, by which gear is judged, is broken.
func mapped(members map[string]any, broken map[string]bool) (service.PlanOrder, []service.FieldError, error) {
	for name := range broken {
		delete(members, name)
	}
	readable, err := json.Marshal(members)
	if err != nil {
		return service.PlanOrder{}, nil, fmt.Errorf("write the body anew: %w", err)
	}
	var body openapi.PlanRequest
	if err := json.Unmarshal(readable, &body); err != nil {
		return service.PlanOrder{}, nil, fmt.Errorf("read a checked body: %w", err)
	}
	req := requestOf(body)
	if err := readCarried(&req, readable); err != nil {
		return service.PlanOrder{}, nil, err
	}
	var problems []service.FieldError
	if sent, ok := members["hazards"]; ok {
		problems = append(problems, checkHazards(sent)...)
		if req.Hazards, err = json.Marshal(sent); err != nil {
			return service.PlanOrder{}, nil, fmt.Errorf("write the hazards anew: %w", err)
		}
	}
	covered := false
	if sent, ok := members["forecast"]; ok {
		var found []service.FieldError
		if covered, found, err = readForecast(&req, body, sent); err != nil {
			return service.PlanOrder{}, nil, err
		}
		problems = append(problems, found...)
	}
	unread := covered && len(problems) > 0
	for _, p := range planner.Validate(req) {
		at := section(p.Pointer)
		if broken[at] || (at == "gear" && broken["vessel"]) || (at == "forecast" && unread) {
			continue
		}
		if covered {
			p.Pointer, p.Message = intoCoverage(p.Pointer, p.Message)
		}
		problems = append(problems, service.FieldError(p))
	}
	return service.PlanOrder{Request: req, VesselID: or(body.VesselId, uuid.Nil), Supersedes: or(body.Supersedes, uuid.Nil)}, problems, nil
}

// readCarried reads the vessel and her gear, which have one form in a plan's body and in the book.
func readCarried(req *planner.Request, body []byte) error {
	var carried struct {
		Vessel fleet.Particulars `json:"vessel"`
		Gear   *fleet.Set        `json:"gear"`
	}
	if err := json.Unmarshal(body, &carried); err != nil {
		return fmt.Errorf("read a checked vessel and gear: %w", err)
	}
	req.Vessel = carried.Vessel.Planned()
	if carried.Gear != nil {
		req.Gear = carried.Gear.Planned()
	}
	return nil
}

// readForecast reads whichever form was sent; covered tells that it was CoverageJSON. A coverage
// says where it holds; that is the position unless one was sent.
func readForecast(req *planner.Request, body openapi.PlanRequest, sent any) (covered bool, problems []service.FieldError, err error) {
	if members, _ := sent.(map[string]any); members["type"] != "Coverage" {
		steps, err := body.Forecast.AsForecastSteps()
		if err != nil {
			return false, nil, fmt.Errorf("read checked forecast steps: %w", err)
		}
		req.Forecast, problems = forecastOf(steps)
		return false, problems, nil
	}
	doc, err := json.Marshal(sent)
	if err != nil {
		return true, nil, fmt.Errorf("write the coverage anew: %w", err)
	}
	coverage, _, err := forecast.DecodeCoverageJSON(doc)
	if refused := (*forecast.Error)(nil); errors.As(err, &refused) {
		for _, p := range refused.Problems {
			problems = append(problems, service.FieldError{Pointer: "/forecast" + p.Pointer, Message: p.Message, Fix: p.Fix})
		}
		return true, problems, nil
	} else if err != nil {
		return true, nil, fmt.Errorf("read the coverage: %w", err)
	}
	req.Forecast = coverage.Forecast
	if req.Position == nil {
		req.Position = &coverage.Position
	}
	for i, step := range req.Forecast.Steps {
		problems = checkYear(problems, step.Time, fmt.Sprintf("/forecast/domain/axes/t/values/%d", i))
	}
	return true, problems, nil
}

// intoCoverage moves a pointer into our steps to the coverage they were read from.
func intoCoverage(pointer, message string) (string, string) {
	if pointer == "/forecast/steps" {
		return "/forecast/domain/axes/t", message
	}
	step, ok := strings.CutPrefix(pointer, "/forecast/steps/")
	if !ok {
		return pointer, message
	}
	n, field, _ := strings.Cut(step, "/")
	if field == "time" {
		return "/forecast/domain/axes/t", fmt.Sprintf("at index %s: %s", n, message)
	}
	return "/forecast/ranges", fmt.Sprintf("%s at index %s: %s", field, n, message)
}

// unique keeps the first problem of each place, in the order of the pointers.
func unique(problems []service.FieldError) []service.FieldError {
	seen := map[string]bool{}
	problems = slices.DeleteFunc(problems, func(p service.FieldError) bool {
		twice := seen[p.Pointer]
		seen[p.Pointer] = true
		return twice
	})
	slices.SortStableFunc(problems, func(a, b service.FieldError) int { return strings.Compare(a.Pointer, b.Pointer) })
	return problems
}

func refusal(problems []service.FieldError) error {
	message := "one field is wrong"
	if n := len(problems); n > maxFieldErrors {
		message = fmt.Sprintf("%d fields are wrong, the first %d are named", n, maxFieldErrors)
		problems = problems[:maxFieldErrors]
	} else if n > 1 {
		message = fmt.Sprintf("%d fields are wrong", n)
	}
	return &service.Error{Kind: service.KindInvalid, Message: message, Fields: problems}
}
