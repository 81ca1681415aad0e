package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"rideout/service"
)

// addKey makes a key and prints it, this once: the store keeps its hash alone.
func addKey(ctx context.Context, p program, args []string) (err error) {
	c, err := configure(p, "data")
	if err != nil {
		return err
	}
	flags := newFlags("key")
	organisation := flags.String("organisation", "", "the `name` of the organisation, which is made when there is none")
	label := flags.String("label", "command line", "what the key is for, in your `words`")
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "`directory` of a private Postgres that is not being served now (not used when DATABASE_URL is set)")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if strings.TrimSpace(*organisation) == "" {
		return usageError{"key: name the organisation by --organisation"}
	}
	d, err := openDatabase(ctx, c, newLog(p.stderr, c.LogLevel))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	_, key, err := newKey(ctx, d.store, *organisation, *label)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.stdout, key.Reveal())
	return err
}

// newKey makes a key for an organisation, and the organisation when there is none of the name.
func newKey(ctx context.Context, keyring service.Keyring, organisation, label string) (service.OrgID, service.Key, error) {
	org, err := keyring.AddOrganisation(ctx, organisation)
	if err != nil {
		return org, service.Key{}, err
	}
	key := service.NewKey()
	return org, key, keyring.AddKey(ctx, org, key.Hash(), label)
}
