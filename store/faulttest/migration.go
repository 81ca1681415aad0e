package faulttest

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	starters       = 5
	migrationTries = 6
)

// killMigrations starts five programs on an empty database, again and again, and kills them all in the middle. Then five more are started,
// of which one is killed: the others bring it to this program's version, and the schema is the one that an undisturbed migration makes.
func killMigrations(ctx context.Context, log io.Writer, dir, binary string) (r Result, err error) {
	data, err := os.MkdirTemp("", "rideout-faults-*")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(data)
	if err := os.Chmod(data, 0o755); err != nil {
		return r, err
	}
	p, err := startPostgres(ctx, filepath.Join(data, "data"))
	if err != nil {
		return r, err
	}
	defer p.stop()
	if err := migrateOnce(ctx, binary, p.url()); err != nil {
		return r, err
	}
	want, err := schemaOf(ctx, p.url())
	if err != nil {
		return r, err
	}
	for try := range migrationTries {
		name := fmt.Sprintf("try%d", try)
		if err := p.exec(ctx, `CREATE DATABASE `+name); err != nil {
			return r, err
		}
		address := strings.Replace(p.url(), "/rideout?", "/"+name+"?", 1)
		if err := killAllAt(ctx, binary, address, 1+rand.IntN(12)); err != nil {
			return r, err
		}
		done := startersOn(ctx, binary, address)
		r.Tried += starters
		r.Acknowledged += done.well
		r.Lost += len(done.wrong)
		for _, err := range done.wrong {
			r.Wrongs = append(r.Wrongs, err.Error())
		}
		got, err := schemaOf(ctx, address)
		if err != nil {
			return r, err
		}
		if got != want {
			r.Wrongs = append(r.Wrongs, "the schema is not that of an undisturbed migration")
		}
	}
	return r, nil
}

type migrated struct {
	well  int
	wrong []error
}

// killAllAt starts them, and kills all once the database is at a version.
func killAllAt(ctx context.Context, binary, address string, version int) error {
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var started []*exec.Cmd
	for range starters {
		cmd := migration(ctx, binary, address)
		if err := cmd.Start(); err != nil {
			return err
		}
		started = append(started, cmd)
	}
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); {
		at := 0
		// There is no such table at first.
		if err := conn.QueryRow(ctx, `SELECT version FROM schema_migrations`).Scan(&at); err == nil && at >= version {
			break
		}
	}
	for _, cmd := range started {
		_ = cmd.Process.Kill() // it may have ended
	}
	for _, cmd := range started {
		_ = cmd.Wait() // killed is how it ends
	}
	return nil
}

// startersOn starts them at once and kills one; that one alone may fail.
func startersOn(ctx context.Context, binary, address string) (m migrated) {
	var at sync.WaitGroup
	var mu sync.Mutex
	for i := range starters {
		cmd := migration(ctx, binary, address)
		if i == 0 {
			time.AfterFunc(time.Duration(20+rand.IntN(600))*time.Millisecond, func() {
				if cmd.Process != nil {
					_ = cmd.Process.Signal(syscall.SIGKILL) // it may have ended
				}
			})
		}
		if err := cmd.Start(); err != nil {
			m.wrong = append(m.wrong, err)
			continue
		}
		at.Go(func() {
			err := cmd.Wait()
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				m.well++
			case i > 0:
				m.wrong = append(m.wrong, fmt.Errorf("migrate: %w: %s", err, cmd.Stderr))
			}
		})
	}
	at.Wait()
	return m
}

func migration(ctx context.Context, binary, address string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, binary, "migrate")
	cmd.Env = append(os.Environ(), "DATABASE_URL="+address)
	cmd.Stderr = &strings.Builder{}
	return cmd
}

func migrateOnce(ctx context.Context, binary, address string) error {
	cmd := migration(ctx, binary, address)
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("migrate: %w: %s", err, cmd.Stderr)
	}
	return nil
}

// schemaOf is what pg_dump says of a database, without what it makes up anew each time.
func schemaOf(ctx context.Context, address string) (string, error) {
	out, err := exec.CommandContext(ctx, "pg_dump", "--schema-only", "--dbname", address).Output()
	if err != nil {
		return "", fmt.Errorf("pg_dump: %w", err)
	}
	var kept []string
	for line := range strings.Lines(string(out)) {
		if !strings.HasPrefix(line, `\restrict`) && !strings.HasPrefix(line, `\unrestrict`) {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, ""), nil
}
