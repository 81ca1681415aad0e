package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"rideout/service"
)

const (
	// acquireTimeout is how long a transaction waits for a connection, and for its begin. Who waits longer had better come
	// again: those that came before are not done either.
	acquireTimeout = 4 * time.Second
	// lineTimeout is how much longer than its own limit a statement is waited for. The server's limit ends what is slow; this
	// one what is not answered at all, by a server that hangs or a line that says nothing.
	lineTimeout = 2 * time.Second
)

// begin begins a transaction on a connection of its own, which the caller gives back by release.
func (s *Store) begin(ctx context.Context, options pgx.TxOptions) (_ pgx.Tx, release func(), err error) {
	waiting, cancel := context.WithTimeout(ctx, acquireTimeout)
	defer cancel()
	conn, tx, err := s.beginOn(waiting, options)
	if isGone(err) && waiting.Err() == nil {
		// The connection died in the pool, as all have when the server was restarted.
		s.pool.Reset()
		conn, tx, err = s.beginOn(waiting, options)
	}
	if err != nil && waiting.Err() != nil && ctx.Err() == nil {
		return nil, nil, fmt.Errorf("%w: no connection within %v: %w", service.ErrUnavailable, acquireTimeout, err)
	}
	if err != nil {
		return nil, nil, unavailable(ctx, err)
	}
	return patientTx{tx, s.patience}, conn.Release, nil
}

func (s *Store) beginOn(ctx context.Context, options pgx.TxOptions) (*pgxpool.Conn, pgx.Tx, error) {
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return nil, nil, err
	}
	tx, err := conn.BeginTx(ctx, options)
	if err != nil {
		conn.Release()
		return nil, nil, err
	}
	return conn, tx, nil
}

// patientTx waits for each answer so long and no longer. What it gives up on closes the connection, so the
// transaction is over. The wait for COMMIT has its own limit.
type patientTx struct {
	pgx.Tx
	patience time.Duration
}

var errSilent = errors.New("the database does not answer")

func (tx patientTx) within(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeoutCause(ctx, tx.patience, errSilent)
}

// Exec is pgx.Tx's.
func (tx patientTx) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	ctx, cancel := tx.within(ctx)
	defer cancel()
	return tx.Tx.Exec(ctx, sql, args...)
}

// Query is pgx.Tx's; the limit is for all of the rows.
func (tx patientTx) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	ctx, cancel := tx.within(ctx)
	rows, err := tx.Tx.Query(ctx, sql, args...)
	return patientRows{rows, cancel}, err
}

// QueryRow is pgx.Tx's.
func (tx patientTx) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	ctx, cancel := tx.within(ctx)
	return patientRow{tx.Tx.QueryRow(ctx, sql, args...), cancel}
}

// SendBatch is pgx.Tx's; the limit is for the whole batch.
func (tx patientTx) SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	ctx, cancel := tx.within(ctx)
	return patientBatch{tx.Tx.SendBatch(ctx, b), cancel}
}

type patientRows struct {
	pgx.Rows
	cancel context.CancelFunc
}

// Next ends the wait with the last row.
func (r patientRows) Next() bool {
	if r.Rows.Next() {
		return true
	}
	r.cancel()
	return false
}

// Close ends the wait.
func (r patientRows) Close() {
	r.Rows.Close()
	r.cancel()
}

type patientRow struct {
	pgx.Row
	cancel context.CancelFunc
}

// Scan ends the wait.
func (r patientRow) Scan(dest ...any) error {
	defer r.cancel()
	return r.Row.Scan(dest...)
}

type patientBatch struct {
	pgx.BatchResults
	cancel context.CancelFunc
}

// Close ends the wait.
func (b patientBatch) Close() error {
	defer b.cancel()
	return b.BatchResults.Close()
}
