// Command benchstore fills a private Postgres with fleets and two years of their history, and measures how long the
// store takes to answer: once with a small history, once with a large one, of the same fleets.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/store"
	"rideout/store/private"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "benchstore:", err)
		os.Exit(1)
	}
}

type options struct {
	rows, base int
	data       string
	buffers    string
	only       string
}

func run(ctx context.Context) error {
	var o options
	flag.IntVar(&o.rows, "rows", 10_000_000, "plans in the large history")
	flag.IntVar(&o.base, "base", 100_000, "plans in the small history, which the large one is held against")
	flag.StringVar(&o.data, "data", "", "keep the databases in this `directory` and take those that are there; without it they are removed")
	flag.StringVar(&o.buffers, "shared-buffers", "1GB", "the server's cache of pages")
	flag.StringVar(&o.only, "only", "", "ask only what begins with this `text`")
	flag.Parse()
	if o.base < vessels || o.rows < o.base {
		return fmt.Errorf("rows %d, base %d: want at least %d, one for each vessel, and no fewer rows than base", o.rows, o.base, vessels)
	}
	if o.data == "" {
		dir, err := os.MkdirTemp("", "rideout-bench-*")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		if err := os.Chmod(dir, 0o755); err != nil { // the server runs as another user where we are root
			return err
		}
		o.data = dir
	}
	var measured []measurement
	for _, rows := range []int{o.base, o.rows} {
		if len(measured) > 0 && rows == measured[0].rows {
			continue
		}
		m, err := o.measure(ctx, rows)
		if err != nil {
			return fmt.Errorf("with %d plans: %w", rows, err)
		}
		measured = append(measured, m)
	}
	printTable(os.Stdout, measured)
	return nil
}

// measure starts the database with so many plans, fills it if it is empty, and asks it.
func (o options) measure(ctx context.Context, rows int) (m measurement, err error) {
	server, err := private.Start(ctx, filepath.Join(o.data, strconv.Itoa(rows)), private.Options{SharedBuffers: o.buffers})
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, server.Stop()) }()
	if err := store.Migrate(ctx, server.URL()); err != nil {
		return m, err
	}
	conn, err := pgx.Connect(ctx, server.URL())
	if err != nil {
		return m, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	s, err := store.Open(ctx, store.Config{URL: server.URL()})
	if err != nil {
		return m, err
	}
	defer s.Close()
	if err := fillOnce(ctx, conn, s, rows); err != nil {
		return m, err
	}
	m = measurement{rows: rows}
	if m.answers, err = ask(ctx, conn, server.URL(), s, o.only); err != nil {
		return m, err
	}
	m.memory, err = memoryOf(ctx, conn)
	if err != nil {
		return m, err
	}
	m.tables, m.documents, err = sizes(ctx, conn)
	return m, err
}

func fillOnce(ctx context.Context, conn *pgx.Conn, s *store.Store, rows int) error {
	var filled bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM plans OFFSET $1 - 1)`, rows).Scan(&filled); err != nil || filled {
		return err
	}
	p, err := newPattern(ctx, s)
	if err != nil {
		return err
	}
	if err := p.record(ctx); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "filling in %d plans\n", rows)
	began := time.Now()
	err = fill(ctx, conn, rows, func(format string, args ...any) { fmt.Fprintf(os.Stderr, "  "+format+"\n", args...) })
	fmt.Fprintf(os.Stderr, "filled in %.0f s\n", time.Since(began).Seconds())
	return err
}
