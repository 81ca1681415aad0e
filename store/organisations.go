package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

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
	err = s.inOrg(ctx, id, pgx.ReadWrite, func(tx *transaction) error {
		if err := tell(ctx, tx, setting{"app.organisation_name", name}); err != nil {
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

// OrganisationByName returns service.ErrNotFound for a name nobody has.
func (s *Store) OrganisationByName(ctx context.Context, name string) (org service.OrgID, err error) {
	err = s.inTx(ctx, pgx.ReadOnly, []setting{{"app.organisation_name", name}}, func(tx *transaction) error {
		return found(ctx, tx.QueryRow(ctx, selectOrganisationByName, name).Scan(&org))
	})
	if err != nil {
		return service.OrgID{}, fmt.Errorf("organisation by its name: %w", err)
	}
	return org, nil
}

// found turns no row into service.ErrNotFound.
func found(ctx context.Context, err error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return service.ErrNotFound
	}
	return unavailable(ctx, err)
}
