package store_test

import (
	"errors"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/migrations"
	"rideout/service"
	"rideout/store"
	"rideout/store/storetest"
)

// everything there is in the schema, but the note of the version.
const selectSchema = `
SELECT concat_ws(' ', c.relname, c.relkind, a.attname, format_type(a.atttypid, a.atttypmod), a.attnotnull)
FROM pg_class c
LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
WHERE c.relnamespace = 'public'::regnamespace AND c.relname NOT LIKE 'schema_migrations%'
UNION ALL
SELECT concat_ws(' ', conrelid::regclass, conname, pg_get_constraintdef(oid))
FROM pg_constraint
WHERE connamespace = 'public'::regnamespace AND conname NOT LIKE 'schema_migrations%'
UNION ALL
SELECT concat_ws(' ', tgrelid::regclass, pg_get_triggerdef(oid))
FROM pg_trigger
WHERE NOT tgisinternal
UNION ALL
SELECT concat_ws(' ', relname, 'row security', relrowsecurity, relforcerowsecurity)
FROM pg_class
WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' AND relname <> 'schema_migrations'
UNION ALL
SELECT concat_ws(' ', tablename, policyname, cmd, qual, with_check)
FROM pg_policies
UNION ALL
SELECT concat_ws(' ', table_name, column_name, privilege_type, grantee)
FROM information_schema.column_privileges
WHERE grantee LIKE 'rideout%app'
UNION ALL
SELECT proname
FROM pg_proc
WHERE pronamespace = 'public'::regnamespace
UNION ALL
SELECT typname
FROM pg_type
WHERE typnamespace = 'public'::regnamespace AND typname NOT LIKE '%schema_migrations'
ORDER BY 1`

// newest is the number of migrations there are.
func newest(t *testing.T) uint {
	t.Helper()
	return uint(len(steps(t)))
}

// steps are the files of the migrations in order.
func steps(t *testing.T) []string {
	t.Helper()
	files, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestUpDownUp(t *testing.T) {
	t.Parallel()
	url := storetest.Empty(t)
	wantVersion(t, url, 0)
	migrate(t, url)
	first := ask(t, url, selectSchema)
	wantVersion(t, url, newest(t))
	if len(first) == 0 {
		t.Fatal("after up: the schema is empty")
	}
	migrate(t, url) // nothing to do is no error

	for left := newest(t); left > 0; left-- {
		before := ask(t, url, selectSchema)
		down(t, url, 1)
		wantVersion(t, url, left-1)
		lower := ask(t, url, selectSchema)
		migrate(t, url)
		down(t, url, int(newest(t)-left))
		if again := ask(t, url, selectSchema); !slices.Equal(again, before) {
			t.Errorf("down to %d and up to %d: got %q, want %q", left-1, left, again, before)
		}
		down(t, url, 1)
		if again := ask(t, url, selectSchema); !slices.Equal(again, lower) {
			t.Errorf("down to %d again: got %q, want %q", left-1, again, lower)
		}
	}
	if left := ask(t, url, selectSchema); len(left) > 0 {
		t.Errorf("after down: left %q, want nothing", left)
	}
	if err := store.MigrateDown(t.Context(), url, 5); err != nil {
		t.Errorf("down from nothing: %v", err)
	}
	migrate(t, url)
	if again := ask(t, url, selectSchema); !slices.Equal(again, first) {
		t.Errorf("up again: got %q, want %q", again, first)
	}
}

func TestManyMigrateAtOnce(t *testing.T) {
	t.Parallel()
	url := storetest.Empty(t)
	outcomes := make(chan error)
	for range 4 {
		go func() { outcomes <- store.Migrate(t.Context(), url) }()
	}
	for range 4 {
		if err := <-outcomes; err != nil {
			t.Error(err)
		}
	}
	wantVersion(t, url, newest(t))
}

func TestMarkOfAnotherToolIsRepaired(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	down(t, url, int(newest(t)))
	ask(t, url, `INSERT INTO schema_migrations (version, dirty) VALUES (1, true)`)
	wantVersion(t, url, 0)
	migrate(t, url)
	wantVersion(t, url, newest(t))
	if got := ask(t, url, `SELECT dirty FROM schema_migrations`); !slices.Equal(got, []string{"false"}) {
		t.Errorf("dirty: got %v, want one false", got)
	}
}

func TestMarkOfWhatDidHappenHarmsNothing(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	before := ask(t, url, selectSchema)
	ask(t, url, `UPDATE schema_migrations SET dirty = true`)
	if err := store.Migrate(t.Context(), url); err == nil || !strings.Contains(err.Error(), "already exists") {
		t.Errorf("migrate: got %v, want that something already exists", err)
	}
	if after := ask(t, url, selectSchema); !slices.Equal(after, before) {
		t.Errorf("schema: got %q, want %q", after, before)
	}
}

func TestInterruptedMigrationDidNotHappen(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	down(t, url, int(newest(t))-1)
	before := ask(t, url, selectSchema)
	reader, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close(t.Context())
	// A reader of the table dropped last but one keeps the migration waiting in its middle.
	if _, err := reader.Exec(t.Context(), `BEGIN; SELECT FROM keys`); err != nil {
		t.Fatal(err)
	}
	outcome := make(chan error)
	go func() { outcome <- store.MigrateDown(t.Context(), url, 1) }()
	const waiting = `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock' AND wait_event = 'relation'`
	for len(ask(t, url, waiting)) == 0 {
		time.Sleep(5 * time.Millisecond)
	}
	if err := <-outcome; err == nil {
		t.Error("migration whose session was ended: got no error")
	}
	if _, err := reader.Exec(t.Context(), `COMMIT`); err != nil {
		t.Fatal(err)
	}
	if after := ask(t, url, selectSchema); !slices.Equal(after, before) {
		t.Errorf("schema: got %q, want %q", after, before)
	}
	if got := ask(t, url, `SELECT version || ' ' || dirty FROM schema_migrations`); !slices.Equal(got, []string{"1 false"}) {
		t.Errorf("version, dirty: got %v, want 1 false", got)
	}
	if err := store.MigrateDown(t.Context(), url, 1); err != nil {
		t.Error(err)
	}
	wantVersion(t, url, 0)
}

func TestNewerDatabaseIsRefused(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	ask(t, url, `UPDATE schema_migrations SET version = 999999`)
	want := "the database is at version 999999, which this program does not know"
	if err := store.Migrate(t.Context(), url); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("migrate: got %v, want %q", err, want)
	}
}

func TestMigrateWithoutServer(t *testing.T) {
	t.Parallel()
	const nobody = "postgres://rideout@127.0.0.1:1/rideout?sslmode=disable"
	if err := store.Migrate(t.Context(), nobody); !errors.Is(err, service.ErrUnavailable) {
		t.Errorf("migrate: got %v, want %v", err, service.ErrUnavailable)
	}
	if err := store.MigrateDown(t.Context(), nobody, 0); err == nil || errors.Is(err, service.ErrUnavailable) {
		t.Errorf("migrate 0 steps down: got %v, want that 0 is refused", err)
	}
}

func down(t *testing.T, url string, steps int) {
	t.Helper()
	if steps == 0 {
		return // MigrateDown refuses it
	}
	if err := store.MigrateDown(t.Context(), url, steps); err != nil {
		t.Fatal(err)
	}
}

func migrate(t *testing.T, url string) {
	t.Helper()
	if err := store.Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
}

// wantVersion holds the version against that of the last of so many migrations; numbers may be left out.
func wantVersion(t *testing.T, url string, migrated uint) {
	t.Helper()
	want := uint(0)
	if migrated > 0 {
		number, _, _ := strings.Cut(steps(t)[migrated-1], "_")
		read, err := strconv.ParseUint(number, 10, 32)
		if err != nil {
			t.Fatal(err)
		}
		want = uint(read)
	}
	if got, err := store.Version(t.Context(), url); err != nil || got != want {
		t.Errorf("version: got %d, error %v, want %d", got, err, want)
	}
}
