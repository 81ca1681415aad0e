package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	migratepgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"rideout/migrations"
)

// migrationLock is the advisory lock that lets one process at a time migrate a database: "rideout" in ASCII.
const migrationLock = 0x726964656f7574

// Migrate brings the database to the newest version this program knows. Processes that migrate at
// once wait for each other, and all succeed.
func Migrate(ctx context.Context, url string) error {
	return withMigrator(ctx, url, func(m *migrate.Migrate) error {
		if err := m.Up(); err != nil && !errors.Is(err, migrate.ErrNoChange) {
			return err
		}
		return nil
	})
}

// MigrateDown takes so many steps back, newest first, or as many as there are, and with them the
// data they hold.
func MigrateDown(ctx context.Context, url string, steps int) error {
	if steps < 1 {
		return fmt.Errorf("migrate down: %d steps, want 1 or more", steps)
	}
	return withMigrator(ctx, url, func(m *migrate.Migrate) error {
		err := m.Steps(-steps)
		var short migrate.ErrShortLimit
		if errors.As(err, &short) || errors.Is(err, os.ErrNotExist) {
			return nil
		}
		return err
	})
}

// Version returns the database's version, 0 when nothing has been migrated.
func Version(ctx context.Context, url string) (version uint, err error) {
	err = withMigrator(ctx, url, func(m *migrate.Migrate) error {
		version, _, err = m.Version()
		if errors.Is(err, migrate.ErrNilVersion) {
			return nil
		}
		return err
	})
	return version, err
}

// withMigrator holds the lock round everything do reads and changes. The lock is the session's, so
// it ends with the connection, whatever ends that.
func withMigrator(ctx context.Context, url string, do func(*migrate.Migrate) error) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("migrate: %w", err)
		}
	}()
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return err
	}
	db := stdlib.OpenDB(*config)
	defer db.Close()
	session, err := db.Conn(ctx)
	if err != nil {
		return unavailable(ctx, err)
	}
	defer session.Close()
	if _, err := session.ExecContext(ctx, `SELECT pg_advisory_lock($1)`, migrationLock); err != nil {
		return unavailable(ctx, err)
	}

	files, err := iofs.New(migrations.FS, ".")
	if err != nil {
		return err
	}
	defer files.Close()
	driver, err := migratepgx.WithInstance(db, &migratepgx.Config{})
	if err != nil {
		return err
	}
	defer driver.Close()
	if err := known(driver, files); err != nil {
		return err
	}
	m, err := migrate.NewWithInstance("embedded", files, "pgx5", &atomic{Driver: driver, files: files})
	if err != nil {
		return err
	}
	return do(m)
}

// known refuses a database that a newer program has migrated.
func known(driver database.Driver, files source.Driver) error {
	version, _, err := driver.Version()
	if err != nil || version == database.NilVersion {
		return err
	}
	text, _, err := files.ReadUp(uint(version))
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("the database is at version %d, which this program does not know: run a newer one", version)
	}
	if err != nil {
		return err
	}
	return text.Close()
}

// atomic makes a migration and the note of its version one transaction. The library's own way is
// three: mark dirty, migrate, mark clean. A process that ends in between leaves a mark that does not
// tell whether the migration happened; here no mark is made.
type atomic struct {
	database.Driver
	files  source.Driver
	target int // the version the migration to run leads to
}

// SetVersion is called with dirty before a migration and without it afterwards.
func (a *atomic) SetVersion(version int, dirty bool) error {
	if dirty {
		a.target = version
		return nil
	}
	return a.Driver.SetVersion(version, false)
}

// Run notes the version in the text of the migration: statements sent as one text are one transaction.
func (a *atomic) Run(migration io.Reader) error {
	note := "\n; TRUNCATE schema_migrations"
	if a.target != database.NilVersion {
		note += fmt.Sprintf("; INSERT INTO schema_migrations (version, dirty) VALUES (%d, false)", a.target)
	}
	return a.Driver.Run(io.MultiReader(migration, strings.NewReader(note)))
}

// Version repairs a mark another tool has left: the migration so marked was one transaction that
// did not end, so the database is at the version before. Should it have happened after all, doing it again
// fails on what is there already, and changes nothing.
func (a *atomic) Version() (int, bool, error) {
	version, dirty, err := a.Driver.Version()
	if err != nil || !dirty {
		return version, false, err
	}
	before, err := a.files.Prev(uint(version))
	if errors.Is(err, os.ErrNotExist) {
		return database.NilVersion, false, nil
	}
	return int(before), false, err
}
