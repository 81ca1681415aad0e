package service

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// JobReplan plans one vessel anew for an area's forecast. It is on the forecast and on the vessel.
const JobReplan JobKind = "replan"

// AreaForecast is a forecast for an area of sea, as it came.
type AreaForecast struct {
	ID         uuid.UUID
	RecordedAt time.Time
	By         string // the name of the key that sent it
	Area       []byte // GeoJSON, Polygon or MultiPolygon, as sent
	Sent       []byte // the forecast as sent
	Forecast   planner.Forecast
}

// Begins and Ends are the first and the last instant it speaks of.
func (f AreaForecast) Begins() time.Time { return f.Forecast.Steps[0].Time }

// Ends is the last instant it speaks of.
func (f AreaForecast) Ends() time.Time { return f.Forecast.Steps[len(f.Forecast.Steps)-1].Time }

// SHA256 is the hash of what came, in hex: of area and forecast as sent.
func (f AreaForecast) SHA256() string {
	return hexSHA256(slices.Concat(f.Area, []byte{'\n'}, f.Sent))
}

// Afloat is a registered vessel at sea: where she was reported last, and the plan she goes by.
type Afloat struct {
	VesselID     uuid.UUID
	VesselName   string
	PlanID       uuid.UUID
	DeploymentID uuid.UUID // uuid.Nil: her canopy is not out
	Position     planner.Position
	FixedAt      time.Time
	FixedBy      string  // observation, deployment, plan
	RodeOutM     float64 // 0: not out, or not reported
}

// Replan is what becomes of one vessel under an area's forecast.
type Replan struct {
	Afloat
	DoneAt    time.Time // zero: she waits
	NewPlanID uuid.UUID // uuid.Nil: none yet, or refused
	Refused   string    // why no plan can be made
	Outlook   []byte    // JSON of planner.Outlook
}

// ForecastBook keeps forecasts for areas, and how far the planning for them has come.
type ForecastBook interface {
	// AreaForecast returns a forecast and the vessels planned for, by name. ErrNotFound for one that is unknown or another's.
	AreaForecast(ctx context.Context, org OrgID, id uuid.UUID) (AreaForecast, []Replan, error)
	// AreaForecasts returns a page, newest first, each with its vessels.
	AreaForecasts(ctx context.Context, org OrgID, from RecordPlace, limit int) (ForecastPage, error)
}

// ForecastPage is one page of a list; Next and Prev are nil at the ends.
type ForecastPage struct {
	Items      []ForecastHead
	Next, Prev *RecordPlace
}

// ForecastHead is a forecast in a list.
type ForecastHead struct {
	AreaForecast
	Progress Progress
}

// Progress counts the vessels planned for.
type Progress struct {
	Vessels int  `json:"vessels"`
	Done    int  `json:"done"`
	Refused int  `json:"refused"`
	Waiting int  `json:"waiting"`
	Ended   bool `json:"ended"` // nobody waits
}

// AreaForecasts is the use cases on forecasts for areas. All fields must be set. It is safe for concurrent use.
//
// The vessels at sea in the area are found, and a job for each is noted, in the transaction that keeps the forecast. Each
// job keeps its plan and its row in one transaction. So a process that ends in between loses none and plans none twice.
type AreaForecasts struct {
	History History
	Book    ForecastBook
	Clock   func() time.Time
	NewID   func() uuid.UUID
	// Plans computes for the jobs. It is not the one requests wait at: jobs have more time, and are bounded by the
	// number at work at once.
	Plans *Plans
}

// Receive keeps a forecast and has the vessels at sea in its area planned anew, at most once for a claim. The answer is
// the JSON of a ForecastReport. A repeat gets the first answer and true.
func (a *AreaForecasts) Receive(ctx context.Context, org OrgID, claim Claim, f AreaForecast) (Answer, bool, error) {
	if problems := planner.ValidateForecast(f.Forecast); len(problems) > 0 {
		return Answer{}, false, refusal(problems)
	}
	area, err := areaOf(f.Area)
	if err != nil {
		return Answer{}, false, err
	}
	answer, repeated, err := a.History.Once(ctx, org, claim, func(ctx context.Context, rec Recorder) (Answer, error) {
		stamp, err := rec.Turn(ctx, a.Clock)
		if err != nil {
			return Answer{}, err
		}
		f.ID, f.RecordedAt = a.NewID(), stamp.RecordedAt
		at := AsOf{ValidAt: moment(f.Forecast, stamp.RecordedAt), KnownAt: stamp.RecordedAt}
		afloat, err := rec.Afloat(ctx, at, f.Ends())
		if err != nil {
			return Answer{}, err
		}
		afloat = slices.DeleteFunc(afloat, func(v Afloat) bool { return !holds(area, v.Position) })
		if err := rec.RecordForecast(ctx, f, afloat); err != nil {
			return Answer{}, err
		}
		jobs, replans := make([]Job, len(afloat)), make([]Replan, len(afloat))
		for i, v := range afloat {
			jobs[i] = Job{Kind: JobReplan, Org: org, On: []uuid.UUID{f.ID, v.VesselID}}
			replans[i] = Replan{Afloat: v}
		}
		if err := rec.Later(ctx, jobs...); err != nil {
			return Answer{}, err
		}
		report, err := reportOn(f, replans)
		if err != nil {
			return Answer{}, err
		}
		body, err := json.Marshal(report)
		return Answer{Body: body}, err
	})
	return answer, repeated, sortedForecast(err)
}

// areaOf reads the geometry. Its edges are straight lines in longitude and latitude (RFC 7946, 3.1.1), so what lies within
// it is found in the plane.
func areaOf(text []byte) (orb.MultiPolygon, error) {
	wrong := func(message string) error {
		field := FieldError{Pointer: "/area", Message: message, Fix: "send a GeoJSON Polygon or MultiPolygon, longitude first, each ring closed, cut at the antimeridian"}
		return &Error{Kind: KindInvalid, Message: "one field is wrong", Fields: []FieldError{field}}
	}
	var geometry struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := json.Unmarshal(text, &geometry); err != nil {
		return nil, wrong("is no GeoJSON geometry")
	}
	area := orb.MultiPolygon{{}}
	var err error
	switch geometry.Type {
	case "Polygon":
		err = json.Unmarshal(geometry.Coordinates, &area[0])
	case "MultiPolygon":
		err = json.Unmarshal(geometry.Coordinates, &area)
	default:
		return nil, wrong("is a " + geometry.Type)
	}
	if err != nil || slices.ContainsFunc(area, func(p orb.Polygon) bool { return len(p) == 0 }) {
		return nil, wrong("has no rings that can be read")
	}
	return area, nil
}

func holds(area orb.MultiPolygon, p planner.Position) bool {
	return planar.MultiPolygonContains(area, orb.Point{p.LongitudeDeg, p.LatitudeDeg})
}

// Replan is the worker of JobReplan. A job that has been done is done with.
func (a *AreaForecasts) Replan(ctx context.Context, job Job) error {
	if len(job.On) != 2 {
		return Pointless{fmt.Errorf("replan: on %d things, want forecast and vessel", len(job.On))}
	}
	forecast, replans, err := a.Book.AreaForecast(ctx, job.Org, job.On[0])
	if err != nil {
		return fmt.Errorf("replan: %w", err)
	}
	i := slices.IndexFunc(replans, func(r Replan) bool { return r.VesselID == job.On[1] })
	if i < 0 || !replans[i].DoneAt.IsZero() {
		return nil
	}
	r := replans[i]
	order, err := a.orderFor(ctx, job.Org, forecast, r)
	if err != nil {
		return fmt.Errorf("replan: %w", err)
	}
	err = a.plan(ctx, job.Org, forecast, r, order)
	var refused *Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &refused) && (refused.Kind == KindInvalid || refused.Kind == KindNotReferable):
		return a.refuse(ctx, job.Org, forecast.ID, r, refused)
	case errors.As(err, &refused) && refused.Kind == KindBusy:
		return Again{After: time.Second}
	}
	return fmt.Errorf("replan: %w", err)
}

// orderFor orders for a vessel what her plan was made for, in the weather of the forecast, from where she was reported
// last. The gear of one who lies to her canopy is what hangs in the water; anybody else's is what is registered as fitted.
func (a *AreaForecasts) orderFor(ctx context.Context, org OrgID, f AreaForecast, r Replan) (PlanOrder, error) {
	old, err := a.History.Plan(ctx, org, r.PlanID)
	if err != nil {
		return PlanOrder{}, err
	}
	var before planner.Request
	if err := json.Unmarshal(old.Inputs, &before); err != nil {
		return PlanOrder{}, fmt.Errorf("read the inputs of plan %s: %w", old.ID, err)
	}
	req := planner.Request{
		Position: &r.Position, Intent: before.Intent, Wish: before.Wish, Hazards: before.Hazards, Crew: before.Crew, Forecast: f.Forecast,
	}
	if r.DeploymentID != uuid.Nil {
		req.Gear, req.Lying = before.Gear, &planner.Lying{RodeOutM: r.RodeOutM}
	}
	order := PlanOrder{Request: req, VesselID: r.VesselID, By: f.By}
	if old.VesselID == r.VesselID {
		order.Supersedes = old.ID
	}
	return order, nil
}

// plan keeps the new plan and what it says in one transaction.
func (a *AreaForecasts) plan(ctx context.Context, org OrgID, f AreaForecast, r Replan, order PlanOrder) error {
	name := f.ID.String() + "/" + r.VesselID.String()
	claim := Claim{Key: "forecast/" + name, Route: "replan " + name, RequestSHA256: hexSHA256([]byte(name))}
	_, _, err := a.Plans.create(planner.Behind(ctx), org, claim, order, func(ctx context.Context, rec Recorder, made PlanRecord) error {
		plan, _, err := made.open()
		if err != nil {
			return err
		}
		outlook, err := json.Marshal(planner.OutlookOf(plan))
		if err != nil {
			return fmt.Errorf("encode outlook: %w", err)
		}
		return rec.Replanned(ctx, f.ID, Replan{Afloat: r.Afloat, DoneAt: made.CreatedAt, NewPlanID: made.ID, Outlook: outlook})
	})
	return err
}

// refuse notes why no plan can be made, so that nobody waits for it.
func (a *AreaForecasts) refuse(ctx context.Context, org OrgID, forecast uuid.UUID, r Replan, why *Error) error {
	words := why.Message
	for _, f := range why.Fields {
		words += "; " + f.Pointer + " " + f.Message
	}
	return a.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		return rec.Replanned(ctx, forecast, Replan{Afloat: r.Afloat, DoneAt: a.Clock().UTC().Truncate(time.Microsecond), Refused: clipped(words, 2000)})
	})
}

// clipped keeps a text within so many bytes, and whole letters.
func clipped(text string, most int) string {
	for len(text) > most {
		letters := []rune(text)
		text = string(letters[:min(len(letters)-1, most)])
	}
	return text
}

// Report says how far the planning for a forecast has come and what it found.
func (a *AreaForecasts) Report(ctx context.Context, org OrgID, id uuid.UUID) (ForecastReport, error) {
	f, replans, err := a.Book.AreaForecast(ctx, org, id)
	if err != nil {
		return ForecastReport{}, sortedForecast(err)
	}
	return reportOn(f, replans)
}

// List returns a page of the organisation's forecasts.
func (a *AreaForecasts) List(ctx context.Context, org OrgID, from RecordPlace, limit int) (ForecastPage, error) {
	page, err := a.Book.AreaForecasts(ctx, org, from, limit)
	return page, sortedForecast(err)
}

func sortedForecast(err error) error {
	if errors.Is(err, ErrNotFound) && !isSorted(err) {
		return &Error{Kind: KindNotFound, Message: "there is no forecast with this id", Err: err}
	}
	return sorted(err)
}

func isSorted(err error) bool {
	var known *Error
	return errors.As(err, &known)
}

// ForecastReport is a forecast for an area with what it means for each vessel at sea in it, most pressing first.
type ForecastReport struct {
	ID         uuid.UUID         `json:"id"`
	RecordedAt time.Time         `json:"recorded_at"`
	By         string            `json:"recorded_by"`
	Source     string            `json:"source"`
	Begins     time.Time         `json:"begins_at"`
	Ends       time.Time         `json:"ends_at"`
	Area       json.RawMessage   `json:"area"`
	Forecast   json.RawMessage   `json:"forecast"`
	Progress   Progress          `json:"progress"`
	Outside    []uuid.UUID       `json:"outside_limits"` // vessels by id
	MustDeploy []uuid.UUID       `json:"must_deploy"`    // those whose hour is past come first
	MustPayOut []uuid.UUID       `json:"must_pay_out"`
	MayHaul    []uuid.UUID       `json:"may_retrieve"`
	Vessels    []VesselOutlook   `json:"vessels"`
	Cautions   []string          `json:"cautions"`
	Links      map[string]string `json:"links"`
}

// VesselOutlook is one vessel of a report.
type VesselOutlook struct {
	VesselID     uuid.UUID         `json:"vessel_id"`
	VesselName   string            `json:"vessel_name"`
	State        string            `json:"state"` // waiting, planned, refused
	Lying        bool              `json:"lying_to_canopy"`
	RodeOutM     *float64          `json:"rode_out_m"` // null: not out, or not reported
	Position     planner.Position  `json:"position"`
	FixedAt      time.Time         `json:"position_at"`
	FixedBy      string            `json:"position_from"` // observation, deployment, plan
	PlanID       *uuid.UUID        `json:"plan_id"`
	SupersededID uuid.UUID         `json:"planned_before_id"`
	Outlook      *planner.Outlook  `json:"outlook"`
	Refused      string            `json:"refused,omitempty"`
	Links        map[string]string `json:"links"`
}

// urgency orders acts.
var urgency = map[planner.Act]int{planner.ActTooLate: 0, planner.ActDeploy: 1, planner.ActPayOut: 2, planner.ActRetrieve: 4, planner.ActLie: 5, planner.ActWatch: 6}

// unread is the urgency of a vessel of whom nothing is known yet, or who could not be planned for: before those who are well.
const unread = 3

// ForecastPath is where a forecast's report is read.
func ForecastPath(id uuid.UUID) string { return "/v1/forecasts/" + id.String() }

func reportOn(f AreaForecast, replans []Replan) (ForecastReport, error) {
	r := ForecastReport{
		ID: f.ID, RecordedAt: f.RecordedAt, By: f.By, Source: f.Forecast.Source, Begins: f.Begins(), Ends: f.Ends(), Area: f.Area, Forecast: f.Sent,
		Outside: []uuid.UUID{}, MustDeploy: []uuid.UUID{}, MustPayOut: []uuid.UUID{}, MayHaul: []uuid.UUID{}, Vessels: []VesselOutlook{},
		Progress: Progress{Ended: true},
		Cautions: planner.Cautions, Links: map[string]string{"self": ForecastPath(f.ID)},
	}
	for _, replan := range replans {
		v, err := outlookOn(replan)
		if err != nil {
			return r, err
		}
		r.Vessels = append(r.Vessels, v)
		r.Progress.Count(replan)
	}
	slices.SortStableFunc(r.Vessels, func(a, b VesselOutlook) int {
		return cmp.Or(cmp.Compare(a.urgency(), b.urgency()), cmp.Compare(a.VesselName, b.VesselName))
	})
	for _, v := range r.Vessels {
		r.sort(v)
	}
	return r, nil
}

// Count counts one vessel more.
func (p *Progress) Count(r Replan) {
	p.Vessels++
	switch {
	case r.DoneAt.IsZero():
		p.Waiting++
	case r.Refused != "":
		p.Refused++
	default:
		p.Done++
	}
	p.Ended = p.Waiting == 0
}

func (v VesselOutlook) urgency() int {
	if v.Outlook == nil {
		return unread
	}
	return urgency[v.Outlook.Act]
}

// sort puts a vessel under what she must or may do.
func (r *ForecastReport) sort(v VesselOutlook) {
	if v.Outlook == nil {
		return
	}
	if len(v.Outlook.Outside) > 0 {
		r.Outside = append(r.Outside, v.VesselID)
	}
	switch v.Outlook.Act {
	case planner.ActTooLate, planner.ActDeploy:
		r.MustDeploy = append(r.MustDeploy, v.VesselID)
	case planner.ActPayOut:
		r.MustPayOut = append(r.MustPayOut, v.VesselID)
	case planner.ActRetrieve:
		r.MayHaul = append(r.MayHaul, v.VesselID)
	}
}

func outlookOn(r Replan) (VesselOutlook, error) {
	v := VesselOutlook{
		VesselID: r.VesselID, VesselName: r.VesselName, State: "waiting", Lying: r.DeploymentID != uuid.Nil, Position: r.Position,
		FixedAt: r.FixedAt, FixedBy: r.FixedBy, SupersededID: r.PlanID, PlanID: orAbsent(r.NewPlanID), Refused: r.Refused,
		Links: map[string]string{"vessel": fleet.Describe(fleet.KindVessel).Path + "/" + r.VesselID.String(), "planned_before": PlanLinks(r.PlanID)["self"]},
	}
	if r.RodeOutM > 0 {
		v.RodeOutM = &r.RodeOutM
	}
	switch {
	case r.Refused != "":
		v.State = "refused"
	case r.NewPlanID != uuid.Nil:
		v.State = "planned"
		links := PlanLinks(r.NewPlanID)
		v.Links["plan"], v.Links["sheet"] = links["self"], links["sheet"]
		v.Links["changes"] = links["changes"] + "?from=" + r.PlanID.String()
		v.Outlook = &planner.Outlook{}
		if err := json.Unmarshal(r.Outlook, v.Outlook); err != nil {
			return v, fmt.Errorf("read the outlook of vessel %s: %w", r.VesselID, err)
		}
	}
	return v, nil
}
