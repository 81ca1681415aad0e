package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"rideout/api"
	"rideout/service"
	"rideout/service/forecast"
	"rideout/service/planner"
)

// body is a plan's body in the form callers send.
type body struct {
	Vessel   json.RawMessage `json:"vessel,omitempty"`
	VesselID string          `json:"vessel_id,omitempty"`
	Gear     json.RawMessage `json:"gear,omitempty"`
	Position json.RawMessage `json:"position,omitempty"`
	Intent   planner.Intent  `json:"intent"`
	Wish     json.RawMessage `json:"wish,omitempty"`
	Lying    json.RawMessage `json:"lying,omitempty"`
	Crew     json.RawMessage `json:"crew,omitempty"`
	Hazards  json.RawMessage `json:"hazards,omitempty"`
	Forecast json.RawMessage `json:"forecast,omitempty"`
}

// files names what a plan is made of.
type files struct {
	vessel, gear, forecast, hazards, intent string
	vesselID                                string // of one registered with a service
	position                                string // LAT,LON
	heading, lying                          json.RawMessage
	run                                     int
}

// A buoy record is one run up to gap without a row. A run longer than mostSteps is thinned.
const (
	gap       = 24 * time.Hour
	mostSteps = 1000
)

// requests reads the files: one request, or for a buoy record one for each run. They are decoded as the
// API decodes a body, so what it refuses is refused here. note tells what was decided on the way.
func (f files) requests(note func(string)) ([]planner.Request, error) {
	b := body{Intent: planner.Intent(f.intent)}
	text, err := f.read(&b)
	if err != nil {
		return nil, err
	}
	if isJSON(text) {
		return f.ofJSON(b, text, note)
	}
	return f.ofRecord(b, text, note)
}

// read reads vessel and gear into the body, and returns the forecast. It names every file that is
// missing or no JSON.
func (f files) read(b *body) (forecast []byte, err error) {
	var problems []service.FieldError
	for _, part := range []struct {
		flag, path string
		needed     bool
		into       *json.RawMessage
	}{{"vessel", f.vessel, f.vesselID == "", &b.Vessel}, {"gear", f.gear, false, &b.Gear}, {"hazards", f.hazards, false, &b.Hazards}, {"forecast", f.forecast, true, (*json.RawMessage)(&forecast)}} {
		if part.path == "" && !part.needed {
			continue
		}
		text, wrong := readFile(part.flag, part.path)
		if wrong == nil && (part.into != (*json.RawMessage)(&forecast) || isJSON(text)) {
			wrong = checkJSON(part.path, text)
		}
		if wrong != nil {
			wrong.Pointer = "/" + part.flag
			problems = append(problems, *wrong)
		}
		*part.into = text
	}
	if wrong := f.place(b); wrong != nil {
		problems = append(problems, *wrong)
	}
	if f.heading != nil {
		b.Wish = []byte(`{"heading_off_wind_deg":` + string(f.heading) + `}`)
	}
	b.Lying = f.lying
	if f.run < 0 {
		problems = append(problems, service.FieldError{Pointer: "--run", Message: fmt.Sprintf("is %d", f.run), Fix: "give 1 or more, or leave it out"})
	}
	return forecast, refusal("the files cannot be read", problems)
}

// lyingOn is the sea anchor of a vessel that lies to it on so many metres of rode; 0: nobody knows how many.
func lyingOn(text string) (json.RawMessage, error) {
	m, err := strconv.ParseFloat(text, 64)
	if err != nil || m == 0 {
		return json.RawMessage(`{}`), err
	}
	return json.Marshal(map[string]float64{"rode_out_m": m})
}

// place puts the position into the body.
func (f files) place(b *body) *service.FieldError {
	if f.position == "" {
		return nil
	}
	lat, lon, _ := strings.Cut(f.position, ",")
	lat, lon = strings.TrimSpace(lat), strings.TrimSpace(lon)
	position, err := json.Marshal(map[string]json.Number{"latitude_deg": json.Number(lat), "longitude_deg": json.Number(lon)})
	if lat == "" || lon == "" || err != nil { // an empty number would be written as 0
		return &service.FieldError{Pointer: "--position", Message: fmt.Sprintf("%q is not two numbers with a comma between", f.position), Fix: "give it as --position 61.2,-6.4"}
	}
	b.Position = position
	return nil
}

func readFile(flag, path string) ([]byte, *service.FieldError) {
	if path == "" {
		return nil, &service.FieldError{Message: "no file is named", Fix: "give --" + flag + " FILE"}
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, &service.FieldError{Message: err.Error(), Fix: "name a file that can be read"}
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, &service.FieldError{Message: path + " is empty", Fix: "put the " + flag + " in it"}
	}
	return text, nil
}

func checkJSON(path string, text []byte) *service.FieldError {
	var any json.RawMessage
	err := json.Unmarshal(text, &any)
	if err == nil {
		return nil
	}
	at := ""
	if syntax := (*json.SyntaxError)(nil); errors.As(err, &syntax) {
		at = fmt.Sprintf(" on line %d", 1+bytes.Count(text[:min(int(syntax.Offset), len(text))], []byte("\n")))
	}
	return &service.FieldError{Message: fmt.Sprintf("%s is no JSON%s: %v", path, at, err), Fix: "send one JSON object, and nothing after it"}
}

func isJSON(text []byte) bool {
	text = bytes.TrimSpace(text)
	return len(text) > 0 && (text[0] == '{' || text[0] == '[')
}

func (f files) ofJSON(b body, text []byte, note func(string)) ([]planner.Request, error) {
	if f.run > 0 {
		return nil, usageError{"plan: --run is for a buoy record; a JSON forecast is one run"}
	}
	b.Forecast = text
	request, err := decode(b)
	if err != nil {
		return nil, err
	}
	// Steps are no coverage, and nothing was decided about them.
	if _, notes, err := forecast.DecodeCoverageJSON(text); err == nil {
		tell(notes, note)
	}
	return []planner.Request{request}, nil
}

func (f files) ofRecord(b body, text []byte, note func(string)) ([]planner.Request, error) {
	record, notes, err := forecast.DecodeNDBC(text)
	if refused := (*forecast.Error)(nil); errors.As(err, &refused) {
		var problems []service.FieldError
		for _, p := range refused.Problems {
			problems = append(problems, service.FieldError{Pointer: "/forecast" + p.Pointer, Message: p.Message, Fix: p.Fix})
		}
		return nil, refusal(f.forecast+" is no buoy record", problems)
	} else if err != nil {
		return nil, err
	}
	tell(notes, note)
	runs := forecast.Runs(record, gap)
	switch {
	case f.run > len(runs):
		return nil, usageError{fmt.Sprintf("plan: --run is %d, and the record has %d", f.run, len(runs))}
	case f.run > 0:
		runs = runs[f.run-1 : f.run]
	}
	// The record has no JSON form; a calm stands in for it while the rest of the body is decoded.
	b.Forecast = json.RawMessage(`{"issued_at":"2000-01-01T00:00:00Z","source":"calm","steps":[{"time":"2000-01-01T00:00:00Z","wind_speed_kt":5}]}`)
	request, err := decode(b)
	if err != nil {
		return nil, err
	}
	requests := make([]planner.Request, len(runs))
	for i, run := range runs {
		requests[i] = request
		requests[i].Forecast = thinned(run, note)
	}
	return requests, nil
}

// thinned keeps the strongest winds and highest seas of a run that is too long.
func thinned(run planner.Forecast, note func(string)) planner.Forecast {
	whole := len(run.Steps)
	for d := time.Hour; len(run.Steps) > mostSteps; d *= 2 {
		if kept := forecast.Every(run, d); len(kept.Steps) <= mostSteps {
			note(fmt.Sprintf("thinned: %d steps are too many; of each %.0f h the strongest wind and the highest sea were kept", whole, d.Hours()))
			run = kept
		}
	}
	return run
}

func decode(b body) (planner.Request, error) {
	sent, err := json.Marshal(b)
	if err != nil {
		return planner.Request{}, err
	}
	return api.DecodePlan(sent)
}

func tell(notes []forecast.Note, note func(string)) {
	for _, n := range notes {
		note(n.Message)
	}
}

// refusal is nil without problems.
func refusal(message string, problems []service.FieldError) error {
	if len(problems) == 0 {
		return nil
	}
	return &service.Error{Kind: service.KindInvalid, Message: message, Fields: problems}
}
