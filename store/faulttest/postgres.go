package faulttest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"rideout/store/private"
)

// postgres is a server that keeps what it commits, and can be killed.
type postgres struct {
	dir string

	mu     sync.Mutex
	server *private.Server
}

func startPostgres(ctx context.Context, dir string) (*postgres, error) {
	p := &postgres{dir: dir}
	return p, p.start(ctx)
}

func (p *postgres) start(ctx context.Context) error {
	server, err := private.Start(ctx, p.dir, private.Options{})
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.server = server
	return nil
}

// nowhere is the address of a server that was stopped: nobody listens there.
const nowhere = "postgres://rideout@127.0.0.1:1/rideout"

func (p *postgres) url() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.server == nil {
		return nowhere
	}
	return p.server.URL()
}

// address is where the server listens now: a new place after each start.
func (p *postgres) address() (network, address string) {
	config, err := pgx.ParseConfig(p.url())
	if err != nil {
		return "unix", "" // which nobody listens on
	}
	return pgconn.NetworkAddress(config.Host, config.Port)
}

// connect is the superuser's way in, beside the line.
func (p *postgres) connect(ctx context.Context) (*pgx.Conn, error) { return pgx.Connect(ctx, p.url()) }

func (p *postgres) exec(ctx context.Context, statements ...string) error {
	conn, err := p.connect(ctx)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	for _, s := range statements {
		if _, err := conn.Exec(ctx, s); err != nil {
			return fmt.Errorf("%s: %w", s, err)
		}
	}
	return nil
}

// kill kills the server and all its processes at once, so that none writes what it still holds.
func (p *postgres) kill() error {
	pids, err := p.processes()
	if err != nil {
		return err
	}
	for _, signal := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGKILL} {
		for _, pid := range pids { // the first is the one that would start others anew
			if err := syscall.Kill(pid, signal); err != nil && !errors.Is(err, syscall.ESRCH) {
				return err
			}
		}
		if signal == syscall.SIGSTOP { // what was forked in between
			if pids, err = p.processes(); err != nil {
				return err
			}
		}
	}
	return nil
}

// killAndStart kills the server and brings it back after a while.
func (p *postgres) killAndStart(ctx context.Context, after time.Duration) error {
	if err := p.kill(); err != nil {
		return err
	}
	time.Sleep(after)
	return p.restart(ctx)
}

// restart starts a server that has ended.
func (p *postgres) restart(ctx context.Context) error {
	p.mu.Lock()
	old := p.server
	p.mu.Unlock()
	if err := old.Stop(); err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *postgres) stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.server != nil {
		_ = p.server.Stop() // its directory is removed with everything
		p.server = nil
	}
}

// processes gives the server's own process and those it has started.
func (p *postgres) processes() ([]int, error) {
	note, err := os.ReadFile(filepath.Join(p.dir, "postgres", "postmaster.pid"))
	if err != nil {
		return nil, err
	}
	first, _, _ := strings.Cut(string(note), "\n")
	master, err := strconv.Atoi(strings.TrimSpace(first))
	if err != nil {
		return nil, err
	}
	return append([]int{master}, childrenOf(master)...), nil
}

// childrenOf reads /proc, whose stat has the parent as the second word after the name in brackets (proc(5)).
func childrenOf(parent int) (pids []int) {
	stats, _ := filepath.Glob("/proc/[0-9]*/stat") // fails on a bad pattern alone
	for _, path := range stats {
		text, err := os.ReadFile(path)
		if err != nil {
			continue // it has ended
		}
		words := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
		if len(words) > 1 && words[1] == strconv.Itoa(parent) {
			if pid, err := strconv.Atoi(filepath.Base(filepath.Dir(path))); err == nil {
				pids = append(pids, pid)
			}
		}
	}
	return pids
}

// lineURL is the database's address by a line of ours.
func lineURL(port int) string {
	u := url.URL{Scheme: "postgres", User: url.User("rideout"), Host: "127.0.0.1:" + strconv.Itoa(port), Path: "/rideout", RawQuery: "sslmode=disable"}
	return u.String()
}
