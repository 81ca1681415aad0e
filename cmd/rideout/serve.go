package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"rideout/api/metrics"
	"rideout/service/planner"
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
	checkOnly := flags.Bool("check-config", false, "print what is configured, without secrets, and end; with code 2 when something is wrong")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if err := c.check(); err != nil {
		return err
	}
	if err := c.readTraces(p); err != nil {
		return err
	}
	if *checkOnly {
		return showConfig(p.stdout, c)
	}
	c.Keeps = true
	log := newLog(p.stderr, c)
	log.Info("starting", "config", c)
	listener, err := listen(ctx, c.Addr)
	if err != nil {
		return err
	}
	defer listener.Close()
	m := metrics.New(planner.Engine)
	stopMetrics, err := serveMetrics(ctx, c, m, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stopMetrics()) }()
	traces, closeTraces, err := openTraces(ctx, c, log)
	if err != nil {
		return err
	}
	defer closeTraces()
	d, err := openDatabase(ctx, c, log, traces)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	return serveAPI(ctx, c, d, m, traces, listener, log)
}

// showConfig prints a setting a line.
func showConfig(w io.Writer, c config) error {
	if err := c.checkFiles(); err != nil {
		return err
	}
	for _, a := range c.LogValue().Group() {
		if _, err := fmt.Fprintf(w, "%s=%s\n", a.Key, a.Value); err != nil {
			return err
		}
	}
	return nil
}
