package private_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/store/private"
)

// holdDir makes this test binary a rideout that serves a data directory until it is killed.
const holdDir = "RIDEOUT_PRIVATE_TEST_HOLD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(holdDir); dir != "" {
		s, err := private.Start(context.Background(), dir, private.Options{})
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println(s.URL())
		select {}
	}
	os.Exit(m.Run())
}

func TestThrowawayIsThereAndThenGone(t *testing.T) {
	t.Parallel()
	s, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	config, err := pgx.ParseConfig(s.URL())
	if err != nil {
		t.Fatal(err)
	}
	for setting, want := range map[string]string{"listen_addresses": "", "fsync": "off", "server_encoding": "UTF8"} {
		if got := ask(t, s.URL(), "SHOW "+setting); got != want {
			t.Errorf("SHOW %s: got %q, want %q", setting, got, want)
		}
	}
	if info, err := os.Stat(config.Host); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("socket directory %s: got mode %v, error %v, want 0700", config.Host, info.Mode(), err)
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Dir(config.Host)); !os.IsNotExist(err) {
		t.Errorf("%s after Stop: got error %v, want that it is gone", filepath.Dir(config.Host), err)
	}
}

func TestDataOutlivesStop(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	for want := range 2 {
		s, err := private.Start(t.Context(), dir, private.Options{})
		if err != nil {
			t.Fatal(err)
		}
		ask(t, s.URL(), "CREATE TABLE IF NOT EXISTS starts (at timestamptz DEFAULT now())")
		if got := ask(t, s.URL(), "SELECT count(*)::text FROM starts"); got != fmt.Sprint(want) {
			t.Errorf("rows from earlier starts: got %s, want %d", got, want)
		}
		ask(t, s.URL(), "INSERT INTO starts DEFAULT VALUES")
		if got := ask(t, s.URL(), "SHOW fsync"); got != "on" {
			t.Errorf("SHOW fsync: got %s, want on", got)
		}
		if err := s.Stop(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestSecondProcessIsRefused(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	s, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	_, err = private.Start(t.Context(), dir, private.Options{})
	want := "private postgres: another rideout is running on " + dir
	if err == nil || err.Error() != want {
		t.Errorf("second start: got %v, want %s", err, want)
	}
	ask(t, s.URL(), "SELECT 1::text") // the first is unharmed
}

func TestKilledParentLeavesNoServerAndNoHarm(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	for round := range 2 {
		url, kill := hold(t, dir)
		ask(t, url, "CREATE TABLE IF NOT EXISTS rounds (round int)")
		ask(t, url, fmt.Sprintf("INSERT INTO rounds VALUES (%d)", round))
		kill() // and the next start follows at once, while the server may still be shutting down
	}
	s, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := ask(t, s.URL(), "SELECT count(*)::text FROM rounds"); got != "2" {
		t.Errorf("rows committed before the kills: got %s, want 2", got)
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}

	url, kill := hold(t, dir)
	kill() // and nobody starts it again
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, url)
		if ctx.Err() != nil {
			t.Fatal("the server outlives its parent")
		}
		if err != nil {
			return
		}
		conn.Close(ctx)
		time.Sleep(10 * time.Millisecond)
	}
}

func TestStaleNoteThatNamesALivingProcess(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	s, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	note, err := os.ReadFile(filepath.Join(dir, "postgres", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	// As after a loss of power, when the number has gone to a program of the same account.
	_, rest, _ := strings.Cut(string(note), "\n")
	stale := fmt.Sprintf("%d\n%s", os.Getpid(), rest)
	if err := os.WriteFile(filepath.Join(dir, "postgres", "postmaster.pid"), []byte(stale), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err = private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stop(); err != nil {
		t.Error(err)
	}
}

func TestInterruptedInitdbIsDoneAgain(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	if err := os.MkdirAll(filepath.Join(dir, "postgres.new", "base"), 0o700); err != nil {
		t.Fatal(err)
	}
	s, err := private.Start(t.Context(), dir, private.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stop(); err != nil {
		t.Error(err)
	}
}

func TestClusterOfAMissingVersionIsNotTouched(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	version := filepath.Join(dir, "postgres", "PG_VERSION")
	if err := os.MkdirAll(filepath.Dir(version), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(version, []byte("7\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := private.Start(t.Context(), dir, private.Options{})
	if err == nil || !strings.Contains(err.Error(), "apt-get install postgresql-7") {
		t.Errorf("start on a cluster of Postgres 7: got %v, want what to install", err)
	}
}

func TestDirectoryClosedToOthers(t *testing.T) {
	t.Parallel()
	home := dataDir(t)
	if err := os.Chmod(home, 0o700); err != nil {
		t.Fatal(err)
	}
	s, err := private.Start(t.Context(), filepath.Join(home, "rideout"), private.Options{})
	if os.Geteuid() != 0 { // the server runs as its caller, whose directory it is
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
		return
	}
	if err == nil || !strings.Contains(err.Error(), "cannot enter "+home) {
		t.Errorf("as root, below a directory with mode 0700: got %v, want which directory stops postgres", err)
	}
}

func TestNoBinaries(t *testing.T) {
	t.Setenv("PG_BINDIR", t.TempDir())
	_, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err == nil || !strings.Contains(err.Error(), "apt-get install postgresql") || strings.Contains(err.Error(), "\n") {
		t.Errorf("start without binaries: got %v, want one line that says what to install", err)
	}
}

func TestCancelledStart(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if s, err := private.Start(ctx, "", private.Options{Throwaway: true}); err == nil {
		s.Stop()
		t.Error("start under a cancelled context: got a server, want an error")
	}
}

// dataDir is a directory another account can enter; t.TempDir's parent is for its maker alone.
func dataDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "rideout-data-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// hold starts another process that serves dir, and returns its URL and what kills it.
func hold(t *testing.T, dir string) (string, func()) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), holdDir+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func() {
		cmd.Process.Kill()
		cmd.Wait()
	}
	t.Cleanup(kill)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "postgres://") {
		t.Fatalf("the other process: got %q, %v, want its URL", line, err)
	}
	return strings.TrimSpace(line), kill
}

// ask runs one statement and returns its first value, "" when it has none.
func ask(t *testing.T, url, sql string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, sql)
	if err != nil {
		t.Fatal(err)
	}
	values, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	if len(values) == 0 {
		return ""
	}
	return values[0]
}
