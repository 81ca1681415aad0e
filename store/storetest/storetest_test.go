package storetest_test

import (
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"rideout/store/private"
	"rideout/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// failAsked makes TestEachHasItsOwn fail at its end, in the processes the other tests start.
const failAsked = "RIDEOUT_STORETEST_FAIL"

func TestEachHasItsOwn(t *testing.T) {
	t.Parallel()
	s, other := storetest.New(t), storetest.New(t)
	org, err := s.AddOrganisation(t.Context(), "Hamna sailing school")
	if err != nil {
		t.Fatal(err)
	}
	if same, err := other.AddOrganisation(t.Context(), "Hamna sailing school"); err != nil || same == org {
		t.Errorf("second database: got organisation %v, error %v, want another than the first's", same, err)
	}
	if os.Getenv(failAsked) != "" {
		t.Error("failed as asked")
	}
}

func TestOnAGivenServer(t *testing.T) {
	t.Parallel()
	server, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()

	// Processes of several packages begin at once.
	outcomes := make(chan run)
	for range 3 {
		go func() { outcomes <- runEach(t, "TEST_DATABASE_URL="+server.URL()) }()
	}
	for range 3 {
		if r := <-outcomes; r.err != nil || !strings.Contains(r.said, "database: TEST_DATABASE_URL") {
			t.Errorf("got %v, %s, want success on TEST_DATABASE_URL", r.err, r.said)
		}
	}
	if left := databases(t, server.URL()); len(left) != 1 || !strings.HasPrefix(left[0], "rideout_template_") {
		t.Errorf("left on the server: %v, want one template", left)
	}

	r := runEach(t, "TEST_DATABASE_URL="+server.URL(), failAsked+"=1")
	left := slices.DeleteFunc(databases(t, server.URL()), func(name string) bool { return strings.HasPrefix(name, "rideout_template_") })
	if r.err == nil || len(left) != 2 {
		t.Fatalf("a failing test: got %v, left %v, want failure and its 2 databases", r.err, left)
	}
	for _, name := range left {
		if !strings.Contains(r.said, name) {
			t.Errorf("a failing test said %s, want the address of %s", r.said, name)
		}
	}
}

func TestFailureKeepsTheDataOfAPrivateServer(t *testing.T) {
	t.Parallel()
	r := runEach(t, "RIDEOUT_TEST_CONTAINER=off", failAsked+"=1")
	_, rest, found := strings.Cut(r.said, "its data are in ")
	cluster, _, _ := strings.Cut(rest, "\n")
	dir, whole := strings.CutSuffix(cluster, "/postgres")
	if r.err == nil || !found || !whole {
		t.Fatalf("got %v, %s, want failure and where the data are", r.err, r.said)
	}
	defer os.RemoveAll(dir)
	server, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	if left := databases(t, server.URL()); len(left) != 3 {
		t.Errorf("kept: %v, want the template and 2 databases", left)
	}
}

func TestNoDatabaseFails(t *testing.T) {
	t.Parallel()
	for name, env := range map[string][]string{
		"no binaries":    {"RIDEOUT_TEST_CONTAINER=off", "PG_BINDIR=" + t.TempDir()},
		"nobody listens": {"TEST_DATABASE_URL=postgres://rideout@127.0.0.1:1/rideout?sslmode=disable"},
		"no address":     {"TEST_DATABASE_URL=host=127.0.0.1"},
		"no such image":  {"RIDEOUT_TEST_CONTAINER=rideout-postgres:none"},
	} {
		if r := runEach(t, env...); r.err == nil || !strings.Contains(r.said, "--- FAIL: TestEachHasItsOwn") {
			t.Errorf("%s: got %v, %s, want a failed test", name, r.err, r.said)
		}
	}
}

type run struct {
	said string
	err  error
}

// runEach runs TestEachHasItsOwn in a process of its own, with nothing of this one's choice of a server.
func runEach(t *testing.T, env ...string) run {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestEachHasItsOwn$", "-test.v=false")
	cmd.Env = append(slices.DeleteFunc(os.Environ(), func(v string) bool {
		return strings.HasPrefix(v, "TEST_DATABASE_URL=") || strings.HasPrefix(v, "RIDEOUT_TEST_CONTAINER=")
	}), env...)
	out, err := cmd.CombinedOutput()
	return run{string(out), err}
}

func databases(t *testing.T, url string) []string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	rows, err := conn.Query(t.Context(), `SELECT datname FROM pg_database WHERE datname LIKE 'rideout\_t%' ORDER BY datname`)
	if err != nil {
		t.Fatal(err)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return names
}
