package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// What the log holds of emergency access. It is kept as the book is, on both sides; they are no things of the fleet.
const (
	KindEmergencyAccess fleet.Kind = "emergency_access"
	KindEmergencyRead   fleet.Kind = "emergency_read"
	KindEmergencySearch fleet.Kind = "emergency_search" // a vessel asked for in vain; on the asking side alone
)

// Kinds of error of emergency access.
const (
	KindAccessEnded Kind = "access_ended" // it has expired or was ended
	KindConflict    Kind = "conflict"     // what is asked does not fit what is there
)

// LongestAccess is how long an emergency access may last.
const LongestAccess = 4 * time.Hour

// Sides of an access.
const (
	SideAsking = "asking"
	SideOwner  = "owner"
)

// EmergencyAccess is a rescue service's access to one vessel of another organisation, as one of the two sides has it
// recorded. A change to it is a further version, on both sides.
type EmergencyAccess struct {
	ID         uuid.UUID         `json:"id"`
	Version    int               `json:"version"`
	Side       string            `json:"side"` // whose this record is
	MMSI       string            `json:"mmsi"`
	VesselID   uuid.UUID         `json:"vessel_id"`
	VesselName string            `json:"vessel_name"`
	Reason     string            `json:"reason"`
	Asking     Party             `json:"asking_organisation"`
	Owner      Party             `json:"owner_organisation"`
	AskedBy    string            `json:"asked_by"` // the name of the key
	GrantedAt  time.Time         `json:"granted_at"`
	Until      time.Time         `json:"until"`
	EndedAt    *time.Time        `json:"ended_at,omitempty"` // before Until, by the asking side
	Review     *Review           `json:"review,omitempty"`   // by the owner; nil: still to come
	Links      map[string]string `json:"links"`
}

// Party is an organisation as the other side may know it.
type Party struct {
	ID   OrgID  `json:"id"`
	Name string `json:"name"`
}

// State tells whether an access is open, ended or expired.
func (a EmergencyAccess) State(now time.Time) string {
	switch {
	case a.EndedAt != nil:
		return "ended"
	case !now.Before(a.Until):
		return "expired"
	}
	return "open"
}

// emergencySearch is a vessel asked for in vain.
type emergencySearch struct {
	ID      uuid.UUID `json:"id"`
	MMSI    string    `json:"mmsi"`
	Reason  string    `json:"reason"`
	AskedBy string    `json:"asked_by"`
	AskedAt time.Time `json:"asked_at"`
	Found   bool      `json:"found"`
}

// Holder is a vessel of an organisation.
type Holder struct {
	Org    OrgID
	Vessel uuid.UUID
}

// Side is one of two organisations in whose logs a transaction records.
type Side interface {
	// Name is the organisation's.
	Name() string
	// Turn is Recorder's. The turns of both organisations are the transaction's already, so it waits for nothing.
	Turn(ctx context.Context, clock func() time.Time) (Stamp, error)
	// Base is Recorder's.
	Base(ctx context.Context, kind fleet.Kind, id uuid.UUID, validAt time.Time) (Version, int, error)
	// Record is Recorder's.
	Record(ctx context.Context, v Version) error
}

// Lender lends a vessel of one organisation to another.
type Lender interface {
	// Holders gives the vessels that ever had an MMSI recorded, of whatever organisation.
	Holders(ctx context.Context, mmsi string) ([]Holder, error)
	// Lent gives a history that shows of the vessel's organisation her alone, with her plans, and records nothing.
	Lent(h Holder) History
	// Both does work in one transaction that holds the turns of two organisations, a and b. With a claim of a, work is done
	// at most once for it, as in History.Once.
	Both(ctx context.Context, a, b OrgID, claim *Claim, work func(ctx context.Context, a, b Side) (Answer, error)) (Answer, bool, error)
}

// Emergency is the use cases of emergency access. All fields must be set. It is safe for concurrent use.
type Emergency struct {
	Lender  Lender
	History History
	Clock   func() time.Time
	NewID   func() uuid.UUID
}

// Ask is what a rescue service asks for.
type Ask struct {
	MMSI     string
	CallSign string // of hers; empty: not known
	Reason   string
	For      time.Duration
	By       string
}

// Open opens an access to the one vessel with an MMSI, at most once for a claim. The owner is told by the same
// transaction: its log row is its event, so telling cannot fail by itself, and what carries events on tries until it can.
// That there is no such vessel is noted as well, and all that is told.
func (e *Emergency) Open(ctx context.Context, org OrgID, claim Claim, ask Ask) (Answer, bool, error) {
	holder, vessel, err := e.find(ctx, org, ask)
	var answer Answer
	var repeated bool
	switch {
	case errors.Is(err, ErrNotFound):
		answer, repeated, err = e.History.Once(ctx, org, claim, func(ctx context.Context, rec Recorder) (Answer, error) {
			return e.noteSearch(ctx, rec, ask)
		})
	case err == nil:
		answer, repeated, err = e.Lender.Both(ctx, org, holder.Org, &claim, func(ctx context.Context, asking, owner Side) (Answer, error) {
			return e.grant(ctx, org, asking, owner, holder, vessel, ask)
		})
	}
	if err != nil {
		return Answer{}, false, sortedAccess(err)
	}
	// A repeat gets what was answered, whoever has the MMSI by now.
	var said struct{ Found *bool }
	if err := json.Unmarshal(answer.Body, &said); err != nil {
		return Answer{}, false, fmt.Errorf("read an answer: %w", err)
	}
	if said.Found != nil && !*said.Found {
		return Answer{}, false, &Error{Kind: KindNotFound, Message: "there is not exactly one vessel here with this MMSI that is neither sold nor lost; if her call sign is known, send it as well"}
	}
	return answer, repeated, nil
}

// find gives the one vessel that has the MMSI now, and the call sign if it is known, and is neither sold nor lost. It
// returns ErrNotFound for none or several.
func (e *Emergency) find(ctx context.Context, org OrgID, ask Ask) (found Holder, vessel fleet.Vessel, err error) {
	holders, err := e.Lender.Holders(ctx, ask.MMSI)
	if err != nil {
		return found, vessel, err
	}
	n := 0
	for _, h := range holders {
		v, err := e.vesselNow(ctx, h)
		switch {
		case errors.Is(err, ErrNotFound):
			continue
		case err != nil:
			return found, vessel, err
		}
		if v.MMSI == ask.MMSI && (ask.CallSign == "" || v.CallSign == ask.CallSign) && v.Status != "sold" && v.Status != "lost" {
			n, found, vessel = n+1, h, v
		}
	}
	switch {
	case n != 1:
		return found, vessel, ErrNotFound
	case found.Org == org:
		field := FieldError{Pointer: "/mmsi", Message: "is a vessel of your own organisation", Fix: "read her with a key of yours"}
		return found, vessel, &Error{Kind: KindNotReferable, Message: "the vessel needs no emergency access", Fields: []FieldError{field}}
	}
	return found, vessel, nil
}

func (e *Emergency) vesselNow(ctx context.Context, h Holder) (vessel fleet.Vessel, err error) {
	registers := &Registers{History: e.Lender.Lent(h), Clock: e.Clock, NewID: e.NewID}
	v, _, err := registers.Read(ctx, h.Org, fleet.KindVessel, h.Vessel, AsOf{})
	if err != nil {
		return vessel, err
	}
	return vessel, json.Unmarshal(v.Body, &vessel)
}

func (e *Emergency) noteSearch(ctx context.Context, rec Recorder, ask Ask) (Answer, error) {
	stamp, err := rec.Turn(ctx, e.Clock)
	if err != nil {
		return Answer{}, err
	}
	s := emergencySearch{ID: e.NewID(), MMSI: ask.MMSI, Reason: ask.Reason, AskedBy: ask.By, AskedAt: stamp.RecordedAt}
	body, err := put(ctx, rec, stamp, Version{Kind: KindEmergencySearch, ID: s.ID, Version: 1, By: ask.By}, s)
	return Answer{Body: body}, err
}

// grant records a new access on both sides.
func (e *Emergency) grant(ctx context.Context, org OrgID, asking, owner Side, h Holder, vessel fleet.Vessel, ask Ask) (Answer, error) {
	stamp, err := asking.Turn(ctx, e.Clock)
	if err != nil {
		return Answer{}, err
	}
	a := EmergencyAccess{
		ID: e.NewID(), MMSI: ask.MMSI, VesselID: h.Vessel, VesselName: vessel.Name, Reason: ask.Reason, AskedBy: ask.By,
		Asking: Party{org, asking.Name()}, Owner: Party{h.Org, owner.Name()}, GrantedAt: stamp.RecordedAt, Until: stamp.RecordedAt.Add(ask.For),
	}
	body, err := e.write(ctx, asking, owner, stamp, a, ask.By)
	return Answer{Body: body}, err
}

// write records a version of an access on both sides, and returns the asking side's.
func (e *Emergency) write(ctx context.Context, asking, owner Side, stamp Stamp, a EmergencyAccess, by string) (body []byte, err error) {
	a.Version++
	v := Version{Kind: KindEmergencyAccess, ID: a.ID, Version: a.Version, By: by}
	if body, err = put(ctx, asking, stamp, v, a.as(SideAsking)); err != nil {
		return nil, err
	}
	if stamp, err = owner.Turn(ctx, e.Clock); err != nil {
		return nil, err
	}
	_, err = put(ctx, owner, stamp, v, a.as(SideOwner))
	return body, err
}

// as gives an access as one side has it.
func (a EmergencyAccess) as(side string) EmergencyAccess {
	self := "/v1/emergency-access/" + a.ID.String()
	a.Side, a.Links = side, map[string]string{"self": self}
	if side == SideAsking {
		a.Links["storm_plan"], a.Links["drift"], a.Links["vessel"] = self+"/storm-plan", self+"/drift", self+"/vessel"
	} else {
		a.Links["vessel"], a.Links["review"] = "/v1/vessels/"+a.VesselID.String(), self+"/review"
	}
	return a
}

// put records a value as the version of a stamp.
func put(ctx context.Context, side interface {
	Record(ctx context.Context, v Version) error
}, stamp Stamp, v Version, value any,
) ([]byte, error) {
	body, err := json.Marshal(value)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", v.Kind, err)
	}
	v.Seq, v.RecordedAt, v.ValidFrom = stamp.Seq, stamp.RecordedAt, stamp.RecordedAt
	v.Body, v.BodySHA256 = body, hexSHA256(body)
	return body, side.Record(ctx, v)
}

// sortedAccess is sorted, in the words of emergency access.
func sortedAccess(err error) error {
	if known := (*Error)(nil); errors.As(err, &known) {
		return err
	}
	if errors.Is(err, ErrNotFound) {
		return &Error{Kind: KindNotFound, Message: "there is no emergency access with this id", Err: err}
	}
	return sorted(err)
}
