package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// EmergencyRead is one read through an access. What was read is named by its hash.
type EmergencyRead struct {
	ID         uuid.UUID `json:"id"`
	AccessID   uuid.UUID `json:"access_id"`
	What       string    `json:"what"` // storm_plan, drift, vessel
	ReadBy     string    `json:"read_by"`
	ReadAt     time.Time `json:"read_at"`
	BodySHA256 string    `json:"body_sha256,omitempty"` // of the body as it left; absent: there was none to give
}

// Lent is what a read through an access may use: it shows the vessel alone.
type Lent struct {
	Holder
	Plans     *Plans
	Registers *Registers
}

// Read gives what produce makes of the vessel lent by an access of the organisation, once both sides have noted that it
// was read: a body that was not noted does not leave. That there was nothing to give is an answer, and noted too.
func (e *Emergency) Read(ctx context.Context, org OrgID, by string, id uuid.UUID, what string, produce func(context.Context, Lent) ([]byte, error)) ([]byte, error) {
	access, err := e.Get(ctx, org, id)
	if err != nil {
		return nil, err
	}
	if err := usable(access, e.Clock()); err != nil {
		return nil, err
	}
	holder := Holder{access.Owner.ID, access.VesselID}
	lent := e.Lender.Lent(holder)
	body, answered := produce(ctx, Lent{
		holder, &Plans{History: lent, Clock: e.Clock, NewID: e.NewID}, &Registers{History: lent, Clock: e.Clock, NewID: e.NewID},
	})
	if answered != nil && !forCaller(answered) {
		return nil, answered
	}
	_, _, err = e.Lender.Both(ctx, org, holder.Org, nil, func(ctx context.Context, asking, owner Side) (Answer, error) {
		return Answer{}, e.noteRead(ctx, asking, owner, id, by, what, body)
	})
	if err != nil {
		return nil, sortedAccess(err)
	}
	return body, answered
}

// usable demands that an access is the asking side's and open.
func usable(a EmergencyAccess, now time.Time) error {
	switch state := a.State(now); {
	case a.Side != SideAsking:
		return sortedAccess(ErrNotFound)
	case state != "open":
		return &Error{Kind: KindAccessEnded, Message: "the emergency access is over; ask for another one if the emergency is not"}
	}
	return nil
}

// forCaller tells an answer that the caller is to have from a failure of ours.
func forCaller(err error) bool {
	var known *Error
	var parameter *ParameterError
	return errors.As(err, &parameter) || errors.As(err, &known) && known.Kind != KindUnavailable && known.Kind != KindUnknown
}

// noteRead notes a read on both sides. The access is looked at again, under both turns: it may have been ended meanwhile.
func (e *Emergency) noteRead(ctx context.Context, asking, owner Side, id uuid.UUID, by, what string, body []byte) error {
	stamp, err := asking.Turn(ctx, e.Clock)
	if err != nil {
		return err
	}
	access, err := latest(ctx, asking, id, stamp)
	if err == nil {
		err = usable(access, stamp.RecordedAt)
	}
	if err != nil {
		return err
	}
	read := EmergencyRead{ID: e.NewID(), AccessID: id, What: what, ReadBy: by, ReadAt: stamp.RecordedAt}
	if body != nil {
		read.BodySHA256 = hexSHA256(body)
	}
	v := Version{Kind: KindEmergencyRead, ID: read.ID, Version: 1, Under: id, By: by}
	if _, err := put(ctx, asking, stamp, v, read); err != nil {
		return err
	}
	if stamp, err = owner.Turn(ctx, e.Clock); err != nil {
		return err
	}
	_, err = put(ctx, owner, stamp, v, read)
	return err
}

// latest reads the last version of an access.
func latest(ctx context.Context, side Side, id uuid.UUID, stamp Stamp) (a EmergencyAccess, err error) {
	v, _, err := side.Base(ctx, KindEmergencyAccess, id, stamp.RecordedAt)
	if err != nil {
		return a, err
	}
	return a, json.Unmarshal(v.Body, &a)
}

// mostReads is how many reads are told of one access, the newest.
const mostReads = 200

// Reads returns what was read through an access, newest first.
func (e *Emergency) Reads(ctx context.Context, org OrgID, id uuid.UUID) ([]EmergencyRead, error) {
	reads := []EmergencyRead{}
	err := e.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		until, err := reader.KnownUntil(ctx)
		if err != nil {
			return err
		}
		page, err := reader.Records(ctx, RecordQuery{Kind: KindEmergencyRead, Under: id, AsOf: AsOf{ValidAt: until, KnownAt: until}, Limit: mostReads})
		if err != nil {
			return err
		}
		for _, v := range page.Items {
			var r EmergencyRead
			if err := json.Unmarshal(v.Body, &r); err != nil {
				return fmt.Errorf("read a read: %w", err)
			}
			reads = append(reads, r)
		}
		return nil
	})
	return reads, sortedAccess(err)
}
