package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
)

// View reads as of a time of knowledge, as service.Book says. A time after the last change is first closed: the
// organisation's known_until is moved up to it, so that nothing will be recorded as earlier and the answer stays
// what it is. That is the only read that writes.
func (s *Store) View(ctx context.Context, org service.OrgID, knownAt time.Time, read func(context.Context, service.Reader) error) error {
	if err := s.closeUntil(ctx, org, knownAt); err != nil {
		return fmt.Errorf("view: %w", err)
	}
	err := s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		r := &reader{tx: tx, org: org, fleets: s.fleets}
		defer r.end()
		return read(ctx, r)
	})
	if err != nil {
		return fmt.Errorf("view: %w", err)
	}
	return nil
}

const updateKnownUntil = `
UPDATE organisation_log
SET known_until = greatest(known_until, $2)
WHERE org_id = $1`

func (s *Store) closeUntil(ctx context.Context, org service.OrgID, at time.Time) error {
	if at.IsZero() {
		return nil
	}
	var until time.Time
	err := s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) (err error) {
		until, err = (&reader{tx: tx, org: org}).KnownUntil(ctx)
		return err
	})
	if err != nil || !at.After(until) {
		return err
	}
	return s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		_, err := tx.Exec(ctx, updateKnownUntil, org, at)
		return unavailable(ctx, err)
	})
}

// Change records in one transaction, as service.Book says.
func (s *Store) Change(ctx context.Context, org service.OrgID, work func(context.Context, service.Recorder) error) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error { return work(ctx, newRecorder(tx, org)) })
	if err != nil {
		return fmt.Errorf("change: %w", err)
	}
	return nil
}

// reader reads the book within a transaction.
type reader struct {
	tx  pgx.Tx
	org service.OrgID
	// fleets keeps what fleets are judged by; nil: it is read anew, as what is not committed may be among it.
	fleets *fleetBooks
	// atEnd is done when a view ends.
	atEnd []func()
}

func (r *reader) end() {
	for _, do := range r.atEnd {
		do()
	}
}

const selectKnownUntil = `
SELECT known_until
FROM organisation_log
WHERE org_id = $1`

// KnownUntil returns service.ErrNotFound for an unknown organisation.
func (r *reader) KnownUntil(ctx context.Context) (until time.Time, err error) {
	return until, found(ctx, r.tx.QueryRow(ctx, selectKnownUntil, r.org).Scan(&until))
}

const recordColumns = `kind, id, version, seq, valid_from, recorded_at, vessel_id, under, by, body, body_sha256`

const selectInForce = `
SELECT ` + recordColumns + `
FROM records
WHERE org_id = @org AND kind = @kind AND id = @id AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY valid_from DESC, seq DESC
LIMIT 1`

// InForce returns service.ErrNotFound where nothing was in force.
func (r *reader) InForce(ctx context.Context, kind fleet.Kind, id uuid.UUID, at service.AsOf) (service.Version, error) {
	return r.one(ctx, selectInForce, pgx.NamedArgs{"org": r.org, "kind": kind, "id": id, "valid_at": at.ValidAt, "known_at": at.KnownAt})
}

func (r *reader) one(ctx context.Context, sql string, args pgx.NamedArgs) (service.Version, error) {
	rows, err := r.tx.Query(ctx, sql, args)
	if err != nil {
		return service.Version{}, unavailable(ctx, err)
	}
	v, err := pgx.CollectExactlyOneRow(rows, scanVersion)
	return v, found(ctx, err)
}

func scanVersion(row pgx.CollectableRow) (v service.Version, err error) {
	var vessel, under uuid.NullUUID
	err = row.Scan(&v.Kind, &v.ID, &v.Version, &v.Seq, &v.ValidFrom, &v.RecordedAt, &vessel, &under, &v.By, &v.Body, &v.BodySHA256)
	v.VesselID, v.Under = vessel.UUID, under.UUID
	return v, err
}

const (
	selectRecordExists = `
SELECT EXISTS (SELECT FROM records WHERE org_id = $1 AND kind = $2 AND id = $3)`
	selectPlanExists = `
SELECT EXISTS (SELECT FROM plans WHERE org_id = $1 AND id = $2)`
)

// Exists tells whether there ever was such a thing.
func (r *reader) Exists(ctx context.Context, kind fleet.Kind, id uuid.UUID) (there bool, err error) {
	if kind == fleet.KindPlan {
		return there, unavailable(ctx, r.tx.QueryRow(ctx, selectPlanExists, r.org, id).Scan(&there))
	}
	return there, unavailable(ctx, r.tx.QueryRow(ctx, selectRecordExists, r.org, kind, id).Scan(&there))
}

const selectPlanHead = `
SELECT id, vessel_id, vessel_name
FROM plans
WHERE org_id = $1 AND id = $2`

// PlanHead returns service.ErrNotFound for a plan that is not the organisation's.
func (r *reader) PlanHead(ctx context.Context, id uuid.UUID) (p service.PlanHead, err error) {
	var vessel uuid.NullUUID
	err = found(ctx, r.tx.QueryRow(ctx, selectPlanHead, r.org, id).Scan(&p.ID, &vessel, &p.VesselName))
	p.VesselID = vessel.UUID
	return p, err
}

// Records returns a page of at most q.Limit things in force. One row more is read to tell whether there is more.
func (r *reader) Records(ctx context.Context, q service.RecordQuery) (service.RecordPage, error) {
	if q.Limit < 1 {
		return service.RecordPage{}, fmt.Errorf("records: limit %d, want 1 or more", q.Limit)
	}
	sql, args := recordsQuery(r.org, q)
	rows, err := r.tx.Query(ctx, sql, args)
	if err != nil {
		return service.RecordPage{}, unavailable(ctx, err)
	}
	items, err := pgx.CollectRows(rows, scanVersion)
	if err != nil {
		return service.RecordPage{}, unavailable(ctx, err)
	}
	var page service.RecordPage
	page.Items, page.Next, page.Prev = cutByID(items, q.From, q.Limit, func(v service.Version) uuid.UUID { return v.ID })
	return page, nil
}

// recordsQuery takes the things that ever were what is asked for, each with its version in force, and of these the
// ones that still are. Without a vessel they are found by their first versions, in order and no more of them than the
// page needs; gear moves, so a vessel's is found by any version.
func recordsQuery(org service.OrgID, q service.RecordQuery) (string, pgx.NamedArgs) {
	args := pgx.NamedArgs{"org": org, "kind": q.Kind, "valid_at": q.AsOf.ValidAt, "known_at": q.AsOf.KnownAt}
	things, ever, still, order := "id", " AND version = 1", "", "DESC"
	if q.VesselID != uuid.Nil {
		things, ever = "DISTINCT id", " AND vessel_id = @vessel"
		still = "\nWHERE r.vessel_id = @vessel"
		args["vessel"] = q.VesselID
	}
	if q.Under != uuid.Nil {
		ever += " AND under = @under"
		args["under"] = q.Under
	}
	after := " AND id < @at"
	if q.From.Backward {
		after, order = " AND id > @at", "ASC"
	}
	if q.From.ID != uuid.Nil {
		ever += after
		args["at"] = q.From.ID
	}
	return `
SELECT r.*
FROM (SELECT ` + things + ` FROM records WHERE org_id = @org AND kind = @kind` + ever + `) ever
CROSS JOIN LATERAL (
    SELECT ` + recordColumns + `
    FROM records
    WHERE org_id = @org AND kind = @kind AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) r` + still + `
ORDER BY ever.id ` + order + `
LIMIT ` + fmt.Sprint(q.Limit+1), args
}

// recorder records within a transaction.
type recorder struct {
	reader
	tx       *transaction  // the reader's
	stamp    service.Stamp // the zero value: no turn taken, or used up
	tail     logTail       // of the log when the turn was taken
	until    time.Time     // how far the log is known; zero: not asked yet
	woken    []uuid.UUID   // webhooks that a job was noted for
	recorded []service.PlanRecord
}

func newRecorder(tx *transaction, org service.OrgID) *recorder {
	return &recorder{reader: reader{tx: tx, org: org}, tx: tx}
}

// KnownUntil is the reader's, asked once: nothing that the transaction reads is to change under it but by its own turn.
func (r *recorder) KnownUntil(ctx context.Context) (until time.Time, err error) {
	if r.until.IsZero() {
		r.until, err = r.reader.KnownUntil(ctx)
	}
	return r.until, err
}

const (
	lockLog = `
SELECT seq, known_until
FROM organisation_log
WHERE org_id = $1
FOR UPDATE`
	updateLog = `
UPDATE organisation_log
SET seq = $2, known_until = $3
WHERE org_id = $1`
)

// Turn takes the lock of the organisation's log, which the transaction holds to its end. Times run forward by at
// least a microsecond, whatever the clocks of the processes say. What is recorded goes by the end of the log, which is
// read in the same round trip, by a statement of its own: it sees what was there when the lock was.
func (r *recorder) Turn(ctx context.Context, clock func() time.Time) (service.Stamp, error) {
	var seq int64
	batch := &pgx.Batch{}
	batch.Queue(lockLog, r.org).QueryRow(func(row pgx.Row) error { return row.Scan(&seq, &r.until) })
	batch.Queue(selectTail, r.org, tailLength).Query(r.tail.read)
	r.wake(batch)
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return service.Stamp{}, fmt.Errorf("take turn: %w", found(ctx, err))
	}
	at := clock().UTC().Truncate(time.Microsecond)
	if !at.After(r.until) {
		at = r.until.Add(time.Microsecond)
	}
	r.stamp, r.until = service.Stamp{Seq: seq + 1, RecordedAt: at}, at
	return r.stamp, nil
}

const (
	selectFirst = `
SELECT ` + recordColumns + `
FROM records
WHERE org_id = @org AND kind = @kind AND id = @id
ORDER BY valid_from, seq DESC
LIMIT 1`
	selectVersions = `
SELECT coalesce(max(version), 0)
FROM records
WHERE org_id = $1 AND kind = $2 AND id = $3`
)

// Base returns the version in force at a time by all that is known, or the first there is, and the number of versions.
func (r *recorder) Base(ctx context.Context, kind fleet.Kind, id uuid.UUID, validAt time.Time) (service.Version, int, error) {
	var n int
	if err := r.tx.QueryRow(ctx, selectVersions, r.org, kind, id).Scan(&n); err != nil {
		return service.Version{}, 0, unavailable(ctx, err)
	}
	if n == 0 {
		return service.Version{}, 0, service.ErrNotFound
	}
	until, err := r.KnownUntil(ctx)
	if err != nil {
		return service.Version{}, 0, err
	}
	v, err := r.InForce(ctx, kind, id, service.AsOf{ValidAt: validAt, KnownAt: until})
	if errors.Is(err, service.ErrNotFound) {
		v, err = r.one(ctx, selectFirst, pgx.NamedArgs{"org": r.org, "kind": kind, "id": id})
	}
	return v, n, err
}

const insertRecord = `
INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, vessel_id, under, by, body, body_sha256)
VALUES (@org, @kind, @id, @version, @seq, @valid_from, @recorded_at, @vessel_id, @under, @by, @body, @body_sha256)`

// Record records a version and notes the change.
func (r *recorder) Record(ctx context.Context, v service.Version) error {
	if v.Seq != r.stamp.Seq || !v.RecordedAt.Equal(r.stamp.RecordedAt) {
		return fmt.Errorf("record %s: change %d is not the turn taken", v.Kind, v.Seq)
	}
	if err := r.note(ctx, v.Kind, v.ID, v.Version, v.BodySHA256, v.By); err != nil {
		return fmt.Errorf("record %s: %w", v.Kind, err)
	}
	r.tx.queue(insertRecord, pgx.NamedArgs{
		"org": r.org, "kind": v.Kind, "id": v.ID, "version": v.Version, "seq": v.Seq, "valid_from": v.ValidFrom, "recorded_at": v.RecordedAt,
		"vessel_id": orNull(v.VesselID), "under": orNull(v.Under), "by": v.By, "body": v.Body, "body_sha256": v.BodySHA256,
	})
	if v.Kind == fleet.KindDeployment {
		return r.linkDeployment(ctx, v)
	}
	return nil
}
