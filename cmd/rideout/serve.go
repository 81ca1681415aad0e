package main

import (
	"context"
	"errors"
)

// serve serves the API on the database given, or on a private one, until a signal comes.
func serve(ctx context.Context, p program, args []string) (err error) {
	c, err := configure(p, "data")
	if err != nil {
		return err
	}
	flags := newFlags("serve")
	flags.StringVar(&c.Addr, "addr", c.Addr, "serve on this `host:port`")
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "keep a private Postgres in this `directory` (not used when DATABASE_URL is set)")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if err := c.check(); err != nil {
		return err
	}
	log := newLog(p.stderr, c.LogLevel)
	log.Info("starting", "config", c)
	listener, err := listen(ctx, c.Addr)
	if err != nil {
		return err
	}
	defer listener.Close()
	d, err := openDatabase(ctx, c, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	return serveAPI(ctx, c, d, listener, log)
}
