package main

import (
	"context"
	"errors"
	"fmt"

	"rideout/store"
	"rideout/store/private"
)

// migrate brings a database to this program's version, or so many steps back.
func migrate(ctx context.Context, p program, args []string) (err error) {
	c, err := configure(p, "data")
	if err != nil {
		return err
	}
	flags := newFlags("migrate")
	down := flags.Int("down", 0, "take so many `steps` back, and with them the data they hold")
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "`directory` of a private Postgres that is not being served now (not used when DATABASE_URL is set)")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if *down < 0 {
		return usageError{fmt.Sprintf("migrate: --down is %d: give 1 or more", *down)}
	}
	address := c.DatabaseURL
	if address == "" {
		own, err := private.Start(ctx, c.DataDir, private.Options{})
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, own.Stop()) }()
		address = own.URL()
	}
	if *down > 0 {
		err = store.MigrateDown(ctx, address, *down)
	} else {
		err = store.Migrate(ctx, address)
	}
	if err != nil {
		return err
	}
	at, err := store.Version(ctx, address)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "the database is at version %d\n", at)
	return err
}
