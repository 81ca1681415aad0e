// Package private runs a Postgres of its own from the binaries installed on this machine, for the
// demo, for tests and for use on a single machine. It is reached over a unix socket in a directory
// only its user can enter, and dies with the process that started it.
package private

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// Options change how a server runs. The zero value keeps data safe.
type Options struct {
	// Throwaway is for tests: data in a temporary directory, nothing forced to disk, all of it
	// removed by Stop. The data directory must then be "".
	Throwaway bool
	// SharedBuffers is the server's own cache of pages, as its setting takes it; "": 32MB, enough for one machine's use.
	SharedBuffers string
}

// Server is a running Postgres. Keep it until Stop: it holds the locks that keep others off.
type Server struct {
	Version string // as the binary prints it: "15.18"

	process *process
	run     runDir
	claim   *os.File // lock on the data directory; nil for a throwaway
}

const (
	user     = "rideout"
	database = "rideout"
)

// startLimit covers the replay of the write-ahead log after a crash.
const startLimit = time.Minute

// Start makes the data directory's cluster when there is none, and serves it. dataDir holds
// everything that lasts; a second process that starts on it is refused. As root the server runs as
// the owner of the cluster, or as postgres or nobody for a new one.
func Start(ctx context.Context, dataDir string, opts Options) (_ *Server, err error) {
	if opts.Throwaway != (dataDir == "") {
		return nil, errors.New("private postgres: a data directory is for a server that keeps its data, and only for that")
	}
	s := &Server{}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("private postgres: %w", err), s.Stop())
		}
	}()

	account, err := s.claimPlace(&dataDir)
	if err != nil {
		return nil, err
	}
	cluster := filepath.Join(dataDir, "postgres")
	if err := vacate(ctx, cluster); err != nil {
		return nil, err
	}
	bin, err := findBinaries(cluster)
	if err != nil {
		return nil, err
	}
	s.Version = bin.version
	if err := initCluster(ctx, bin, account, cluster, opts); err != nil {
		return nil, err
	}
	log := filepath.Join(dataDir, "postgres.log")
	if s.process, err = launch(bin.command("postgres", s.flags(cluster, opts)...), account, cluster, log); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	return s, s.ready(ctx, log)
}

// claimPlace takes the locks, and makes dataDir absolute, or for a throwaway the run directory.
func (s *Server) claimPlace(dataDir *string) (a account, err error) {
	throwaway := *dataDir == ""
	if !throwaway {
		if *dataDir, err = filepath.Abs(*dataDir); err != nil {
			return a, err
		}
		if err := os.MkdirAll(*dataDir, 0o755); err != nil {
			return a, err
		}
		if s.claim, err = lock(filepath.Join(*dataDir, "lock")); errors.Is(err, errHeld) {
			return a, fmt.Errorf("another rideout is running on %s", *dataDir)
		} else if err != nil {
			return a, err
		}
		a, err = ownerOrSelf(filepath.Join(*dataDir, "postgres"))
	} else {
		a, err = newOwner()
	}
	if err != nil {
		return a, err
	}
	if s.run, err = newRunDir(a); err != nil {
		return a, err
	}
	if throwaway {
		*dataDir = s.run.path
	}
	return a, a.canEnter(*dataDir)
}

// URL is where the server is reached.
func (s *Server) URL() string { return s.databaseURL(database) }

// Stop ends the server, breaking off its sessions, and removes a throwaway's files. Stop it once.
func (s *Server) Stop() error {
	var errs []error
	if s.process != nil {
		errs = append(errs, s.process.stop())
	}
	errs = append(errs, s.run.remove())
	if s.claim != nil {
		errs = append(errs, s.claim.Close())
	}
	return errors.Join(errs...)
}

// StopKeeping is Stop, but moves a throwaway's data into dir, which can then be started like any
// other data directory. For a server that keeps its data it is Stop.
func (s *Server) StopKeeping(dir string) error {
	if s.claim != nil {
		return s.Stop()
	}
	err := s.process.stop()
	return errors.Join(err, os.Chmod(dir, 0o755), os.Rename(filepath.Join(s.run.path, "postgres"), filepath.Join(dir, "postgres")), s.Stop())
}

func (s *Server) databaseURL(name string) string {
	u := url.URL{Scheme: "postgres", User: url.User(user), Host: "", Path: "/" + name}
	u.RawQuery = url.Values{"host": {s.run.socket()}, "sslmode": {"disable"}}.Encode()
	return u.String()
}

func (s *Server) flags(cluster string, opts Options) []string {
	flags := []string{
		"-D", cluster,
		"-c", "listen_addresses=", // no TCP
		"-c", "unix_socket_directories=" + s.run.socket(),
		"-c", "unix_socket_permissions=0700",
		"-c", "shared_buffers=" + cmp.Or(opts.SharedBuffers, "32MB"),
		"-c", "log_checkpoints=off",
	}
	if opts.Throwaway {
		flags = append(flags, "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off", "-c", "max_connections=200")
	}
	return flags
}

// ready waits until the server takes connections, and makes the database on the first start.
func (s *Server) ready(ctx context.Context, log string) error {
	for {
		err := s.ensureDatabase(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-s.process.done:
			return fmt.Errorf("postgres ended while starting: %s (the rest is in %s)", lastLine(log), log)
		case <-ctx.Done():
			return fmt.Errorf("waiting for postgres: %w: %w", ctx.Err(), err)
		case <-time.After(10 * time.Millisecond):
		}
	}
}

func (s *Server) ensureDatabase(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, s.databaseURL("postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var there bool
	err = conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, database).Scan(&there)
	if err == nil && !there {
		_, err = conn.Exec(ctx, `CREATE DATABASE `+database)
	}
	return err
}

// initCluster runs initdb beside the place and renames, so that an interrupted one is no cluster.
func initCluster(ctx context.Context, bin binaries, a account, cluster string, opts Options) error {
	if _, err := os.Stat(filepath.Join(cluster, "PG_VERSION")); err == nil {
		return nil
	}
	fresh := cluster + ".new"
	if err := os.RemoveAll(fresh); err != nil {
		return err
	}
	if err := a.mkdir(fresh); err != nil {
		return err
	}
	args := []string{"-D", fresh, "-U", user, "--auth=trust", "--encoding=UTF8", "--no-locale"}
	if opts.Throwaway {
		args = append(args, "--no-sync")
	} else {
		args = append(args, "--data-checksums")
	}
	cmd := bin.command("initdb", args...)
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = &said, &said
	p, err := start(cmd, a, fresh)
	if err != nil {
		return err
	}
	select {
	case <-p.done:
	case <-ctx.Done():
		return errors.Join(ctx.Err(), p.stop())
	}
	if p.err != nil {
		return fmt.Errorf("initdb: %w: %s", p.err, strings.TrimSpace(said.String()))
	}
	return os.Rename(fresh, cluster)
}

// launch starts the server with its output in the log.
func launch(cmd *exec.Cmd, a account, cluster, log string) (*process, error) {
	out, err := os.OpenFile(log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o640)
	if err != nil {
		return nil, err
	}
	defer out.Close()
	cmd.Stdout, cmd.Stderr = out, out
	return start(cmd, a, cluster)
}

func lastLine(file string) string {
	text, err := os.ReadFile(file)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return lines[len(lines)-1]
}

var errHeld = errors.New("another process holds the lock")

// lock takes a file's lock for as long as the file stays open, or returns errHeld.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, errHeld
		}
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	return f, nil
}
