// Package store keeps the service's history and keys in Postgres.
package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"

	"rideout/service"
)

// Config says how to reach the database. The zero value of all but URL is a default.
type Config struct {
	URL              string          // postgres://...
	MaxConns         int32           // connections at most; 0: 10
	StatementTimeout time.Duration   // of one statement, not of the work between them; 0: 5 s
	WorkTimeout      time.Duration   // of the work between two statements; 0: 30 s
	Tracer           pgx.QueryTracer // is told of statements; nil: nobody is
}

const (
	defaultMaxConns         = 10
	defaultStatementTimeout = 5 * time.Second
	connectTimeout          = 5 * time.Second
	// commitTimeout bounds the wait for the answer to COMMIT, which the caller's going does not end.
	commitTimeout = 5 * time.Second
	// randomPageCost tells the planner that pages are at hand out of order nearly as soon as in order: they lie in memory
	// or on flash. Its default is that of a turning disk, and makes it read much to find little.
	randomPageCost = "1.1"
	// standbyCode is what a standby says to BEGIN READ WRITE, until it is promoted (feature_not_supported, which nothing else of
	// ours is answered with).
	standbyCode = "0A000"
	// appRole is who the service is in the database, whoever it connects as: row level security holds for it. As a
	// parameter of the connection's start it is also what RESET ROLE goes back to.
	appRole = "rideout_app"
)

// DefaultWorkTimeout ends a transaction whose work does not come back. A calculation's budget lies below it, so that one that
// is too slow says so itself and the next try finds its connection.
const DefaultWorkTimeout = 30 * time.Second

// Store implements service.History, service.Keyring, service.Sessions, service.EventLog and service.Log. It is safe for concurrent use.
type Store struct {
	pool     *pgxpool.Pool
	patience time.Duration // with one statement
	bell     bell
	lent     *service.Holder // the one vessel that is seen; nil: what is the organisation's
	fleets   *fleetBooks     // nil: of a vessel that is lent
}

var (
	_ service.History  = (*Store)(nil)
	_ service.Keyring  = (*Store)(nil)
	_ service.Sessions = (*Store)(nil)

	_ service.EventLog      = (*Store)(nil)
	_ service.ForecastBook  = (*Store)(nil)
	_ service.Organisations = (*Store)(nil)
	_ service.WebhookLog    = (*Store)(nil)
	_ service.Log           = (*Store)(nil)
)

// Open connects to a migrated database. It returns service.ErrUnavailable when there is none to reach.
func Open(ctx context.Context, c Config) (*Store, error) {
	config, err := pgxpool.ParseConfig(c.URL)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	config.MaxConns = defaultMaxConns
	if c.MaxConns > 0 {
		config.MaxConns = c.MaxConns
	}
	timeout := cmp.Or(c.StatementTimeout, defaultStatementTimeout)
	config.ConnConfig.ConnectTimeout, config.ConnConfig.Tracer = connectTimeout, c.Tracer
	config.ConnConfig.RuntimeParams["application_name"] = "rideout"
	config.ConnConfig.RuntimeParams["role"] = appRole
	config.ConnConfig.RuntimeParams["random_page_cost"] = randomPageCost
	config.ConnConfig.RuntimeParams["statement_timeout"] = milliseconds(timeout)
	config.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = milliseconds(cmp.Or(c.WorkTimeout, DefaultWorkTimeout))
	config.AfterConnect = prepareConn
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	s := &Store{pool: pool, patience: timeout + lineTimeout, fleets: &fleetBooks{}}
	if err := s.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open store: %w", err)
	}
	return s, nil
}

// Close waits until every connection is back, and closes them.
func (s *Store) Close() {
	s.bell.close()
	s.pool.Close()
}

// Ping tells whether the database answers and takes changes: a standby takes none.
func (s *Store) Ping(ctx context.Context) error {
	var standby bool
	if err := s.pool.QueryRow(ctx, `SELECT pg_is_in_recovery()`).Scan(&standby); err != nil {
		return unavailable(ctx, err)
	}
	if standby {
		return fmt.Errorf("%w: the database is a standby", service.ErrUnavailable)
	}
	return nil
}

func milliseconds(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }

// Postgres's own method of packing takes most of the time of keeping a plan; lz4 takes little. Servers built without it keep
// to their own.
const packByLZ4 = `
SELECT set_config(name, 'lz4', false)
FROM pg_settings
WHERE name = 'default_toast_compression' AND 'lz4' = ANY (enumvals)`

func prepareConn(ctx context.Context, conn *pgx.Conn) error {
	if _, err := conn.Exec(ctx, packByLZ4); err != nil {
		return err
	}
	types := conn.TypeMap()
	types.TryWrapEncodePlanFuncs = append([]pgtype.TryWrapEncodePlanFunc{wrapUUID}, types.TryWrapEncodePlanFuncs...)
	types.RegisterType(&pgtype.Type{
		Name: "timestamptz", OID: pgtype.TimestamptzOID, Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC},
	})
	return nil
}

// wrapUUID sends the bytes of a uuid.UUID, which pgx else writes as text and reads again.
func wrapUUID(value any) (pgtype.WrappedEncodePlanNextSetter, any, bool) {
	id, ok := value.(uuid.UUID)
	if !ok {
		return nil, nil, false
	}
	return &uuidPlan{}, bytesAlone(id), true
}

func bytesAlone(id uuid.UUID) pgtype.UUID { return pgtype.UUID{Bytes: id, Valid: true} }

type uuidPlan struct{ next pgtype.EncodePlan }

func (p *uuidPlan) SetNext(next pgtype.EncodePlan) { p.next = next }

func (p *uuidPlan) Encode(value any, buf []byte) ([]byte, error) {
	return p.next.Encode(bytesAlone(value.(uuid.UUID)), buf)
}

// inOrg runs fn in a transaction for one organisation. Such transactions begin here and in readRow alone,
// so that policies on app.org hold in all of them. Statements name org_id all the same.
func (s *Store) inOrg(ctx context.Context, org service.OrgID, access pgx.TxAccessMode, fn func(*transaction) error) error {
	if s.lent != nil {
		return s.inLent(ctx, org, access, fn)
	}
	return s.inTx(ctx, access, []setting{{"app.org", org.String()}}, fn)
}

const setSetting = `SELECT set_config($1, $2, true)`

// tell sets one of a transaction that has begun.
func tell(ctx context.Context, tx pgx.Tx, of setting) error {
	_, err := tx.Exec(ctx, setSetting, of.name, of.value)
	return unavailable(ctx, err)
}

// readRow reads one row of one organisation by one statement, where inOrg would take four round trips. What tells the
// organisation and what reads go out together: a pipeline is one transaction, which ends with it and takes the setting
// along (PostgreSQL 15, 55.2.4 "Pipelining"). Without its setting the statement would see nothing.
func (s *Store) readRow(ctx context.Context, org service.OrgID, sql string, args pgx.NamedArgs, into ...any) error {
	if s.lent != nil {
		return errLent
	}
	err := s.sendRow(ctx, org, sql, args, into)
	if isGone(err) && !errors.Is(err, context.DeadlineExceeded) { // what was waited for in vain once is not waited for twice
		s.pool.Reset() // as begin does
		err = s.sendRow(ctx, org, sql, args, into)
	}
	return found(ctx, err)
}

func (s *Store) sendRow(ctx context.Context, org service.OrgID, sql string, args pgx.NamedArgs, into []any) error {
	ctx, cancel := context.WithTimeoutCause(ctx, acquireTimeout+s.patience, errSilent)
	defer cancel()
	batch := &pgx.Batch{}
	batch.Queue(setSetting, "app.org", org.String())
	batch.Queue(sql, args)
	results := s.pool.SendBatch(ctx, batch)
	_, told := results.Exec()
	read := results.QueryRow().Scan(into...)
	ended := results.Close()
	if told != nil {
		return told
	}
	if read != nil {
		return read
	}
	return ended
}

// inTx commits what fn does when it returns nil, and else takes it back.
func (s *Store) inTx(ctx context.Context, access pgx.TxAccessMode, settings []setting, fn func(*transaction) error) error {
	tx, release, err := s.begin(ctx, pgx.TxOptions{AccessMode: access}, settings)
	if err != nil {
		return err
	}
	defer release()
	defer rollback(ctx, tx) // after a commit it does nothing
	if err := fn(tx); err != nil {
		return err
	}
	if access == pgx.ReadOnly {
		return nil // what was read is read; rolling back is as good
	}
	if err := tx.flush(ctx); err != nil {
		return unavailable(ctx, err)
	}
	return commit(ctx, tx)
}

func rollback(ctx context.Context, tx pgx.Tx) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), commitTimeout)
	defer cancel()
	_ = tx.Rollback(ctx) // when it fails the connection is closed, and the server rolls back
}

// commit tells apart what was refused from what nobody knows the outcome of.
func commit(ctx context.Context, tx pgx.Tx) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if tx.Conn().IsClosed() {
		return fmt.Errorf("commit: %w: the connection is closed", service.ErrUnavailable)
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), commitTimeout)
	defer cancel()
	// pgconn.SafeToRetry does not tell whether COMMIT was sent: it is true, too, of a connection that
	// is lost while its answer is awaited (pgx 5.12).
	err := tx.Commit(ctx)
	var said *pgconn.PgError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, pgx.ErrTxCommitRollback), errors.As(err, &said) && said.SeverityUnlocalized == "ERROR":
		return fmt.Errorf("commit: %w", err)
	}
	return fmt.Errorf("commit: %w: %w", service.ErrOutcomeUnknown, err)
}

// unavailable marks an error that says the database cannot serve now. An error that the caller's
// own context caused stays what it is.
func unavailable(ctx context.Context, err error) error {
	if err == nil || ctx.Err() != nil {
		return err
	}
	var said *pgconn.PgError
	cannotServe := isGone(err)
	if errors.As(err, &said) {
		switch {
		case strings.HasPrefix(said.Code, "53"): // insufficient resources
			cannotServe = true
		case strings.HasPrefix(said.Code, "40"): // rolled back for the sake of others, as the loser of a deadlock is
			cannotServe = true
		case said.Code == standbyCode:
			cannotServe = true
		case strings.HasPrefix(said.Code, "57"): // shut down, starting up, statement timeout
			cannotServe = true
		}
	}
	if !cannotServe {
		return err
	}
	return fmt.Errorf("%w: %w", service.ErrUnavailable, err)
}

// isGone tells whether an error is the connection's and not the statement's.
func isGone(err error) bool {
	var (
		said    *pgconn.PgError
		connect *pgconn.ConnectError
		network net.Error
	)
	if errors.As(err, &connect) {
		return true
	}
	if errors.As(err, &said) {
		return said.SeverityUnlocalized == "FATAL" || said.SeverityUnlocalized == "PANIC"
	}
	return pgconn.SafeToRetry(err) || errors.As(err, &network) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
}
