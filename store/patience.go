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

// setting is what the policies of the tables ask for. It ends with the transaction.
type setting struct{ name, value string }

// begin begins a transaction with its settings on a connection of its own, which the caller gives back by release.
func (s *Store) begin(ctx context.Context, options pgx.TxOptions, settings []setting) (_ *transaction, release func(), err error) {
	waiting, cancel := context.WithTimeout(ctx, acquireTimeout)
	defer cancel()
	conn, tx, err := s.beginOn(waiting, options, settings)
	if isGone(err) && waiting.Err() == nil {
		// The connection died in the pool, as all have when the server was restarted.
		s.pool.Reset()
		conn, tx, err = s.beginOn(waiting, options, settings)
	}
	if err != nil && waiting.Err() != nil && ctx.Err() == nil {
		return nil, nil, fmt.Errorf("%w: no connection within %v: %w", service.ErrUnavailable, acquireTimeout, err)
	}
	if err != nil {
		return nil, nil, unavailable(ctx, err)
	}
	return &transaction{Tx: tx, patience: s.patience, queued: &pgx.Batch{}}, conn.Release, nil
}

// beginOn sends BEGIN and the settings in one round trip.
func (s *Store) beginOn(ctx context.Context, options pgx.TxOptions, settings []setting) (*pgxpool.Conn, pgx.Tx, error) {
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return nil, nil, err
	}
	batch := &pgx.Batch{}
	batch.BeginTx(options)
	for _, of := range settings {
		batch.Queue(setSetting, of.name, of.value)
	}
	results := conn.SendBatch(ctx, batch)
	if err := results.Close(); err != nil {
		conn.Release() // which closes it if it stands in a transaction
		return nil, nil, err
	}
	return conn, results.Tx(), nil
}

// transaction waits for each answer so long and no longer. What it gives up on closes the connection, so the
// transaction is over. The wait for COMMIT has its own limit.
//
// What is written by queue goes out with what follows it and in the same order, so that others do not wait for as many
// round trips as there are statements: all of it is there before anything is read, and before the commit.
type transaction struct {
	pgx.Tx
	patience time.Duration
	queued   *pgx.Batch
	after    []func(context.Context) error // to be done when what is queued has been
}

var errSilent = errors.New("the database does not answer")

func (tx *transaction) within(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeoutCause(ctx, tx.patience, errSilent)
}

// queue writes with whatever comes next.
func (tx *transaction) queue(sql string, args ...any) *pgx.QueuedQuery {
	return tx.queued.Queue(sql, args...)
}

// then does something, in the transaction, before it reads or writes more, and when what is queued has been written.
func (tx *transaction) then(do func(context.Context) error) { tx.after = append(tx.after, do) }

// flush writes what is queued.
func (tx *transaction) flush(ctx context.Context) error {
	for tx.queued.Len() > 0 || len(tx.after) > 0 {
		batch, after := tx.queued, tx.after
		tx.queued, tx.after = &pgx.Batch{}, nil
		if err := tx.send(ctx, batch).Close(); err != nil {
			return err
		}
		for _, do := range after {
			if err := do(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

func (tx *transaction) send(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	ctx, cancel := tx.within(ctx)
	return patientBatch{tx.Tx.SendBatch(ctx, b), cancel}
}

// Begin is pgx.Tx's.
func (tx *transaction) Begin(ctx context.Context) (pgx.Tx, error) {
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	return tx.Tx.Begin(ctx)
}

// Exec is pgx.Tx's.
func (tx *transaction) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	if err := tx.flush(ctx); err != nil {
		return pgconn.CommandTag{}, err
	}
	ctx, cancel := tx.within(ctx)
	defer cancel()
	return tx.Tx.Exec(ctx, sql, args...)
}

// Query is pgx.Tx's; the limit is for all of the rows.
func (tx *transaction) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	ctx, cancel := tx.within(ctx)
	rows, err := tx.Tx.Query(ctx, sql, args...)
	return patientRows{rows, cancel}, err
}

// QueryRow is pgx.Tx's.
func (tx *transaction) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	if err := tx.flush(ctx); err != nil {
		return noRow{err}
	}
	ctx, cancel := tx.within(ctx)
	return patientRow{tx.Tx.QueryRow(ctx, sql, args...), cancel}
}

// SendBatch is pgx.Tx's; the limit is for the whole batch.
func (tx *transaction) SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	if err := tx.flush(ctx); err != nil {
		return pgx.FailedBatchResults(b, err)
	}
	return tx.send(ctx, b)
}

// noRow is the answer where there could be none.
type noRow struct{ err error }

// Scan tells why.
func (r noRow) Scan(...any) error { return r.err }

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
