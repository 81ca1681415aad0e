package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/ledger"
)

// How many entries are taken into the tree by one statement. It bounds the memory that taking in a long history needs.
const takenAtOnce = 5000

// note notes a change in the log: every change there is goes through here. It uses up the turn. The hashes that belong to
// the change are kept with it, under the same lock; the webhooks it is told to are woken with the turn.
func (r *recorder) note(ctx context.Context, kind fleet.Kind, id uuid.UUID, version int, bodySHA256, by string) error {
	if r.stamp.Seq == 0 {
		return errors.New("a change was recorded without a turn")
	}
	e := ledger.Entry{
		OrgID: r.org, Seq: r.stamp.Seq, RecordedAt: r.stamp.RecordedAt, Kind: string(kind), EntityID: id, Version: version,
		BodySHA256: bodySHA256, By: by,
	}
	r.stamp = service.Stamp{}
	if err := takeIn(ctx, r.tx, r.org, r.tail.count, e.Seq-1); err != nil {
		return err
	}
	stored, err := ledger.Append(e, recent{r.StoredHashes(ctx), r.tail.hashes})
	if err != nil {
		return err
	}
	r.tx.queue(updateLog, r.org, e.Seq, e.RecordedAt)
	r.tx.queue(insertChange, pgx.NamedArgs{
		"org": r.org, "seq": e.Seq, "recorded_at": e.RecordedAt, "kind": e.Kind, "entity_id": id,
		"version": version, "body_sha256": bodySHA256, "by": by,
	})
	queueHashes(r.tx.queued, r.org, stored)
	return nil
}

const (
	insertChange = `
INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by)
VALUES (@org, @seq, @recorded_at, @kind, @entity_id, @version, @body_sha256, @by)`
	// Not COPY, which row security refuses.
	insertHashes = `
INSERT INTO log_hashes (org_id, index, hash)
SELECT @org, @first + place - 1, hash
FROM unnest(@hashes::bytea[]) WITH ORDINALITY AS given (hash, place)`
)

// tailLength is how many of the last hashes are read with the turn: enough for all entries but every sixteenth, whose left
// neighbours lie further back.
const tailLength = 8

const selectTail = `
SELECT index, hash
FROM log_hashes
WHERE org_id = $1
ORDER BY index DESC
LIMIT $2`

// logTail is the end of what is kept of a log's hashes.
type logTail struct {
	count  int64 // one more than the greatest index
	hashes map[int64]ledger.Hash
}

func (t *logTail) read(rows pgx.Rows) error {
	*t = logTail{hashes: make(map[int64]ledger.Hash, tailLength)}
	var index int64
	var hash []byte
	_, err := pgx.ForEachRow(rows, []any{&index, &hash}, func() error {
		t.count = max(t.count, index+1)
		t.hashes[index] = hashOf(hash)
		return nil
	})
	return err
}

// queueHashes queues the keeping of hashes whose indexes follow each other.
func queueHashes(batch *pgx.Batch, org service.OrgID, stored []ledger.StoredHash) {
	hashes := make([][]byte, len(stored))
	for i := range stored {
		hashes[i] = stored[i].Hash[:]
	}
	batch.Queue(insertHashes, pgx.NamedArgs{"org": org, "first": stored[0].Index, "hashes": hashes})
}

// takeIn takes into the tree the changes up to seq that are not in it, when so many hashes are kept. The caller holds the lock of the
// organisation's log.
func takeIn(ctx context.Context, tx pgx.Tx, org service.OrgID, hashes, seq int64) error {
	switch due := ledger.HashCount(seq); {
	case hashes == due:
		return nil
	case hashes > due:
		return fmt.Errorf("%w: the log keeps %d hashes for %d changes", service.ErrAltered, hashes, seq)
	}
	r := &reader{tx: tx, org: org}
	kept := recent{r.StoredHashes(ctx), map[int64]ledger.Hash{}}
	for after := entriesOf(hashes); after < seq; {
		entries, err := r.Entries(ctx, after, int(min(takenAtOnce, seq-after)))
		if err != nil {
			return err
		}
		if len(entries) == 0 || entries[0].Seq != after+1 {
			return fmt.Errorf("%w: change %d is not there", service.ErrAltered, after+1)
		}
		var stored []ledger.StoredHash
		for _, e := range entries {
			more, err := ledger.Append(e, kept)
			if err != nil {
				return err
			}
			for _, h := range more {
				kept.hashes[h.Index] = h.Hash
			}
			stored = append(stored, more...)
		}
		batch := &pgx.Batch{}
		queueHashes(batch, org, stored[max(0, hashes-stored[0].Index):])
		if err := tx.SendBatch(ctx, batch).Close(); err != nil {
			return fmt.Errorf("take into the log: %w", unavailable(ctx, err))
		}
		clear(kept.hashes)
		after, hashes = entries[len(entries)-1].Seq, ledger.HashCount(entries[len(entries)-1].Seq)
	}
	return nil
}

// entriesOf gives how many entries have all their hashes among so many.
func entriesOf(hashes int64) int64 {
	n := hashes / 2 // a tree of n entries has fewer than 2n
	for ledger.HashCount(n+1) <= hashes {
		n++
	}
	return n
}

// recent reads what is not kept yet from memory.
type recent struct {
	ledger.HashReader
	hashes map[int64]ledger.Hash
}

// ReadHashes reads hashes.
func (r recent) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	found := make([]ledger.Hash, len(indexes))
	var places []int
	var missing []int64
	for i, index := range indexes {
		h, ok := r.hashes[index]
		if !ok {
			places, missing = append(places, i), append(missing, index)
		}
		found[i] = h
	}
	if len(missing) == 0 {
		return found, nil
	}
	older, err := r.HashReader.ReadHashes(missing)
	for i, h := range older {
		found[places[i]] = h
	}
	return found, err
}

const selectLogSize = `
SELECT seq
FROM organisation_log
WHERE org_id = $1`

// Size returns service.ErrNotFound for an unknown organisation.
func (r *reader) Size(ctx context.Context) (n int64, err error) {
	return n, found(ctx, r.tx.QueryRow(ctx, selectLogSize, r.org).Scan(&n))
}

const selectEntries = `
SELECT org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by
FROM changes
WHERE org_id = @org AND seq > @after
ORDER BY seq
LIMIT @limit`

// Entries reads entries in order.
func (r *reader) Entries(ctx context.Context, after int64, limit int) ([]ledger.Entry, error) {
	rows, err := r.tx.Query(ctx, selectEntries, pgx.NamedArgs{"org": r.org, "after": after, "limit": limit})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	entries, err := pgx.CollectRows(rows, scanEntry)
	return entries, unavailable(ctx, err)
}

func scanEntry(row pgx.CollectableRow) (e ledger.Entry, err error) {
	err = row.Scan(&e.OrgID, &e.Seq, &e.RecordedAt, &e.Kind, &e.EntityID, &e.Version, &e.BodySHA256, &e.By)
	return e, err
}

const selectHashes = `
SELECT index, hash
FROM log_hashes
WHERE org_id = @org AND index >= @first
ORDER BY index
LIMIT @limit`

// Hashes reads stored hashes in order, as they are: one that is not there is the zero value.
func (r *reader) Hashes(ctx context.Context, first int64, limit int) ([]ledger.Hash, error) {
	rows, err := r.tx.Query(ctx, selectHashes, pgx.NamedArgs{"org": r.org, "first": first, "limit": limit})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	var hashes []ledger.Hash
	var index int64
	var hash []byte
	_, err = pgx.ForEachRow(rows, []any{&index, &hash}, func() error {
		for int64(len(hashes)) < min(index-first, int64(limit)) {
			hashes = append(hashes, ledger.Hash{})
		}
		if len(hashes) < limit {
			hashes = append(hashes, hashOf(hash))
		}
		return nil
	})
	return hashes, unavailable(ctx, err)
}

// hashOf is the zero value for what has not the length of a hash.
func hashOf(b []byte) (h ledger.Hash) {
	if len(b) == len(h) {
		copy(h[:], b)
	}
	return h
}

const selectHashesByIndex = `
SELECT index, hash
FROM log_hashes
WHERE org_id = $1 AND index = ANY($2)`

// StoredHashes reads stored hashes by their indexes, as service.LogReader says.
func (r *reader) StoredHashes(ctx context.Context) ledger.HashReader {
	return ledger.HashReaderFunc(func(indexes []int64) ([]ledger.Hash, error) {
		rows, err := r.tx.Query(ctx, selectHashesByIndex, r.org, indexes)
		if err != nil {
			return nil, unavailable(ctx, err)
		}
		kept := make(map[int64]ledger.Hash, len(indexes))
		var index int64
		var hash []byte
		if _, err := pgx.ForEachRow(rows, []any{&index, &hash}, func() error { kept[index] = hashOf(hash); return nil }); err != nil {
			return nil, unavailable(ctx, err)
		}
		found := make([]ledger.Hash, len(indexes))
		for i, index := range indexes {
			h, ok := kept[index]
			if !ok {
				return nil, fmt.Errorf("%w: the log's hash %d is not there", service.ErrAltered, index)
			}
			found[i] = h
		}
		return found, nil
	})
}

// ReadLog reads the log, as service.Log says.
func (s *Store) ReadLog(ctx context.Context, org service.OrgID, read func(context.Context, service.LogReader) error) error {
	if err := s.catchUp(ctx, org); err != nil {
		return fmt.Errorf("read log: %w", err)
	}
	err := s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error { return read(ctx, &reader{tx: tx, org: org}) })
	if err != nil {
		return fmt.Errorf("read log: %w", err)
	}
	return nil
}

const selectLogState = `
SELECT seq, (SELECT coalesce(max(index) + 1, 0) FROM log_hashes WHERE org_id = $1)
FROM organisation_log
WHERE org_id = $1`

// catchUp takes into the tree what is not in it: only a program that knows of no tree leaves anything.
func (s *Store) catchUp(ctx context.Context, org service.OrgID) error {
	var seq, hashes int64
	err := s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		return found(ctx, tx.QueryRow(ctx, selectLogState, org).Scan(&seq, &hashes))
	})
	if err != nil || hashes >= ledger.HashCount(seq) {
		return err
	}
	return s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		if _, err := tx.Exec(ctx, lockLog, org); err != nil {
			return unavailable(ctx, err)
		}
		// A statement after the lock was taken sees what was recorded before.
		if err := tx.QueryRow(ctx, selectLogState, org).Scan(&seq, &hashes); err != nil {
			return unavailable(ctx, err)
		}
		return takeIn(ctx, tx, org, hashes, seq)
	})
}

const (
	lockCheckpoints = `
SELECT pg_advisory_xact_lock(hashtextextended('checkpoints ' || $1::text, 0))`
	selectLastCheckpoint = `
SELECT size, root
FROM log_checkpoints
WHERE org_id = $1
ORDER BY size DESC
LIMIT 1`
	insertCheckpoint = `
INSERT INTO log_checkpoints (org_id, size, root)
VALUES (@org, @size, @root)`
)

// Checkpoint keeps what work finds, as service.Log says.
func (s *Store) Checkpoint(ctx context.Context, org service.OrgID, work func(context.Context, service.LogReader, ledger.Checkpoint) (ledger.Checkpoint, error)) error {
	if err := s.catchUp(ctx, org); err != nil {
		return fmt.Errorf("checkpoint: %w", err)
	}
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		if _, err := tx.Exec(ctx, lockCheckpoints, org); err != nil {
			return unavailable(ctx, err)
		}
		last := ledger.Checkpoint{OrgID: org, Size: -1}
		var root []byte
		err := tx.QueryRow(ctx, selectLastCheckpoint, org).Scan(&last.Size, &root)
		if err != nil && !errors.Is(err, pgx.ErrNoRows) {
			return unavailable(ctx, err)
		}
		last.Root = hashOf(root)
		now, err := work(ctx, &reader{tx: tx, org: org}, last)
		if err != nil || now.Size == last.Size {
			return err
		}
		_, err = tx.Exec(ctx, insertCheckpoint, pgx.NamedArgs{"org": org, "size": now.Size, "root": now.Root[:]})
		return unavailable(ctx, err)
	})
	if err != nil {
		return fmt.Errorf("checkpoint: %w", err)
	}
	return nil
}

const (
	// Bodies of plans and forecasts are not kept as records.
	selectLines = `
SELECT c.org_id, c.seq, c.recorded_at, c.kind, c.entity_id, c.version, c.body_sha256, c.by,
    coalesce(r.body::text, p.answer::text, f.area::text || E'\n' || f.sent::text)
FROM changes c
LEFT JOIN records r ON r.org_id = c.org_id AND r.seq = c.seq
LEFT JOIN plans p ON c.kind = 'plan' AND p.org_id = c.org_id AND p.id = c.entity_id
LEFT JOIN area_forecasts f ON c.kind = 'forecast' AND f.org_id = c.org_id AND f.id = c.entity_id
WHERE c.org_id = @org AND c.seq > @after
ORDER BY c.seq
LIMIT @limit`
	selectSpan = `
SELECT
    coalesce((SELECT seq FROM changes WHERE org_id = l.org_id AND recorded_at >= @from ORDER BY recorded_at, seq LIMIT 1), l.seq + 1),
    coalesce((SELECT seq - 1 FROM changes WHERE org_id = l.org_id AND recorded_at >= @before ORDER BY recorded_at, seq LIMIT 1), l.seq)
FROM organisation_log l
WHERE l.org_id = @org`
)

// Lines reads lines of an audit, with the leaves as they are stored.
func (r *reader) Lines(ctx context.Context, after int64, limit int) ([]ledger.Line, error) {
	rows, err := r.tx.Query(ctx, selectLines, pgx.NamedArgs{"org": r.org, "after": after, "limit": limit})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	lines, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (l ledger.Line, err error) {
		err = row.Scan(&l.OrgID, &l.Seq, &l.RecordedAt, &l.Kind, &l.EntityID, &l.Version, &l.BodySHA256, &l.By, &l.Body)
		if l.Body == nil && hasBody(fleet.Kind(l.Kind)) {
			l.Body = []byte{} // which is not what was entered, as whoever verifies will find
		}
		return l, err
	})
	if err != nil || len(lines) == 0 {
		return nil, unavailable(ctx, err)
	}
	first := ledger.HashCount(lines[0].Seq - 1)
	hashes, err := r.Hashes(ctx, first, int(ledger.HashCount(lines[len(lines)-1].Seq)-first))
	for i := range lines {
		if at := ledger.HashCount(lines[i].Seq-1) - first; at < int64(len(hashes)) {
			lines[i].Leaf = hashes[at]
		}
	}
	return lines, err
}

// hasBody tells whether a body of a kind is kept for good, so that one that is not there was taken away.
func hasBody(kind fleet.Kind) bool {
	return kind == fleet.KindPlan || kind == fleet.KindForecast || kind == fleet.KindErasure || slices.Contains(fleet.Kinds(), kind)
}

// Span finds a run of entries, as service.Log says.
func (s *Store) Span(ctx context.Context, org service.OrgID, from, before time.Time) (first, last int64, err error) {
	if err := s.closeUntil(ctx, org, before); err != nil {
		return 0, 0, fmt.Errorf("span: %w", err)
	}
	args := pgx.NamedArgs{"org": org, "from": from, "before": before}
	if before.IsZero() {
		args["before"] = pgtype.Timestamptz{InfinityModifier: pgtype.Infinity, Valid: true}
	}
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		return found(ctx, tx.QueryRow(ctx, selectSpan, args).Scan(&first, &last))
	})
	if err != nil {
		return 0, 0, fmt.Errorf("span: %w", err)
	}
	return first, max(last, first-1), nil
}
