package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// Review is the owner's word on an access that is over.
type Review struct {
	Words string    `json:"words"`
	By    string    `json:"by"`
	At    time.Time `json:"at"`
}

// End ends an access early, for the side that asked for it. One that is over stays as it is.
func (e *Emergency) End(ctx context.Context, org OrgID, by string, id uuid.UUID) (EmergencyAccess, error) {
	access, err := e.Get(ctx, org, id)
	switch {
	case err != nil:
		return access, err
	case access.Side != SideAsking:
		return access, sortedAccess(ErrNotFound)
	}
	return e.revise(ctx, org, by, access, func(a *EmergencyAccess, at time.Time) error {
		if a.State(at) != "open" {
			return errUnchanged
		}
		a.EndedAt = &at
		return nil
	})
}

// CloseReview closes the owner's review of an access that is over. It is closed once; the same words again change nothing.
func (e *Emergency) CloseReview(ctx context.Context, org OrgID, by string, id uuid.UUID, words string) (EmergencyAccess, error) {
	access, err := e.Get(ctx, org, id)
	switch {
	case err != nil:
		return access, err
	case access.Side != SideOwner:
		return access, sortedAccess(ErrNotFound)
	}
	return e.revise(ctx, org, by, access, func(a *EmergencyAccess, at time.Time) error {
		switch {
		case a.Review != nil && a.Review.Words == words:
			return errUnchanged
		case a.Review != nil:
			return &Error{Kind: KindConflict, Message: "the review is closed already"}
		case a.State(at) == "open":
			return &Error{Kind: KindConflict, Message: "the access is open still; review it when it is over"}
		}
		a.Review = &Review{Words: words, By: by, At: at}
		return nil
	})
}

var errUnchanged = errors.New("nothing to change")

// revise records a further version of an access on both sides, and returns the caller's.
func (e *Emergency) revise(ctx context.Context, org OrgID, by string, access EmergencyAccess, change func(a *EmergencyAccess, at time.Time) error) (EmergencyAccess, error) {
	side := access.Side
	_, _, err := e.Lender.Both(ctx, access.Asking.ID, access.Owner.ID, nil, func(ctx context.Context, asking, owner Side) (Answer, error) {
		stamp, err := asking.Turn(ctx, e.Clock)
		if err != nil {
			return Answer{}, err
		}
		if access, err = latest(ctx, asking, access.ID, stamp); err != nil {
			return Answer{}, err
		}
		if err := change(&access, stamp.RecordedAt); err != nil {
			return Answer{}, err
		}
		_, err = e.write(ctx, asking, owner, stamp, access, by)
		access.Version++
		return Answer{}, err
	})
	if err != nil && !errors.Is(err, errUnchanged) {
		return access, sortedAccess(err)
	}
	return access.as(side), nil
}

// Get returns an access as the organisation's side has it last.
func (e *Emergency) Get(ctx context.Context, org OrgID, id uuid.UUID) (a EmergencyAccess, err error) {
	err = e.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		until, err := reader.KnownUntil(ctx)
		if err != nil {
			return err
		}
		v, err := reader.InForce(ctx, KindEmergencyAccess, id, AsOf{ValidAt: until, KnownAt: until})
		if err != nil {
			return err
		}
		return json.Unmarshal(v.Body, &a)
	})
	return a, sortedAccess(err)
}

// AccessPage is one page of accesses, newest first; Next and Prev are nil at the ends.
type AccessPage struct {
	Items      []EmergencyAccess
	Next, Prev *RecordPlace
}

// List returns a page of the accesses the organisation asked for or was asked for. With reviewed, the page holds only
// those whose review is closed, or is still to come, and may be shorter than its limit.
func (e *Emergency) List(ctx context.Context, org OrgID, reviewed *bool, q RecordQuery) (page AccessPage, _ AsOf, err error) {
	q.Kind = KindEmergencyAccess
	page.Items = []EmergencyAccess{}
	err = e.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		until, err := reader.KnownUntil(ctx)
		if err != nil {
			return err
		}
		q.AsOf = AsOf{ValidAt: until, KnownAt: until}
		records, err := reader.Records(ctx, q)
		if err != nil {
			return err
		}
		page.Next, page.Prev = records.Next, records.Prev
		for _, v := range records.Items {
			var a EmergencyAccess
			if err := json.Unmarshal(v.Body, &a); err != nil {
				return fmt.Errorf("read access: %w", err)
			}
			if reviewed == nil || *reviewed == (a.Review != nil) {
				page.Items = append(page.Items, a)
			}
		}
		return nil
	})
	return page, q.AsOf, sortedAccess(err)
}
