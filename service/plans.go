package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
	"rideout/service/readiness"
)

// OrgID names an organisation. Every record belongs to one.
type OrgID = uuid.UUID

// PlanRecord is a plan as the history keeps it. Answer and Working are the bytes that were
// answered; they are kept to the byte and never computed anew on reading.
type PlanRecord struct {
	ID          uuid.UUID
	CreatedAt   time.Time
	VesselName  string
	Intent      planner.Intent
	Engine      string
	InputSHA256 string // hex, of Inputs
	PeakN       planner.Band
	PayOutM     float64
	VesselID    uuid.UUID // as registered; uuid.Nil: the vessel was sent, not named
	Supersedes  uuid.UUID // the plan this one takes the place of; uuid.Nil: none
	By          string    // the name of the key that made it
	Facts       readiness.Plan
	Position    *planner.Position // where the plan begins; nil: not said
	Begins      time.Time         // the first and the last instant of its forecast; not read back
	Ends        time.Time
	Inputs      []byte // JSON of planner.Request
	Answer      []byte // JSON of KeptPlan
	Working     []byte // JSON of []planner.WorkingStep
}

// PlanSummary is one row of the list of plans.
type PlanSummary struct {
	ID          uuid.UUID
	CreatedAt   time.Time
	VesselName  string
	Intent      planner.Intent
	Engine      string
	InputSHA256 string
	PeakN       planner.Band
	PayOutM     float64
	VesselID    uuid.UUID
	Supersedes  uuid.UUID
}

// PlanFilter narrows the list of plans; a zero field does not narrow.
type PlanFilter struct {
	VesselName    string
	VesselID      uuid.UUID
	Intent        planner.Intent
	InputSHA256   string
	CreatedFrom   time.Time // inclusive
	CreatedBefore time.Time // exclusive
}

// Place is a place in the list of plans, which runs from the newest to the oldest by
// (created_at, id). The zero value is the start.
type Place struct {
	CreatedAt time.Time
	ID        uuid.UUID
	Backward  bool // read the page that ends just before this place, instead of the one after it
}

// PlanPage is one page of the list, newest first; Next and Prev are nil at the ends.
type PlanPage struct {
	Items      []PlanSummary
	Next, Prev *Place
}

// Claim is a caller's promise that equal keys mean the same request.
type Claim struct {
	Key           string // Idempotency-Key
	Route         string // "POST /v1/plans"
	RequestSHA256 string // hex, of the body as sent
}

// Answer is what was answered to a claim; a repeat gets the same.
type Answer struct {
	PlanID uuid.UUID
	Body   []byte
}

// History keeps plans. It is append-only: nothing recorded is changed.
type History interface {
	Book
	// Once does work at most once for a claim of an organisation, in one transaction with what
	// the work records and with the answer. A repeat within 7 days returns the first answer and true.
	// It returns ErrKeyReused when the key was used for another request, ErrInFlight when
	// another call is at work under it, and ErrOutcomeUnknown when the commit's outcome is unknown.
	Once(ctx context.Context, org OrgID, claim Claim, work func(context.Context, Recorder) (Answer, error)) (Answer, bool, error)
	// Plan returns ErrNotFound for an id that is unknown or another organisation's.
	Plan(ctx context.Context, org OrgID, id uuid.UUID) (PlanRecord, error)
	// PlanAnswer is the Answer of Plan, and PlanSHA256 what the log has as its hash, in hex.
	PlanAnswer(ctx context.Context, org OrgID, id uuid.UUID) ([]byte, error)
	PlanSHA256(ctx context.Context, org OrgID, id uuid.UUID) (string, error)
	Plans(ctx context.Context, org OrgID, filter PlanFilter, from Place, limit int) (PlanPage, error)
}

// Organisations keeps who there is. Organisations are made by whoever runs the service, not through it.
type Organisations interface {
	// AddOrganisation makes an organisation, or returns the one that has the name already.
	AddOrganisation(ctx context.Context, name string) (OrgID, error)
	// OrganisationByName returns ErrNotFound for a name nobody has.
	OrganisationByName(ctx context.Context, name string) (OrgID, error)
}
