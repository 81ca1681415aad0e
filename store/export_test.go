package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"rideout/service"
)

// Raw runs one statement on a connection of the pool, outside of any organisation, and gives its first column as text.
func (s *Store) Raw(ctx context.Context, sql string, args ...any) ([]string, error) {
	rows, err := s.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// InOrg runs fn as every transaction of an organisation runs.
func (s *Store) InOrg(ctx context.Context, org service.OrgID, fn func(pgx.Tx) error) error {
	return s.inOrg(ctx, org, pgx.ReadWrite, fn)
}

// InLent runs fn as every transaction of a vessel that is lent runs.
func (s *Store) InLent(ctx context.Context, h service.Holder, fn func(pgx.Tx) error) error {
	return (&Store{pool: s.pool, lent: &h}).inOrg(ctx, h.Org, pgx.ReadOnly, fn)
}
