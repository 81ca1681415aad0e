package store

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"rideout/service"
)

const selectOrganisationByKeyHash = `
SELECT org_id
FROM keys
WHERE key_hash = $1 AND revoked_at IS NULL`

// OrganisationByKeyHash returns service.ErrNotFound for an unknown or revoked key. No organisation is known yet: the
// policy keys_by_proof shows the row of the hash that is told.
func (s *Store) OrganisationByKeyHash(ctx context.Context, hash []byte) (org service.OrgID, err error) {
	err = s.inTx(ctx, pgx.ReadOnly, func(tx pgx.Tx) error {
		if err := tell(ctx, tx, "app.key_hash", hex.EncodeToString(hash)); err != nil {
			return err
		}
		return found(ctx, tx.QueryRow(ctx, selectOrganisationByKeyHash, hash).Scan(&org))
	})
	if err != nil {
		return service.OrgID{}, fmt.Errorf("organisation of a key: %w", err)
	}
	return org, nil
}

const (
	insertOrganisation = `
INSERT INTO organisations (id, name)
VALUES ($1, $2)
ON CONFLICT (name) DO NOTHING`
	insertOrganisationLog = `
INSERT INTO organisation_log (org_id)
VALUES ($1)`
	selectOrganisationByName = `
SELECT id
FROM organisations
WHERE name = $1`
)

// AddOrganisation makes an organisation, or returns the one that has the name already. The id is made first, so that
// the transaction is the new organisation's from its begin; one that is there already shows itself to its name.
func (s *Store) AddOrganisation(ctx context.Context, name string) (org service.OrgID, err error) {
	id := uuid.New()
	err = s.inOrg(ctx, id, pgx.ReadWrite, func(tx pgx.Tx) error {
		if err := tell(ctx, tx, "app.organisation_name", name); err != nil {
			return err
		}
		made, err := tx.Exec(ctx, insertOrganisation, id, name)
		if err == nil && made.RowsAffected() > 0 {
			_, err = tx.Exec(ctx, insertOrganisationLog, id)
		}
		if err != nil {
			return unavailable(ctx, err)
		}
		return found(ctx, tx.QueryRow(ctx, selectOrganisationByName, name).Scan(&org))
	})
	if err != nil {
		return service.OrgID{}, fmt.Errorf("add organisation: %w", err)
	}
	return org, nil
}

const insertKey = `
INSERT INTO keys (org_id, key_hash, label)
VALUES (@org, @hash, @label)`

// AddKey returns service.ErrNotFound for an unknown organisation.
func (s *Store) AddKey(ctx context.Context, org service.OrgID, hash []byte, label string) error {
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, insertKey, pgx.NamedArgs{"org": org, "hash": hash, "label": label})
		return unavailable(ctx, err)
	})
	var said *pgconn.PgError
	if errors.As(err, &said) && said.ConstraintName == "keys_org_id_fkey" {
		err = fmt.Errorf("%w: %w", service.ErrNotFound, err)
	}
	if err != nil {
		return fmt.Errorf("add key: %w", err)
	}
	return nil
}

// found turns no row into service.ErrNotFound.
func found(ctx context.Context, err error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return service.ErrNotFound
	}
	return unavailable(ctx, err)
}
