package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// Version is one version of one thing in the book. Body is the bytes that were answered; they are kept
// to the byte. Nothing recorded is changed: a correction is a further version.
type Version struct {
	Kind       fleet.Kind
	ID         uuid.UUID
	Version    int       // from 1, by the order of recording
	Seq        int64     // the organisation's change that made it
	ValidFrom  time.Time // from when on it holds
	RecordedAt time.Time // when it was recorded
	VesselID   uuid.UUID // whose it is; uuid.Nil: none
	Under      uuid.UUID // what it belongs to for good; uuid.Nil: nothing
	By         string    // the name of the key that made it
	Body       []byte
	BodySHA256 string // hex
}

// AsOf is a question in two times: what held at ValidAt, by what was known at KnownAt. A thing is then its
// version recorded by KnownAt with the greatest ValidFrom not after ValidAt; of equals, the one recorded last.
type AsOf struct{ ValidAt, KnownAt time.Time }

// Stamp is a change's place in the organisation's order of changes, and its time. Of two changes the one with
// the greater Seq is recorded later, and is the later one to be seen by anybody.
type Stamp struct {
	Seq        int64
	RecordedAt time.Time
}

// RecordQuery asks for a page of one kind, newest id first.
type RecordQuery struct {
	Kind     fleet.Kind
	VesselID uuid.UUID // only hers; uuid.Nil: all
	Under    uuid.UUID // only those that belong to it; uuid.Nil: all
	AsOf     AsOf
	From     RecordPlace
	Limit    int
}

// RecordPlace is a place in a list. The zero value is the start.
type RecordPlace struct {
	ID       uuid.UUID
	Backward bool
}

// RecordPage is one page of a list; Next and Prev are nil at the ends.
type RecordPage struct {
	Items      []Version
	Next, Prev *RecordPlace
}

// PlanHead is what the book needs to know of a plan.
type PlanHead struct {
	ID         uuid.UUID
	VesselID   uuid.UUID // uuid.Nil: the vessel was sent, not named
	VesselName string
}

// Reader reads the book of one organisation, all at one moment.
type Reader interface {
	KeyReader
	// KnownUntil is the time up to which everything recorded can be seen, and from which on nothing more
	// will be recorded as earlier.
	KnownUntil(ctx context.Context) (time.Time, error)
	// InForce returns ErrNotFound where nothing was in force.
	InForce(ctx context.Context, kind fleet.Kind, id uuid.UUID, at AsOf) (Version, error)
	// Exists tells whether there ever was such a thing, a plan included.
	Exists(ctx context.Context, kind fleet.Kind, id uuid.UUID) (bool, error)
	Records(ctx context.Context, q RecordQuery) (RecordPage, error)
	// Texts gives what is written about people, or was, by the commitments in bodies. What there is none for is left out.
	Texts(ctx context.Context, commitments []string) (map[string]PersonalText, error)
	// PlanHead returns ErrNotFound for a plan that is not the organisation's.
	PlanHead(ctx context.Context, id uuid.UUID) (PlanHead, error)
	// States gives what is recorded of vessels, by the versions of them in force, in their order. Of plans for a
	// storm it takes the newest made by both times: one that no other has taken the place of before one whose place
	// was taken, and one that answers for the design storm before one that does not.
	States(ctx context.Context, vessels []Version, at AsOf, storm fleet.DesignStorm) ([]readiness.State, error)
	// FleetStates gives the same of all vessels, in the order they were registered, as far as verdicts and the codes of
	// findings depend on it.
	FleetStates(ctx context.Context, at AsOf, storm fleet.DesignStorm) ([]readiness.State, error)
	// Lyings gives the deployments in force that name pieces of gear, by gear.
	Lyings(ctx context.Context, gear []uuid.UUID, at AsOf) (map[uuid.UUID][]fleet.Lying, error)
	// Trials gives the newest observations in force of a drift or a load, at most MostTrials, in the order of ids.
	Trials(ctx context.Context, at AsOf) ([]Trial, error)
	// Afloat gives the registered vessels at sea whose position was said: those who lie to a canopy that has not been
	// retrieved, and those whose plan runs at that time or begins by another, in no order.
	Afloat(ctx context.Context, at AsOf, by time.Time) ([]Afloat, error)
}

// Trial is what was observed in a deployment, beside what its plan foresaw.
type Trial struct {
	ID           uuid.UUID // the observation's
	DeploymentID uuid.UUID
	PlanID       uuid.UUID
	VesselID     uuid.UUID // uuid.Nil: none is named
	Observation  fleet.Observation
	Deployment   fleet.Deployment
	Foreseen     *planner.Foreseen
}

// MostTrials is how many observations are looked at, the newest. Each may give a drift and a load, and twice as many take
// the estimate about a second; it is made anew when one is added.
const MostTrials = 1000

// Recorder records within one transaction, and reads what is recorded.
type Recorder interface {
	Reader
	WebhookRecorder
	KeyWriter
	// Turn waits for the organisation's turn to record and keeps it until the transaction ends. The clock is
	// read once it has come.
	Turn(ctx context.Context, clock func() time.Time) (Stamp, error)
	// Base is what a change from a time on starts from: the version in force then by all that is known, or
	// the first there is; and the number of versions. It returns ErrNotFound when there are none.
	Base(ctx context.Context, kind fleet.Kind, id uuid.UUID, validAt time.Time) (Version, int, error)
	// Record records a version under the last Stamp.
	Record(ctx context.Context, v Version) error
	// RecordPlan records a plan, under the last Stamp, or one of its own by the plan's time.
	RecordPlan(ctx context.Context, p PlanRecord) error
	// KeepText keeps what is written about a person, apart from the book.
	KeepText(ctx context.Context, t PersonalText) error
	// Erase erases for good what is written about a person and tells how much there was, and when the last was erased before.
	// It returns ErrNotFound where there never was anything.
	Erase(ctx context.Context, person uuid.UUID, at time.Time) (before time.Time, erased int, err error)
	// RecordForecast records a forecast for an area and the vessels to be planned for, and notes the change under the
	// last Stamp.
	RecordForecast(ctx context.Context, f AreaForecast, vessels []Afloat) error
	// Replanned records what became of one of these vessels. It returns ErrNotFound when that is recorded already.
	Replanned(ctx context.Context, forecast uuid.UUID, r Replan) error
	// Later notes work for later, for the same organisation. Of a transaction that is rolled back none is done.
	Later(ctx context.Context, jobs ...Job) error
}

// Book keeps what the fleet is and does, append-only and in two times.
type Book interface {
	// View reads as of a time of knowledge; the zero time is the latest there is. What was read as of a time
	// reads the same ever after: nothing will be recorded as earlier.
	View(ctx context.Context, org OrgID, knownAt time.Time, read func(context.Context, Reader) error) error
	// Change records in one transaction.
	Change(ctx context.Context, org OrgID, work func(context.Context, Recorder) error) error
}
