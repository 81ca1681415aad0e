package store

import (
	"context"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

// keyColumns are what scanKey reads.
const keyColumns = `id, version, coalesce(name, ''), label, scopes, created_at, created_by, expires_at, last_used_at, revoked_at, rotated_from`

const selectKeyByHash = `
SELECT org_id, ` + keyColumns + `
FROM keys
WHERE key_hash = $1 AND revoked_at IS NULL`

// KeyByHash returns service.ErrNotFound for an unknown or revoked key. No organisation is known yet: the policy
// keys_by_proof shows the row of the hash that is told.
func (s *Store) KeyByHash(ctx context.Context, hash []byte) (org service.OrgID, k service.KeyRecord, err error) {
	err = s.inTx(ctx, pgx.ReadOnly, []setting{{"app.key_hash", hex.EncodeToString(hash)}}, func(tx *transaction) error {
		k, err = scanKey(tx.QueryRow(ctx, selectKeyByHash, hash), &org)
		return found(ctx, err)
	})
	if err != nil {
		return service.OrgID{}, service.KeyRecord{}, fmt.Errorf("key by its hash: %w", err)
	}
	return org, k, nil
}

// scanKey reads a key's columns, and what stands before them.
func scanKey(row pgx.Row, before ...any) (k service.KeyRecord, err error) {
	var expires, used, revoked *time.Time
	var from uuid.NullUUID
	err = row.Scan(append(before, &k.ID, &k.Version, &k.Name, &k.Label, &k.Scopes, &k.CreatedAt, &k.CreatedBy, &expires, &used, &revoked, &from)...)
	k.ExpiresAt, k.LastUsedAt, k.RevokedAt, k.RotatedFrom = orZero(expires), orZero(used), orZero(revoked), from.UUID
	return k, err
}

const updateKeyUsed = `
UPDATE keys
SET last_used_at = @at, name = coalesce(name, @name)
WHERE org_id = @org AND id = @id AND (last_used_at IS NULL OR last_used_at <= @at::timestamptz - interval '1 minute')`

// KeyUsed notes the use of a key, at most once a minute.
func (s *Store) KeyUsed(ctx context.Context, org service.OrgID, id uuid.UUID, name string, at time.Time) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		_, err := tx.Exec(ctx, updateKeyUsed, pgx.NamedArgs{"org": org, "id": id, "name": name, "at": at})
		return unavailable(ctx, err)
	})
	if err != nil {
		return fmt.Errorf("note the use of a key: %w", err)
	}
	return nil
}

const selectKey = `
SELECT ` + keyColumns + `
FROM keys
WHERE org_id = $1 AND id = $2`

// Key returns service.ErrNotFound for a key that is not the organisation's.
func (r *reader) Key(ctx context.Context, id uuid.UUID) (service.KeyRecord, error) {
	k, err := scanKey(r.tx.QueryRow(ctx, selectKey, r.org, id))
	return k, found(ctx, err)
}

// Keys returns a page of the organisation's keys, newest id first.
func (r *reader) Keys(ctx context.Context, from service.RecordPlace, limit int) (page service.KeyPage, err error) {
	page.Items, page.Next, page.Prev, err = pageByID(ctx, r.tx, `SELECT `+keyColumns+` FROM keys WHERE org_id = @org`,
		pgx.NamedArgs{"org": r.org}, from, limit, scanKeyRow, func(k service.KeyRecord) uuid.UUID { return k.ID })
	return page, err
}

func scanKeyRow(row pgx.CollectableRow) (service.KeyRecord, error) { return scanKey(row) }

const selectAnotherAdmin = `
SELECT EXISTS (
    SELECT
    FROM keys
    WHERE org_id = @org AND id <> @besides AND 'admin' = ANY (scopes) AND revoked_at IS NULL
        AND (expires_at IS NULL OR expires_at > @after))`

// AnotherAdmin tells whether a key besides this one has the scope admin and goes on after a time.
func (r *reader) AnotherAdmin(ctx context.Context, besides uuid.UUID, after time.Time) (there bool, err error) {
	err = r.tx.QueryRow(ctx, selectAnotherAdmin, pgx.NamedArgs{"org": r.org, "besides": besides, "after": after}).Scan(&there)
	return there, unavailable(ctx, err)
}

const insertKey = `
INSERT INTO keys (org_id, id, key_hash, version, name, label, scopes, created_at, created_by, expires_at, rotated_from)
VALUES (@org, @id, @hash, @version, @name, @label, @scopes, @created_at, @created_by, @expires_at, @rotated_from)`

// AddKey keeps a key that was made.
func (r *recorder) AddKey(ctx context.Context, k service.KeyRecord, hash []byte) error {
	_, err := r.tx.Exec(ctx, insertKey, pgx.NamedArgs{
		"org": r.org, "id": k.ID, "hash": hash, "version": k.Version, "name": k.Name, "label": k.Label, "scopes": k.Scopes,
		"created_at": k.CreatedAt, "created_by": k.CreatedBy, "expires_at": orNullTime(k.ExpiresAt), "rotated_from": orNull(k.RotatedFrom),
	})
	if err != nil {
		return fmt.Errorf("add key: %w", unavailable(ctx, err))
	}
	return nil
}

const updateKeyEnd = `
UPDATE keys
SET version = @version, expires_at = @expires_at, revoked_at = @revoked_at
WHERE org_id = @org AND id = @id`

// EndKey keeps a key's version and when it ends.
func (r *recorder) EndKey(ctx context.Context, k service.KeyRecord) error {
	_, err := r.tx.Exec(ctx, updateKeyEnd, pgx.NamedArgs{
		"org": r.org, "id": k.ID, "version": k.Version, "expires_at": orNullTime(k.ExpiresAt), "revoked_at": orNullTime(k.RevokedAt),
	})
	if err != nil {
		return fmt.Errorf("end key: %w", unavailable(ctx, err))
	}
	return nil
}
