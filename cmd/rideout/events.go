package main

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"rideout/api/client"
	"rideout/openapi"
)

// events lists what happened, or follows what happens.
func events(ctx context.Context, p program, args []string) error {
	var c calling
	var after *int64
	flags := newFlags("events")
	c.flags(p, flags)
	flags.Func("after", "only what came after the event with this `sequence`", func(text string) error {
		n, err := strconv.ParseInt(text, 10, 64)
		after = &n
		return err
	})
	follow := flags.Bool("follow", false, "go on as it happens, until Ctrl-C; without --after, from the next event on")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	if *follow {
		return r.follow(ctx, after)
	}
	return list(r, "events", "SEQUENCE\tRECORDED\tWHAT\tOF\tVERSION", eventRow, func(cursor *string) (*http.Response, error) {
		from := after
		if cursor != nil {
			n, err := strconv.ParseInt(*cursor, 10, 64)
			if err != nil {
				return nil, fmt.Errorf("the answer is not what the contract says: next is %q", *cursor)
			}
			from = &n
		}
		return r.ListEvents(ctx, &openapi.ListEventsParams{After: from, Limit: pages})
	})
}

func (r *remote) follow(ctx context.Context, after *int64) error {
	for m, err := range client.Follow(ctx, r.Client, after) {
		switch {
		case ctx.Err() != nil:
			return nil // Ctrl-C is how it ends
		case err != nil:
			return err
		case m.Resync:
			fmt.Fprintln(r.stderr, "note: events were missed that are no longer told; read the lists anew")
			continue
		}
		line := string(m.JSON)
		if !r.json {
			line = strings.ReplaceAll(eventRow(m.Event), "\t", "  ")
		}
		if _, err := fmt.Fprintln(r.stdout, line); err != nil {
			return err
		}
	}
	return nil
}

func eventRow(e openapi.Event) string {
	return strings.Join([]string{
		strconv.FormatInt(e.Sequence, 10), e.Time.UTC().Format("2006-01-02 15:04:05 UTC"), spaced(strings.TrimPrefix(e.Type, "rideout.")), e.Subject, strconv.Itoa(e.Data.Version),
	}, "\t")
}
