package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
)

// This file is where two organisations meet. Everything else keeps to one.

var _ service.Lender = (*Store)(nil)

const selectHolders = `
SELECT org_id, vessel_id
FROM vessel_mmsis
WHERE mmsi = $1
ORDER BY org_id, vessel_id`

// Holders gives the vessels that ever had an MMSI. The transaction is of no organisation, and sees that MMSI's rows alone.
func (s *Store) Holders(ctx context.Context, mmsi string) (holders []service.Holder, err error) {
	err = s.inTx(ctx, pgx.ReadOnly, []setting{{"app.mmsi", mmsi}}, func(tx *transaction) error {
		rows, err := tx.Query(ctx, selectHolders, mmsi)
		if err != nil {
			return unavailable(ctx, err)
		}
		holders, err = pgx.CollectRows(rows, pgx.RowToStructByPos[service.Holder])
		return unavailable(ctx, err)
	})
	if err != nil {
		return nil, fmt.Errorf("holders of an MMSI: %w", err)
	}
	return holders, nil
}

// errLent refuses what is not lent.
var errLent = errors.New("a vessel that is lent is read only, and of her own organisation")

// Lent gives a store whose every transaction sees one vessel of an organisation and her plans, and cannot write.
func (s *Store) Lent(h service.Holder) service.History {
	return &Store{pool: s.pool, patience: s.patience, lent: &h}
}

// lentRole is who a transaction for a lent vessel is. The policies that show what is lent are for it alone, so that
// other statements are not planned for them.
const lentRole = "rideout_lent"

// inLent is inOrg for a vessel that is lent. The transaction is of no organisation: what it sees, the policies on
// app.lent_org and app.lent_vessel show.
func (s *Store) inLent(ctx context.Context, org service.OrgID, access pgx.TxAccessMode, fn func(*transaction) error) error {
	if org != s.lent.Org || access != pgx.ReadOnly {
		return errLent
	}
	return s.inTx(ctx, pgx.ReadOnly, []setting{{"role", lentRole}, {"app.lent_org", org.String()}, {"app.lent_vessel", s.lent.Vessel.String()}}, fn)
}

// Both does work in one transaction that holds the turns of two organisations, as service.Lender says. They are taken in
// the order of their ids, whoever asks whom, so that no two transactions wait for each other.
func (s *Store) Both(ctx context.Context, a, b service.OrgID, claim *service.Claim, work func(ctx context.Context, a, b service.Side) (service.Answer, error)) (answer service.Answer, repeated bool, err error) {
	if a == b {
		return answer, false, errors.New("both: one organisation twice")
	}
	err = s.inOrg(ctx, a, pgx.ReadWrite, func(tx *transaction) error {
		sides := map[service.OrgID]*side{a: newSide(tx, a), b: newSide(tx, b)}
		if claim != nil {
			answer, repeated, err = sides[a].recorder.earlier(ctx, *claim)
			if err != nil || repeated {
				return err
			}
		}
		first, second := a, b
		if bytes.Compare(b[:], a[:]) < 0 {
			first, second = b, a
		}
		for _, org := range []service.OrgID{first, second} {
			if err := sides[org].hold(ctx); err != nil {
				return err
			}
		}
		if answer, err = work(ctx, sides[a], sides[b]); err != nil || claim == nil {
			return err
		}
		if err := sides[a].enter(ctx); err != nil {
			return err
		}
		sides[a].recorder.keep(*claim, answer)
		return nil
	})
	switch {
	case repeated: // nothing was changed, so however the transaction ended the answer stands
		return answer, true, nil
	case err != nil:
		return service.Answer{}, false, fmt.Errorf("both: %w", err)
	}
	return answer, false, nil
}

// side is one of the organisations of a transaction of two. Every method first makes the transaction that organisation's,
// so no statement sees, or writes, another's.
type side struct {
	recorder *recorder
	name     string
}

func newSide(tx *transaction, org service.OrgID) *side { return &side{recorder: newRecorder(tx, org)} }

func (s *side) enter(ctx context.Context) error {
	return tell(ctx, s.recorder.tx, setting{"app.org", s.recorder.org.String()})
}

const selectOrganisationName = `
SELECT name
FROM organisations
WHERE id = $1`

// hold takes the lock of the organisation's log and reads its name.
func (s *side) hold(ctx context.Context) error {
	if err := s.enter(ctx); err != nil {
		return err
	}
	var seq int64
	if err := found(ctx, s.recorder.tx.QueryRow(ctx, lockLog, s.recorder.org).Scan(&seq, &s.recorder.until)); err != nil {
		return fmt.Errorf("take turn: %w", err)
	}
	return found(ctx, s.recorder.tx.QueryRow(ctx, selectOrganisationName, s.recorder.org).Scan(&s.name))
}

// Name is the organisation's.
func (s *side) Name() string { return s.name }

// Turn is the recorder's.
func (s *side) Turn(ctx context.Context, clock func() time.Time) (service.Stamp, error) {
	if err := s.enter(ctx); err != nil {
		return service.Stamp{}, err
	}
	return s.recorder.Turn(ctx, clock)
}

// Base is the recorder's.
func (s *side) Base(ctx context.Context, kind fleet.Kind, id uuid.UUID, validAt time.Time) (service.Version, int, error) {
	if err := s.enter(ctx); err != nil {
		return service.Version{}, 0, err
	}
	return s.recorder.Base(ctx, kind, id, validAt)
}

// Record is the recorder's.
func (s *side) Record(ctx context.Context, v service.Version) error {
	if err := s.enter(ctx); err != nil {
		return err
	}
	return s.recorder.Record(ctx, v)
}
