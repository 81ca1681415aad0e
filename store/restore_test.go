package store_test

import (
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"rideout/service"
	"rideout/service/ledger"
	"rideout/store"
	"rideout/store/private"
)

// A database that is lost comes back as it was at a moment, from a copy made before and the write-ahead log kept since: plans
// to the byte, the book as of any time, and a log that verifies. What was recorded after the moment is gone, and a
// checkpoint kept outside tells so. deploy/README.md has the same steps for an operator.
func TestRestoredToAPointInTime(t *testing.T) {
	t.Parallel()
	place := placeFor(t)
	archive := filepath.Join(place, "archive")
	first := archiving(t, filepath.Join(place, "first"), archive)
	address := first.URL()
	if err := store.Migrate(t.Context(), address); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), store.Config{URL: address})
	if err != nil {
		t.Fatal(err)
	}
	w, _ := aWitness(t, s)
	f := newFleet(t, s)
	f.now = at(t, "2026-02-10T08:00:00Z")
	vessel, _ := f.register("2026-01-01T00:00:00Z")
	early := aPlan()
	keep(t, s, f.org, early)

	base := filepath.Join(place, "second", "postgres")
	backUp(t, address, base)

	late := aPlan()
	keep(t, s, f.org, late)
	f.now = at(t, "2026-02-11T08:00:00Z")
	if _, err := f.change(vessel, "2026-02-11T00:00:00Z", `{"status": "sold"}`, whichever); err != nil {
		t.Fatal(err)
	}
	atMoment := signed(t, w, f.org)
	exportThen := export(t, w, f.org)
	moment := ask(t, address, `SELECT clock_timestamp()::text`)[0]

	gone := aPlan()
	keep(t, s, f.org, gone)
	f.now = at(t, "2026-02-12T08:00:00Z")
	if _, err := f.change(vessel, "2026-01-01T00:00:00Z", `{"name": "Tern of Vestvik"}`, whichever); err != nil {
		t.Fatal(err)
	}
	kept := signed(t, w, f.org) // outside
	awaitArchive(t, address)
	s.Close()
	if err := first.Stop(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(place, "first")); err != nil {
		t.Fatal(err)
	}

	second := restored(t, base, archive, moment)
	defer second.Stop()
	s, err = store.Open(t.Context(), store.Config{URL: second.URL()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, p := range []service.PlanRecord{early, late} {
		got, err := s.Plan(t.Context(), f.org, p.ID)
		if err != nil || string(got.Answer) != string(p.Answer) || string(got.Inputs) != string(p.Inputs) {
			t.Errorf("a plan from before: got %q and %v, want %q", got.Answer, err, p.Answer)
		}
	}
	if _, err := s.Plan(t.Context(), f.org, gone.ID); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("a plan from after: got %v, want none", err)
	}
	f.store = s
	f.now = at(t, "2026-02-13T08:00:00Z")
	for _, c := range []struct{ valid, known, want string }{
		{"2026-02-05T00:00:00Z", "2026-02-10T12:00:00Z", "in_service"},
		{"2026-02-12T00:00:00Z", "2026-02-10T12:00:00Z", "in_service"}, // not known yet
		{"2026-02-12T00:00:00Z", "2026-02-11T12:00:00Z", "sold"},
		{"2026-02-10T23:59:59Z", "", "in_service"},
		{"2026-02-12T00:00:00Z", "", "sold"},
	} {
		if got := f.status(vessel, c.valid, c.known); got != c.want {
			t.Errorf("valid at %s, known at %q: got %q, want %q", c.valid, c.known, got, c.want)
		}
	}
	wantSameLog(t, w, s, f.org, exportThen, atMoment, kept)
	keep(t, s, f.org, aPlan()) // it takes what comes
}

// wantSameLog holds the log that came back against the one exported at the moment, and against what was signed then and later.
func wantSameLog(t *testing.T, w *service.Witness, s *store.Store, org service.OrgID, then exported, atMoment, later ledger.Checkpoint) {
	t.Helper()
	w.Log = s
	now := export(t, w, org)
	if fmt.Sprint(now) != fmt.Sprint(then) {
		t.Errorf("the log that came back is\n%v\nwant\n%v", now, then)
	}
	if report := now.verified(t, org, atMoment); !report.Sound() {
		t.Errorf("against what was signed at the moment: %+v", report.Findings)
	}
	if report := now.verified(t, org, later); report.Sound() {
		t.Error("what was lost is not found by a checkpoint kept outside")
	}
	if again := signed(t, w, org); again != atMoment {
		t.Errorf("signed after the restore: %+v, want %+v", again, atMoment)
	}
}

// archiving starts a Postgres that copies its write-ahead log to a directory, as one in earnest should.
func archiving(t *testing.T, dir, archive string) *private.Server {
	t.Helper()
	s, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(archive, 0o700); err != nil {
		t.Fatal(err)
	}
	giveTo(t, archive, filepath.Join(dir, "postgres"))
	ask(t, s.URL(), `ALTER SYSTEM SET archive_mode = on`)
	ask(t, s.URL(), fmt.Sprintf(`ALTER SYSTEM SET archive_command = 'test ! -f "%s/%%f" && cp "%%p" "%s/%%f"'`, archive, archive))
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if s, err = private.Start(t.Context(), dir, private.Options{}); err != nil {
		t.Fatal(err)
	}
	return s
}

// backUp copies the cluster while it is at work.
func backUp(t *testing.T, address, into string) {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	parent := filepath.Dir(into)
	if err := os.Mkdir(parent, 0o755); err != nil {
		t.Fatal(err)
	}
	tool, err := exec.LookPath("pg_basebackup")
	if err != nil {
		found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/pg_basebackup") // fails on a bad pattern alone
		if tool = filepath.Join(os.Getenv("PG_BINDIR"), "pg_basebackup"); len(found) > 0 {
			tool = found[len(found)-1]
		}
	}
	said, err := exec.CommandContext(t.Context(), tool, "--pgdata", into, "--checkpoint=fast", "--wal-method=none",
		"--host", u.Query().Get("host"), "--username", u.User.Username()).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, said)
	}
}

// awaitArchive waits until all that was written is in the archive.
func awaitArchive(t *testing.T, address string) {
	t.Helper()
	last := ask(t, address, `SELECT pg_walfile_name(pg_switch_wal())`)[0]
	for limit := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		if got := ask(t, address, `SELECT coalesce(last_archived_wal, '') FROM pg_stat_archiver`)[0]; got >= last {
			return
		}
		if time.Now().After(limit) {
			t.Fatalf("%s does not come into the archive", last)
		}
	}
}

// restored starts a copy, has it replay the archive up to a moment, and waits until it takes changes.
func restored(t *testing.T, cluster, archive, moment string) *private.Server {
	t.Helper()
	settings, err := os.OpenFile(filepath.Join(cluster, "postgresql.auto.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = fmt.Fprintf(settings, "archive_mode = off\nrestore_command = 'cp \"%s/%%f\" \"%%p\"'\nrecovery_target_time = '%s'\nrecovery_target_action = 'promote'\n", archive, moment)
	if err := errors.Join(err, settings.Close(), os.WriteFile(filepath.Join(cluster, "recovery.signal"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	giveTo(t, cluster, archive)
	s, err := private.Start(t.Context(), filepath.Dir(cluster), private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for limit := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		if ask(t, s.URL(), `SELECT pg_is_in_recovery()::text`)[0] == "false" {
			return s
		}
		if time.Now().After(limit) {
			log, _ := os.ReadFile(filepath.Join(filepath.Dir(cluster), "postgres.log"))
			t.Fatalf("it still recovers: %s", log)
		}
	}
}

// giveTo makes a tree the property of whoever owns another.
func giveTo(t *testing.T, tree, like string) {
	t.Helper()
	info, err := os.Stat(like)
	if err != nil {
		t.Fatal(err)
	}
	owner := info.Sys().(*syscall.Stat_t)
	err = filepath.WalkDir(tree, func(path string, _ fs.DirEntry, err error) error {
		return errors.Join(err, os.Lchown(path, int(owner.Uid), int(owner.Gid)))
	})
	if err != nil {
		t.Fatal(err)
	}
}
